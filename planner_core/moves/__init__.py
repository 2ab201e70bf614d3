"""Other moves on the same scene, compared and ranked."""
