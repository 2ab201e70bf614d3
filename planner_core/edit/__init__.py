"""Changes of a plan that need no Blender: by path, by pose, by block; and new plans. Nothing is computed."""
