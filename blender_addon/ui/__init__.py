"""The sidebar, the overlay and what the buttons do. What a plan means is computed in the core, not here."""
