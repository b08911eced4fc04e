"""Problems and exceptions, and how the text of one is shown.

    OhmaloudError            never raised itself
    ├── BadInput             what a person gave cannot be used; one line; exit status 2
    ├── BadData              data files (grammar, procedure, meter, model) with faults: every Problem found, not the first
    └── BadRecord            a journal that cannot be read, with the line

"Not yet", "not understood" and "cannot decide" are values, never exceptions. Device trouble is an event.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault in a file: where it is, what was found there, what was expected, what to do."""

    where: str
    """File, and key or line inside it: `grammar/units.toml: unit.kilohm.words[2]`."""
    found: str
    expected: str
    do: str = ""

    def line(self) -> str:
        """The fault as one line for a person."""
        text = f"{self.where}: found {self.found}, expected {self.expected}"
        return f"{text}. {self.do}" if self.do else f"{text}."


class OhmaloudError(Exception):
    """Base of the errors this program raises on purpose. Its text is one clear line."""


class BadInput(OhmaloudError):
    """What a person gave (an argument, a file, a device name) cannot be used."""


class BadData(OhmaloudError):
    """Data files have faults; `problems` holds all that were found, at least one."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        self.problems = problems
        super().__init__("\n".join(problem.line() for problem in problems))


class BadRecord(OhmaloudError):
    """A journal cannot be read or does not agree with itself."""


def shown(text: str) -> str:
    """The text with whatever commands a terminal, or cannot be shown, written as its code."""
    if text.isprintable():
        return text
    return "".join(char if char.isprintable() or char in _JOINERS else ascii(char)[1:-1] for char in text)


_JOINERS = "\u200c\u200d"
"""They join letters or keep them apart in some scripts, and belong to names in them."""
