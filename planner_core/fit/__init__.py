"""Solvers for what a plan leaves free: each returns a new plan and what changed. Nothing is judged here."""
