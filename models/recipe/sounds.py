"""What the network learns from: sounds put together from kept speech, described before they are made (`places.py` makes them)."""

# Shares of chance read best where they are used.
# ruff: noqa: PLR2004

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assistant.devices.ports import RATE_HZ
from models.recipe.said import ALONE, DIGITS
from models.recipe.voices import Spoken

LONGEST_S = 8.0
ANSWERS = ("yes", "no", "stop")
STRING_WORDS = (*DIGITS, *DIGITS, "oh", "nought")
SHARES = {"real": 0.25, "kokoro": 0.45, "espeak": 0.14, "foreign": 0.14, "flite": 0.02}
"""Whose speech is taken how often, of engines with enough voices."""
ENOUGH = {"kokoro": 60}
"""Voices below this number are taken less often, in proportion."""
CUT, GATED = 0.4, 0.35
"""How often the soft beginnings and ends of words are lost, as by a recorder that starts late, and how often there is a gate."""
SOFT_DB = (8.0, 32.0)
"""What lies before and after the loud part is soft if it is so far below a word's peak."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of the bank's samples: where it begins, how many, played how much faster, how loud, after what gap in samples."""

    first: int
    size: int
    pace: float
    gain: float
    gap: int

    @property
    def length(self) -> int:
        """Samples when played."""
        return int(self.size / self.pace)


@dataclass(frozen=True, slots=True)
class Sound:
    """A sound with the words in it, by which engine, from which pieces; the last gap is silence after them, in samples."""

    engine: str
    text: str
    pieces: tuple[Piece, ...]
    after: int
    gated: bool = False
    """True when nothing at all is heard between the pieces and around them, as through a noise gate."""

    @property
    def length(self) -> int:
        """Samples at RATE_HZ."""
        return sum(piece.gap + piece.length for piece in self.pieces) + self.after


