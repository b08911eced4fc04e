"""How well the program hears, value by value: a manifest of recordings, what became of each, and the figures."""
