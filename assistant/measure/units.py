"""Units, numerals and readings: what a meter showed, before anybody judges it.

Digits stay text until their resolution was read from them: `4.70` says ten ohms on a kilo-ohm scale, `4.7` a hundred.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum

_DIGITS = re.compile(r"[0-9]+(\.[0-9]+)?")


class Unit(Enum):
    """A unit of resistance; the value is the power of ten that turns a numeral into ohms."""

    MILLIOHM = -3
    OHM = 0
    KILOHM = 3
    MEGOHM = 6

    @property
    def symbol(self) -> str:
        """The printed symbol: `mΩ`, `Ω`, `kΩ`, `MΩ`."""
        return {-3: "mΩ", 0: "Ω", 3: "kΩ", 6: "MΩ"}[self.value]


@dataclass(frozen=True, slots=True)
class Numeral:
    """Digits as they were shown or said, as text: `4.70`.

    Leading zeros are dropped, a leading point gets its zero, trailing zeros stay.
    Raises ValueError for anything but digits with at most one inner point: a numeral has no sign, exponent or unit.
    """

    text: str

    def __post_init__(self) -> None:
        text = "0" + self.text if self.text.startswith(".") else self.text
        if not _DIGITS.fullmatch(text):
            raise ValueError(f"not a numeral: {self.text!r} (expected digits with at most one point, as 4.70)")
        whole, point, rest = text.partition(".")
        object.__setattr__(self, "text", (whole.lstrip("0") or "0") + point + rest)

    @property
    def value(self) -> Decimal:
        """The number itself, without a unit."""
        return Decimal(self.text)

    @property
    def places(self) -> int:
        """Digits after the point."""
        return len(self.text.partition(".")[2])

    @property
    def step(self) -> Decimal:
        """One unit of the last digit: 0.01 for `4.70`."""
        return Decimal(1).scaleb(-self.places)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A numeral with its unit; `ohms` and `step_ohms` are exact."""

    numeral: Numeral
    unit: Unit

    @property
    def ohms(self) -> Decimal:
        """The value in ohms."""
        return self.numeral.value.scaleb(self.unit.value)

    @property
    def step_ohms(self) -> Decimal:
        """One unit of the last digit, in ohms."""
        return self.numeral.step.scaleb(self.unit.value)

    @property
    def text(self) -> str:
        """As printed: `4.70 kΩ`."""
        return f"{self.numeral.text} {self.unit.symbol}"


class Shown(Enum):
    """What kind of thing the display showed."""

    VALUE = "value"
    OVER_RANGE = "over range"
    UNSTEADY = "unsteady"


@dataclass(frozen=True, slots=True)
class Reading:
    """One thing a display showed.

    VALUE has `quantity`; OVER_RANGE has nothing else; UNSTEADY may have `low` and `high` when the person named
    bounds. `range_ohm` is the full scale the dial stood on, None when not known (auto-ranging or not said).
    """

    shown: Shown
    quantity: Quantity | None = None
    low: Quantity | None = None
    high: Quantity | None = None
    range_ohm: int | None = None

    def __post_init__(self) -> None:
        if (self.shown is Shown.VALUE) != (self.quantity is not None):
            raise ValueError("a value reading has a quantity and no other reading has one")
        if self.shown is not Shown.UNSTEADY and (self.low or self.high):
            raise ValueError("only an unsteady reading has bounds")
