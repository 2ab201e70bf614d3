"""Solvers for what a plan leaves free. Each returns a new plan and says what it changed."""
