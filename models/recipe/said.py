"""What is said in training: digit strings, readings, the grammar's phrases, and other talk that must not be taken for them."""

# Shares of chance read best where they are used, and chance need not be hard to guess.
# ruff: noqa: PLR2004

import random
import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path

from assistant.language.lexicon import Lexicon
from assistant.language.meaning import Expectation

DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
NOUGHTS = ("zero", "zero", "zero", "oh", "oh", "nought")
TEENS = (
    "ten",
    "eleven",
    "twelve",
    *(f"{stem}teen" for stem in ("thir", "four", "fif", "six", "seven", "eigh", "nine")),
)
TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
ALONE = (*DIGITS, "oh", "nought", "double", "point", "yes", "no", "stop")
"""Words that every voice speaks alone, to be joined into strings later."""
UNITS = (
    *("kilo ohms", "kilo ohms", "ohms", "ohms", "ohms", "k", "k", "kilo ohm", "ohm", "k ohms", "kilohms", "kilos"),
    *("megs", "meg", "meg ohms", "mega ohms", "megohms", "thousand ohms", "milli ohms", "r", "kay", "degrees"),
    *("", "", ""),
)
LEADS = (
    "it's",
    "it is",
    "it says",
    "it reads",
    "that's",
    "i get",
    "i've got",
    "the meter says",
    "the meter shows",
    "it shows",
    "now",
)
"""What people say before a value more often than the other words that the grammar has for it."""
NO_LEADS = frozenset({"job", "number"})
"""Words of a sentence about a job, not a reading."""
OTHER_TALK = Path(__file__).resolve().parent / "words.toml"


def digit_string(chance: random.Random) -> str:
    """Two to six digits, now and then one of them doubled."""
    said: list[str] = []
    for _ in range(chance.choice((2, 3, 3, 3, 4, 4, 5, 6))):
        digit = chance.choice(DIGITS)
        word = chance.choice(NOUGHTS) if digit == "zero" else digit
        said += ["double", word] if chance.random() < 0.06 else [word, word] if chance.random() < 0.06 else [word]
    return " ".join(said)


def whole(chance: random.Random) -> str:
    """A whole number below ten thousand as people say it; teens as often as tens, since they are taken for each other."""
    tens = chance.choice(TENS)
    digit = chance.choice(DIGITS[1:])
    below_100 = chance.choice((digit, chance.choice(TEENS), chance.choice(TEENS), tens, f"{tens} {digit}"))
    kind = chance.random()
    if kind < 0.7:
        return below_100
    hundreds = f"{chance.choice((*DIGITS[1:], 'a'))} hundred{chance.choice(('', f' and {below_100}', f' {below_100}'))}"
    return hundreds if kind < 0.9 else f"{chance.choice(DIGITS[1:])} thousand{chance.choice(('', f' {hundreds}'))}"


def reading(chance: random.Random) -> str:
    """A number, most often with a unit."""
    unit = chance.choice(UNITS)
    kind = chance.random()
    if kind < 0.55:
        before = chance.choice((chance.choice(NOUGHTS), "", whole(chance), whole(chance), chance.choice(DIGITS)))
        places = chance.choice((1, 1, 2, 2, 3))
        after = " ".join(
            chance.choice(NOUGHTS) if chance.random() < 0.15 else chance.choice(DIGITS) for _ in range(places)
        )
        number = f"{before} point {after}"
    elif kind < 0.85:
        number = whole(chance)
    elif kind < 0.93:
        return f"{whole(chance)} {chance.choice(('k', 'k', 'kay', 'r', 'meg'))} {chance.choice(DIGITS[1:])}"
    else:
        number = f"{whole(chance)} and {chance.choice(('a half', 'a quarter', 'three quarters'))}"
    return f"{number} {unit}".strip()


def phrases(lexicon: Lexicon) -> list[str]:
    """Every phrase of the grammar and every word of it that can be spoken, in alphabetical order."""
    found = {" ".join(phrase) for name in lexicon.expectations for phrase in lexicon.phrases(Expectation(name))}
    return sorted(text for text in found | set(lexicon.vocabulary) if not any(map(str.isdigit, text)))


class Texts:
    """Texts without end: digit strings, readings, phrases in turn, and other talk. The same chance gives the same texts."""

    def __init__(self, lexicon: Lexicon, words: Sequence[str], chance: random.Random) -> None:
        """`words` are those that can be pronounced; what other talk is made of is chosen among those not in the lexicon."""
        self._chance = chance
        self._other = [word for word in words if word not in set(lexicon.vocabulary)]
        self._sentences = tomllib.loads(OTHER_TALK.read_text(encoding="utf-8"))["sentences"]
        fillers = {kind: sorted(map(" ".join, found)) for kind, found in lexicon.fillers.items()}
        self._leads = [lead for lead in fillers["before"] if NO_LEADS.isdisjoint(lead.split())]
        self._corrections, self._after = fillers["corrections"], fillers["after"]
        known = phrases(lexicon)
        chance.shuffle(known)
        self._phrases = self._in_turn(known)

    @staticmethod
    def _in_turn(known: list[str]) -> Iterator[str]:
        while True:
            yield from known

    def next(self) -> str:
        """One more text."""
        chance = self._chance
        kind = chance.random()
        if kind < 0.28:
            return digit_string(chance)
        if kind < 0.62:
            return self._in_a_sentence(reading(chance))
        if kind < 0.85:
            return next(self._phrases)
        if kind < 0.92:
            return str(chance.choice(self._sentences))
        return " ".join(chance.sample(self._other, chance.choice((1, 1, 2, 3, 4))))

    def _in_a_sentence(self, value: str) -> str:
        """The value as it is, or with what people say around one: "the meter says ...", "no, it's ...", "... again"."""
        chance = self._chance
        kind = chance.random()
        if kind < 0.3:
            return f"{chance.choice(chance.choice((LEADS, self._leads)))} {value}"
        if kind < 0.36:
            return f"{chance.choice(self._corrections)} {value}"
        return f"{value} {chance.choice(self._after)}" if kind < 0.4 else value
