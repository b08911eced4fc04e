"""Readings and cases in short: `reading("4.70k")`, `case("1.4", "4.2k")`."""

from decimal import Decimal
from typing import Any

from assistant.data import texts
from assistant.measure.meter import Meter, load_meters
from assistant.measure.units import Numeral, Quantity, Reading, Shown, Unit
from assistant.measure.verdict import Case

METERS = load_meters(texts("meters"))
POCKET = METERS["pocket"]
_UNITS = {"k": Unit.KILOHM, "M": Unit.MEGOHM}


def quantity(text: str) -> Quantity:
    """`1.4`, `4.70k`, `2.3M`."""
    unit = _UNITS.get(text[-1], Unit.OHM)
    return Quantity(Numeral(text.rstrip("kM")), unit)


def reading(text: str) -> Reading:
    """`4.70k`, `OL`, `jumping`, each with the range it was taken on behind an @ when that is known: `OL@20000`."""
    text, _, full = text.partition("@")
    range_ohm = int(full) if full else None
    if text == "OL":
        return Reading(Shown.OVER_RANGE, range_ohm=range_ohm)
    if text == "jumping":
        return Reading(Shown.UNSTEADY, range_ohm=range_ohm)
    return Reading(Shown.VALUE, quantity(text), range_ohm=range_ohm)


def readings(texts_: str) -> tuple[Reading, ...]:
    return tuple(reading(text) for text in texts_.split())


def plain(ohms: Decimal) -> Reading:
    """A value typed in ohms, without a range."""
    return Reading(Shown.VALUE, Quantity(Numeral(f"{ohms:f}"), Unit.OHM))


def case(
    primary: str = "", secondary: str = "", killtab: str = "", *, leads: str = "0.3", meter: Meter = POCKET, **more: Any
) -> Case:
    """Attempts stand with spaces between, oldest first."""
    return Case(
        meter,
        leads=reading(leads) if leads else None,
        primary=readings(primary),
        secondary=readings(secondary),
        killtab=readings(killtab),
        **more,
    )
