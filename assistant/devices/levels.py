"""How loud, how clean: figures of a sound, and what they mean in words."""

from dataclasses import dataclass

import numpy as np

from assistant.devices.endpoint import FRAME, is_clipped, speech_probability
from assistant.devices.ports import Samples

SILENT_DBFS = -90.0
"""Below this there is nothing but the converter's own noise, or a muted microphone."""
QUIET_DBFS = -45.0
"""Speech whose mean lies below this leaves too few steps of the converter (common practice, no source)."""
NOISY_DB = 10.0
"""Speech less than this above the noise is where recognisers begin to fail (our own measurements, `tests/measure_hearing.py`)."""
_LEAST = 1e-6
_SPEECH_ABOVE = 0.5


@dataclass(frozen=True, slots=True)
class Levels:
    """Of one stretch of sound. Levels in dB below full scale of a square wave; `snr_db` None without both speech and pauses."""

    level_dbfs: float
    """Mean level of the speech, or of everything where nobody spoke."""
    noise_dbfs: float
    """Usual level where nobody spoke; of the quietest tenth when somebody always did."""
    snr_db: float | None
    clipped: bool
    speech_s: float


def measure(samples: Samples) -> Levels:
    """The levels of a sound at RATE_HZ; of no sound at all, silence."""
    sound = np.nan_to_num(samples[: len(samples) - len(samples) % FRAME])
    if not len(sound):
        return Levels(dbfs(0.0), dbfs(0.0), None, clipped=False, speech_s=0.0)
    speaking = speech_probability(sound) > _SPEECH_ABOVE
    powers = np.square(sound.reshape(-1, FRAME), dtype=np.float64).mean(axis=1)
    # the median, since words fade into what counts as a pause
    noise = float(np.median(powers[~speaking])) if (~speaking).any() else float(np.quantile(powers, 0.1))
    speech = float(powers[speaking].mean()) if speaking.any() else float(powers.mean())
    snr = ratio_db(speech - noise, noise) if speaking.any() and (~speaking).any() else None
    return Levels(dbfs(speech), dbfs(noise), snr, is_clipped(sound), float(speaking.sum()) * FRAME / 16_000)


def dbfs(power: float) -> float:
    """A mean power as a level."""
    return round(10 * float(np.log10(max(power, _LEAST**2))), 1)


def ratio_db(speech: float, noise: float) -> float:
    """How far the speech lies above the noise, both as mean power; bounded, since digital silence has no noise at all."""
    return round(float(np.clip(10 * np.log10(max(speech, _LEAST**2) / max(noise, _LEAST**2)), -20.0, 80.0)), 1)


def in_words(levels: Levels) -> str:
    """What to make of it, in one line."""
    if levels.level_dbfs <= SILENT_DBFS:
        return "nothing at all: the microphone is muted or not the one you speak into"
    if levels.clipped:
        return "too loud, the sound breaks up: hold the microphone farther away, or turn it down"
    if not levels.speech_s:
        return f"nobody spoke; the noise is {_noise(levels.noise_dbfs)}"
    loud = "too quiet: speak up, or turn the microphone up" if levels.level_dbfs < QUIET_DBFS else "loud enough"
    if levels.snr_db is not None and levels.snr_db < NOISY_DB:
        return f"{loud}; noise is high: hold the microphone closer, or type"
    return f"{loud}; the noise is {_noise(levels.noise_dbfs)}"


def _noise(noise_dbfs: float) -> str:
    return "low" if noise_dbfs < -55 else "moderate" if noise_dbfs < -35 else "high"  # noqa: PLR2004 - words for levels
