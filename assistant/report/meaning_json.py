"""Meanings as plain values for JSON: what `read` and `hear` print."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

from assistant.language.meaning import (
    Ask,
    Meaning,
    NotUnderstood,
    SaidAnswers,
    SaidCommand,
    SaidNumber,
    SaidReading,
    SaidText,
    SaidUnit,
    Understood,
    Why,
)
from assistant.measure.units import Quantity, Shown

SHOWN_CHARACTERS = 60

_WHAT_TO_DO = {
    Why.NO_UNIT: "a number without a unit; expected ohms, kilo-ohms or meg-ohms with it, as in “four point seven kilo-ohms”",
    Why.ONE_ALONE: "a lone one may be over range; say over range, or the value with its unit, as in “one ohm” or “one point zero ohms”",
    Why.TWO_NUMBERS: "two numbers, or digits that may be read in two ways; say one reading, digit by digit",
    Why.UNFINISHED: "the number is not finished; say all of it, as in “four point seven kilo-ohms”",
    Why.UNKNOWN_WORD: "an unknown word; expected a reading such as “four point seven kilo-ohms”, an answer or a command",
    Why.WRONG_UNIT: "no unit of resistance; check that the meter is set to ohms",
    Why.WRONG_KIND: "understood, but another kind of answer is expected here (temperatures are in degrees Celsius)",
    Why.NOT_EXPECTED: "understood, but it is no answer to what is asked here",
    Why.NOTHING: "nothing was said; expected a reading, an answer or a command",
    Why.TOO_LONG: "too long; expected one reading, one answer or one command",
    Why.BEYOND_METER: "no pocket meter shows that; expected at most 200 MΩ",
    Why.NEGATIVE: "a resistance has no minus sign; check that the meter is set to ohms",
    Why.BEEP: "a beep is no reading; set the dial to ohms and read the display",
    Why.UNCLEAR: "it is not clear what is meant, and nothing was taken; expected a reading such as “4.7 kΩ” with a decimal point, "
    "an answer or a command",
}


def as_json(understood: Understood | Meaning) -> dict[str, Any]:
    """The meaning as a dict of strings, in a fixed order of keys, with "kind" first.

    `ohms` is plain decimal text without exponent or trailing zeros; `digits` and `unit` are as said. `say` says what was
    found and what was expected, `mended` which typed words were taken for which.
    """
    if not isinstance(understood, Understood):
        return _meaning(understood)
    result = _meaning(understood.meaning)
    if understood.mended:
        result["mended"] = {_short(typed): taken for typed, taken in understood.mended}
    return result


def plain(value: Decimal) -> str:
    """A decimal number without exponent or trailing zeros: `4700`, `0.85`, `0`."""
    text = format(value, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _reading(meaning: SaidReading) -> dict[str, Any]:
    reading = meaning.reading
    result: dict[str, Any] = {"kind": "reading"}
    if reading.quantity is not None:
        result |= _quantity(reading.quantity)
    else:
        result["kind"] = reading.shown.value
    if reading.shown is Shown.UNSTEADY and reading.low and reading.high:
        result |= {"low": _quantity(reading.low), "high": _quantity(reading.high)}
    if meaning.correction:
        result["correction"] = True
    if meaning.check:
        result["check"] = True
    return result


def _quantity(quantity: Quantity) -> dict[str, Any]:
    return {"ohms": plain(quantity.ohms), "digits": quantity.numeral.text, "unit": quantity.unit.symbol}


def _number(meaning: SaidNumber) -> dict[str, Any]:
    result = {"kind": "number", "digits": meaning.text}
    return {**result, "unit": "°F"} if meaning.fahrenheit else result


def _answers(meaning: SaidAnswers) -> dict[str, Any]:
    result: dict[str, Any] = {"kind": "answer", "name": meaning.names[0]}
    return result if len(meaning.names) == 1 else {**result, "names": list(meaning.names)}


def _ask(meaning: Ask) -> dict[str, Any]:
    result: dict[str, Any] = {"kind": "ask", "why": meaning.why.value, "digits": meaning.numeral.text}
    if meaning.correction:
        result["correction"] = True
    return {**result, "say": f"“{meaning.numeral.text}”: {_WHAT_TO_DO[meaning.why]}."}


def _not_understood(meaning: NotUnderstood) -> dict[str, Any]:
    found = f"“{_short(meaning.text)}”: " if meaning.text else ""
    line = f"{found}{_WHAT_TO_DO[meaning.why]}."
    return {
        "kind": "not understood",
        "why": meaning.why.value,
        "at": meaning.at,
        "text": _short(meaning.text),
        "say": line,
    }


def _short(text: str) -> str:
    return text if len(text) <= SHOWN_CHARACTERS else text[: SHOWN_CHARACTERS - 1] + "…"


def _meaning(meaning: Meaning) -> dict[str, Any]:
    writer: Callable[[Any], dict[str, Any]] = _WRITERS[type(meaning)]
    return writer(meaning)


_WRITERS: dict[type[Any], Callable[[Any], dict[str, Any]]] = {
    SaidReading: _reading,
    SaidNumber: _number,
    SaidUnit: lambda meaning: {"kind": "unit", "unit": meaning.unit.symbol},
    SaidAnswers: _answers,
    SaidCommand: lambda meaning: {"kind": "command", "name": meaning.name},
    SaidText: lambda meaning: {"kind": "text", "text": meaning.text},
    Ask: _ask,
    NotUnderstood: _not_understood,
}
