"""From the text of an option to its value; every fault is BadInput with one line naming the option, what was found and expected."""

import re
from collections.abc import Collection
from decimal import Decimal, InvalidOperation

from assistant.errors import BadInput
from assistant.language import notation
from assistant.language.amounts import MOST_OHM
from assistant.language.lexicon import Lexicon
from assistant.language.meaning import Ask, Expectation, NotUnderstood, SaidReading
from assistant.language.readback import printed
from assistant.language.understand import understand
from assistant.language.wording import printed_ohms
from assistant.measure.limits import Limit
from assistant.measure.meter import Meter
from assistant.measure.units import Quantity, Reading, Shown, Unit
from assistant.measure.verdict import Tap
from assistant.report.meaning_json import as_json
from assistant.streams import tell

_RANGE = re.compile(r"([0-9]{1,9})([kKM]?)")
_FULL_SCALE = re.compile(r"[12456]0+")
"""Full scales begin with one of these digits: displays of pocket meters have 2,000, 4,000, 5,000, 6,000 or 10,000 counts."""
_GROUPED = re.compile(r"[0-9]{1,3}(?:,[0-9]{3})+")


def range_ohm(text: str) -> int:
    """The full scale of the dial in ohms, as it is printed beside it: `200`, `20k`, `2M`; at most 200 MΩ."""
    match = _RANGE.fullmatch(text.strip().removesuffix("Ω").rstrip())
    ohms = int(match[1]) * {"": 1, "k": 1_000, "K": 1_000, "M": 1_000_000}[match[2]] if match else 0
    if not _FULL_SCALE.fullmatch(str(ohms)) or ohms > MOST_OHM:
        raise BadInput(f"--range {text!r}: expected the full scale of the dial as printed beside it, as 200, 20k or 2M")
    return ohms


def reading(option: str, text: str, lexicon: Lexicon) -> Reading:
    """A reading; a number without a prefix is ohms, thousands separators or not (`4,700`).

    What a dialogue would ask back about, as `4K7K` or `about 4.7k`, is refused with what it may mean: nobody can be asked here.
    """
    plain = text.replace(",", "") if _GROUPED.fullmatch(text.strip()) else text
    understood = understand(plain, Expectation("primary"), lexicon, typed=True)
    meaning = understood.meaning
    if isinstance(meaning, SaidReading) and not meaning.check:
        return meaning.reading
    if isinstance(meaning, Ask):  # on the command line a number without a prefix is ohms, as the help says
        return Reading(Shown.VALUE, Quantity(meaning.numeral, Unit.OHM))
    why = as_json(understood).get("say", "") if isinstance(meaning, NotUnderstood) else ""
    if isinstance(meaning, SaidReading):
        last = notation.tokens(notation.clean(text), lexicon, typed=True)[-1].text
        found = "its last letter is a tolerance" if last == notation.TOLERANCE else "this is no plain value"
        why = f"It may mean {printed(meaning.reading)}, but {found}."
    raise BadInput(f"{option} {text!r}: expected a reading, as 1.4, 4.2k, OL or unsteady. {why}".rstrip())


def shown_by(meter: Meter, option: str, text: str, lexicon: Lexicon) -> Reading:
    """A reading that this meter can have shown; a value above its highest range is refused, nobody can be asked here.

    Digits that its display does not have are told; they are judged with the doubt of those that it has.
    """
    found = reading(option, text, lexicon)
    if meter.too_much(found):
        most = printed_ohms(meter.highest.full_ohm)
        raise BadInput(
            f"{option} {text!r}: found {printed(found)}, but meter {meter.name} shows at most {most};"
            " give OL if it showed over range, or another --meter"
        )
    finest_ohm = meter.finer(found)
    if finest_ohm is not None:
        tell(
            f"{option} {text!r}: meter {meter.name} shows no digit below {finest_ohm:f} Ω there;"
            " the value is taken as given, with the doubt of that digit."
        )
    return found


def limits(winding: str, text: str | None, at_c: Decimal | None, lexicon: Lexicon) -> Limit | None:
    """The maker's limits of one winding, as `LOW:HIGH`; None when not given."""
    if text is None:
        return None
    option = f"--{winding}-limits"
    low, colon, high = text.partition(":")
    if not colon or not (low or high):
        raise BadInput(f"{option} {text!r}: expected LOW:HIGH, as 0.8:1.3 or 5.9k:7.1k; one side may be empty")
    sides = []
    for side in (low, high):
        quantity = reading(option, side, lexicon).quantity if side else None
        if side and quantity is None:
            raise BadInput(f"{option} {text!r}: expected resistances, as 0.8:1.3 or 5.9k:7.1k")
        sides.append(quantity.ohms if quantity else None)
    try:
        return Limit(sides[0], sides[1], at_c)
    except ValueError as error:
        raise BadInput(f"{option} {text!r}: {error}") from error


def celsius(option: str, text: str | None) -> Decimal | None:
    """Degrees Celsius; None when not given."""
    if text is None:
        return None
    try:
        celsius = Decimal(text)
    except InvalidOperation:
        celsius = Decimal("NaN")
    if not celsius.is_finite():
        raise BadInput(f"{option} {text!r}: expected degrees Celsius, as 20")
    return celsius


def taps(text: str, given: Collection[str]) -> frozenset[Tap]:
    """Names of readings with commas between, each one that is `given`."""
    names = [name.strip() for name in text.split(",") if name.strip()]
    known = {tap.value: tap for tap in Tap}
    for name in names:
        if name not in known:
            raise BadInput(f"--repeated {name!r}: expected some of {', '.join(known)}, with commas between")
        if name not in given:
            raise BadInput(f"--repeated {name!r}: that reading is not there; give it as --{name}")
    return frozenset(known[name] for name in names)
