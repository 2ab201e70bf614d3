"""Reads edits of a scene back into a plan. Nothing is drawn here, and no plan is kept."""
