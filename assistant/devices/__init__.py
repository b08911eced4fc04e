"""Microphone, recogniser, speaker, clock and store: the place to ask why there is no sound."""
