"""Where speech is heard: another pace and pitch, strings joined from words, rooms, noise, a telephone's band, overload."""

# Shares of chance read best where they are used.
# ruff: noqa: PLR2004

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import soxr

from assistant.devices.ports import RATE_HZ

Samples = npt.NDArray[np.float32]
Chance = np.random.Generator


def perturbed(sound: Samples, chance: Chance, most: float = 0.13) -> Samples:
    """Played faster or slower, by at most that share: another pace, pitch and size of the speaker."""
    pace = 1 + chance.uniform(-most, most)
    return np.interp(np.arange(int(len(sound) / pace)) * pace, np.arange(len(sound)), sound).astype(np.float32)


def joined(parts: Sequence[Samples], chance: Chance) -> Samples:
    """Parts one after another, each a little louder or softer, with short gaps of one speaker's length."""
    longest = chance.uniform(0.04, 0.3)
    pieces: list[Samples] = []
    for part in parts:
        pieces += [part * np.float32(10 ** (chance.uniform(-4, 4) / 20))]
        pieces += [np.zeros(round(chance.uniform(0.0, longest) * RATE_HZ), dtype=np.float32)]
    return np.concatenate(pieces[:-1])


def noise(size: int, chance: Chance, crowd: Sequence[Samples]) -> npt.NDArray[np.float64]:
    """White, pink or brown noise, the hum of a machine, or four other people at once; of any level."""
    kind = chance.choice(("white", "pink", "brown", "hum", "people"))
    if kind == "people":
        voices = [crowd[chance.integers(len(crowd))] for _ in range(12)]
        lines = [np.resize(np.concatenate(voices[first : first + 3]), size) for first in range(0, 12, 3)]
        return np.sum([np.roll(line, chance.integers(size)) for line in lines], axis=0).astype(np.float64)
    if kind == "hum":
        at = np.arange(size) / RATE_HZ * 2 * np.pi * chance.uniform(45, 120)
        waves = np.sum([np.sin(at * order + order) / order for order in range(1, 9)], axis=0)
        return np.asarray(waves + chance.normal(0, 0.1, size), dtype=np.float64)
    hz = np.maximum(np.fft.rfftfreq(size, 1 / RATE_HZ), 40)
    slope = {"white": 0, "pink": 0.5, "brown": 1}[str(kind)]
    return np.asarray(np.fft.irfft(np.fft.rfft(chance.normal(size=size)) / hz**slope, size), dtype=np.float64)


def room(sound: npt.NDArray[np.float64], chance: Chance) -> npt.NDArray[np.float64]:
    """With an echo that dies away within 0.1 to 0.4 s."""
    length = round(chance.uniform(0.1, 0.4) * RATE_HZ)
    echo = chance.normal(size=length) * np.exp(-6.9 * np.arange(length) / length) * chance.uniform(0.02, 0.12)
    echo[0] = 1
    size = len(sound) + length
    return np.asarray(np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(echo, size), size)[: len(sound)])


def heard(sound: Samples, chance: Chance, crowd: Sequence[Samples]) -> Samples:
    """The sound as a microphone may give it, with silence or noise around it, at a peak of up to 0.5."""
    before, after = (np.zeros(round(chance.uniform(0.15, 0.45) * RATE_HZ)) for _ in range(2))
    mixed = np.concatenate([before, sound, after]).astype(np.float64)
    if chance.random() < 0.35:
        mixed = room(mixed, chance)
    if chance.random() < 0.3:  # a microphone that is dull or thin
        hz = np.fft.rfftfreq(len(mixed), 1 / RATE_HZ)
        tilt = chance.uniform(-6, 6) / 20 * np.log2(np.maximum(hz, 100) / 1000)
        mixed = np.fft.irfft(np.fft.rfft(mixed) * 10**tilt, len(mixed))
    if chance.random() < 0.7:
        other = noise(len(mixed), chance, crowd)
        level = np.sqrt(np.mean(mixed**2) / max(float(np.mean(other**2)), 1e-12))
        mixed = mixed + other * level * 10 ** (-chance.triangular(3, 24, 40) / 20)
    if chance.random() < 0.08:
        most = float(np.abs(mixed).max()) * chance.uniform(0.3, 0.8)
        mixed = np.clip(mixed, -most, most)
    if chance.random() < 0.45:
        mixed = soxr.resample(soxr.resample(mixed, RATE_HZ, RATE_HZ // 2), RATE_HZ // 2, RATE_HZ)
    peak = max(float(np.abs(mixed).max()), 1e-6)
    return np.asarray(mixed * (0.5 / peak * 10 ** (chance.uniform(-10, 0) / 20)), dtype=np.float32)
