"""What the add-on knows about the open file: live review, handlers, selection."""
