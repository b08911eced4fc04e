"""A number with its unit, from tokens: "four point seven k", "four k seven", "half a meg", "between one and three megs".

Where the person says no unit it comes from the range the dial is known to stand on, if its display could show the number;
otherwise it is asked for. A factor of a thousand is never guessed.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise

from assistant.language import notation
from assistant.language.lexicon import Lexicon
from assistant.language.meaning import Ask, Expectation, NotUnderstood, SaidReading, Why
from assistant.language.notation import Token
from assistant.language.numbers import MOST_DIGITS, Spoken, is_digit, is_written, number_at
from assistant.language.toml_reader import Phrase
from assistant.measure.units import Numeral, Quantity, Reading, Shown, Unit

MOST_OHM = Decimal(200_000_000)
"""The largest value on a pocket meter's display: 200 MΩ (a meter maker's manual: row md-40 of tests/checks/meter_display.tsv)."""
_DISPLAY_DIGITS = 4
"""Digits of a display of 2,000 to 10,000 counts, the leading one that is only ever 0 or 1 among them."""
_FEWEST_COUNTS = 2_000
"""Steps of a range whose resolution is not known, the fewest that a pocket meter's display has."""
_SURE_WITHOUT_UNIT = 2_000
"""Whole numbers said in hundreds or thousands are ohms from here on: no 2,000-count display shows so many kilo-ohms."""
_KILOHM_FROM_OHM = 2_000
_MEGOHM_FROM_OHM = 2_000_000
_LONGEST_PHRASE = 10
_REFUSED = {notation.UNCLEAR: Why.UNCLEAR, notation.BEYOND: Why.BEYOND_METER}


@dataclass(frozen=True, slots=True)
class Amount:
    """A number as said, and the unit said with it.

    `scaled`: said in hundreds or thousands; `one_by_one`: a string of digits; `grouped`: written with thousands separators;
    `ambiguous`: the unit was `m`.
    """

    text: str
    unit: Unit | None = None
    scaled: bool = False
    one_by_one: bool = False
    grouped: bool = False
    ambiguous: bool = False
    check: bool = False


def texts(tokens: Sequence[Token]) -> Phrase:
    """The words of tokens."""
    return tuple(token.text for token in tokens)


def longest(tokens: Sequence[Token], at: int, phrases: Collection[Phrase]) -> int:
    """How many tokens from `at` on make the longest of the phrases; 0 when none does."""
    words = texts(tokens[at : at + _LONGEST_PHRASE])
    return next((length for length in range(len(words), 0, -1) if words[:length] in phrases), 0)


def refuse(why: Why, token: Token) -> NotUnderstood:
    """The refusal of one word."""
    return NotUnderstood(why, token.at, token.source)


def leftover(tokens: Sequence[Token], at: int, lexicon: Lexicon) -> NotUnderstood:
    """Why the words from `at` on do not belong: another number, an unknown word, or words that make no sense here."""
    joined = int(tokens[at].text in lexicon.numbers.marks["and"] | lexicon.numbers.marks["minus"])
    if at and number_at(texts(tokens), at + joined, lexicon.numbers) is not None:
        return refuse(Why.TWO_NUMBERS, tokens[at])
    if at and joined:  # "one point four and a bit"
        return refuse(Why.UNCLEAR, tokens[at])
    for token in tokens[at:]:
        if token.text not in lexicon.known and token.text not in notation.MARKS and not is_written(token.text):
            return refuse(Why.UNKNOWN_WORD, token)
    return refuse(Why.UNCLEAR, tokens[at])


def amount(tokens: tuple[Token, ...], lexicon: Lexicon, *, typed: bool) -> Amount | NotUnderstood:
    """A number with or without its unit, and nothing else. Heard words that make none are tried with homophones replaced."""
    if not tokens:
        return NotUnderstood(Why.NOTHING)
    for token in tokens:
        if token.text in _REFUSED:
            return refuse(_REFUSED[token.text], token)
    found = _amount(tokens, lexicon)
    if typed and isinstance(found, Amount):
        apart = any(is_digit(one.text) and is_digit(other.text) for one, other in pairwise(tokens))
        return replace(found, check=found.check or apart)  # "4 7 k": the point may have been left out
    if typed or isinstance(found, Amount):
        return found
    heard = homophones(tokens, lexicon)
    again = _amount(heard, lexicon) if heard != tokens else found
    return found if isinstance(again, NotUnderstood) else replace(again, check=True)


def homophones(tokens: tuple[Token, ...], lexicon: Lexicon) -> tuple[Token, ...]:
    """The tokens with words that only sound like number words replaced; a leading nought is only believed before the point."""
    replaced: list[Token] = []
    numbers = lexicon.numbers
    for at, token in enumerate(tokens):
        meant = lexicon.homophones_in_numbers.get(token.text, token.text)
        inside = at > 0 and replaced[-1].text in numbers.words
        before_point = at + 1 < len(tokens) and tokens[at + 1].text in numbers.marks["point"]
        believed = numbers.digits.get(meant) != "0" or inside or before_point
        replaced.append(replace(token, text=meant) if believed else token)
    return tuple(replaced)


