"""Finding the shot: where to stand, which lens, how to move, searched over a place. No judging of its own."""
