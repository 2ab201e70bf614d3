"""The shape of the land from elevation grids: the horizon, the ground nearby, and heights. No camera."""
