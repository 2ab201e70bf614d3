"""Renders the draft clip: looks, engines, the cache of frames, the movie file. No buttons."""
