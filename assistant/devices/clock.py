"""Time since a session began: the real clock, and one that only moves when it is told to. Both satisfy `ports.Clock`."""

import time


class SteadyClock:
    """Counts from its making; settings of the wall clock do not touch it."""

    def __init__(self) -> None:
        self._began = time.monotonic_ns()

    def now_ms(self) -> int:
        """Milliseconds, never decreasing."""
        return (time.monotonic_ns() - self._began) // 1_000_000


class HeldClock:
    """Stands still until it is moved on."""

    def __init__(self) -> None:
        self._now_ms = 0

    def now_ms(self) -> int:
        """Milliseconds, never decreasing."""
        return self._now_ms

    def move(self, by_ms: int) -> None:
        """Let time pass. Raises ValueError for a step backwards."""
        if by_ms < 0:
            raise ValueError(f"time does not run backwards: {by_ms} ms")
        self._now_ms += by_ms
