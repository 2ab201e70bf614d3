"""How shoots lie in their evening: balance, sunlight, timetable, dates, several shots. No camera settings."""
