"""Plain mathematics on arrays: angles, searches, convex hulls. Nothing here knows what a plan is."""
