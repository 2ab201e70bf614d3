"""What the draft pictures are lit and filled with: sky, lamps and stars as numbers. No Blender."""
