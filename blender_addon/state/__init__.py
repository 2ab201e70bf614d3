"""What is known about an open scene: its frames and review, handlers, selection. No buttons and no layout."""
