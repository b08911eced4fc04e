"""The checkup before a spoken session: what would be used and why, what is missing, what to do about it."""

import queue
import time
from collections.abc import Callable, Mapping
from typing import Any, Protocol

import numpy as np
import soxr

from assistant.devices.host import SoundHost, choose
from assistant.devices.install import command_for
from assistant.devices.levels import SILENT_DBFS, in_words, measure
from assistant.devices.ports import RATE_HZ, Recogniser, Samples, Speaker
from assistant.errors import BadData, BadInput, Problem
from assistant.language import device_wording as wording

GONE_S = 2.0
"""A microphone that gives nothing for so long is not there."""
_TEST_SENTENCE = "Ready."


class Named(Protocol):
    """Settings, as far as a checkup asks them."""

    def text(self, key: str) -> str:
        """The value."""

    def source(self, key: str) -> str:
        """Where it comes from."""


class Checkup:
    """Collects what it finds in `found`, for machines, and tells each line as it comes. Every part may fail alone."""

    def __init__(self, host: SoundHost, settings: Named, tell: Callable[[str], None]) -> None:
        self._host = host
        self._settings = settings
        self._tell = tell
        self.found: dict[str, Mapping[str, Any]] = {}
        self.problems: list[Problem] = []
        """Settings that turned out to be of no use: the usual was taken."""
        self.can_hear = True
        self._passed_over: set[str] = set()

    def pass_over(self, key: str, problem: Problem) -> None:
        """Tell of a setting that is of no use; what holds without it is found instead."""
        self._passed_over.add(key)
        self.problems.append(problem)
        self._tell(problem.line())

    def engine(self, load: Callable[[], Recogniser]) -> None:
        """The recogniser."""
        began = time.perf_counter()
        try:
            recogniser = load()
        except (BadInput, BadData) as error:
            self._missing("recogniser", str(error).splitlines()[0])
            return
        name = recogniser.name
        took_s = round(time.perf_counter() - began, 1)
        self.found["recogniser"] = {"name": name, "why": self._why("engine"), "loaded_in_s": took_s}
        self._tell(f"Recogniser: {name}; {self._why('engine')}; loaded in {took_s} s.")

    def voice(self, speaker: Speaker) -> None:
        """The voice that would speak."""
        wav = speaker.render(_TEST_SENTENCE, 175)
        if wav is None:
            self._missing("voice", speaker.trouble or "no sound", command_for("voice"), hearing=False)
            return
        named = "" if "voice" in self._passed_over else self._settings.text("voice")
        name = named or "the first English one"
        self.found["voice"] = {"name": name, "why": self._why("voice")}
        self._tell(f"Voice: {name}; {self._why('voice')}.")

    def loudspeaker(self) -> None:
        """The device it would be heard from; it is opened and stays silent."""
        try:
            device = choose(self._host.devices(), wording.LOUDSPEAKER, self._settings.text("output") or None)
            stream = self._host.play(device, lambda frames: np.zeros(frames, dtype=np.float32))
        except BadInput as error:
            self._missing("loudspeaker", str(error), hearing=False)
            return
        rate_hz, latency_ms = stream.rate_hz, round(stream.latency_s * 1000)
        stream.close()
        why = self._why("output")
        self.found["loudspeaker"] = {"name": device.name, "why": why, "rate_hz": rate_hz, "latency_ms": latency_ms}
        self._tell(f"Loudspeaker: {device.name}; {why}; {rate_hz} Hz, {latency_ms} ms on the way.")

    def microphone(self, seconds: float) -> None:
        """The device it would listen to, and a test of so many seconds; 0 only opens it."""
        blocks: queue.Queue[Samples] = queue.Queue()
        lost: list[bool] = []

        def take(block: Samples, overflow: bool) -> None:  # noqa: FBT001 - the host's call
            blocks.put(block)
            lost.append(overflow)

        try:
            device = choose(self._host.devices(), wording.MICROPHONE, self._settings.text("input") or None)
            stream = self._host.record(device, take)
        except BadInput as error:
            self._missing("microphone", str(error))
            return
        why = self._why("input")
        self._tell(f"Microphone: {device.name}; {why}; {stream.rate_hz} Hz.")
        about = {"name": device.name, "why": why, "rate_hz": stream.rate_hz}
        try:
            if seconds:
                self._tell(f"Speak now, as you would at the bench, for {seconds:g} seconds.")
            sound = recorded(blocks, round(seconds * stream.rate_hz))
        finally:
            stream.close()
        if sound is None:
            self._missing("microphone", wording.MICROPHONE_GONE)
            return
        if not seconds:
            self.found["microphone"] = about
            return
        levels = measure(np.asarray(soxr.resample(sound, stream.rate_hz, RATE_HZ), dtype=np.float32))
        words = in_words(levels)
        self.can_hear = self.can_hear and levels.level_dbfs > SILENT_DBFS
        self.found["microphone"] = {
            **about,
            "level_dbfs": levels.level_dbfs,
            "noise_dbfs": levels.noise_dbfs,
            "snr_db": levels.snr_db,
            "clipped": levels.clipped,
            "speech_s": round(levels.speech_s, 2),
            "overflows": sum(lost),
            "in_words": words,
        }
        snr = "unknown" if levels.snr_db is None else f"{levels.snr_db} dB"
        self._tell(
            f"Microphone test: {words}. Level {levels.level_dbfs} dBFS, noise {levels.noise_dbfs} dBFS, "
            f"speech above noise {snr}, clipped: {'yes' if levels.clipped else 'no'}."
        )

    def _why(self, key: str) -> str:
        source = "default" if key in self._passed_over else self._settings.source(key)
        return "the system's own choice" if source == "default" else f"named by {source}"

    def _missing(self, part: str, line: str, command: str = "", *, hearing: bool = True) -> None:
        # what is missing may say itself what installs it
        said = next((each for each in map(command_for, ("portaudio", "weights")) if each in line), None)
        self.found[part] = {"name": None, "trouble": line, "install": command or said}
        self.can_hear = self.can_hear and not hearing
        self._tell(f"{part.capitalize()}: none. {line}" + (f" Run: {command}" if command else ""))


def recorded(blocks: "queue.Queue[Samples]", frames: int) -> Samples | None:
    """So many frames at least, or one block; None when the device gives nothing."""
    parts: list[Samples] = []
    while not parts or sum(map(len, parts)) < frames:
        try:
            parts.append(blocks.get(timeout=GONE_S))
        except queue.Empty:
            return None
    return np.concatenate(parts)
