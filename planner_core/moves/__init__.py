"""Other moves on the same scene, compared and ranked. No repairs of the move at hand."""
