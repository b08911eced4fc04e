"""A reading beside earlier ones of the same coil: median, spread, and what may be concluded."""

from dataclasses import replace
from decimal import Decimal
from math import hypot

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.measure.coil import Tap
from assistant.measure.earlier import UNTOLD, Agreement, Circumstances, Earlier, Past, beside_earlier
from assistant.measure.limits import ROOM_C, copper_ratio
from assistant.measure.measured import Measured, Part


def measured(value: str | Decimal, expanded_ohm: float = 67.0) -> Measured:
    return Measured(Decimal(value), (Part("all", expanded_ohm / 2),))


def past(*values: int | str, good: bool = False, expanded_ohm: float = 67.0) -> tuple[Past, ...]:
    return tuple(Past(Decimal(value), expanded_ohm, good) for value in values)


def beside(value: str, *earlier: Past, tap: Tap = Tap.SECONDARY, expanded_ohm: float = 67.0) -> Earlier:
    found = beside_earlier(tap, measured(value, expanded_ohm), earlier)
    assert found is not None
    return found


def test_nothing_earlier_is_no_comparison() -> None:
    assert beside_earlier(Tap.SECONDARY, measured("4700"), ()) is None


@pytest.mark.parametrize(("values", "median"), [((4700,), 4700), ((4650, 4700), 4675), ((4700, 9000, 4600), 4700)])
def test_median_and_spread(values: tuple[int, ...], median: int) -> None:
    found = beside("4700", *past(*values))
    assert found.median_ohm == median
    assert (int(found.low_ohm), int(found.high_ohm)) == (min(values), max(values))
    assert found.count == len(values)
    assert not found.known_good


def test_known_good_readings_stand_before_all_others() -> None:
    found = beside("4700", *past(2000, 9000), *past(4690, good=True))
    assert found.known_good
    assert found.count == 1
    assert {found.median_ohm, found.low_ohm, found.high_ohm} == {Decimal(4690)}


@pytest.mark.parametrize(
    ("value", "agreement"),
    [
        ("4700", Agreement.AGREES),
        ("4795", Agreement.AGREES),  # 2 % and 1 Ω of contacts: up to 95 Ω
        ("4795.1", Agreement.CANNOT_TELL),
        ("4605", Agreement.AGREES),
        # 15 K either way for both: 2/√3 · 15/254.5 of 4700 Ω is 320 Ω each, with 67 Ω each for the meters 462 Ω
        ("5256", Agreement.CANNOT_TELL),
        ("5258", Agreement.DIFFERS),
        ("4144", Agreement.CANNOT_TELL),
        ("4142", Agreement.DIFFERS),
        ("2000000", Agreement.DIFFERS),
    ],
)
def test_contacts_temperature_and_meter_are_allowed_for(value: str, agreement: Agreement) -> None:
    assert beside(value, *past(4700)).agreement is agreement


def test_a_coil_is_not_known_to_be_good_unless_somebody_said_so() -> None:
    assert not beside("4700", Past(Decimal(4700), 67.0)).known_good


def test_distance_counts_from_the_nearest_earlier_reading() -> None:
    assert beside("5000", *past(4500, 5000)).agreement is Agreement.AGREES
    assert beside("4750", *past(4500, 5000)).agreement is Agreement.AGREES


def test_a_primary_is_allowed_a_tenth_of_an_ohm_of_contacts() -> None:
    for value, agreement in (("1.12", Agreement.AGREES), ("1.13", Agreement.CANNOT_TELL), ("9", Agreement.DIFFERS)):
        assert beside(value, *past(1, expanded_ohm=0.3), tap=Tap.PRIMARY, expanded_ohm=0.3).agreement is agreement


def test_how_far_from_the_median_in_percent() -> None:
    assert beside("5170", *past(4700)).percent == 10
    assert beside("4230", *past(4700)).percent == -10
    assert beside("4711", *past(4700)).percent == pytest.approx(Decimal("0.23404"), abs=Decimal("0.00001"))
    assert beside("1", *past(0)).percent is None


def test_a_reading_without_a_value_is_told_as_such() -> None:
    found = beside_earlier(Tap.PRIMARY, None, past(1))
    assert found is not None
    assert (found.agreement, found.percent) == (Agreement.NO_VALUE, None)


_ORDER = (Agreement.AGREES, Agreement.CANNOT_TELL, Agreement.DIFFERS)
ohms = st.decimals("0.1", "2e6", places=1)
doubts = st.floats(0, 1e5)


