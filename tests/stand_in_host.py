"""Sound devices that are none, behind the same port as the real ones: fast, obedient, and able to fail in every way."""

import threading
from dataclasses import dataclass, field

import numpy as np

from assistant.devices.host import Device, Fill, Take
from assistant.devices.ports import Samples
from assistant.errors import BadInput

MICROPHONE = Device(0, "bench microphone", 1, 0, 16_000, default_input=True)
LOUDSPEAKER = Device(1, "bench loudspeaker", 0, 2, 16_000, default_output=True)
BLOCK = 320
HEARD_BLOCK = 1_024


@dataclass(eq=False)
class StandInStream:
    """An open device."""

    host: "StandInHost"
    rate_hz: int
    take: Take | None = None
    fill: Fill | None = None
    latency_s: float = 0.0
    alive: bool = True

    def close(self) -> None:
        self.alive = False
        with self.host.lock:
            if self in self.host.streams:
                self.host.streams.remove(self)


@dataclass
class StandInHost:
    """Both devices work at first. A loudspeaker asks for sound as fast as it gets it, on a thread of its own, unless `frozen`."""

    plugged: list[Device] = field(default_factory=lambda: [MICROPHONE, LOUDSPEAKER])
    refuses: str = ""
    """Why no device can be opened; empty: they can."""
    frozen: bool = False
    played: list[Samples] = field(default_factory=list)
    opened: int = 0
    listed_anew: int = 0
    streams: list[StandInStream] = field(default_factory=list)
    lock: threading.RLock = field(default_factory=threading.RLock)

    def devices(self, *, anew: bool = False) -> tuple[Device, ...]:
        if self.refuses == "no library":
            raise BadInput("Sound needs a library.")
        if anew:
            self.listed_anew += 1
            for stream in tuple(self.streams):
                stream.close()
        return tuple(self.plugged)

    def record(self, device: Device, take: Take) -> StandInStream:
        return self._opened(device, StandInStream(self, device.rate_hz, take=take))

    def play(self, device: Device, fill: Fill) -> StandInStream:
        stream = self._opened(device, StandInStream(self, device.rate_hz, fill=fill))
        threading.Thread(target=self._pump, args=(stream,), daemon=True).start()
        return stream

    def _opened(self, device: Device, stream: StandInStream) -> StandInStream:
        if self.refuses or device not in self.plugged:
            raise BadInput(f"The device “{device.name}” cannot be used ({self.refuses or 'gone'}).")
        with self.lock:
            self.streams.append(stream)
            self.opened += 1
        return stream

    def _pump(self, stream: StandInStream) -> None:
        pause = threading.Event()
        while stream.alive:
            if not self.frozen and stream.fill is not None:
                block = stream.fill(BLOCK)
                if block.any():
                    self.played.append(block)
            pause.wait(0.0005)

    def feed(self, samples: Samples, *, lost: bool = False) -> bool:
        """Sound for whoever records, in blocks as a device gives them; False when nobody does."""
        with self.lock:
            ears = [stream.take for stream in self.streams if stream.take is not None]
        for at in range(0, len(samples), HEARD_BLOCK):
            for take in ears:
                take(samples[at : at + HEARD_BLOCK], lost)
            lost = False
        return bool(ears)

    def give(self, block: Samples) -> None:
        """One block of any length for whoever records."""
        for stream in tuple(self.streams):
            if stream.take is not None:
                stream.take(block, False)  # noqa: FBT003 - the host's call

    @property
    def heard(self) -> Samples:
        """Everything that sounded."""
        return np.concatenate([np.zeros(0, dtype=np.float32), *self.played])
