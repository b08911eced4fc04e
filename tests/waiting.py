"""Waiting for what another thread does."""

import threading
import time
from typing import Any

LIMIT_S = 20.0
"""No test waits so long unless something is broken."""


def until(wanted: Any, what: str = "it") -> None:
    end = time.monotonic() + LIMIT_S
    while not wanted():
        assert time.monotonic() < end, f"{what} never came"
        threading.Event().wait(0.001)
