"""Sounds for the tests of hearing, made here: speech by the program's own voice, silence, and sound files."""

import functools
import io
from pathlib import Path

import numpy as np
import soundfile
import soxr

from assistant.devices.ports import RATE_HZ, Samples
from assistant.devices.speaker import Voice

SHARED = Path(__file__).parents[2] / "shared"
"""Recordings and models for development that lie beside the repository, where they are present."""


@functools.cache
def speech(text: str) -> Samples:
    """A sentence by the program's own voice, at RATE_HZ."""
    voice = Voice()
    sound = voice.render(text, 160)
    voice.close()
    assert sound is not None, voice.trouble
    samples, rate_hz = soundfile.read(io.BytesIO(sound), dtype="float32")
    return np.asarray(soxr.resample(samples * 0.5, rate_hz, RATE_HZ), dtype=np.float32)


def silence(seconds: float) -> Samples:
    return np.zeros(round(seconds * RATE_HZ), dtype=np.float32)


def uttered(*parts: str | float) -> Samples:
    """Sentences by the program's own voice and silences in seconds, one after the other."""
    return np.concatenate([speech(part) if isinstance(part, str) else silence(part) for part in parts])


def write(path: Path, samples: Samples, rate_hz: int = RATE_HZ, subtype: str | None = None) -> Path:
    soundfile.write(path, samples, rate_hz, subtype=subtype)
    return path
