"""The blocks that stand for the place: their shapes, outlines, ground and what hides what. No camera."""
