"""What was really shot, read from the frames on a card, and what it teaches the plan. Nothing is judged."""
