"""Numbers as people say them: a little program on a digit buffer that refuses every move that makes no number.

The result is text, digit for digit; nothing here is ever a float.

>>> four seven zero zero          4700        digit by digit
>>> forty-seven hundred           4700        scaled by the person: `scaled`
>>> one three thousand five hundred  13500    digits before "thousand", as aviators say it (FAA AIM 4-2-8)
>>> four seven hundred            4700        `check`: easily misheard, read it back
>>> four point seven zero         4.70        trailing zeros stay
>>> one and a half                1.5
>>> one thirteen                  refused     it may be 113 or two numbers
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum

MOST_DIGITS = 9
"""More digits than any resistance display shows; a longer string is no reading."""


@dataclass(frozen=True, slots=True)
class NumberWords:
    """The words numbers are made of. `digits`, `teens` and `tens` give digit text; `fractions` what stands after the point."""

    digits: Mapping[str, str]
    teens: Mapping[str, str]
    tens: Mapping[str, str]
    fractions: Mapping[tuple[str, ...], str]
    repeats: Mapping[str, int]
    marks: Mapping[str, frozenset[str]]

    words: frozenset[str] = field(init=False)
    """Every word that can stand inside a number."""
    fraction_ends: frozenset[str] = field(init=False)
    """The last words of fractions: `half`, `quarter`, `quarters`."""

    def __post_init__(self) -> None:
        single = {*self.digits, *self.teens, *self.tens, *self.repeats}
        object.__setattr__(self, "words", frozenset(single.union(*self.fractions, *self.marks.values())))
        object.__setattr__(self, "fraction_ends", frozenset(phrase[-1] for phrase in self.fractions))


_MOST_THOUSANDS = 999


class _Shape(Enum):
    """What the last two digits of the whole part, or of the fraction, can still take."""

    EMPTY = "nothing yet"
    DIGITS = "digit by digit"
    TENS = "twenty, thirty ...: may take a unit digit"
    CLOSED = "complete"


@dataclass(frozen=True, slots=True)
class _Buffer:
    """The number so far. Every move returns the next buffer, or None when it makes no number."""

    thousands: str = ""
    hundreds: str = ""
    tail: str = ""
    tail_shape: _Shape = _Shape.EMPTY
    fraction: str | None = None
    fraction_shape: _Shape = _Shape.EMPTY
    digitwise: bool = False
    check: bool = False

    @property
    def scaled(self) -> bool:
        return bool(self.thousands or self.hundreds)

    def digit(self, digit: str) -> "_Buffer | None":
        if self.fraction is not None:
            return self._fraction_digit(self.fraction, digit)
        if self.tail_shape is _Shape.EMPTY and self.scaled:
            return None if digit == "0" else replace(self, tail=digit, tail_shape=_Shape.CLOSED)
        if self.tail_shape in (_Shape.EMPTY, _Shape.DIGITS):
            return replace(self, tail=self.tail + digit, tail_shape=_Shape.DIGITS)
        if self.tail_shape is _Shape.TENS and digit != "0":
            return replace(self, tail=self.tail[0] + digit, tail_shape=_Shape.CLOSED)
        return None

    def _fraction_digit(self, fraction: str, digit: str) -> "_Buffer | None":
        if self.fraction_shape in (_Shape.EMPTY, _Shape.DIGITS):
            return replace(self, fraction=fraction + digit, fraction_shape=_Shape.DIGITS)
        if self.fraction_shape is _Shape.TENS and digit != "0":
            return replace(self, fraction=fraction[0] + digit, fraction_shape=_Shape.CLOSED)
        return None

    def pair(self, digits: str, shape: _Shape) -> "_Buffer | None":
        """A teen (CLOSED) or a multiple of ten (TENS). After the point it is easily misheard: fifteen, fifty."""
        if self.fraction is not None:
            if self.fraction_shape is not _Shape.EMPTY:
                return None
            return replace(self, fraction=digits, fraction_shape=shape, check=True)
        if self.tail_shape is not _Shape.EMPTY:
            return None
        return replace(self, tail=digits, tail_shape=shape)

    def written(self, text: str) -> "_Buffer | None":
        """A written number: one digit may join others, `47` stands for a whole part, `4.70` for all of it."""
        if not is_written(text):
            return None
        if is_digit(text):
            return self.digit(text)
        if self.fraction == "":
            return replace(self, fraction=text, fraction_shape=_Shape.CLOSED) if text.isdigit() else None
        if self != _Buffer():
            return None
        tail, point, fraction = text.partition(".")
        return _Buffer(
            tail=tail, tail_shape=_Shape.CLOSED, fraction=fraction if point else None, fraction_shape=_Shape.CLOSED
        )

    def hundred(self) -> "_Buffer | None":
        if self.fraction is not None or self.hundreds or self.tail.startswith("0"):
            return None
        pair = len(self.tail) == len("47")
        if not pair and len(self.tail) != 1:
            return None
        if pair and (self.thousands or self.tail.endswith("0")):  # nobody says "forty hundred"
            return None
        check = self.check or (pair and self.tail_shape is _Shape.DIGITS)
        return replace(self, hundreds=self.tail, tail="", tail_shape=_Shape.EMPTY, check=check)

    def thousand(self) -> "_Buffer | None":
        if self.fraction is not None or self.thousands or self.tail.startswith("0"):
            return None
        count = int(self.hundreds or "0") * 100 + int(self.tail or "0")
        if not 0 < count <= _MOST_THOUSANDS:
            return None
        digitwise = self.tail_shape is _Shape.DIGITS and len(self.tail) > 1
        return _Buffer(thousands=str(count), digitwise=digitwise, check=self.check)

    def point(self) -> "_Buffer | None":
        return None if self.fraction is not None else replace(self, fraction="")

    def part(self, digits: str) -> "_Buffer | None":
        """A half, a quarter, three quarters."""
        if self.fraction is not None or self.scaled:
            return None
        return replace(self, fraction=digits, fraction_shape=_Shape.CLOSED, tail_shape=_Shape.CLOSED)

    @property
    def text(self) -> str:
        whole = self.tail or "0"
        if self.scaled:
            whole = str(int(self.thousands or "0") * 1000 + int(self.hundreds or "0") * 100 + int(whole))
        return whole if self.fraction is None else f"{whole}.{self.fraction}"


@dataclass(frozen=True, slots=True)
class Spoken:
    """A number and where it ended. `finished` is False when it breaks off ("four point").

    `scaled` is True when the person said thousands or hundreds himself, `digitwise` when in digits before "thousand";
    `one_by_one` when it is a string of digits without a point; `check` when the way it was said is easily misheard.
    """

    text: str
    end: int
    finished: bool = True
    scaled: bool = False
    digitwise: bool = False
    one_by_one: bool = False
    check: bool = False


def number_at(words: Sequence[str], start: int, known: NumberWords) -> Spoken | None:
    """The longest number that begins at `words[start]`, or None when none does."""
    buffer, at, finished = _Buffer(), start, True
    while finished and at < len(words):
        move = _part(buffer, words, at, known) or _repeat(buffer, words, at, known) or _word(buffer, words, at, known)
        if move is None:
            break
        buffer, at, finished = move
    if at == start:
        return None
    leading_zero = buffer.fraction is None and not buffer.scaled and len(buffer.tail) > 1 and buffer.tail[0] == "0"
    return Spoken(
        buffer.text.rstrip("."),
        at,
        finished=finished and buffer.fraction != "",
        scaled=buffer.scaled,
        digitwise=buffer.digitwise,
        one_by_one=buffer.fraction is None and buffer.tail_shape is _Shape.DIGITS and len(buffer.tail) > 1,
        check=buffer.check or leading_zero,
    )


_Move = tuple[_Buffer, int, bool]
"""The buffer after a move, where to go on, and whether the number may end there."""


def _part(buffer: _Buffer, words: Sequence[str], at: int, known: NumberWords) -> _Move | None:
    """A half or quarters: alone, or after a whole number and "and"."""
    if buffer != _Buffer():
        if words[at] not in known.marks["and"] or buffer.tail_shape is _Shape.EMPTY:
            return None
        at += 1
    for end in (at + 2, at + 1):
        digits = known.fractions.get(tuple(words[at:end])) if end <= len(words) else None
        after = buffer.part(digits) if digits else None
        if after is not None:
            return after, end, True
    return None


def _repeat(buffer: _Buffer, words: Sequence[str], at: int, known: NumberWords) -> _Move | None:
    """After "double" or "triple" the digit so many times; unfinished when it breaks off before the digit."""
    if words[at] not in known.repeats:
        return None
    if at + 1 == len(words):
        return buffer, at + 1, False
    digit = known.digits.get(words[at + 1], words[at + 1])
    after: _Buffer | None = buffer
    for _ in range(known.repeats[words[at]]):
        after = after.digit(digit) if after is not None and is_digit(digit) else None
    return None if after is None else (after, at + 2, True)


_MARK_MOVES = {"point": _Buffer.point, "hundred": _Buffer.hundred, "thousand": _Buffer.thousand}


def _word(buffer: _Buffer, words: Sequence[str], at: int, known: NumberWords) -> _Move | None:
    """Any other word; "a" and "and" only before what they belong to."""
    word, following = words[at], words[at + 1] if at + 1 < len(words) else ""
    if word in known.marks["a"] and buffer == _Buffer():
        after = buffer.digit("1") if following in known.marks["hundred"] | known.marks["thousand"] else None
    elif word in known.marks["and"]:
        small = known.digits.get(following, "0") != "0" or following in known.teens or following in known.tens
        links = small and buffer.scaled and buffer.tail_shape is _Shape.EMPTY and buffer.fraction is None
        after = buffer if links else None
    else:
        after = _plain_word(buffer, word, known)
    return None if after is None else (after, at + 1, True)


def _plain_word(buffer: _Buffer, word: str, known: NumberWords) -> _Buffer | None:
    if word in known.digits:
        return buffer.digit(known.digits[word])
    if word in known.teens:
        return buffer.pair(known.teens[word], _Shape.CLOSED)
    if word in known.tens:
        return buffer.pair(known.tens[word], _Shape.TENS)
    for mark, move in _MARK_MOVES.items():
        if word in known.marks[mark]:
            return move(buffer)
    return buffer.written(word)


def is_digit(word: str) -> bool:
    """Whether a token is one written digit."""
    return len(word) == 1 and word in "0123456789"


def is_written(word: str) -> bool:
    """Whether a token is a written number: digits with at most one inner point, as `4.70`."""
    whole, point, rest = word.partition(".")
    return word.isascii() and whole.isdigit() and (not point or rest.isdigit())
