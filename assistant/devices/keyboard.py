"""The keyboard: a thread that reads lines from standard input while everything else goes on."""

import codecs
import os
import sys
import threading

from assistant.devices.reports import KeysEnded, LineTyped, Tell

_MOST_BYTES = 65_536


class Keyboard:
    """Reads the file of that number, standard input when None, from `start` until it ends. A byte that is no UTF-8 is a refused word."""

    def __init__(self, tell: Tell, file: int | None = None) -> None:
        self._tell = tell
        self._file = file
        # it waits in a call of the system's that nothing can interrupt, so the program does not wait for it
        self._thread = threading.Thread(target=self._run, name="keyboard", daemon=True)

    def start(self) -> None:
        """Begin to read."""
        self._thread.start()

    def _run(self) -> None:
        decoder = codecs.getincrementaldecoder("utf-8")("replace")
        begun = ""
        try:
            # the number and not the object: that one's lock would be held while this waits, also when the program ends
            file = sys.stdin.fileno() if self._file is None else self._file
            while part := os.read(file, _MOST_BYTES):
                *lines, begun = (begun + decoder.decode(part)).split("\n")
                for line in lines:
                    self._tell(LineTyped(line.rstrip("\r")))
                begun = begun[-_MOST_BYTES:]
        except (OSError, ValueError, AttributeError):
            pass  # closed, or there never was one
        if begun:
            self._tell(LineTyped(begun))
        self._tell(KeysEnded())
