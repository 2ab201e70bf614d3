"""The command line, the set-up script and what else runs outside Blender. See DEVELOPERS.md."""
