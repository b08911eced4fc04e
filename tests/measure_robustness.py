"""How hearing stands up to gain, clipping, hum, a narrow band, speed, echo, a second speaker, coughs and music.

`python tests/measure_robustness.py [--every 3] [--engine built-in] [--json]`: one row for each condition of conditions.py, of the
shipped recordings (synthetic voices), of the people of ../shared/speech where it is there, and of coughs, music and hum alone.
Rows of voices and rows of people are told apart. Coughs, music, hum and echo are made by formulas.
"""

import argparse
import json
import sys
import tempfile
import time
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from conditions import conditions, coughs, hum, music
from measure_hearing import SPEECH

from assistant import data
from assistant.commands_score import shown, with_machine
from assistant.devices.engines import open_recogniser
from assistant.devices.ports import Samples
from assistant.dialogue.state import Bench
from assistant.language.meaning import Expectation
from assistant.preflight import load_bench, read_files
from assistant.score.hearing import Level, heard, loaded
from assistant.score.manifest import OTHER, Case, read_manifest

ALONE_S = 8.0


def _hum(seconds: float, seed: int) -> Samples:
    return hum(seconds, 50 + 10 * (seed // 10 % 2))


ALONE = {"coughs alone": coughs, "music alone": music, "hum alone": _hum}
MOST_OTHERS = 20


def recordings(bench: Bench) -> tuple[Case, ...]:
    """The shipped recordings but for those that must be refused and those that correct the answer before."""
    folder = data.folder("recordings")
    lines = [
        line for line in (folder / "turns.tsv").read_text(encoding="utf-8").splitlines() if not line.startswith("#")
    ]
    heads = lines[0].split("\t")
    kept = [lines[0]]
    for line in lines[1:]:
        row = dict(zip(heads, line.split("\t"), strict=True))
        if row["kind"] in ("mumbled", "correction"):
            continue
        if row["expected"] in ("yes", "no") and row["step"] in ("leads", "primary", "secondary", "killtab"):
            row["step"] = "confirm"  # said to "is that what the meter shows?"
        kept.append("\t".join(row.values()))
    with tempfile.TemporaryDirectory() as made:
        path = Path(made) / "turns.tsv"
        path.write_text("\n".join(kept) + "\n", encoding="utf-8")
        return read_manifest(path, folder, bench)


def people(bench: Bench) -> tuple[Case, ...]:
    """The people of the shared recordings, where they are; what they say, and other talk."""
    manifest = SPEECH / "manifest.tsv"
    cases = read_manifest(manifest, SPEECH / "audio", bench) if manifest.is_file() else ()
    return tuple(case for case in cases if case.kind != "background")


def levels(others: Sequence[Samples]) -> list[Level]:
    """Every condition as a level at which everything is heard."""

    def level(name: str) -> Level:
        change = changes[name]
        return Level(name, lambda samples, case: change(samples, zlib.crc32(case.file.encode()) % 1000))

    changes = conditions(others)
    return [level(name) for name in changes]


def alone(count: int) -> Iterator[tuple[Case, Samples]]:
    """Sounds without speech, so many of each kind."""
    for name, make in ALONE.items():
        for number in range(count):
            sound = make(ALONE_S, 10 * number + 1)
            yield (
                Case(f"{name} {number}", Path(name), "", "background", "none (synthetic)", Expectation("any"), ""),
                sound,
            )


def told(name: str, found: dict[str, Any]) -> Iterator[str]:
    """A table of one row for each condition."""
    yield f"| {name} | said | right | wrong while sure | asked again | right share, 95 % | other sound taken |"
    yield "|---|---|---|---|---|---|---|"
    for level, part in found["levels"].items():
        said, alarms = part["said"], part["false_alarms"]
        counts = [said["of"], *(said[key]["count"] for key in ("right", "wrong", "asked"))] if said else [0, 0, 0, 0]
        share = "{:.0f} to {:.0f} %".format(*(100 * end for end in said["right"]["interval"])) if said else ""
        taken = f"{alarms['count']} of {alarms['of']}" if alarms else ""
        yield f"| {level} | {' | '.join(map(str, counts))} | {share} | {taken} |"


def main() -> None:
    """Measures and prints."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--engine", help="built-in, vosk or both; left out, the best that is installed")
    parser.add_argument("--vosk-model", type=Path, help="folder of a Vosk model")
    parser.add_argument("--every", type=int, default=1, help="only every Nth recording")
    parser.add_argument("--only", help="only conditions whose name holds this")
    parser.add_argument("--alone", type=int, default=10, help="so many sounds of coughs, of music and of hum alone")
    parser.add_argument("--json", action="store_true", help="print JSON")
    options = parser.parse_args()
    bench = load_bench(read_files())
    began = time.perf_counter()
    recogniser = open_recogniser(options.engine, bench.lexicon, options.vosk_model)
    load_s = time.perf_counter() - began
    made = recordings(bench)
    spoken = people(bench)
    # the second speaker is somebody else's answer, or other talk where there are people
    talk = [case for case in spoken if case.kind in OTHER] or list(made)
    others = [np.tile(loaded(case.path), 3) for case in talk[:: max(1, len(talk) // MOST_OTHERS)]]
    wanted = [level for level in levels(others) if not options.only or options.only in level.name]
    results: dict[str, dict[str, Any]] = {}
    for name, cases in (("synthetic voices", made), ("people", spoken)):
        some = cases[:: options.every]
        if some:
            rows = list(shown(heard(some, wanted, recogniser, bench.lexicon), len(some) * len(wanted)))
            results[name] = with_machine(rows, recogniser, load_s)
    sounds = dict(alone(options.alone))
    if sounds:
        as_it_is = [Level("no speech", lambda samples, _case: samples)]
        rows = list(heard(list(sounds), as_it_is, recogniser, bench.lexicon, sounds.__getitem__))
        results["coughs, music and hum alone (synthetic)"] = with_machine(rows, recogniser, load_s)
    if options.json:
        print(json.dumps(results, ensure_ascii=False))
    else:
        print("\n\n".join("\n".join(told(name, found)) for name, found in results.items()))


if __name__ == "__main__":
    main()
