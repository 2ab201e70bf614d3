"""Draws a FrameTable as a Blender scene. Nothing is read back here."""
