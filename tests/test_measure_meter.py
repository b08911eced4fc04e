"""Meter profiles: accuracy, ranges, and the faults of a profile."""

from decimal import Decimal

import pytest
from check_rows import CheckRow, rows
from coil_cases import METERS, POCKET, quantity, reading
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import BadData
from assistant.measure.meter import Meter, Range, load_meters
from assistant.measure.units import Numeral, Quantity, Reading, Shown, Unit


@pytest.mark.parametrize("row", rows("meter_accuracy", "printed_example"))
def test_the_limit_of_printed_examples_in_volts(row: CheckRow) -> None:
    """The formula knows no unit: the printed examples are in volts."""
    range_ = Range(200, row.number("resolution_v"), row.number("percent_of_reading"), int(row["counts"]))
    limit = range_.limit_ohm(row.number("reading_v"))
    tolerance = row.number("tolerance_v")
    assert limit == pytest.approx(row.number("expected_limit_v"), abs=tolerance)
    assert row.number("reading_v") - limit == pytest.approx(row.number("expected_low_v"), abs=tolerance)
    assert row.number("reading_v") + limit == pytest.approx(row.number("expected_high_v"), abs=tolerance)


@pytest.mark.parametrize("row", rows("meter_accuracy", "resistance_range"))
def test_the_uncertainty_of_a_single_reading(row: CheckRow) -> None:
    full_ohm, resolution = int(row["range_ohm"]), row.number("resolution_ohm")
    range_ = Range(full_ohm, resolution, row.number("percent_of_reading"), int(row["counts"]))
    meter = Meter("any", "any", hand_set=True, ranges=(range_,))
    shown = Quantity(Numeral(f"{row.number('reading_ohm').quantize(min(resolution, Decimal(1))):f}"), Unit.OHM)
    found = meter.measured(shown, range_, "the reading")
    share = float(row.number("tolerance_percent")) / 100
    assert range_.limit_ohm(found.value_ohm) == pytest.approx(row.number("expected_limit_ohm"), rel=Decimal(share))
    assert found.u_ohm == pytest.approx(float(row.number("expected_u_ohm")), rel=share)
    assert found.expanded_ohm == pytest.approx(float(row.number("expected_u95_ohm")), rel=share)


def test_two_readings_on_one_range_share_its_gain_and_nothing_else() -> None:
    range_ = POCKET.lowest
    coil, leads = POCKET.measured(quantity("1.4"), range_, "coil"), POCKET.measured(quantity("0.3"), range_, "leads")
    shared = {part.name for part in coil.parts} & {part.name for part in leads.parts}
    assert shared == {"gain of pocket on 200 Ω"}
    less = coil - leads
    gain = next(part for part in less.parts if part.name in shared)
    assert gain.u_ohm == pytest.approx(1.1 * 0.008 / 3**0.5)
    assert less.u_ohm > max(coil.u_ohm, leads.u_ohm)


def test_digits_that_were_not_said_widen_the_doubt() -> None:
    range_ = POCKET.at(20_000)
    assert range_ is not None
    full, short = (POCKET.measured(quantity(text), range_, "it") for text in ("4.70k", "4.7k"))
    assert short.u_ohm**2 == pytest.approx(full.u_ohm**2 + 50**2 / 3)


def test_more_digits_than_the_display_has_gain_nothing() -> None:
    assert POCKET.measured(quantity("1.40"), POCKET.lowest, "it").u_ohm == pytest.approx(
        POCKET.measured(quantity("1.4"), POCKET.lowest, "it").u_ohm
    )


_WITH_OFFSET = Meter(
    "wide", "wide", hand_set=True, ranges=(Range(200_000_000, Decimal(100_000), Decimal(5), 10, Decimal(1_000_000)),)
)


@pytest.mark.parametrize("row", rows("meter_display", "offset_200m"))
def test_the_offset_of_a_wide_range_is_taken_off(row: CheckRow) -> None:
    shown = Quantity(Numeral(row["display_text"]), Unit.MEGOHM)
    assert shown.ohms <= int(row["range_ohm"]) == _WITH_OFFSET.lowest.full_ohm
    found = _WITH_OFFSET.measured(shown, _WITH_OFFSET.lowest, "it")
    assert found.value_ohm == pytest.approx(row.number("expected_ohm"), abs=row.number("tolerance_ohm"))


@pytest.mark.parametrize(
    ("meter", "text", "usual_ohm", "full_ohm"),
    [
        ("pocket", "1.4", None, 200),
        ("pocket", "200.0", None, 200),
        ("pocket", "1.40k@20000", None, 20_000),
        ("pocket", "4.70k@200", None, 20_000),
        ("pocket", "1.90k", 20_000, 20_000),
        ("pocket", "1.904k", 20_000, 2_000),
        ("pocket", "25.0k", 20_000, 200_000),
        ("pocket", "4.7k", None, 20_000),
        ("pocket", "99M", None, 20_000_000),
        ("pocket", "1.234567", None, 200),
        ("pocket", "OL@20000", None, 20_000),
        ("pocket", "OL@33", None, 20_000_000),
        ("pocket", "jumping", None, 20_000_000),
        ("auto", "1.90k", 40_000, 4_000),
    ],
)
def test_the_range_a_reading_was_taken_on(meter: str, text: str, usual_ohm: int | None, full_ohm: int) -> None:
    assert METERS[meter].range_for(reading(text), usual_ohm).full_ohm == full_ohm


@pytest.mark.parametrize(
    ("text", "too_much"),
    [("20.00M", False), ("20.01M", True), ("99M", True), ("1.4", False), ("OL", False), ("jumping", False)],
)
def test_what_lies_above_the_highest_range_is_known(text: str, *, too_much: bool) -> None:
    assert POCKET.too_much(reading(text)) is too_much


