"""What the network learns from: sounds put together from kept speech, heard in some place, through the frozen lower layers."""

# Shares of chance read best where they are used.
# ruff: noqa: PLR2004

import io
import json
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import torch

from assistant.devices.ports import RATE_HZ
from models.recipe import places
from models.recipe.network import Cepstra, Lower
from models.recipe.said import ALONE, DIGITS
from models.recipe.voices import Samples, Spoken

PER_PART = 200
LONGEST_S = 8.0
ANSWERS = ("yes", "no", "stop")
STRING_WORDS = (*DIGITS, *DIGITS, "oh", "nought")
ENGINES = ("real", "real", "kokoro", "kokoro", "kokoro", "kokoro", "espeak", "espeak", "espeak", "flite")
"""Whose speech is taken how often."""


@dataclass(frozen=True, slots=True)
class Sound:
    """A sound with the words in it, and who spoke them by which engine."""

    engine: str
    text: str
    samples: Samples


class Bank:
    """Kept speech by engine and voice; only that of speakers held out (name `held`), or only the rest (`learn`)."""

    def __init__(self, spoken: list[Spoken], sounds: list[npt.NDArray[np.int16]], *, held: bool) -> None:
        self.name = "held" if held else "learn"
        self._texts: dict[str, list[tuple[str, Samples]]] = defaultdict(list)
        self._alone: dict[str, dict[str, dict[str, Samples]]] = defaultdict(lambda: defaultdict(dict))
        self._real: dict[str, list[tuple[str, Samples]]] = defaultdict(list)
        self.crowd: list[Samples] = []
        for each, kept in zip(spoken, sounds, strict=True):
            if each.held != held or not len(kept):
                continue
            sound = kept.astype(np.float32) / 32767
            if each.engine == "real":
                kind = "digit" if each.text in DIGITS else "answer" if each.text in ANSWERS else "other"
                self._real[kind].append((each.text, sound))
                self.crowd.append(sound)
            elif each.text in ALONE:
                self._alone[each.engine][each.voice][each.text] = sound
            else:
                self._texts[each.engine].append((each.text, sound))
        self._digits_by_word: dict[str, list[Samples]] = defaultdict(list)
        for text, sound in self._real["digit"]:
            self._digits_by_word[text].append(sound)
        self._engines = [engine for engine in ENGINES if engine == "real" or self._texts[engine]]

    def sound(self, chance: np.random.Generator) -> Sound:
        """One sound that was never put together before, as a microphone gives it."""
        if chance.random() < 0.02:
            silent = np.full(round(chance.uniform(0.5, 2) * RATE_HZ), 1e-4, dtype=np.float32)
            return Sound("none", "", places.heard(silent, chance, self.crowd))
        engine = self._engines[chance.integers(len(self._engines))]
        if engine == "real":
            words = self._people(chance)
        elif chance.random() < 0.4:
            words = self._string(engine, chance)
        else:
            text, sound = self._texts[engine][chance.integers(len(self._texts[engine]))]
            words = [(text, places.perturbed(sound, chance))]
        text = " ".join(text for text, _ in words)
        return Sound(engine, text, places.heard(places.joined([part for _, part in words], chance), chance, self.crowd))

    def _string(self, engine: str, chance: np.random.Generator) -> list[tuple[str, Samples]]:
        """Words that one voice spoke alone: most often digits; one size of speaker for all of them."""
        voices = sorted(self._alone[engine])
        spoken = self._alone[engine][voices[chance.integers(len(voices))]]
        wanted = STRING_WORDS if chance.random() < 0.85 else ALONE
        seed = int(chance.integers(1 << 30))
        words = [wanted[chance.integers(len(wanted))] for _ in range(chance.choice((1, 2, 3, 3, 4, 4, 5, 6)))]
        return [
            (word, places.perturbed(spoken[word], np.random.default_rng(seed))) for word in words if word in spoken
        ] or self._string(engine, chance)

    def _people(self, chance: np.random.Generator) -> list[tuple[str, Samples]]:
        """Clips of real people, alone or several; digits as often as all other words, though few were recorded."""
        words = []
        kind = chance.random()
        for _ in range(1 if kind < 0.4 else chance.choice((2, 3, 3, 4, 4, 5))):
            group = chance.choice(
                ("digit", "digit", "digit", "answer", "other") if kind > 0.5 else ("digit", "answer", "other")
            )
            if group == "digit":
                word = sorted(self._digits_by_word)[chance.integers(len(self._digits_by_word))]
                sounds = self._digits_by_word[word]
                words.append((word, places.perturbed(sounds[chance.integers(len(sounds))], chance, 0.16)))
            else:
                clips = self._real[str(group)]
                text, sound = clips[chance.integers(len(clips))]
                words.append((text, places.perturbed(sound, chance)))
        return words


def parts(bank: Bank, lower: Lower, work: Path, count: int, seed: int) -> Iterator[Path]:
    """`count` sounds in parts, each a file; one that is begun is left to the process that began it.

    A file has `states` (rows of all sounds, float16), `samples` (int16) for those held out, and `rows`: JSON of engine, text,
    rows and samples of each.
    """
    cepstra, name = Cepstra(), bank.name
    for first in range(0, count, PER_PART):
        path = work / f"{name}-{first // PER_PART:04}.npz"
        try:
            path.with_suffix(".begun").touch(exist_ok=False)
        except FileExistsError:
            continue
        states, samples, rows = [], [], []
        for number in range(first, min(first + PER_PART, count)):
            sound = bank.sound(np.random.default_rng([seed, number]))
            if len(sound.samples) > LONGEST_S * RATE_HZ:
                continue
            torch.manual_seed(number)
            with torch.no_grad():
                found = lower(cepstra(torch.from_numpy(sound.samples) * 32767)).numpy().astype(np.float16)
            states.append(found)
            if name == "held":  # to be judged by the whole program
                samples.append((sound.samples * 32767).astype(np.int16))
            rows.append([sound.engine, sound.text, len(found), len(sound.samples)])
        buffer = io.BytesIO()
        kept = np.concatenate(samples) if samples else np.zeros(0, np.int16)
        np.savez(buffer, states=np.concatenate(states), samples=kept, rows=np.array(json.dumps(rows)))
        path.with_suffix(".part").write_bytes(buffer.getvalue())
        path.with_suffix(".part").replace(path)
        yield path


@dataclass(frozen=True, slots=True)
class Row:
    """One sound among those read: its rows of `states` begin at `first`; `samples` are kept for sounds held out."""

    engine: str
    text: str
    first: int
    count: int
    samples: npt.NDArray[np.int16]


def read(work: Path, name: str) -> tuple[npt.NDArray[np.float16], list[Row]]:
    """All parts of that name, in their order."""
    states, rows, first = [], [], 0
    for path in sorted(work.glob(f"{name}-*.npz")):
        with np.load(path) as file:
            states.append(file["states"])
            samples, at = file["samples"], 0
            for engine, text, count, size in json.loads(str(file["rows"])):
                rows.append(Row(engine, text, first, count, samples[at : at + size]))
                first += count
                at += size
    return np.concatenate(states), rows