@pytest.mark.no_cover
@given(ohms, st.lists(ohms, min_size=1, max_size=5), doubts, doubts)
def test_more_doubt_never_decides_more(value: Decimal, values: list[Decimal], less: float, more: float) -> None:
    less, more = sorted((less, more))
    earlier = tuple(Past(one, 0.0) for one in values)
    fine = beside_earlier(Tap.SECONDARY, measured(value, less), earlier)
    coarse = beside_earlier(Tap.SECONDARY, measured(value, more), earlier)
    assert fine is not None
    assert coarse is not None
    if fine.agreement is Agreement.AGREES or coarse.agreement is Agreement.AGREES:
        assert fine.agreement is coarse.agreement
    assert _ORDER.index(coarse.agreement) <= _ORDER.index(fine.agreement)


# ---- what was written down of the coil


def test_two_temperatures_that_were_told_are_taken_off() -> None:
    cold = Past(Decimal(6000), 67.0, taken=Circumstances(Decimal(5)))
    hot = measured(Decimal(6000) * copper_ratio(Decimal(5), Decimal(60)))
    found = beside_earlier(Tap.SECONDARY, hot, (cold,), Circumstances(Decimal(60)))
    assert found is not None
    assert (found.agreement, found.at_c) == (Agreement.AGREES, ROOM_C)
    assert found.percent == pytest.approx(0, abs=1e-9)
    assert found.median_ohm == pytest.approx(Decimal(6000) * copper_ratio(Decimal(5), Decimal(20)))
    untold = beside_earlier(Tap.SECONDARY, hot, (replace(cold, taken=UNTOLD),))
    assert untold is not None
    assert (untold.agreement, untold.at_c) == (Agreement.DIFFERS, None)


@pytest.mark.parametrize(
    ("now_c", "past_c", "doubt_k"), [(None, None, (15, 15)), (20, None, (5, 15)), (None, 20, (15, 5)), (20, 20, (5, 5))]
)
def test_what_is_known_of_a_temperature_leaves_less_doubt(
    now_c: int | None, past_c: int | None, doubt_k: tuple[int, int]
) -> None:
    def told(celsius: int | None) -> Circumstances:
        return Circumstances(None if celsius is None else Decimal(celsius))

    doubt_ohm = hypot(*(2 / 3**0.5 * 4700 * kelvin / 254.5 for kelvin in doubt_k), 67, 67)
    for beyond, agreement in ((-1, Agreement.CANNOT_TELL), (1, Agreement.DIFFERS)):
        value = Decimal(4700 + 95 + doubt_ohm + beyond)
        past_ = Past(Decimal(4700), 67.0, taken=told(past_c))
        found = beside_earlier(Tap.SECONDARY, measured(value), (past_,), told(now_c))
        assert found is not None
        assert found.agreement is agreement


def test_a_cap_is_only_compared_with_a_cap() -> None:
    on, off = Circumstances(cap_on=True), Circumstances(cap_on=False)
    past_ = (Past(Decimal(4700), 67.0, taken=off), Past(Decimal(9700), 67.0, taken=on), Past(Decimal(9600), 67.0))
    found = beside_earlier(Tap.SECONDARY, measured("9700"), past_, on)
    assert found is not None
    assert (found.count, found.low_ohm) == (2, Decimal(9600))
    assert beside_earlier(Tap.SECONDARY, measured("9700"), past_[:1], on) is None
    primary = beside_earlier(Tap.PRIMARY, measured("1.1"), (Past(Decimal("1.1"), 0.3, taken=off),), on)
    assert primary is not None, "the primary has no cap in it"


def test_a_cap_in_both_does_not_rise_as_copper_does() -> None:
    """4 kΩ of copper at 20 °C behind a cap of 5 kΩ, and the same at 80 °C."""
    warm = Decimal(4000) * copper_ratio(Decimal(20), Decimal(80)) + 5000
    taken = {Decimal(9000): Circumstances(Decimal(20), cap_on=True), warm: Circumstances(Decimal(80), cap_on=True)}
    for before, now in ((Decimal(9000), warm), (warm, Decimal(9000))):
        past_ = Past(before, 67.0, taken=taken[before])
        found = beside_earlier(Tap.SECONDARY, measured(now), (past_,), taken[now])
        assert found is not None
        assert found.percent == pytest.approx(0, abs=1e-9)
        assert found.median_ohm == pytest.approx(Decimal(9000))


def test_a_cap_that_was_on_is_no_part_of_the_primary() -> None:
    warm = Decimal("1.1") * copper_ratio(Decimal(20), Decimal(80))
    past_ = Past(Decimal("1.1"), 0.3, taken=Circumstances(Decimal(20), cap_on=True))
    found = beside_earlier(Tap.PRIMARY, measured(warm, 0.3), (past_,), Circumstances(Decimal(80), cap_on=True))
    assert found is not None
    assert found.percent == pytest.approx(0, abs=1e-9)