def _amount(tokens: tuple[Token, ...], lexicon: Lexicon) -> Amount | NotUnderstood:
    words = texts(tokens)
    minus = int(words[0] in lexicon.numbers.marks["minus"])
    if minus == len(tokens):
        return refuse(Why.UNFINISHED, tokens[0])
    number = number_at(words, minus, lexicon.numbers)
    if number is None and words[minus] in lexicon.numbers.marks["a"] and longest(tokens, minus + 1, lexicon.units):
        number = Spoken("1", minus + 1, check=True)
    if number is None:
        return leftover(tokens, minus, lexicon)
    if not number.finished:
        broken_off = number.end == len(tokens) or longest(tokens, number.end, lexicon.units)
        return refuse(Why.UNFINISHED, tokens[number.end - 1]) if broken_off else leftover(tokens, number.end, lexicon)
    found, end = _with_unit(tokens, number, lexicon)
    if end < len(tokens):
        if (words[end],) in lexicon.other_units:
            return refuse(Why.WRONG_UNIT, tokens[end])
        dangling = end == len(tokens) - 1 and words[end] in lexicon.numbers.marks["and"]
        return refuse(Why.UNFINISHED, tokens[end]) if dangling else leftover(tokens, end, lexicon)
    why = _fault(found, words, lexicon)
    return found if why is None else refuse(why, tokens[0])


def _fault(found: Amount, words: Phrase, lexicon: Lexicon) -> Why | None:
    """What makes a complete amount no reading: a minus sign, "oh" alone, `4,700k` (thousands separator or decimal comma?)."""
    if words[0] in lexicon.numbers.marks["minus"]:
        return Why.NEGATIVE
    letter_alone = len(words) == 1 and words[0] in lexicon.numbers.marks["letter"]
    comma = found.grouped and (found.ambiguous or found.unit not in (None, Unit.OHM))
    return Why.UNCLEAR if letter_alone or comma else None


def _with_unit(tokens: tuple[Token, ...], number: Spoken, lexicon: Lexicon) -> tuple[Amount, int]:
    """The number with the unit that follows it, and where both end."""
    words, known, end = texts(tokens), lexicon.numbers, number.end
    scaled = number.scaled and not number.digitwise
    found = Amount(number.text, scaled=scaled, one_by_one=number.one_by_one, check=number.check)
    if words[end : end + 1] == (notation.GROUPED,):
        found, end = replace(found, grouped=True, scaled=True, check=True), end + 1
    if words[end : end + 1] == (notation.AMBIGUOUS_UNIT,):
        return replace(found, ambiguous=True), end + 1
    if words[end - 1] in known.fraction_ends:
        end = _past_of_a(tokens, end, lexicon)
    length = longest(tokens, end, lexicon.units)
    if not length:
        return found, end
    unit = lexicon.units[words[end : end + length]]
    found = replace(found, unit=unit)
    infix = length == 1 and words[end] in lexicon.infix
    end += length
    rest = words[end:]
    if rest[:1] == (notation.TOLERANCE,):
        return replace(found, check=True), end + 1
    if not rest or "." in found.text:
        return found, end
    if infix and all(word in known.digits or is_digit(word) for word in rest):
        places = "".join(known.digits.get(word, word) for word in rest)
        return replace(found, text=f"{found.text}.{places}"), len(words)
    part = known.fractions.get(rest[1:]) if rest[0] in known.marks["and"] else None
    return (replace(found, text=f"{found.text}.{part}"), len(words)) if part else (found, end)


def _past_of_a(tokens: tuple[Token, ...], end: int, lexicon: Lexicon) -> int:
    """Past the "a" or "of a" between a fraction and its unit: "half a meg", "a quarter of an ohm"."""
    past = end
    for skipped in (frozenset({"of"}), lexicon.numbers.marks["a"]):
        past += past < len(tokens) and tokens[past].text in skipped
    return past if longest(tokens, past, lexicon.units) else end


