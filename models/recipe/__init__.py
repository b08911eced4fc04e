"""From nothing to a finished Vosk model: see `__main__.py` for the stages and README.md for the why."""
