"""Procedure files: every fault is named by file, key and what was expected, all at once."""

from decimal import Decimal

import pytest

from assistant import data
from assistant.dialogue.procedure import StepKind, load_procedure
from assistant.errors import BadData

EXPECTATIONS = ("ready", "primary")
GOOD = """
[procedure]
title = "a test"
first = "one"
[timing]
settle_ms = 1500
remind_ms = 0
[step.one]
title = "the first"
kind = "acknowledge"
expect = "ready"
ask = "Ready?"
wrong = "Say ready."
next = "two"
[step.two]
title = "the second"
kind = "reading"
expect = "primary"
ask = "What?"
wrong = "A reading."
range = "20000"
plausible = ["0.05", "10"]
skip = ""
next = "@end"
goto = { yes = "one" }
"""


def faults(text: str) -> list[str]:
    with pytest.raises(BadData) as caught:
        load_procedure("p.toml", text, EXPECTATIONS, ("@end",))
    return [f"{problem.where}: {problem.expected}" for problem in caught.value.problems]


def test_a_good_file_is_read_whole() -> None:
    procedure = load_procedure("p.toml", GOOD, EXPECTATIONS, ("@end",))
    one, two = procedure.steps
    assert (procedure.title, procedure.first, procedure.settle_ms, procedure.remind_ms) == ("a test", "one", 1500, 0)
    assert (one.kind, one.skip, one.plausible_ohm) == (StepKind.ACKNOWLEDGE, "two", None)
    assert (two.range, two.skip, two.plausible_ohm, two.goto) == (
        "20000",
        "",
        (Decimal("0.05"), Decimal(10)),
        (("yes", "one"),),
    )
    with pytest.raises(KeyError):
        procedure.step("three")


def test_the_shipped_procedure_has_no_caution_without_words_and_no_unreachable_step() -> None:
    from assistant.preflight import load_bench, read_files  # noqa: PLC0415

    bench = load_bench(read_files())
    dialogue = data.folder("procedures").parent / "dialogue"
    routes = "".join((dialogue / name).read_text() for name in ("routes.py", "case.py"))
    items = [item.name for check in bench.checks.values() for item in check.items]
    for step in bench.procedure.steps:
        check, _, name = step.name.rpartition(".")
        text = data.texts("procedures")[check or "coil"] + routes.replace("{check}.", '"').replace("{check.name}.", '"')
        by_judgement = ("primary", "secondary", "killtab", *items)
        assert f'"{name}"' in text or step.name in by_judgement or f"'{name}'" in text, step.name


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ('first = "one"', 'first = "none"', "p.toml: procedure.first: the name of a step"),
        ('title = "a test"', "title = 3", "p.toml: procedure.title: a text in quotes"),
        ("settle_ms = 1500", "settle_ms = -1", "p.toml: timing.settle_ms: milliseconds as a whole number, 0 for off"),
        ("settle_ms = 1500", "settle_ms = true", "p.toml: timing.settle_ms: milliseconds as a whole number, 0 for off"),
        ('kind = "reading"', 'kind = "guess"', "p.toml: step.two.kind: one of acknowledge, choice, many"),
        ('expect = "primary"', 'expect = "tertiary"', "p.toml: step.two.expect: an entry of grammar/expectations.toml"),
        ('ask = "What?"', "", "p.toml: step.two.ask: a text in quotes"),
        ('skip = ""', "skip = 0", "p.toml: step.two.skip: a text in quotes"),
        ('skip = ""', 'given = "mood"', "p.toml: step.two.given: label, leads or meter"),
        ('range = "20000"', 'range = "20k"', "p.toml: step.two.range: lowest, or ohms as digits in quotes"),
        ('plausible = ["0.05", "10"]', "plausible = [0.05, 10]", "p.toml: step.two.plausible: two numbers of ohms"),
        ('plausible = ["0.05", "10"]', 'plausible = ["10", "1"]', "p.toml: step.two.plausible: two numbers of ohms"),
        ('plausible = ["0.05", "10"]', 'plausible = ["x", "1"]', "p.toml: step.two.plausible: two numbers of ohms"),
        ('plausible = ["0.05", "10"]', "plausible = 7", "p.toml: step.two.plausible: two numbers of ohms"),
        ('plausible = ["0.05", "10"]', 'plausible = ["1", "inf"]', "p.toml: step.two.plausible: two numbers of ohms"),
        ('goto = { yes = "one" }', "goto = { yes = 1 }", "p.toml: step.two.goto: a table of answer = step"),
        ('goto = { yes = "one" }', 'goto = { yes = "three" }', "p.toml: step.two.goto.yes: a step, or one of @end"),
        ('next = "@end"', 'next = "@nowhere"', "p.toml: step.two.next: a step, or one of @end"),
        ('goto = { yes = "one" }', "if = 3", "p.toml: step.two.if: one of ask, caution"),
        ("[timing]", "[time]", "p.toml: timing: a table [timing]"),
        ("[timing]", "[time]", "p.toml: time: procedure, timing or step.NAME"),
        ("[procedure]", "step = 3\n[procedure]", "p.toml: valid TOML"),
    ],
)
def test_a_fault_is_named(old: str, new: str, fault: str) -> None:
    assert old in GOOD
    assert any(line.startswith(fault) for line in faults(GOOD.replace(old, new))), faults(GOOD.replace(old, new))


def test_a_step_that_is_no_table_is_named() -> None:
    text = GOOD[: GOOD.index("[step.two]")].replace("[step.one]", "[step]\ntwo = 2\n[step.one]")
    assert "p.toml: step.two: a table" in faults(text)


def test_all_faults_are_reported_at_once() -> None:
    bad = GOOD.replace('ask = "Ready?"', "").replace('range = "20000"', 'range = "x"').replace('title = "a test"', "")
    assert len(faults(bad)) >= 3


def test_what_is_no_toml_at_all_is_named() -> None:
    assert faults("[[[") == ["p.toml: valid TOML"]
