"""How the shoot lies in its evening: day and night in balance, sunlight, timetable, other dates."""
