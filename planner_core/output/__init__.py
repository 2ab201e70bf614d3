"""What leaves the program: sheet, axis tables, calendar, packing list, readout. Nothing is judged."""
