"""A value with its named sources of error.

Two readings on one range share the range's gain error: it carries one name, so it cancels in a difference and adds up
in a sum. Everything else is the reading's own. Parts of one name are fully correlated, parts of different names not
at all (the law of propagation of JCGM 100:2008, 5.1 and 5.2, for sums and multiples).
"""

from dataclasses import dataclass, replace
from decimal import Decimal
from math import hypot, sqrt

COVERAGE_FACTOR = 2
"""k of every expanded uncertainty here: about 95 % (JCGM 100:2008, 6.3.3)."""


@dataclass(frozen=True, slots=True)
class Part:
    """One source of error by name, and what one standard uncertainty of it does to the value, with its sign."""

    name: str
    u_ohm: float


def rectangular(name: str, half_width_ohm: float) -> Part:
    """The part of an error known only to lie within ± `half_width_ohm`: u = half width / √3 (JCGM 100:2008, 4.3.7)."""
    return Part(name, half_width_ohm / sqrt(3))


@dataclass(frozen=True, slots=True)
class Measured:
    """A resistance in ohms and the errors it may carry; each part's name stands once (else ValueError).

    There is no `<` and no `>`: whether a value lies beyond a limit is a judgement and belongs to the verdict.
    """

    value_ohm: Decimal
    parts: tuple[Part, ...] = ()

    def __post_init__(self) -> None:
        names = [part.name for part in self.parts]
        if len(set(names)) < len(names):
            raise ValueError(f"a part is named twice: {sorted(names)}")

    @property
    def u_ohm(self) -> float:
        """The standard uncertainty: root of the sum of the parts' squares."""
        return hypot(*(part.u_ohm for part in self.parts))

    @property
    def expanded_ohm(self) -> float:
        """U, the expanded uncertainty: twice the standard one."""
        return COVERAGE_FACTOR * self.u_ohm

    def __add__(self, other: "Measured") -> "Measured":
        """The sum; parts of one name add with their signs."""
        sums = {part.name: part.u_ohm for part in self.parts}
        for part in other.parts:
            sums[part.name] = sums.get(part.name, 0.0) + part.u_ohm
        return Measured(self.value_ohm + other.value_ohm, tuple(Part(name, u_ohm) for name, u_ohm in sums.items()))

    def __sub__(self, other: "Measured") -> "Measured":
        """The difference; parts of one name cancel as far as they go."""
        return self + other.scaled(Decimal(-1))

    def scaled(self, factor: Decimal) -> "Measured":
        """The value and every part times a factor that is known exactly."""
        parts = tuple(replace(part, u_ohm=part.u_ohm * float(factor)) for part in self.parts)
        return Measured(self.value_ohm * factor, parts)

    def with_part(self, part: Part) -> "Measured":
        """The same value with one more source of error."""
        return Measured(self.value_ohm, (*self.parts, part))
