"""How the shoot lies in its evening: balance, sunlight, timetable, other dates. No camera settings."""
