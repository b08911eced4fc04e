"""The loudspeaker: plays one piece of sound at a time, stops at once when told, and notices when the device has gone."""

import threading
import time
from collections.abc import Callable

import numpy as np
import soxr

from assistant.devices.host import SoundHost, SoundStream, choose
from assistant.devices.ports import Samples
from assistant.errors import BadInput
from assistant.language import device_wording as wording

GONE_S = 2.0
"""A device that took no block for so long is gone."""
_TAIL_S = 0.15
"""The room's own echo, and what the system holds beyond the latency it admits."""
_LONG_LATENCY_S = 0.2
"""Stopping by playing silence takes as long as the latency; above this the device is closed instead."""
_LEAST_WAIT_S = 0.25


class Loudspeaker:
    """Plays through one stream that is opened when needed. `play`, `open` and `close` belong to one thread, the rest to any."""

    def __init__(self, host: SoundHost, name: str | None = None, *, gone_s: float = GONE_S) -> None:
        self._host = host
        self._name = name
        self._gone_s = gone_s
        self._stream: SoundStream | None = None
        self._lock = threading.Lock()
        self._left: Samples = np.zeros(0, dtype=np.float32)
        self._blocks = 0
        self._played = threading.Event()
        self._silent_at = 0.0
        self.device = ""
        """Name of the device that was opened last."""
        self.began: Callable[[], None] = lambda: None
        """Called when the first sample of a piece goes to the device; for measuring."""
        self._stopped = threading.Event()
        self._fresh = False

    @property
    def sounding(self) -> bool:
        """Whether something can still be heard."""
        return time.monotonic() < self._silent_at

    def open(self) -> SoundStream:
        """The device, ready to play. Raises BadInput, one line."""
        if self._stream is None or not self._stream.alive:
            self.close()  # one that is only to be opened again is still held
            try:
                device = choose(self._host.devices(), wording.LOUDSPEAKER, self._name)
            except BadInput:
                device = choose(self._host.devices(anew=True), wording.LOUDSPEAKER, self._name)
            self._stream = self._host.play(device, self._fill)
            self.device = device.name
        return self._stream

    def play(self, samples: Samples, rate_hz: int, ahead: Callable[[], None] = lambda: None) -> bool:
        """Play to the end, or until `stop`: True when all of it went out. `ahead` is done meanwhile. Raises BadInput."""
        stream = self.open()
        sound = np.asarray(soxr.resample(samples, rate_hz, stream.rate_hz), dtype=np.float32)
        with self._lock:
            if self._stopped.is_set():
                return False
            self._left, self._fresh = sound, True
            self._played.clear()
        ahead()
        if not self._wait(stream):
            self.close()
            raise BadInput(wording.LOUDSPEAKER_GONE)
        with self._lock:
            whole = stream.alive and not self._stopped.is_set()
            self._left = self._left[:0]
        if self._stopped.is_set() and stream.latency_s > _LONG_LATENCY_S:
            self.close()
        return whole

    def free(self) -> None:
        """Play again after `stop`."""
        with self._lock:
            self._stopped.clear()

    def stop(self) -> None:
        """Silence within 0.3 s; nothing is played until `free`, so that a stop just before a piece begins holds for it too."""
        with self._lock:
            self._left = self._left[:0]
            self._stopped.set()
            self._played.set()

    def close(self) -> None:
        """Let go of the device, at once."""
        stream, self._stream = self._stream, None
        if stream is not None:
            stream.close()
        self._silent_at = min(self._silent_at, time.monotonic() + _TAIL_S)

    def _wait(self, stream: SoundStream) -> bool:
        """Until the piece has gone out or was stopped; False when the device stopped taking sound."""
        seen, waited_s = self._blocks, 0.0
        step_s = min(_LEAST_WAIT_S, self._gone_s)
        while not self._played.wait(step_s):
            if not stream.alive:
                return True
            waited_s = 0.0 if self._blocks != seen else waited_s + step_s
            seen = self._blocks
            if waited_s >= self._gone_s:
                return False
        return True

    def _fill(self, frames: int) -> Samples:
        """The next block for the device."""
        block = np.zeros(frames, dtype=np.float32)
        with self._lock:
            part, self._left = self._left[:frames], self._left[frames:]
            over = not len(self._left)
            fresh, self._fresh = self._fresh and bool(len(part)), False
        self._blocks += 1
        stream = self._stream
        if len(part):
            block[: len(part)] = part
            on_its_way_s = frames / stream.rate_hz + stream.latency_s if stream else 0.0
            self._silent_at = time.monotonic() + on_its_way_s + _TAIL_S
            if fresh:
                self.began()
            if over:
                self._played.set()
        return block
