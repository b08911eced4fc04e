"""Synthetic voices for measurements: variants of espeak-ng that no network here has learned from, and flite's kal where it is there."""

import io
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Self

import numpy as np
import soundfile
import soxr

from assistant.devices.ports import RATE_HZ, Samples
from assistant.devices.speaker import Voice, for_speech

ESPEAK = ("en-us+m5", "en-us+f3", "en-gb-scotland+croak")
"""By the package espeakng-loader. The variants m5, f3 and croak are held out of all learning (models/letters/CARD.md)."""
FLITE = "flite kal"
"""Where the program flite is installed. The letters have learned from this voice."""
_BEFORE_S, _AFTER_S = 0.4, 0.7
_RATE_WPM = 160
_PEAK = 0.4


def there() -> tuple[str, ...]:
    """The voices that can speak on this machine."""
    return (*ESPEAK, *((FLITE,) if shutil.which("flite") else ()))


class Cast:
    """Speaks with any of the voices; at RATE_HZ, with silence around."""

    def __init__(self) -> None:
        self._voices: dict[str, Voice] = {}

    def say(self, text: str, voice: str) -> Samples:
        """The line as the assistant's own voice would say it (4.7 kΩ digit by digit). Raises RuntimeError when it cannot."""
        samples, rate_hz = soundfile.read(io.BytesIO(self._wav(for_speech(text), voice)), dtype="float32")
        sound = np.asarray(soxr.resample(samples, rate_hz, RATE_HZ), dtype=np.float32)
        sound *= np.float32(_PEAK / max(float(np.abs(sound).max(initial=0.0)), 1e-6))
        before, after = (np.zeros(round(seconds * RATE_HZ), dtype=np.float32) for seconds in (_BEFORE_S, _AFTER_S))
        return np.concatenate([before, sound, after])

    def _wav(self, text: str, voice: str) -> bytes:
        if voice == FLITE:
            with tempfile.TemporaryDirectory() as folder:
                path = Path(folder) / "said.wav"
                subprocess.run(("flite", "-voice", "kal", "-t", text, "-o", str(path)), check=True, timeout=30)
                return path.read_bytes()
        speaker = self._voices.setdefault(voice, Voice(voice))
        wav = speaker.render(text, _RATE_WPM)
        if wav is None:
            raise RuntimeError(f"{voice} cannot say {text!r}: {speaker.trouble}")
        return wav

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for voice in self._voices.values():
            voice.close()
