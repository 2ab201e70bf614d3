"""Where rail and head put the camera, and how they move it. No picture."""
