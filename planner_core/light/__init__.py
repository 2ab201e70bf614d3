"""How bright and of what colour the light is, and what exposure it asks for. No camera, no picture."""
