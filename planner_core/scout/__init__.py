"""Where to stand and how to move, searched over the place. Nothing is judged here but by the review."""
