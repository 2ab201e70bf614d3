"""What leaves the program: the sheet, axis tables, calendar, packing list, the readout of a frame."""
