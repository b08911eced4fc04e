"""What happens next: the place to ask why it asked that."""
