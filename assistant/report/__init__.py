"""What other people and programs read of a session."""
