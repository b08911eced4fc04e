"""Where speech is heard, for many sounds at once: strings of pieces, rooms, noise, other people, a telephone's band, overload."""

# Shares of chance read best where they are used.
# ruff: noqa: PLR2004

from collections.abc import Sequence

import numpy as np
import torch
from torch import Tensor

from assistant.devices.ports import RATE_HZ
from models.recipe.sounds import Sound

Chance = np.random.Generator
CROWD = 4
"""People who talk at once where others talk."""
WAVES, UNEVEN_DB = 5, 2.0
"""How uneven microphones are: so many waves over six octaves, each of so many decibels (standard deviation)."""


def played(samples: Tensor, sounds: Sequence[Sound]) -> tuple[Tensor, Tensor]:
    """The pieces one after another, each faster or slower: pace, pitch and size of the speaker; and where they lie.

    Both of shape (sounds, longest), the second 1 or 0.
    """
    longest = max(sound.length for sound in sounds)
    rows = []
    for number, sound in enumerate(sounds):
        at = number * longest
        for piece in sound.pieces:
            at += piece.gap
            rows.append((at, piece.first, piece.size, piece.length, piece.pace, piece.gain))
            at += piece.length
    out, lies = torch.zeros(2, len(sounds) * longest, device=samples.device)
    if not rows:
        return out.view(len(sounds), longest), lies.view(len(sounds), longest)
    table = torch.tensor(np.array(rows, dtype=np.float64).T, device=samples.device)
    lengths = table[3].long()
    piece = torch.repeat_interleave(torch.arange(len(rows), device=samples.device), lengths)
    within = torch.arange(len(piece), device=samples.device) - (lengths.cumsum(0) - lengths)[piece]
    source = within * table[4][piece]
    low = source.long()
    share = (source - low).float()
    first = table[1].long()[piece]
    high = torch.minimum(low + 1, table[2].long()[piece] - 1)
    sound_of = samples[first + low].float() * (1 - share) + samples[first + high].float() * share
    where = table[0].long()[piece] + within
    out[where] = sound_of * table[5][piece].float() / 32768
    lies[where] = 1
    return out.view(len(sounds), longest), lies.view(len(sounds), longest)


