"""The coil test as plain text for the record: the verdict, what it rests on, and everything said about it."""

from assistant.language.verdict_wording import (
    NAMES,
    because,
    cautions,
    leads_off,
    next_steps,
    say,
    shown,
    unproven,
    with_doubt,
)
from assistant.measure.case import Case, TapResult, Verdict
from assistant.measure.coil import Electronics, Stroke, Tap
from assistant.measure.units import Reading

_STROKES = {Stroke.FOUR: "four-stroke", Stroke.TWO: "two-stroke", Stroke.UNKNOWN: "not known"}
_ELECTRONICS = {Electronics.YES: "yes", Electronics.NO: "no", Electronics.UNKNOWN: "not known"}
_CAPS = {True: "on", False: "off", None: "not known"}


def report(verdict: Verdict, case: Case, label: str, started_at: str) -> str:
    """The whole verdict and the case it rests on as plain text for the record, with a heading over each part."""
    head = f"Ignition coil test{f': {label}' if label else ''}" + (f"\nStarted {started_at}" if started_at else "")
    parts = (
        ("Verdict", (say(verdict),)),
        ("Test", _test_lines(case)),
        (
            "Readings",
            (
                _leads_line(case),
                *(_tap_line(verdict.result(tap), case.attempts(tap)) for tap in Tap),
                *_warm_line(case),
            ),
        ),
        ("Because", because(verdict)),
        ("Not proven", unproven(verdict)),
        ("Next", next_steps(verdict)),
        ("Cautions", cautions(verdict)),
    )
    texts = ["\n".join((title, *(f"  {line}" for line in lines))) for title, lines in parts if lines]
    return "\n\n".join((head, *texts)) + "\n"


def _test_lines(case: Case) -> tuple[str, ...]:
    """What the readings were taken with and on; what was not said is printed as not known."""
    known = (
        f"Meter: {case.meter.title}",
        f"Engine: {_STROKES[case.stroke]}",
        f"Electronics inside the coil block: {_ELECTRONICS[case.electronics]}",
        f"Plug cap: {_CAPS[case.cap_on]}",
    )
    return known if case.coil_at_c is None else (*known, f"Coil at {case.coil_at_c} °C")


def _leads_line(case: Case) -> str:
    return f"Leads: {'not taken' if case.leads is None else shown(case.leads)}"


def _tap_line(result: TapResult, attempts: tuple[Reading, ...]) -> str:
    name = NAMES[result.tap].capitalize()
    if result.reading is None:
        return f"{name}: not taken"
    value = f", {with_doubt(result.measured)}" if result.measured is not None else ""
    less = " less the leads" if leads_off(result) else ""
    before = "; before that: " + ", ".join(shown(reading) for reading in attempts[:-1]) if attempts[1:] else ""
    return f"{name}: {shown(result.reading)}{value}{less} ({result.kind.value}){before}"


def _warm_line(case: Case) -> tuple[str, ...]:
    at = "temperature not known" if case.warm_at_c is None else f"at {case.warm_at_c} °C"
    return tuple(
        f"{NAMES[tap].capitalize()}, hot: {', '.join(shown(reading) for reading in case.hot(tap))}, {at}"
        for tap in (Tap.SECONDARY, Tap.PRIMARY)
        if case.hot(tap)
    )
