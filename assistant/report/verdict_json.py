"""A verdict as one JSON object: what `ohmaloud judge` prints and what the record keeps.

Ohms are text, exact as they are in `ohmaloud read`; `u_ohms` is U, the expanded uncertainty with k = 2, and
`standard_u_ohms` half of it. A reading without a value has no `ohms`.
"""

from decimal import Decimal

from assistant.language import check_wording, verdict_wording
from assistant.measure.case import TapResult, Verdict
from assistant.measure.limits import Conformity
from assistant.measure.measured import COVERAGE_FACTOR, Measured
from assistant.measure.parts import ItemResult, Judged, Judgement

Json = dict[str, object]


def as_json(verdict: Judged) -> Json:
    """The verdict, or the judgement of a check, its reasons as sentences, made only of what JSON has."""
    return _check(verdict) if isinstance(verdict, Judgement) else _coil(verdict)


def _check(judgement: Judgement) -> Json:
    gap = judgement.gap
    spark = {} if judgement.results else {"jumped": list(judgement.jumped)}
    across = {} if gap is None else {"gap_mm": _text(gap.gap_mm), "needles_kv": _kv(gap.needles_kv)}
    spheres = {} if gap is None else {"spheres_25mm_kv": _kv(gap.spheres_kv)}
    return {
        "check": judgement.check,
        "result": judgement.kind.value,
        "say": check_wording.say(judgement),
        "because": list(check_wording.because(judgement)),
        **{result.item.name.rpartition(".")[2]: _item(result) for result in judgement.results},
        **spark,
        **across,
        **spheres,
        "unproven": list(check_wording.unproven(judgement)),
        "next": list(check_wording.next_steps(judgement)),
        "cautions": list(check_wording.cautions(judgement)),
    }


def _item(result: ItemResult) -> Json:
    found: Json = {"finding": result.finding.value, "shown": [verdict_wording.shown(one) for one in result.attempts]}
    if result.measured is not None:
        found |= _measured(result.measured)
    if result.conformity is not None:
        found["limits"] = _conformity(result.conformity)
    return found


def _kv(peak_kv: Decimal) -> float:
    return round(float(peak_kv), 1)


def _coil(verdict: Verdict) -> Json:
    return {
        "verdict": verdict.kind.value,
        "row": verdict.row,
        "say": verdict_wording.say(verdict),
        "because": list(verdict_wording.because(verdict)),
        "primary": _tap(verdict.primary),
        "secondary": _tap(verdict.secondary),
        "killtab": _tap(verdict.killtab),
        "take": [tap.value for tap in verdict.take],
        "prepare": list(verdict_wording.prepare(verdict)),
        "unproven": list(verdict_wording.unproven(verdict)),
        "next": list(verdict_wording.next_steps(verdict)),
        "cautions": list(verdict_wording.cautions(verdict)),
    }


def _tap(result: TapResult) -> Json:
    found: Json = {"class": result.kind.value}
    if result.reading is not None:
        found["shown"] = verdict_wording.shown(result.reading)
    if result.measured is not None:
        found |= _measured(result.measured)
    if result.conformity is not None:
        found["limits"] = _conformity(result.conformity)
    return found


def _measured(measured: Measured) -> Json:
    return {
        "ohms": _text(measured.value_ohm),
        "u_ohms": float(f"{measured.expanded_ohm:.4g}"),
        "standard_u_ohms": float(f"{measured.u_ohm:.4g}"),
        "k": COVERAGE_FACTOR,
        "parts": {part.name: float(f"{part.u_ohm:.4g}") for part in measured.parts},
    }


def _conformity(found: Conformity) -> Json:
    sides = {"low_ohms": found.limit.low_ohm, "high_ohms": found.limit.high_ohm, "at_c": found.limit.at_c}
    return {
        **{key: None if value is None else _text(value) for key, value in sides.items()},
        "source": found.limit.source,
        "ohms": _text(found.referred.value_ohm.quantize(Decimal("0.0001"))),
        "u_ohms": float(f"{found.referred.expanded_ohm:.4g}"),
        "outcome": found.zone.value,
        "probability": round(found.probability, 4),
        "decidable": found.decidable,
    }


def _text(value: Decimal) -> str:
    return f"{value.normalize():f}"
