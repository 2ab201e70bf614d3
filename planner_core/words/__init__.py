"""How numbers, dates and lengths of time are said. No sentences about a plan."""
