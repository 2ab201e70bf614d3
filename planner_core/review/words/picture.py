"""Sentences about the picture."""
