"""The live microphone: one listening, from opening the device until it fails or is closed. Satisfies `ports.Microphone`."""

import queue
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import soxr

from assistant.devices.endpoint import Endpointer, Pauses
from assistant.devices.host import Device, SoundHost, SoundStream, choose
from assistant.devices.ports import RATE_HZ, Samples, Utterance
from assistant.errors import BadInput
from assistant.language import device_wording as wording

GONE_S = 2.0
"""A device that was pulled out gives no error: when no block came for so long, it is gone."""
_LOOK_S = 0.25
_MOST_BLOCKS = 600
"""About 40 s wait to be looked at; when that is not enough, the newest are lost and that is told."""
_BEGAN_S = 0.1
"""So much speech is no click: somebody speaks."""


@dataclass(frozen=True, slots=True)
class Block:
    """Sound as it came, and whether the ears were shut while it sounded, or some was lost before it."""

    samples: Samples
    deaf: bool
    lost: bool


class Ear:
    """What the microphone tells while it listens; everything here does nothing, for those who do not want to know."""

    def works(self) -> None:
        """The first sound came."""

    def began(self) -> None:
        """Somebody speaks."""

    def ended_without(self) -> None:
        """It was nothing after all."""

    def lost(self) -> None:
        """Sound was lost while somebody spoke; the utterance is not given out."""

    def silence(self, samples: Samples) -> None:
        """Sound at RATE_HZ in which nobody spoke."""


class LiveMicrophone:
    """Utterances as they are spoken. `deaf` is asked for each block when it comes: True shuts the ears for it.

    `utterances` opens the device (`name`, or the system's choice) and ends when `close` was called, from any thread. It
    raises BadInput with one line when the device cannot be opened or stops giving sound; called again, it tries anew.
    """

    def __init__(  # noqa: PLR0913 - what an ear needs
        self,
        host: SoundHost,
        name: str | None = None,
        *,
        pauses: Pauses | None = None,
        unfinished: Callable[[Samples], bool] | None = None,
        deaf: Callable[[], bool] = lambda: False,
        ear: Ear | None = None,
        gone_s: float = GONE_S,
    ) -> None:
        self._host = host
        self._name = name
        self._pauses = pauses
        self._unfinished = unfinished
        self._deaf = deaf
        self._ear = ear or Ear()
        self._gone_s = gone_s
        self._blocks: queue.Queue[Block | None] = queue.Queue()
        self._lost = False
        self._closed = threading.Event()
        self.device = ""
        """Name of the device that was opened last."""

    def close(self) -> None:
        """End `utterances`."""
        self._closed.set()
        self._blocks.put(None)

    def utterances(self) -> Iterator[Utterance]:
        """Utterances in order, until closed. Raises BadInput."""
        while not self._closed.is_set():
            self._blocks = queue.Queue()
            device = self._found()
            stream = self._host.record(device, self._take)
            self.device = device.name
            try:
                yield from self._listen(stream)
                if stream.alive and not self._closed.is_set():
                    raise BadInput(wording.MICROPHONE_GONE)
                # closed, or the list of devices was read anew and nothing is wrong with this one
            finally:
                stream.close()

    def _found(self) -> Device:
        """The device, looked for anew when it is not in the list that was read before."""
        try:
            return choose(self._host.devices(), wording.MICROPHONE, self._name)
        except BadInput:
            return choose(self._host.devices(anew=True), wording.MICROPHONE, self._name)

    def _take(self, samples: Samples, lost: bool) -> None:  # noqa: FBT001 - the host's call
        if self._blocks.qsize() >= _MOST_BLOCKS:
            self._lost = True
            return
        self._blocks.put(Block(samples, self._deaf(), lost or self._lost))
        self._lost = False

    def _sound(self, stream: SoundStream) -> Iterator[Block]:
        """Blocks until none came for long, the stream was closed, or this was."""
        waited_s = -self._gone_s  # some devices take their time for the first block
        while stream.alive and waited_s < self._gone_s:
            look_s = min(_LOOK_S, self._gone_s)
            try:
                block = self._blocks.get(timeout=look_s)
            except queue.Empty:
                waited_s += look_s
                continue
            if block is None:
                return
            waited_s = 0.0
            yield block

    def _listen(self, stream: SoundStream) -> Iterator[Utterance]:
        """Until no more sound comes."""
        resampler = soxr.ResampleStream(stream.rate_hz, RATE_HZ, 1, dtype="float32")
        ears = Endpointer(self._pauses, self._unfinished)
        began = lost = False
        first = True
        for block in self._sound(stream):
            if first:
                self._ear.works()
                first = False
            sound = resampler.resample_chunk(np.clip(np.nan_to_num(block.samples), -1.0, 1.0))
            found = ears.shut(_BEGAN_S) if block.deaf else ears.feed(sound)
            lost = lost or (block.lost and ears.speech_s > 0)
            if not began and (found or ears.speech_s >= _BEGAN_S):
                began = True
                self._ear.began()
            for utterance in found:
                if lost:
                    self._ear.lost()
                else:
                    yield utterance
                began = lost = False
            if not ears.speech_s:
                if began:
                    self._ear.ended_without()
                began = lost = False
                if not block.deaf:
                    self._ear.silence(sound)
