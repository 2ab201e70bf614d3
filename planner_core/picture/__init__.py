"""What the lens makes of the place: projection, visibility, speed, parallax and composition. No light."""
