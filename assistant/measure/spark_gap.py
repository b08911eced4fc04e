"""What a spark across a known gap says about voltage: a range, from needle points to 25 mm spheres, never one figure.

Points of both tables: AIEE spark-gap voltages (tests/checks/spark_gap.tsv names the copy they were read from; the spheres'
first point is that of its row sg-69), at 760 mmHg and 25 °C. Between them a straight line, from zero for needles. The
ends of a plug or a tester are neither needles nor spheres; they lie somewhere between.
"""

from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

Point = tuple[Decimal, Decimal]
"""A gap in mm and the peak voltage in kV that just crosses it."""


def _points(*pairs: tuple[str, int]) -> tuple[Point, ...]:
    return tuple((Decimal(gap_mm), Decimal(peak_kv)) for gap_mm, peak_kv in pairs)


NEEDLES = _points(("0", 0), ("4.2", 5), ("8.5", 10), ("13", 15))
SPHERES_25MM = _points(("1.3", 5), ("2.7", 10), ("4.2", 15), ("5.8", 20), ("7.6", 25), ("9.5", 30), ("11.7", 35))
GAPS_MM = (SPHERES_25MM[0][0], SPHERES_25MM[-1][0])
"""The gaps that both tables cover."""


@dataclass(frozen=True, slots=True)
class Gap:
    """A gap in mm, and what just crosses it: kV peak between needle points and between 25 mm spheres."""

    gap_mm: Decimal
    needles_kv: Decimal
    spheres_kv: Decimal


def is_gap(gap_mm: Decimal) -> bool:
    """Whether something is known about such a gap."""
    return GAPS_MM[0] <= gap_mm <= GAPS_MM[1]


def across(gap_mm: Decimal) -> Gap:
    """The range for a gap; ValueError outside GAPS_MM."""
    if not is_gap(gap_mm):
        raise ValueError(f"nothing is known about a gap of {gap_mm} mm, only from {GAPS_MM[0]} to {GAPS_MM[1]} mm")
    return Gap(gap_mm, _between(NEEDLES, gap_mm), _between(SPHERES_25MM, gap_mm))


def _between(points: tuple[Point, ...], gap_mm: Decimal) -> Decimal:
    (low_mm, low_kv), (high_mm, high_kv) = next(pair for pair in pairwise(points) if gap_mm <= pair[1][0])
    return low_kv + (gap_mm - low_mm) * (high_kv - low_kv) / (high_mm - low_mm)
