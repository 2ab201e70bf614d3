"""What the user sees and presses: properties, panels, overlay, operators. Thin; the work is done below."""
