"""The figures of a measurement: counts with intervals, false alarms per hour, times, mistakes, and whether belief can be believed.

Never a word error rate: a wrong word that is asked again costs a second, a wrong value that is believed costs a coil.
"""

import itertools
import statistics
from collections import Counter
from collections.abc import Callable, Sequence
from math import sqrt
from typing import Any

from assistant.score.hearing import Claim, Row

OUTCOMES = ("right", "wrong", "asked", "taken", "left")
BINS = (0.0, 0.5, 0.9, 0.95, 0.99, 0.995, 0.999, 0.9995, 0.9999, 1.0)
"""Edges of the bins of belief; the last bin holds its upper edge too. Narrow at the top, where the bounds lie."""
_Z = 1.959964
_HOUR_S = 3600


def wilson(count: int, of: int) -> tuple[float, float]:
    """The 95 % interval of a share (E. B. Wilson 1927), as fractions; (0, 1) of nothing."""
    if not of:
        return 0.0, 1.0
    share = count / of
    middle = (share + _Z * _Z / (2 * of)) / (1 + _Z * _Z / of)
    half = _Z * sqrt(share * (1 - share) / of + _Z * _Z / (4 * of * of)) / (1 + _Z * _Z / of)
    return max(0.0, middle - half), min(1.0, middle + half)


def figures(rows: Sequence[Row]) -> dict[str, Any]:
    """Everything: by level of noise and kind, by speaker and step at each level, all mistakes, the reliability of belief, times."""
    several = len({row.level for row in rows}) > 1

    def at_level(name: str, row: Row) -> str:
        return f"{name}, {row.level}" if several else name

    return {
        "levels": {level: _level(part) for level, part in _by(rows, lambda row: row.level).items()},
        "speakers": {
            speaker: _level(part) for speaker, part in _by(rows, lambda row: at_level(row.case.speaker, row)).items()
        },
        "steps": {
            step: _level(part) for step, part in _by(rows, lambda row: at_level(row.case.expectation.name, row)).items()
        },
        "confusions": confusions(rows),
        "reliability": reliability([claim for row in rows for claim in row.claims]),
        "times": times(rows),
    }


def _by(rows: Sequence[Row], key: Callable[[Row], str]) -> dict[str, list[Row]]:
    parts: dict[str, list[Row]] = {}
    for row in rows:
        parts.setdefault(key(row), []).append(row)
    return parts


def _level(rows: Sequence[Row]) -> dict[str, Any]:
    said = [row for row in rows if row.case.truth]
    return {
        "kinds": {kind: counts(part) for kind, part in _by(rows, lambda row: row.case.kind).items()},
        "said": counts(said) if said else None,
        "false_alarms": false_alarms([row for row in rows if not row.case.truth]),
    }


def counts(rows: Sequence[Row]) -> dict[str, Any]:
    """How many came out how, each with its interval; of those asked again, how many were offered what was meant."""
    found = Counter(row.outcome for row in rows)
    possible = [name for name in OUTCOMES if found[name] or (name in ("taken", "left")) is not bool(rows[0].case.truth)]
    return {
        "of": len(rows),
        **{name: {"count": found[name], "interval": _rounded(wilson(found[name], len(rows)))} for name in possible},
        "offered": sum(row.held for row in rows),
    }


def false_alarms(rows: Sequence[Row]) -> dict[str, Any] | None:
    """Of sound that must not be taken for anything: how often it was, and per hour; None without such sound."""
    if not rows:
        return None
    count = sum(row.outcome == "taken" for row in rows)
    hours = sum(row.audio_s for row in rows) / _HOUR_S
    return {
        "count": count,
        "of": len(rows),
        "interval": _rounded(wilson(count, len(rows))),
        "hours": round(hours, 4),
        "per_hour": round(count / hours, 1) if hours else None,
    }


def confusions(rows: Sequence[Row]) -> list[dict[str, Any]]:
    """What was taken for what while sure, worst first: the most often, then the wrong values before false alarms."""
    wrong = [row for row in rows if row.outcome in ("wrong", "taken")]
    found = Counter((row.case.words or row.case.kind, row.heard, row.outcome) for row in wrong)
    listed = sorted(found.items(), key=lambda item: (-item[1], item[0][2] != "wrong", item[0]))
    files = {key: [row.case.file for row in wrong if _key(row) == key] for key in found}
    return [
        {"said": said, "taken": taken, "outcome": outcome, "times": times, "files": files[said, taken, outcome]}
        for (said, taken, outcome), times in listed
    ]


def _key(row: Row) -> tuple[str, str, str]:
    return row.case.words or row.case.kind, row.heard, row.outcome


def reliability(claims: Sequence[Claim]) -> list[dict[str, Any]]:
    """How often a meaning believed that much was right: one row for each bin of belief that holds any."""
    table = []
    for low, high in itertools.pairwise(BINS):
        inside = [claim for claim in claims if low <= claim.belief < high or claim.belief == high == BINS[-1]]
        if inside:
            right = sum(claim.right for claim in inside)
            table.append(
                {
                    "from": low,
                    "to": high,
                    "of": len(inside),
                    "believed": round(statistics.fmean(claim.belief for claim in inside), 4),
                    "right": right,
                    "interval": _rounded(wilson(right, len(inside))),
                }
            )
    return table


def times(rows: Sequence[Row]) -> dict[str, Any]:
    """Seconds for one utterance, from the end of its sound to its meaning."""
    took = sorted(second for row in rows for second in row.took_s)
    return {
        "utterances": len(took),
        "median_s": round(statistics.median(took), 3) if took else None,
        "p95_s": round(took[int(0.95 * (len(took) - 1))], 3) if took else None,
    }


def _rounded(interval: tuple[float, float]) -> list[float]:
    return [round(end, 4) for end in interval]