@pytest.mark.parametrize(
    ("text", "finest_ohm"), [("1.4567", "0.1"), ("200.0", "0.1"), ("200.1", "1"), ("6.50k", "10"), ("99M", "10000")]
)
def test_the_finest_digit_that_may_stand_for_a_value(text: str, finest_ohm: str) -> None:
    assert POCKET.finest_ohm(quantity(text).ohms) == Decimal(finest_ohm)


@pytest.mark.parametrize(
    ("text", "finer"),
    [("4.7123k", "10"), ("4.7100k", None), ("4.71k", None), ("1.45", "0.1"), ("OL", None), ("jumping", None)],
)
def test_digits_that_a_display_does_not_have_are_known(text: str, finer: str | None) -> None:
    assert POCKET.finer(reading(text)) == (None if finer is None else Decimal(finer))


@pytest.mark.no_cover
@given(st.sampled_from(sorted(METERS)), st.integers(0, 40_000_000), st.integers(0, 3), st.sampled_from(Unit))
def test_every_value_has_a_range_and_a_doubt(name: str, digits: int, places: int, unit: Unit) -> None:
    shown = Quantity(Numeral(f"{Decimal(digits).scaleb(-places):f}"), unit)
    meter = METERS[name]
    range_ = meter.range_for(Reading(Shown.VALUE, shown))
    found = meter.measured(shown, range_, "it")
    assert found.value_ohm == shown.ohms
    assert found.u_ohm * 3**0.5 >= float(range_.limit_ohm(shown.ohms)) * (1 - 1e-9)


def test_the_shipped_profiles() -> None:
    assert {name: meter.hand_set for name, meter in METERS.items()} == {"auto": False, "fine": True, "pocket": True}
    assert POCKET.lowest.full_ohm == 200
    assert POCKET.highest.full_ohm == 20_000_000
    assert METERS["fine"].lowest.resolution_ohm == Decimal("0.01")
    assert METERS["auto"].lowest.full_ohm == 400


_EDGES = {"full_ohm": "200", "resolution_ohm": "0.1", "percent": "1", "counts": "2", "offset_ohm": "0"}


@pytest.mark.parametrize(
    ("key", "value", "good"),
    [
        ("full_ohm", "1", True),
        ("full_ohm", "0", False),
        ("full_ohm", "999_999_999_999", True),
        ("full_ohm", "1_000_000_000_000", False),
        ("resolution_ohm", "0.000001", True),
        ("resolution_ohm", "0.0000009", False),
        ("resolution_ohm", "199.9", True),
        ("resolution_ohm", "200", False),
        ("percent", "0", True),
        ("percent", "50", True),
        ("percent", "50.1", False),
        ("percent", "-0.1", False),
        ("counts", "1", True),
        ("counts", "0", False),
        ("counts", "1.5", False),
        ("offset_ohm", "999_999_999_999", True),
        ("offset_ohm", "1e12", False),
        ("offset_ohm", "inf", False),
    ],
)
def test_the_edges_of_a_profile(key: str, value: str, good: bool) -> None:  # noqa: FBT001 - a parameter of the test
    keys = "\n".join(f"{name} = {text}" for name, text in (_EDGES | {key: value}).items())
    text = f'title = "edge"\nhand_set = true\n[[range]]\n{keys}\n'
    if good:
        assert len(load_meters({"edge": text})["edge"].ranges) == 1
        return
    with pytest.raises(BadData) as caught:
        load_meters({"edge": text})
    assert [problem.where for problem in caught.value.problems] == [f"meters/edge.toml: range[0].{key}"]


def test_every_fault_of_every_profile_is_named_at_once() -> None:
    good = "full_ohm = 200\nresolution_ohm = 0.1\npercent = 1\ncounts = 2\n"
    texts = {
        "a": 'titel = "x"\nhand_set = "yes"\n[[range]]\n' + good.replace("0.1", "nan") + "percents = 3\n",
        "b": 'title = " "\nhand_set = false\nrange = []\n',
        "c": 'title = "c"\nhand_set = false\n[[range]]\n' + good + "[[range]]\n" + good,
        "d": 'title = "d"\nhand_set = false\n[[range]]\nfull_ohm = true\nresolution_ohm = 500\npercent = 60\ncounts = 0\noffset_ohm = -1\n',
        "e": "title =",
        "f": 'title = "f"\nhand_set = false\nrange = 3\n',
        "g": 'title = "g"\nhand_set = false\n[[range]]\n' + good.replace("0.1", "200").replace("= 1\n", "= true\n"),
    }
    with pytest.raises(BadData) as caught:
        load_meters(texts)
    found = {problem.where: (problem.found, problem.expected) for problem in caught.value.problems}
    assert set(found) == {
        "meters/a.toml: titel",
        "meters/a.toml: title",
        "meters/a.toml: hand_set",
        "meters/a.toml: range[0].resolution_ohm",
        "meters/a.toml: range[0].percents",
        "meters/b.toml: title",
        "meters/b.toml: range",
        "meters/c.toml: range[1].full_ohm",
        "meters/d.toml: range[0].full_ohm",
        "meters/d.toml: range[0].percent",
        "meters/d.toml: range[0].counts",
        "meters/d.toml: range[0].offset_ohm",
        "meters/e.toml",
        "meters/f.toml: range",
        "meters/g.toml: range[0].resolution_ohm",
        "meters/g.toml: range[0].percent",
    }
    assert found["meters/a.toml: title"] == ("nothing", "a title in quotes")
    assert found["meters/a.toml: hand_set"] == ("'yes'", "true or false")
    assert found["meters/a.toml: range[0].resolution_ohm"][0] == "NaN"
    assert found["meters/c.toml: range[1].full_ohm"] == ("200", "more than 200")
