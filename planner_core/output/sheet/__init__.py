"""The shot sheet, one file for each part of the page."""
