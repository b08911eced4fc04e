"""The figures as lines for a person."""

from collections.abc import Iterator, Mapping
from typing import Any

_MOST_CONFUSIONS = 30
_NAMES = {
    "right": "right",
    "wrong": "wrong while sure",
    "asked": "asked again",
    "taken": "taken for something",
    "left": "left alone",
}
PARTS = ("speaker", "step")


def lines(found: Mapping[str, Any], by: str | None = None) -> Iterator[str]:
    """All of it, one fact a line; `by` adds a part for every speaker or every step."""
    times = found["times"]
    yield f"{found['engine']}; {found['cores']} cores; loaded in {found['load_s']} s; at most {found['peak_mb']} MB"
    yield f"{times['utterances']} utterances, median {times['median_s']} s, 95 % within {times['p95_s']} s"
    for level, part in found["levels"].items():
        yield f"noise level: {level}"
        yield from _level(part)
    for name, part in found.get(f"{by}s", {}).items():
        yield f"{by}: {name or 'not named'}"
        yield from _level(part)
    yield "taken for what, worst first:" if found["confusions"] else "nothing was taken for something else"
    for one in found["confusions"][:_MOST_CONFUSIONS]:
        yield f"  {one['times']} times “{one['said']}” as “{one['taken']}” ({', '.join(one['files'][:3])})"
    left = len(found["confusions"]) - _MOST_CONFUSIONS
    if left > 0:
        yield f"  and {left} more; --json shows all"
    yield "belief in the likeliest meaning, and how often it was right:"
    for row in found["reliability"]:
        yield (
            f"  {row['from']:g} to {row['to']:g}: believed {row['believed']:.4f}, right {row['right']} of {row['of']} "
            f"({_interval(row['interval'])})"
        )


def _level(part: Mapping[str, Any]) -> Iterator[str]:
    for kind, counts in part["kinds"].items():
        yield f"  {kind}, {counts['of']}: {_counts(counts)}"
    if part["said"] and len(part["kinds"]) > 1:
        yield f"  all that was said, {part['said']['of']}: {_counts(part['said'])}"
    alarms = part["false_alarms"]
    if alarms:
        yield (
            f"  false alarms: {alarms['count']} of {alarms['of']} ({_interval(alarms['interval'])}) in "
            f"{alarms['hours']} h of sound: {alarms['per_hour']} an hour"
        )


def _counts(counts: Mapping[str, Any]) -> str:
    parts = [
        f"{name} {counts[key]['count']} ({_interval(counts[key]['interval'])})"
        for key, name in _NAMES.items()
        if key in counts
    ]
    return ", ".join(parts) + (f"; of those asked, {counts['offered']} offered" if counts["offered"] else "")


def _interval(ends: tuple[float, float] | list[float]) -> str:
    return f"{100 * ends[0]:.1f} to {100 * ends[1]:.1f} %"
