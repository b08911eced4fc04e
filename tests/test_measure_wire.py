"""What copper wire must read by its gauge and length, against what the program says of leads, short wires and windings."""

from decimal import Decimal

import pytest
from check_rows import CheckRow, row_of, rows
from coil_cases import POCKET, case, plain, reading

from assistant.measure.coil import LEADS_NORMAL_MOST_OHM, PRIMARY_SCATTER_OHM, Class
from assistant.measure.explain import hidden_turns
from assistant.measure.measured import Measured
from assistant.measure.parts import CLOSED_MOST_OHM, Finding, Item, PartCase, PartKind, Wants, judge_part
from assistant.measure.verdict import judge

_FEET_A_METRE = Decimal("3.28084")
_WIRES = ("table_resistance", "formula_resistance")
_LEADS_M = 2
"""Two test leads of a metre each."""
_KILL_WIRE_M = 10
"""Longer than any small engine's, there and back."""


def _ohms(row: CheckRow, metres: Decimal | int) -> Decimal:
    return row.number("expected_ohm_per_kft_20c") * metres * _FEET_A_METRE / 1000


def _thick(row: CheckRow) -> bool:
    """Whether leads and harnesses are made of it: the finer rows are winding wire."""
    return row.number("awg") <= 24


WIRES = [one for one in rows("wire_table", *_WIRES) if _thick(row_of(one))]
WINDINGS = rows("wire_table", "winding")


@pytest.mark.parametrize("row", WIRES)
def test_the_copper_of_leads_is_less_than_what_shorted_leads_may_read(row: CheckRow) -> None:
    """So leads above half an ohm have bad tips or broken strands, not too much wire."""
    assert _ohms(row, _LEADS_M) < LEADS_NORMAL_MOST_OHM


@pytest.mark.parametrize("row", WIRES)
def test_a_whole_kill_wire_counts_as_closed(row: CheckRow) -> None:
    wire_ohm = _ohms(row, _KILL_WIRE_M).quantize(Decimal("0.1"))
    assert wire_ohm < CLOSED_MOST_OHM
    item = Item("kill_switch.stop", "the switch on stop", Wants.CLOSED)
    shown = plain(wire_ohm + Decimal("0.2"))
    found = judge_part(PartCase("kill_switch", "kill switch", POCKET, (item,), ((shown,),), reading("0.2")))
    assert (found.kind, found.results[0].finding) == (PartKind.WELL, Finding.CLOSED)


def _of_the_table(winding: CheckRow) -> CheckRow:
    """The wire that a winding is made of."""
    wires = map(row_of, rows("wire_table", *_WIRES))
    return next(row for row in wires if all(row[name] == winding[name] for name in ("table", "awg", "diameter_mil")))


@pytest.mark.parametrize("row", WINDINGS)
def test_turns_of_a_wire_come_to_the_winding_of_the_table(row: CheckRow) -> None:
    metres = row.number("turns") * row.number("mean_turn_mm") / 1000
    wanted = row.number("expected_winding_ohm_20c")
    # the table prints the wire with four digits
    assert _ohms(_of_the_table(row), metres) == pytest.approx(wanted, rel=row.number("tolerance_percent") / 100)


@pytest.mark.parametrize("row", WINDINGS)
def test_a_winding_made_of_so_much_wire_is_no_cause(row: CheckRow) -> None:
    ohm = row.number("expected_winding_ohm_20c")
    primary = row.number("turns") < 1000
    shown = f"{ohm + Decimal('0.3'):.1f}" if primary else f"{ohm / 1000:.2f}k"
    verdict = judge(case(shown, "4.20k") if primary else case("1.4", shown))
    result = verdict.primary if primary else verdict.secondary
    assert result.kind in (Class.USUAL, Class.NEAR)
    assert verdict.row == "sound"


@pytest.mark.parametrize("part", ["0.02", "0.05", "0.2"])
@pytest.mark.parametrize("row", WINDINGS)
def test_turns_that_are_missing_are_within_what_could_be_shorted(row: CheckRow, part: str) -> None:
    """With a part of its turns shorted a winding reads so much less wire; what "sound" says could be shorted is no less."""
    whole = row.number("expected_winding_ohm_20c")
    inside, best = hidden_turns(Measured(whole * (1 - Decimal(part))), whole)
    assert inside == pytest.approx(float(part))
    assert best == 0.0  # a meter without doubt would see it beside a good reading


@pytest.mark.parametrize("row", [one for one in WINDINGS if row_of(one).number("turns") < 1000])
def test_contacts_hide_some_turns_of_a_primary(row: CheckRow) -> None:
    """What contacts differ by is more than ten turns of any of these primaries: nobody may promise to see one shorted turn."""
    a_turn = row.number("expected_winding_ohm_20c") / row.number("turns")
    assert a_turn * 10 < PRIMARY_SCATTER_OHM
