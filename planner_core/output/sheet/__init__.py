"""The shot sheet, one file for each part of the page. Markup only; what it tells is computed elsewhere."""
