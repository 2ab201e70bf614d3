"""Draws a FrameTable as a scene. Nothing here reads edits back, and nothing is computed that the core has."""
