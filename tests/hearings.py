"""What a recogniser may have heard, made by hand, a recogniser that always hears the same, and a folder that looks like a model."""

from pathlib import Path

from assistant.devices.ports import Samples
from assistant.devices.vosk_folder import NEEDED
from assistant.language.meaning import Alternative, Expectation, Hearing, Word

SOURCES = ("tuned", "free", "tuned again", "free again")
"""The ways in which the built-in recogniser listens; when all of them agree it is sure."""


def hearing(*texts: str, engine: str = "test") -> Hearing:
    """What each way of listening heard, in order. Of an engine of no known bounds it is never sure."""
    words = (tuple(Word(word) for word in text.split()) for text in texts)
    return Hearing(tuple(Alternative(w, 0.0, s) for w, s in zip(words, SOURCES, strict=False)), engine)


def sure(text: str) -> Hearing:
    """The built-in recogniser heard this in every way; nothing at all when it is empty."""
    return hearing(*[text] * len(SOURCES) if text else (), engine="built-in")


class Hears:
    """A recogniser that always hears the same, surely."""

    name = "built-in stand-in"

    def __init__(self, text: str) -> None:
        self._hearing = sure(text)

    def hear(self, _samples: Samples, _expectation: Expectation) -> Hearing:
        return self._hearing


def vosk_folder(parent: Path) -> Path:
    """One that looks like the folder of a Vosk model."""
    for name in NEEDED:
        file = parent / "model" / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text("" if name == "conf/mfcc.conf" else "weights")
    return parent / "model"
