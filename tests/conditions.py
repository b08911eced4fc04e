"""What a shop, a room and a cheap microphone do to speech, as functions of the sound: coughs and music are made here, synthetic.

Every function depends on nothing but its arguments. Sound is mono at RATE_HZ, full scale ±1.
"""

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from assistant.devices.ports import RATE_HZ, Samples
from assistant.score.hearing import mixed

_NOTES_HZ = (220.0, 277.2, 329.6, 440.0, 554.4)
_COUGH_S = 0.28
_REVERB_S = 0.5
"""Time in which a room's echo falls by 60 dB: a workshop with hard walls (common practice, no source)."""


def gain(samples: Samples, dbfs: float) -> Samples:
    """The sound with its highest peak at this level."""
    peak = float(np.abs(samples).max(initial=0.0))
    return (samples * np.float32(10 ** (dbfs / 20) / peak)).astype(np.float32) if peak else samples


def clipped(samples: Samples, over_db: float) -> Samples:
    """Overdriven: so much above full scale, and cut off there."""
    return np.clip(gain(samples, over_db), -1.0, 1.0).astype(np.float32)


def band_limited(samples: Samples, highest_hz: float) -> Samples:
    """Without anything above this frequency."""
    spectrum = np.fft.rfft(samples)
    spectrum[np.fft.rfftfreq(len(samples), 1 / RATE_HZ) > highest_hz] = 0
    return np.fft.irfft(spectrum, len(samples)).astype(np.float32)


def at_speed(samples: Samples, speed: float) -> Samples:
    """Played faster or slower, its pitch going with it."""
    played = np.arange(int(len(samples) / speed)) * speed
    return np.asarray(np.interp(played, np.arange(len(samples)), samples), dtype=np.float32)


def echoing(samples: Samples, seed: int = 1) -> Samples:
    """In a room: the echo begins 10 ms after the sound, as loud in all as the sound itself, and dies away."""
    times = np.arange(round(_REVERB_S * RATE_HZ)) / RATE_HZ
    tail = np.random.default_rng(seed).standard_normal(len(times)) * 10 ** (-3 * times / _REVERB_S)
    tail[: RATE_HZ // 100] = 0
    size = 1 << (len(samples) + len(tail)).bit_length()
    echo = np.fft.irfft(np.fft.rfft(samples, size) * np.fft.rfft(tail / np.sqrt(np.sum(tail**2)), size), size)
    return gain((samples + echo[: len(samples)]).astype(np.float32), -3.0)


def hum(seconds: float, mains_hz: float) -> Samples:
    """The hum of the mains: the frequency and its overtones, each weaker than the one before."""
    times = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    tones = [np.sin(2 * np.pi * mains_hz * k * times) * 0.3 / k for k in range(1, 8)]
    return np.asarray(np.sum(tones, axis=0), dtype=np.float32)


def music(seconds: float, seed: int = 1) -> Samples:
    """Chords of three notes with overtones, a new one every 0.4 s; synthetic."""
    chance = np.random.default_rng(seed)
    times = np.arange(round(0.4 * RATE_HZ)) / RATE_HZ
    chords = []
    for _ in range(int(seconds / 0.4) + 1):
        notes = chance.choice(_NOTES_HZ, 3, replace=False)
        tones = [np.sin(2 * np.pi * note * k * times) / k**1.5 for note in notes for k in range(1, 6)]
        chords.append(np.sum(tones, axis=0) * np.exp(-3 * times) * 0.1)
    return np.concatenate(chords)[: round(seconds * RATE_HZ)].astype(np.float32)


def cough(seed: int = 1) -> Samples:
    """One cough: a burst of noise that rises at once and dies away, most of it between 300 and 2,500 Hz; synthetic."""
    chance = np.random.default_rng(seed)
    size = round(_COUGH_S * RATE_HZ)
    hz = np.fft.rfftfreq(size, 1 / RATE_HZ)
    shape = 1 / (1 + ((hz - 900) / 700) ** 2)
    burst = np.fft.irfft(np.fft.rfft(chance.standard_normal(size)) * shape, size)
    times = np.arange(size) / RATE_HZ
    return gain((burst * np.minimum(times / 0.01, 1) * np.exp(-times / 0.08)).astype(np.float32), -6.0)


def coughs(seconds: float, seed: int = 1) -> Samples:
    """Coughs, two at a time with a pause of 0.9 s between the pairs."""
    pair = np.concatenate([cough(seed), np.zeros(RATE_HZ // 10, dtype=np.float32), cough(seed + 1)])
    return np.resize(np.concatenate([np.zeros(RATE_HZ * 9 // 10, dtype=np.float32), pair]), round(seconds * RATE_HZ))


def cough_before(samples: Samples, seed: int = 1) -> Samples:
    """Somebody coughs, and speaks 0.3 s after."""
    return np.concatenate([np.zeros(RATE_HZ // 2, dtype=np.float32), cough(seed), samples])


def conditions(others: Sequence[Samples]) -> Mapping[str, Callable[[Samples, int], Samples]]:
    """Every condition by name: what it makes of a sound and a number that stands for the recording. `others` are other speakers."""

    def beside(snr_db: float) -> Callable[[Samples, int], Samples]:
        return lambda samples, seed: mixed(samples, others[seed % len(others)], snr_db)

    def constant(change: Callable[[Samples], Samples]) -> Callable[[Samples, int], Samples]:
        return lambda samples, _seed: change(samples)

    return {
        "as recorded": constant(lambda samples: samples),
        **{f"peak at {dbfs:g} dBFS": _with(gain, dbfs) for dbfs in (-30, -20, -10, 0)},
        **{f"clipped by {over:g} dB": _with(clipped, over) for over in (6, 12, 20)},
        **{
            f"{mains} Hz hum, {snr} dB below": constant(_under(hum(4.0, mains), snr))
            for mains in (50, 60)
            for snr in (20, 5)
        },
        "nothing above 4 kHz": _with(band_limited, 4000),
        **{f"speed {speed:g}": _with(at_speed, speed) for speed in (0.8, 0.9, 1.1, 1.25)},
        "room echo": echoing,
        "second speaker, 15 dB below": beside(15),
        "second speaker, 5 dB below": beside(5),
        "a cough before": cough_before,
        **{f"music, {snr} dB below": _beside_music(snr) for snr in (20, 10)},
    }


def _with(change: Callable[[Samples, float], Samples], number: float) -> Callable[[Samples, int], Samples]:
    return lambda samples, _seed: change(samples, number)


def _beside_music(snr_db: float) -> Callable[[Samples, int], Samples]:
    return lambda samples, seed: mixed(samples, music(6.0, seed), snr_db)


def _under(noise: Samples, snr_db: float) -> Callable[[Samples], Samples]:
    return lambda samples: mixed(samples, noise, snr_db)
