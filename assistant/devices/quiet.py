"""Keeps the sound libraries' own complaints off the screen: they write to standard error, between the lines of a session."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def quiet_libraries() -> Iterator[None]:
    """While this lasts, what is written to file 2 by other than Python goes nowhere; `sys.stderr` goes where it went."""
    stderr = sys.__stderr__
    if stderr is None or sys.stderr is not stderr:  # somebody has put another file there already
        yield
        return
    stderr.flush()
    kept = os.dup(2)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    own = os.fdopen(os.dup(2), "w", encoding=stderr.encoding, errors="backslashreplace", buffering=1)
    os.dup2(nowhere, 2)
    sys.stderr = own
    try:
        yield
    finally:
        own.close()
        sys.stderr = stderr
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)
