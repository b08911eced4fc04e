"""Numbers about electricity: the place to ask whether the arithmetic is right."""