def heard(samples: Tensor, crowd: Sequence[tuple[int, int]], sounds: Sequence[Sound], chance: Chance) -> Tensor:
    """The sounds as microphones may give them, at a peak of up to 0.5; shape (sounds, longest), silence after the shorter ones.

    `samples` is the bank's, `crowd` the places in it of people who may talk in the background.
    """
    device = samples.device
    clean, lies = played(samples, sounds)
    count, size = clean.shape
    fft = 2 ** int(np.ceil(np.log2(size + RATE_HZ // 2)))
    hz = torch.fft.rfftfreq(fft, 1 / RATE_HZ, device=device)

    def per_sound(values: np.ndarray) -> Tensor:
        return torch.tensor(values, dtype=torch.float32, device=device)[:, None]

    live = torch.arange(size, device=device)[None] < per_sound(np.array([sound.length for sound in sounds]))
    # a room: an echo that dies away within 0.08 to 0.5 s
    length = per_sound(np.where(chance.random(count) < 0.4, chance.uniform(0.08, 0.5, count), 1e-3))
    at = torch.arange(RATE_HZ // 2, device=device)[None] / RATE_HZ
    strength = per_sound(chance.uniform(0.02, 0.14, count))
    echo = torch.randn(count, RATE_HZ // 2, device=device) * torch.exp(-6.9 * at / length) * strength
    echo[:, 0] = 1
    # a microphone that is dull or thin: decibels for each octave
    tilt = np.where(chance.random(count) < 0.4, chance.uniform(-6, 6, count), 0)
    octaves = torch.log2(hz.clamp_min(100) / 1000)[None]
    colour_db = per_sound(tilt) * octaves
    for waves in range(1, WAVES + 1):
        height = per_sound(chance.normal(0, UNEVEN_DB, count))
        colour_db = colour_db + height * torch.cos(
            octaves * waves * np.pi / 6 + per_sound(chance.uniform(0, 6.28, count))
        )
    slope = 10 ** (colour_db / 20)
    mixed = torch.fft.irfft(torch.fft.rfft(clean, fft) * torch.fft.rfft(echo, fft) * slope, fft)[:, :size] * live
    power = mixed.pow(2).sum(1, keepdim=True) / live.sum(1, keepdim=True)
    quiet = power < 1e-9
    mixed = torch.where(quiet, torch.randn_like(mixed) * 1e-4, mixed)
    power = torch.where(quiet, torch.full_like(power, 1e-8), power)
    other = _noise(samples, crowd, count, size, chance)
    other = other * (power / other.pow(2).mean(1, keepdim=True).clamp_min(1e-12)).sqrt()
    below_db = np.where(chance.random(count) < 0.75, chance.triangular(2, 20, 42, count), 80)
    mixed = mixed + other * 10 ** (-per_sound(below_db) / 20)
    peak = mixed.abs().amax(1, keepdim=True).clamp_min(1e-6)
    most = peak * per_sound(np.where(chance.random(count) < 0.1, chance.uniform(0.2, 0.8, count), 1))
    mixed = mixed.clamp(-most, most)
    gated = per_sound(np.array([sound.gated for sound in sounds], dtype=np.float64))
    mixed = mixed * (1 - gated * (1 - lies))
    # a telephone's band, or the whole of it
    high = np.where(chance.random(count) < 0.5, chance.uniform(3300, 4000, count), 9000)
    low = np.where(chance.random(count) < 0.2, chance.uniform(100, 300, count), 0)
    band = torch.sigmoid((per_sound(high) - hz) / 40) * torch.sigmoid((hz - per_sound(low)) / 15 + 3)
    mixed = torch.fft.irfft(torch.fft.rfft(mixed, fft) * band, fft)[:, :size]
    peak = mixed.abs().amax(1, keepdim=True).clamp_min(1e-6)
    return mixed * (0.5 * 10 ** (per_sound(chance.uniform(-24, 0, count)) / 20) / peak)


def _noise(samples: Tensor, crowd: Sequence[tuple[int, int]], count: int, size: int, chance: Chance) -> Tensor:
    """White to brown noise, the hum and rattle of a machine, or other people at once; of any level, shape (count, size)."""
    device = samples.device
    slopes = torch.tensor(chance.uniform(0, 1.1, count), dtype=torch.float32, device=device)[:, None]
    hz = torch.fft.rfftfreq(size, 1 / RATE_HZ, device=device).clamp_min(40)[None]
    coloured = torch.fft.irfft(torch.fft.rfft(torch.randn(count, size, device=device)) / hz**slopes, size)
    kind = chance.choice(3, count, p=(0.5, 0.25, 0.25))
    found = coloured / coloured.pow(2).mean(1, keepdim=True).sqrt().clamp_min(1e-9)
    machines = np.flatnonzero(kind == 1)
    if len(machines):
        base = torch.tensor(chance.uniform(30, 130, len(machines)), dtype=torch.float32, device=device)[:, None]
        at = torch.arange(size, device=device)[None] / RATE_HZ
        drift = 1 + 0.02 * torch.sin(2 * np.pi * 0.7 * at)
        waves = sum(
            torch.sin(2 * np.pi * base * order * at * drift + order) * float(chance.uniform(0.1, 1)) / order**0.5
            for order in range(1, 20)
        )
        found[machines] = waves + found[machines] * float(chance.uniform(0.3, 1.5))
    people = np.flatnonzero(kind == 2)
    if len(people) and crowd:
        lines = np.array([[crowd[chance.integers(len(crowd))][0] for _ in range(CROWD)] for _ in people])
        begin = torch.tensor(np.minimum(lines, max(len(samples) - size, 0)), device=device)
        where = begin[..., None] + torch.arange(size, device=device)
        found[people] = samples[where.clamp_max(len(samples) - 1)].float().sum(1) / 32768
    return found
