"""Which sequence of known words fits the letters best: a search over words one after another, as often as they come.

The letters spell what was heard as well as they can, "six one foul zero"; held to the words that can be said now, the same
evidence reads "six one four zero".
"""

from collections.abc import Sequence

import numpy as np

from assistant.devices.letters import SYMBOLS, Floats, codes

_NEVER = -1e30
_GAP = 0
"""The place before a word where no new letter comes."""
_SPACE = 1


class WordLoop:
    """All sequences of `words`; those that cannot be spelled in letters are left out. Raises ValueError when none can be.

    Every letter of every word has a place, and behind it one where no new letter comes. One step of sound moves along at
    most two places; between two like letters the place between them cannot be left out.
    """

    def __init__(self, words: Sequence[str]) -> None:
        spelled = [(word, code) for word in words if word and (code := codes(word))]
        if not spelled:
            raise ValueError(f"no word of {len(words)} can be spelled; expected at least one of letters")
        self._symbols = [0, SYMBOLS.index(" ")]
        nowhere = 2 + 2 * sum(len(code) for _, code in spelled)
        self._before, self._skipped = [nowhere, nowhere], [nowhere, nowhere]
        self._starts: list[int] = []
        self._ends: list[int] = []
        self._words: list[str] = []
        for word, code in spelled:
            first = len(self._symbols)
            for position, letter in enumerate(code):
                place = first + 2 * position
                self._symbols += [letter, 0]
                self._before += [place - 1 if position else nowhere, place]
                self._skipped += [place - 2 if position and letter != code[position - 1] else nowhere, nowhere]
            self._starts.append(first)
            self._ends += [len(self._symbols) - 2, len(self._symbols) - 1]
            self._words += [word, word]

    def best(self, log_probabilities: Floats) -> str:
        """The likeliest sequence, words with single spaces; empty when silence is likeliest. Shape (frames, 29)."""
        places = len(self._symbols)
        frames = np.asarray(log_probabilities, dtype=np.float64)[:, self._symbols]
        # One more place that nothing reaches stands for "there is none before".
        chances = np.full(places + 1, _NEVER)
        memory = np.zeros(places + 1, dtype=np.intp)
        said: list[tuple[int, str]] = [(0, "")]
        before, skipped = np.array(self._before), np.array(self._skipped)
        starts, ends = np.array(self._starts), np.array(self._ends)
        here = np.arange(places)
        if len(frames):
            chances[_GAP] = frames[0][_GAP]
            chances[starts] = frames[0][starts]
        for frame in frames[1:]:
            ended = int(chances[ends].argmax())
            entry = _GAP if chances[_GAP] >= chances[_SPACE] else _SPACE
            after_word, entered, remembered = chances[ends[ended]], chances[entry], memory[entry]
            origin = np.where(chances[before] > chances[:places], before, here)
            origin = np.where(chances[skipped] > chances[origin], skipped, origin)
            origin[_GAP] = entry
            moved, kept = chances[origin], memory[origin]
            fresh = starts[entered > moved[starts]]
            moved[fresh], kept[fresh] = entered, remembered
            if after_word > moved[_SPACE]:
                said.append((int(memory[ends[ended]]), self._words[ended]))
                moved[_SPACE], kept[_SPACE] = after_word, len(said) - 1
            chances[:places], memory[:places] = moved + frame, kept
        return self._told(chances, memory, said)

    def _told(
        self,
        chances: np.ndarray[tuple[int], np.dtype[np.float64]],
        memory: np.ndarray[tuple[int], np.dtype[np.intp]],
        said: list[tuple[int, str]],
    ) -> str:
        """The words on the way to the best place where a sequence can end."""
        ends = np.array(self._ends)
        ended = int(chances[ends].argmax())
        words = []
        place = _GAP if chances[_GAP] >= chances[_SPACE] else _SPACE
        if chances[ends[ended]] > chances[place]:
            words, place = [self._words[ended]], int(ends[ended])
        last = int(memory[place])
        while last:
            last, word = said[last]
            words.append(word)
        return " ".join(reversed(words))