def bounds(
    tokens: tuple[Token, ...], lexicon: Lexicon, expectation: Expectation, *, typed: bool, last: Token
) -> SaidReading | NotUnderstood:
    """An unsteady reading from what follows "between"; a unit said once, at the end, holds for both bounds.

    Bounds whose prefix is not certain are left out: unsteady is what counts. `last` is the last word before the bounds.
    """
    splits = [at for at, token in enumerate(tokens) if token.text in lexicon.between_to]
    if not splits or splits[-1] == len(tokens) - 1:
        whole = amount(tokens, lexicon, typed=typed) if tokens and not splits else None
        return (
            whole
            if isinstance(whole, NotUnderstood)
            else refuse(Why.UNFINISHED, (*tokens, last)[max(len(tokens) - 1, 0)])
        )
    tried = [
        (amount(tokens[:at], lexicon, typed=typed), amount(tokens[at + 1 :], lexicon, typed=typed)) for at in splits
    ]
    found = [(low, high) for low, high in tried if isinstance(low, Amount) and isinstance(high, Amount)]
    if len(found) > 1:
        return refuse(Why.UNCLEAR, tokens[0])
    if not found:
        return next(end for end in tried[-1] if isinstance(end, NotUnderstood))
    low, high = found[0]
    if low.unit is None and not low.ambiguous and high.unit is not None and Decimal(low.text) <= Decimal(high.text):
        low = replace(low, unit=high.unit)
    quantities: list[Quantity] = []
    check = False
    for end in (low, high):
        resolved = resolve(end, expectation, tokens[0])
        if isinstance(resolved, NotUnderstood):
            return resolved
        if isinstance(resolved, SaidReading) and resolved.reading.quantity is not None:
            quantities.append(resolved.reading.quantity)
            check = check or resolved.check
    if len(quantities) < 2:  # noqa: PLR2004  # a low and a high bound
        return SaidReading(Reading(Shown.UNSTEADY, range_ohm=expectation.range_ohm), check=True)
    quantities.sort(key=lambda quantity: quantity.ohms)
    reading = Reading(Shown.UNSTEADY, low=quantities[0], high=quantities[1], range_ohm=expectation.range_ohm)
    return SaidReading(reading, check=check)


def resolve(found: Amount, expectation: Expectation, at: Token) -> SaidReading | Ask | NotUnderstood:
    """The reading, its prefix from the unit said or from the range; a question when neither gives it."""
    if len(found.text.replace(".", "")) > MOST_DIGITS:
        return refuse(Why.BEYOND_METER, at)
    numeral = Numeral(found.text)
    if found.ambiguous:
        return Ask(Why.NO_UNIT, numeral)
    unit = found.unit or _unit_of_range(numeral, expectation) or _surely_ohms(found, numeral, expectation)
    if numeral.value.scaleb((unit or Unit.OHM).value) > MOST_OHM:
        return refuse(Why.BEYOND_METER, at)
    if found.unit is None and numeral.text == "1":
        return Ask(Why.ONE_ALONE, numeral)
    if unit is None:
        return Ask(Why.NO_UNIT, numeral)
    quantity, range_ohm = Quantity(numeral, unit), expectation.range_ohm
    if range_ohm is not None and quantity.ohms > range_ohm:
        range_ohm = None  # the dial does not stand where it was thought to stand
    check = found.check or _point_may_be_lost(found, numeral, unit, expectation)
    return SaidReading(Reading(Shown.VALUE, quantity, range_ohm=range_ohm), check=check)


def _point_may_be_lost(found: Amount, numeral: Numeral, unit: Unit, expectation: Expectation) -> bool:
    """Whether digits need a question: two or more without a point, said one by one or without a unit, where the display has one.

    The display has a point when one digit of the range is less than one of the unit; with no range known, in kilo-ohms
    and meg-ohms. So "one four" on the 20 k range is asked back, "fifteen k" and "four seven zero zero ohms" are not.
    """
    if numeral.places or len(numeral.text) == 1 or not (found.one_by_one or found.unit is None):
        return False
    if expectation.range_ohm is None:
        return unit.value > 0
    step_ohm = expectation.resolution_ohm or Decimal(expectation.range_ohm) / _FEWEST_COUNTS
    return step_ohm < Decimal(1).scaleb(unit.value)


def _unit_of_range(numeral: Numeral, expectation: Expectation) -> Unit | None:
    """The unit in which a hand-set range shows its values, if its display could show this numeral.

    Ohms below the 2 k range, kilo-ohms from there, meg-ohms from the 2 M range (source: row md-13 of tests/checks/meter_display.tsv).
    """
    full_ohm = expectation.range_ohm
    if full_ohm is None:
        return None
    unit = Unit.OHM
    if full_ohm >= _KILOHM_FROM_OHM:
        unit = Unit.KILOHM if full_ohm < _MEGOHM_FROM_OHM else Unit.MEGOHM
    full = Decimal(full_ohm).scaleb(-unit.value)
    places = _DISPLAY_DIGITS - len(str(max(int(full) - 1, 1)))
    if expectation.resolution_ohm is not None:
        places = -expectation.resolution_ohm.scaleb(-unit.value).adjusted()
    return unit if numeral.value <= full and numeral.places <= places else None


def _surely_ohms(found: Amount, numeral: Numeral, expectation: Expectation) -> Unit | None:
    """Ohms, when a whole number said in hundreds or thousands cannot be anything else."""
    if not found.scaled or numeral.places:
        return None
    full_ohm = expectation.range_ohm
    if full_ohm is None:
        return Unit.OHM if numeral.value >= _SURE_WITHOUT_UNIT else None
    step_ohm = expectation.resolution_ohm or Decimal(full_ohm) / _FEWEST_COUNTS
    return Unit.OHM if numeral.value <= full_ohm and numeral.value % step_ohm == 0 else None
