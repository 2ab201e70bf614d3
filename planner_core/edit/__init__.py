"""Changes to a plan as a hand makes them: blocks from a kit, a rail moved, a pose added."""
