"""Readings as words and as print. Digits are said one by one, so that fifteen and fifty cannot be confused."""

from assistant.measure.units import Quantity, Reading, Shown, Unit

_WORDS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "point")
_DIGITS = dict(zip("0123456789.", _WORDS, strict=True))
_NAMES = {Unit.MILLIOHM: "milli-ohm", Unit.OHM: "ohm", Unit.KILOHM: "kilo-ohm", Unit.MEGOHM: "meg-ohm"}


def spoken(quantity: Quantity) -> str:
    """The quantity digit by digit with its unit: `four point seven zero kilo-ohms`; exactly `1` is `one ohm`."""
    text = quantity.numeral.text
    digits = " ".join(_DIGITS[char] for char in text)
    return f"{digits} {_NAMES[quantity.unit]}{'' if text == '1' else 's'}"


def spoken_reading(reading: Reading) -> str:
    """What the display showed, to be spoken: the quantity, `over range`, or `unsteady` with its bounds."""
    if reading.quantity is not None:
        return spoken(reading.quantity)
    if reading.shown is Shown.OVER_RANGE:
        return "over range"
    if reading.low is None or reading.high is None:
        return "unsteady"
    return f"unsteady between {spoken(reading.low)} and {spoken(reading.high)}"


def printed(reading: Reading) -> str:
    """What the display showed, in print: `4.70 kΩ`, `over range`, `unsteady between 1 MΩ and 3 MΩ`."""
    if reading.quantity is not None:
        return reading.quantity.text
    if reading.shown is Shown.OVER_RANGE:
        return "over range"
    if reading.low is None or reading.high is None:
        return "unsteady"
    return f"unsteady between {reading.low.text} and {reading.high.text}"
