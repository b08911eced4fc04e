"""How well the program hears, value by value: `python tests/measure_hearing.py [--speech ../shared/speech] [--engine both]`.

Every recording of a manifest (columns file, words, kind, speaker) goes the way of `ohmaloud hear FILE`: file, end-pointer,
recogniser, certainty. Counted: right; wrong while sure; asked again; and for other talk and noise, taken as something.
With 95 % Wilson intervals, per kind and per speaker, and times on the machine it runs on. Never a word error rate: a
wrong word that is asked again costs a second, a wrong value that is believed costs a coil.
"""

import argparse
import csv
import json
import os
import resource
import statistics
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import sqrt
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from assistant.data import texts
from assistant.devices.engines import open_recogniser
from assistant.devices.ports import Recogniser
from assistant.devices.recordings import Recordings
from assistant.language.certainty import decide
from assistant.language.lexicon import Lexicon, load_lexicon
from assistant.language.meaning import Ask, Expectation, Meaning, NotUnderstood, SaidReading, Understood
from assistant.language.understand import understand

SPEECH = Path(__file__).parents[2] / "shared" / "speech"
OTHER = frozenset({"chatter", "background"})
"""Kinds that must not be taken as anything."""


@dataclass(frozen=True, slots=True)
class Row:
    """One recording and what became of it: `right`, `wrong`, `asked`; for other talk and noise `taken` or `left`."""

    file: str
    kind: str
    speaker: str
    words: str
    heard: str
    outcome: str
    took_s: tuple[float, ...]


def measure(rows: Iterable[Mapping[str, str]], folder: Path, recogniser: Recogniser, lexicon: Lexicon) -> list[Row]:
    """Hears every recording with anything expected."""
    found = []
    expectation = Expectation("any")
    for row in rows:
        understood: list[Understood] = []
        took: list[float] = []
        for utterance in Recordings((folder / row["file"],)).utterances():
            began = time.perf_counter()
            understood.append(decide(recogniser.hear(utterance.samples, expectation), expectation, lexicon))
            took.append(time.perf_counter() - began)
        sure = [each for each in understood if each.sure and not isinstance(each.meaning, NotUnderstood)]
        if row["kind"] in OTHER:
            outcome = "taken" if sure else "left"
        else:
            truth = plain(understand(row["words"], expectation, lexicon, typed=False).meaning)
            outcome = "asked" if not sure else "right" if [plain(each.meaning) for each in sure] == [truth] else "wrong"
        heard = "; ".join(each.words for each in (sure or understood))
        found.append(Row(row["file"], row["kind"], row["speaker"], row["words"], heard, outcome, tuple(took)))
    return found


def plain(meaning: Meaning) -> Meaning:
    """The meaning without how it was put: only value, unit and kind are judged."""
    if isinstance(meaning, SaidReading):
        return SaidReading(meaning.reading)
    return Ask(meaning.why, meaning.numeral) if isinstance(meaning, Ask) else meaning


def wilson(count: int, of: int) -> tuple[float, float]:
    """The 95 % interval of a share (E. B. Wilson 1927), as fractions; (0, 1) of nothing."""
    if not of:
        return 0.0, 1.0
    z = 1.959964
    share = count / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    half = z * sqrt(share * (1 - share) / of + z * z / (4 * of * of)) / (1 + z * z / of)
    return max(0.0, middle - half), min(1.0, middle + half)


def summary(rows: list[Row]) -> dict[str, Any]:
    """Counts with intervals by kind and by speaker, and times."""
    times = sorted(second for row in rows for second in row.took_s)
    return {
        "kinds": {
            kind: _counts([row for row in rows if row.kind == kind]) for kind in dict.fromkeys(row.kind for row in rows)
        },
        "speakers": {
            f"{kind}: {speaker}": dict(Counter(row.outcome for row in part))
            for (kind, speaker), part in _by_speaker(rows).items()
        },
        "faults": [[row.file, row.words, row.heard] for row in rows if row.outcome in ("wrong", "taken")],
        "utterances": len(times),
        "median_s": round(statistics.median(times), 3) if times else None,
        "p95_s": round(times[int(0.95 * (len(times) - 1))], 3) if times else None,
    }


def _by_speaker(rows: list[Row]) -> dict[tuple[str, str], list[Row]]:
    parts: dict[tuple[str, str], list[Row]] = defaultdict(list)
    for row in rows:
        if row.kind == "digit string":  # elsewhere a speaker has only a few words
            parts[row.kind, row.speaker].append(row)
    return dict(sorted(parts.items()))


def _counts(rows: list[Row]) -> dict[str, Any]:
    counts = Counter(row.outcome for row in rows)
    outcomes = ("taken", "left") if rows[0].kind in OTHER else ("right", "wrong", "asked")
    return {
        "of": len(rows),
        **{
            name: {"count": counts[name], "interval": [round(end, 3) for end in wilson(counts[name], len(rows))]}
            for name in outcomes
        },
    }


def main() -> None:
    """Measures and prints."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--speech", type=Path, default=SPEECH, help="folder with manifest.tsv and audio/")
    parser.add_argument("--engine", help="built-in, vosk or both; left out, the best that is installed")
    parser.add_argument("--vosk-model", type=Path, help="folder of a Vosk model")
    parser.add_argument("--every", type=int, default=1, help="only every Nth recording")
    parser.add_argument("--json", action="store_true", help="print JSON")
    options = parser.parse_args()
    with (options.speech / "manifest.tsv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file, delimiter="\t"))[:: options.every]
    lexicon = load_lexicon(texts("grammar"))
    began = time.perf_counter()
    recogniser = open_recogniser(options.engine, lexicon, options.vosk_model)
    load_s = time.perf_counter() - began
    found = {
        "engine": recogniser.name,
        "cores": len(os.sched_getaffinity(0)),
        "load_s": round(load_s, 2),
        **summary(measure(rows, options.speech / "audio", recogniser, lexicon)),
        "peak_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024),
    }
    print(json.dumps(found, ensure_ascii=False) if options.json else _report(found))


def _report(found: dict[str, Any]) -> str:
    lines = [f"{found['engine']}; {found['cores']} cores; loaded in {found['load_s']} s; at most {found['peak_mb']} MB"]
    lines.append(f"{found['utterances']} utterances, median {found['median_s']} s, 95 % within {found['p95_s']} s")
    for kind, counts in found["kinds"].items():
        parts = [
            f"{name} {part['count']} ({part['interval'][0]:.1%} to {part['interval'][1]:.1%})"
            for name, part in counts.items()
            if name != "of"
        ]
        lines.append(f"{kind}, {counts['of']}: {', '.join(parts)}")
    lines += [f"  {speaker}: {counts}" for speaker, counts in found["speakers"].items()]
    lines += [f"  {file}: {words or 'noise'!r} was taken for {heard!r}" for file, words, heard in found["faults"]]
    return "\n".join(lines)


if __name__ == "__main__":
    main()
