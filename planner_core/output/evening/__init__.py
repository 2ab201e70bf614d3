"""An evening of several shots: its timetable, map, lists and page. Nothing is solved here."""
