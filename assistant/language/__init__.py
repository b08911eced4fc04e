"""Words and their meaning: the place to ask whether it misheard."""
