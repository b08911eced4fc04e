"""What the letters say: the sequence of live words that fits them best, its nearest rivals, and what others heard, all weighed.

The rivals are there so that a small lead looks small: "nine six" scores high by itself, and "five six" may score as high.
Against all of them stands the free spelling, which is what speech about other things comes out as.
"""

from collections.abc import Iterable, Iterator

from rapidfuzz import fuzz, process
from rapidfuzz.distance import Levenshtein

from assistant.devices.letters import Floats, codes, greedy, scores
from assistant.devices.word_loop import WordLoop
from assistant.language.lexicon import Lexicon
from assistant.language.meaning import Alternative, Expectation, NotUnderstood, Word
from assistant.language.understand import understand

_WORD_COST = 5.0
"""Natural log of about 150: a word of the list is that unlikely before anything is heard."""
_LETTER_COST = 3.0
"""A letter of an unknown word, which may follow anything, is this unlikely: a little less than ln 28."""
_TEMPER = 0.5
"""Neighbouring frames hear the same sound, so their chances multiplied claim too much."""
_NEAR = 4
"""So many live phrases that look most like the free spelling are weighed too: the loop knows only single words."""
_SLIP = 6
"""One wrong letter in so many still spells a phrase: the free spelling "i dot know" is no other speech than "i don't know"."""
_KEPT = 8
_TOO_FAR = 12.0
"""Alternatives whose tempered score is this far below the best are left out: a share under one in a hundred thousand."""


class Speller:
    """Letters and words together."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lexicon = lexicon
        self._loops: dict[str, WordLoop] = {}
        self._phrases: dict[str, list[str]] = {}

    def alternatives(
        self,
        log_probabilities: Floats,
        expectation: Expectation,
        words: Iterable[str],
        others: Iterable[str],
        source: str,
    ) -> list[Alternative]:
        """The texts that fit what `Letters.log_probabilities` gave, best first; scores are tempered natural-log chances.

        `words` are those a sequence may hold, always the same for one expectation; `others` are texts that were heard in
        other ways. Sequences of known words without a meaning are left out.
        """
        if expectation.name not in self._loops:
            self._loops[expectation.name] = WordLoop(tuple(words))
            self._phrases[expectation.name] = [" ".join(phrase) for phrase in self._lexicon.phrases(expectation)]
        found = self._loops[expectation.name].best(log_probabilities)
        spelled = greedy(log_probabilities)
        near = process.extract(spelled, self._phrases[expectation.name], scorer=fuzz.ratio, limit=_NEAR)
        heard = (*others, *(phrase for phrase, _, _ in near))
        slip = not self._means(spelled, expectation) and any(self._slip(spelled, text, expectation) for text in heard)
        candidates = (found, *heard, *self._rivals(found), *(() if slip else (spelled,)))
        texts = [text for text in dict.fromkeys(candidates) if text and codes(text)]
        weighed = []
        for text, score in zip(texts, scores(log_probabilities, texts), strict=True):
            cost = self._cost(text, expectation, free=text == spelled)
            if cost is not None:
                weighed.append((_TEMPER * (score - cost), text))
        weighed.sort(reverse=True)
        return [
            Alternative(tuple(Word(word) for word in text.split()), score, source)
            for score, text in weighed[:_KEPT]
            if score > weighed[0][0] - _TOO_FAR
        ]

    def _slip(self, spelled: str, text: str, expectation: Expectation) -> bool:
        """Whether what was spelled is this text, which means something, but for a few letters."""
        return 0 < Levenshtein.distance(spelled, text) <= len(text) // _SLIP and self._means(text, expectation)

    def _cost(self, text: str, expectation: Expectation, *, free: bool) -> float | None:
        """What the text costs before anything is heard; None when it is made of known words that mean nothing together."""
        words = text.split()
        if self._means(text, expectation):
            return _WORD_COST * len(words)
        if not free and self._lexicon.known.issuperset(words):
            return None
        return sum(
            _WORD_COST + (0.0 if word in self._lexicon.known else _LETTER_COST * (len(word) + 1)) for word in words
        )

    def _means(self, text: str, expectation: Expectation) -> bool:
        return not isinstance(understand(text, expectation, self._lexicon, typed=False).meaning, NotUnderstood)

    def _rivals(self, text: str) -> Iterator[str]:
        """The text with one word of a number replaced by another, with one digit left out or said twice."""
        numbers = self._lexicon.numbers
        digits = [word for word in numbers.digits if len(word) > 1]
        words = text.split()
        for place, word in enumerate(words):
            others = digits if word in numbers.digits else ()
            if word in numbers.teens or word in numbers.tens:
                others = [*numbers.teens, *numbers.tens, *digits]
            for other in others:
                yield " ".join((*words[:place], other, *words[place + 1 :]))
            if word in numbers.digits:
                yield " ".join((*words[:place], *words[place + 1 :]))
                yield " ".join((*words[:place], word, *words[place:]))
