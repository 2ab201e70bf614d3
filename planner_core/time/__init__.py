"""Where sun and moon stand, when events happen, and when each frame is taken. No light."""
