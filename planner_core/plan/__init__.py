"""What the photographer decided: the plan, its fields, file and clock. No light, no picture."""
