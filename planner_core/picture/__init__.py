"""What the lens makes of the place: projection, visibility, speed, composition, readings. No findings."""
