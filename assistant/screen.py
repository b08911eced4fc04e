"""The screen of a live session: lines for everything, and large type for question and reading where there is a terminal."""

import os
import shutil
import sys
import threading
from collections.abc import Callable
from typing import TextIO

from assistant.large_type import banner, display
from assistant.measure.parts import Judged

_COLUMNS = 80
_MOST_LINES = 11
"""Three lines of large type; a question that takes more would push the others off the screen, and stands there plainly anyway."""


class Screen:
    """Prints to standard error. Satisfies `live.Page`.

    Large type only on a terminal and only when wanted: it is made of block characters, which a screen reader would spell
    out. Without it every line stands alone, and nothing is said twice.
    """

    def __init__(self, *, large: bool, decided: Callable[[Judged], None], out: TextIO | None = None) -> None:
        self._out = out or sys.stderr
        self._large = large and self._out.isatty() and os.environ.get("TERM", "") != "dumb"
        self._decided = decided
        self._lock = threading.Lock()

    def line(self, text: str) -> None:
        """Print a line."""
        with self._lock:
            print(text, file=self._out, flush=True)

    def question(self, text: str) -> None:
        """The open question, large."""
        large = banner(text, self._columns()) if self._large else ""
        if 0 < large.count("\n") <= _MOST_LINES:
            self.line(f"\n{large}\n")

    def reading(self, text: str) -> None:
        """The last reading, larger."""
        if self._large:
            self.line(f"\n{display(text, self._columns())}\n")

    def verdict(self, verdict: Judged) -> None:
        """Give it to whatever reads the output."""
        self._decided(verdict)

    @staticmethod
    def _columns() -> int:
        return shutil.get_terminal_size((_COLUMNS, 24)).columns
