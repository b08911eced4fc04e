"""From a line of text to tokens: written numbers, unit symbols and letter-for-point codes become words of the language.

Only what is certain is translated; anything else becomes a token that no phrase contains, and is refused later by name.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from assistant.language.lexicon import Lexicon
from assistant.measure.units import Unit

UNIT_WORDS = {Unit.OHM: "ohms", Unit.KILOHM: "kilohms", Unit.MEGOHM: "megohms", Unit.MILLIOHM: "milliohms"}
AMBIGUOUS_UNIT = "<m>"
"""Stands for `m`: milli or mega, a factor of a thousand million."""
UNCLEAR = "<unclear>"
"""Stands for something written that could be two values: a decimal comma, an exponent."""
BEYOND = "<beyond>"
"""Stands for a number with an exponent that no meter shows."""
TOLERANCE = "<tolerance>"
"""Stands for the tolerance letter after a code (`4K7K`)."""
OVER_POINT = "<1.>"
"""Stands for `1.` as typed: the lone one of an over-range display."""
OVER = "ol"
"""`OL`, `O.L`, `0L`: over range, as meters show it."""
GROUPED = "<grouped>"
"""Stands after a number that was written with thousands separators (`4,700`)."""
MARKS = frozenset({AMBIGUOUS_UNIT, UNCLEAR, BEYOND, TOLERANCE, OVER_POINT, GROUPED})
"""Everything that stands for something written; no phrase of the grammar contains one."""
OPEN_POINT = "point"

_NUMBER = re.compile(r"[0-9]+(?:,[0-9]{3})+(?:\.[0-9]+)?(?![0-9,])|[0-9]*\.[0-9]+|[0-9]+")
# Letter-for-decimal-point codes of IEC 60062: R, K, M, and L for milli; lower case k and r are common in print.
_CODE = re.compile(r"([0-9]{0,4})([RrKkML])([0-9]{1,4})([BCDFGJKM]?)")
_TOLERANCE_ONLY = re.compile(r"([0-9]{1,4})([RKM])([BCDFGJKM])")
_CODE_UNITS = {"R": Unit.OHM, "K": Unit.KILOHM, "M": Unit.MEGOHM, "L": Unit.MILLIOHM}
_EXPONENT = re.compile(r"[0-9]+(?:\.[0-9]*)?[eE]([+-]?[0-9]{1,6})")
_LOOSE_MARK = re.compile(r"(?<=[0-9]) ([.,]) (?=[0-9])")
"""`1 . 4` as typed: left apart, its point would be lost and the value ten times as high."""
_FULL_WIDTH = {code: code - 0xFEE0 for code in range(0xFF01, 0xFF5F)}
_SIGNS = {
    ord("\u2126"): "Ω",
    ord("∞"): "infinity",
    **dict.fromkeys(map(ord, "−–—‐‑"), "-"),
    **dict.fromkeys(map(ord, "’‘ʼ"), "'"),
}
_TRANSLATE: dict[int, int | str] = {**_FULL_WIDTH, **_SIGNS}
_BEYOND_EXPONENT = 9


@dataclass(frozen=True, slots=True)
class Token:
    """One word of the language, or what stands for something written. `source` is the word it came from, `at` its index."""

    text: str
    at: int
    source: str


def clean(text: str) -> str:
    """The text on one line with single spaces; control and format characters count as spaces."""
    return " ".join("".join(char if char.isprintable() else " " for char in text).split())


def tokens(words: str, lexicon: Lexicon, *, typed: bool) -> tuple[Token, ...]:
    """The tokens of a cleaned line. Heard words may carry a sentence's punctuation and are corrected for homophones."""
    if typed:
        words = _LOOSE_MARK.sub(r"\1", words)
    found = tuple(
        Token(lexicon.spoken_digits.get(text, lexicon.spelled(text)), at, word)
        for at, word in enumerate(words.split())
        for text in _split(word.translate(_TRANSLATE), lexicon, typed=typed)
    )
    meant = {} if typed else lexicon.homophones
    return tuple(replace(token, text=meant.get(token.text, token.text)) for token in found)


def _split(word: str, lexicon: Lexicon, *, typed: bool) -> Iterator[str]:
    bare = word.strip('"“”()?!;:,…')
    if typed and bare == "1.":
        yield OVER_POINT
        return
    if bare.replace(".", "").lower() in ("ol", "0l") and (len(bare) == 2 or "." in bare):  # noqa: PLR2004
        yield OVER
        return
    if bare.endswith(".") and not (typed and re.fullmatch(r"-?[0-9]+\.", bare)):
        bare = bare.rstrip(".")
    yield from _pieces(bare, lexicon, typed=typed)


def _pieces(word: str, lexicon: Lexicon, *, typed: bool) -> Iterator[str]:
    code = _CODE.fullmatch(word)
    if code and (code[1] or code[2] != "L"):
        yield f"{code[1] or '0'}.{code[3]}"
        yield UNIT_WORDS[_CODE_UNITS[code[2].upper()]]
        if code[4]:
            yield TOLERANCE
        return
    toleranced = _TOLERANCE_ONLY.fullmatch(word)
    if toleranced:
        yield from (toleranced[1], UNIT_WORDS[_CODE_UNITS[toleranced[2]]], TOLERANCE)
        return
    exponent = _EXPONENT.fullmatch(word.lstrip("+-"))
    if exponent:
        yield BEYOND if int(exponent[1]) >= _BEYOND_EXPONENT else UNCLEAR
        return
    yield from _scan(word, lexicon, typed=typed)


def _scan(word: str, lexicon: Lexicon, *, typed: bool) -> Iterator[str]:
    at = 0
    while at < len(word):
        number = _NUMBER.match(word, at)
        if number:
            yield from _number(number[0])
            at = number.end()
            if word[at : at + 1] == "," and word[at + 1 : at + 2].isdigit():
                yield UNCLEAR
            elif word[at:] == ".":
                yield OPEN_POINT
                return
            continue
        if word[at] == "-":
            sign = at + 1 < len(word) and word[at + 1] in "0123456789." and (typed or at == 0)
            yield from ("minus",) if sign else ()  # recognisers write "4-7-0" for four seven zero
            at += 1
            continue
        rest = re.match(r"[^0-9.,\-]+", word[at:])
        if rest is None:
            yield word[at:]
            return
        yield from _letters(rest[0], lexicon)
        at += rest.end()


def _number(text: str) -> Iterator[str]:
    yield "0" + text.replace(",", "") if text.startswith(".") else text.replace(",", "")
    if "," in text:
        yield GROUPED


def _letters(text: str, lexicon: Lexicon) -> Iterator[str]:
    if text.startswith("°"):
        yield "degrees"
        text = text[1:]
    unit = lexicon.symbols.get(text)
    if text in lexicon.ambiguous_symbols:
        yield AMBIGUOUS_UNIT
    elif unit is None or lexicon.units.get((text.lower(),)) is unit:
        yield from (text.lower(),) if text else ()
    else:
        yield "mega" if text == "M" else UNIT_WORDS[unit]