class Bank:
    """Kept speech by engine and voice; only that of speakers held out, or only the rest."""

    def __init__(self, spoken: Sequence[Spoken], sounds: Sequence[npt.NDArray[np.int16]], *, held: bool) -> None:
        self._texts: dict[str, list[tuple[str, int, int]]] = defaultdict(list)
        self._alone: dict[str, dict[str, dict[str, tuple[int, int]]]] = defaultdict(lambda: defaultdict(dict))
        self._real: dict[str, list[tuple[str, int, int]]] = defaultdict(list)
        self.crowd: list[tuple[int, int]] = []
        kept, first = [], 0
        for each, sound in zip(spoken, sounds, strict=True):
            if each.held != held or not len(sound):
                continue
            kept.append(sound)
            place = (first, len(sound))
            first += len(sound)
            if each.engine == "real":
                kind = "digit" if each.text in DIGITS else "answer" if each.text in ANSWERS else "other"
                self._real[kind].append((each.text, *place))
                self.crowd.append(place)
            elif each.text in ALONE:
                self._alone[each.engine][each.voice][each.text] = place
            else:
                self._texts[each.engine].append((each.text, *place))
        self.samples = np.concatenate(kept)
        self._digits: dict[str, list[tuple[int, int]]] = defaultdict(list)
        for text, *place in self._real["digit"]:
            self._digits[text].append((place[0], place[1]))
        self._voices = {engine: sorted(voices) for engine, voices in self._alone.items()}
        self._engines, shares = [], []
        for engine, share in SHARES.items():
            count = len(self.crowd) if engine == "real" else len(self._texts[engine])
            if count:
                self._engines.append(engine)
                shares.append(share * min(1.0, len(self._voices.get(engine, ())) / ENOUGH.get(engine, 1) or 1.0))
        self._shares = np.cumsum(shares) / sum(shares)

    def sound(self, chance: np.random.Generator) -> Sound:
        """One sound that was never put together before."""
        if chance.random() < 0.02:
            return Sound("none", "", (), round(chance.uniform(0.8, 2.5) * RATE_HZ))
        engine = self._engines[int(np.searchsorted(self._shares, chance.random()))]
        if engine == "real":
            words = self._people(chance)
        elif chance.random() < 0.4:
            words = self._string(engine, chance)
        else:
            text, first, size = self._texts[engine][chance.integers(len(self._texts[engine]))]
            words = [(text, first, size, 1 + chance.uniform(-0.13, 0.13))]
        if chance.random() < CUT:
            soft_db = chance.uniform(*SOFT_DB)
            words = [(text, *self._loud(first, size, soft_db), pace) for text, first, size, pace in words]
        longest = chance.uniform(0.04, 0.3)
        before = round(chance.uniform(0.1, 0.45) * RATE_HZ)
        pieces = []
        for number, (_, first, size, pace) in enumerate(words):
            gap = before if number == 0 else round(chance.uniform(0.0, longest) * RATE_HZ)
            pieces.append(Piece(first, size, pace, 10 ** (chance.uniform(-4, 4) / 20), gap))
        after = round(chance.uniform(0.1, 0.45) * RATE_HZ)
        return Sound(engine, " ".join(word[0] for word in words), tuple(pieces), after, bool(chance.random() < GATED))

    def _loud(self, first: int, size: int, soft_db: float) -> tuple[int, int]:
        """The stretch without the soft beginning and end: where it begins, how many samples."""
        sound = np.abs(self.samples[first : first + size].astype(np.int32))
        loud = np.flatnonzero(sound >= sound.max() * 10 ** (-soft_db / 20))
        return first + int(loud[0]), int(loud[-1] - loud[0]) + 1

    def _string(self, engine: str, chance: np.random.Generator) -> list[tuple[str, int, int, float]]:
        """Words that one voice spoke alone: most often digits; one size of speaker for all of them."""
        voices = self._voices[engine]
        spoken = self._alone[engine][voices[chance.integers(len(voices))]]
        wanted = STRING_WORDS if chance.random() < 0.85 else ALONE
        pace = 1 + chance.uniform(-0.13, 0.13)
        words = [wanted[chance.integers(len(wanted))] for _ in range(chance.choice((1, 2, 3, 3, 4, 4, 5, 6)))]
        return [(word, *spoken[word], pace) for word in words if word in spoken] or self._string(engine, chance)

    def _people(self, chance: np.random.Generator) -> list[tuple[str, int, int, float]]:
        """Clips of real people, alone or several; digits as often as all other words, though few were recorded."""
        words = []
        kind = chance.random()
        for _ in range(1 if kind < 0.4 else chance.choice((2, 3, 3, 4, 4, 5))):
            group = chance.choice(
                ("digit", "digit", "digit", "answer", "other") if kind > 0.5 else ("digit", "answer", "other")
            )
            if group == "digit":
                word = sorted(self._digits)[chance.integers(len(self._digits))]
                first, size = self._digits[word][chance.integers(len(self._digits[word]))]
                words.append((word, first, size, 1 + chance.uniform(-0.16, 0.16)))
            else:
                clips = self._real[str(group)]
                text, first, size = clips[chance.integers(len(clips))]
                words.append((text, first, size, 1 + chance.uniform(-0.13, 0.13)))
        return words

    def step(self, chance: np.random.Generator, seconds: float, pool: int = 6) -> list[Sound]:
        """Sounds of like length, together about so many seconds as the longest of them counts.

        Several steps' worth are drawn and laid in order of length, and one step of them is taken: every sound is as likely.
        """
        drawn: list[Sound] = []
        total = 0.0
        while total < pool * seconds:
            sound = self.sound(chance)
            if sound.length <= LONGEST_S * RATE_HZ:
                drawn.append(sound)
                total += sound.length / RATE_HZ
        drawn.sort(key=lambda sound: sound.length)
        groups: list[list[Sound]] = [[]]
        for sound in drawn:
            if groups[-1] and (len(groups[-1]) + 1) * sound.length > seconds * RATE_HZ:
                groups.append([])
            groups[-1].append(sound)
        whole = groups[:-1] or groups
        return whole[chance.integers(len(whole))]
