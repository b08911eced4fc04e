"""How the bounds of grammar/certainty.toml are chosen: `python tests/choose_certainty.py FOLDER... [--engine built-in]`.

A FOLDER holds manifest.tsv (file, words, kind, speaker) and audio/ with speech that is in no measurement;
`python -m models.recipe judge` makes three. Every recording is heard twice; then the file's numbers are tried on that evidence,
and around them one number at a time is moved. Printed is what each gives, right / wrong while sure / asked, and at last which
change is worth most: right ones less PRICE for each wrong one and each other sound taken. Write it into the file by hand and
repeat until none is worth more than "as it is". `--only value` moves the bound of values alone: right against wrong.
"""

import argparse
import csv
import itertools
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from assistant.data import texts
from assistant.devices.engines import open_recogniser
from assistant.devices.ports import Recogniser
from assistant.devices.recordings import Recordings
from assistant.language.certainty import decide, sure_at_once
from assistant.language.lexicon import Lexicon, load_lexicon
from assistant.language.meaning import Expectation, Hearing, NotUnderstood
from assistant.language.thresholds import Kind, Thresholds
from assistant.language.understand import understand
from assistant.score.manifest import OTHER, value

ANY = Expectation("any")
FLOORS = (1e-6, 1e-5, 1e-4, 1e-3, 0.01, 0.02, 0.05, 0.1)
WEIGHTS = (0.5, 0.7, 1.0, 1.5, 2.0)
BELIEFS = (0.5, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 0.998, 0.999, 0.9995, 0.9999)
NEVER = 1.1
AS_IT_IS = "as it is"
PRICE = 8
"""A wrong value taken costs as much as so many right ones are worth."""


@dataclass(frozen=True, slots=True)
class Case:
    """One recording: what was meant (None when nothing was), and the evidence of each utterance in it."""

    words: str
    kind: str
    meant: str | None
    heard: tuple[Hearing, ...]
    """With every pass of both listens."""


def cases(folder: Path, recogniser: Recogniser, lexicon: Lexicon) -> Iterator[Case]:
    """Every recording of the folder. The recogniser must never be sure at once."""
    with (folder / "manifest.tsv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file, delimiter="\t"):
            heard = [
                recogniser.hear(utterance.samples, ANY)
                for utterance in Recordings((folder / "audio" / row["file"],)).utterances()
            ]
            meant = None if row["kind"] in OTHER else value(understand(row["words"], ANY, lexicon, typed=False).meaning)
            yield Case(row["words"], row["kind"], meant, tuple(heard))


def as_far_as_needed(hearing: Hearing, lexicon: Lexicon) -> Hearing:
    """What the recogniser would have given: it leaves off as soon as it is sure at once.

    But for one thing: the letters have weighed what the free pass heard, also where they are looked at without it.
    """
    for left_out in ((" again", "free"), (" again",), ("free again",)):
        so_far = tuple(one for one in hearing.alternatives if not any(part in one.source for part in left_out))
        part = replace(hearing, alternatives=so_far)
        if sure_at_once(part, ANY, lexicon):
            return part
    return hearing


def counted(found: Sequence[Case], lexicon: Lexicon) -> Counter[tuple[str, str]]:
    """How many of each kind come out right, wrong, asked, taken or left with this lexicon's certainty."""
    counts: Counter[tuple[str, str]] = Counter()
    for case in found:
        decided = [decide(as_far_as_needed(each, lexicon), ANY, lexicon) for each in case.heard]
        sure = [value(each.meaning) for each in decided if each.sure and not isinstance(each.meaning, NotUnderstood)]
        if case.meant is None:
            counts["other", "taken" if sure else "left"] += 1
        else:
            counts[case.kind, "asked" if not sure else "right" if sure == [case.meant] else "wrong"] += 1
    return counts


def with_bounds(lexicon: Lexicon, engine: str, thresholds: Thresholds) -> Lexicon:
    """The lexicon with these thresholds for one engine."""
    return replace(lexicon, certainty={**lexicon.certainty, engine: thresholds})


def tried(now: Thresholds) -> Iterator[tuple[str, Thresholds]]:
    """What is in the file, then one number changed at a time, with what was changed."""
    yield AS_IT_IS, now
    for source, floor in itertools.product(now.floors, FLOORS):
        yield f"floors.{source} {floor:g}", replace(now, floors={**now.floors, source: floor})
    for source, weight in itertools.product(now.weights, WEIGHTS):
        yield f"weights.{source} {weight:g}", replace(now, weights={**now.weights, source: weight})
    for kind, belief in itertools.product(Kind, BELIEFS):
        yield f"{kind.value} {belief:g}", replace(now, bounds={**now.bounds, kind: belief})
    for witnesses in range(1, len(now.weights) + 1):
        yield f"witnesses {witnesses}", replace(now, witnesses=witnesses)
    for belief in BELIEFS:
        yield f"at_once {belief:g}", replace(now, at_once=belief)


def worth(counts: Counter[tuple[str, str]]) -> int:
    """Right ones less PRICE for each wrong one and each other sound taken."""
    right, bad = (
        sum(counts[each] for each in counts if each[1] in found) for found in (("right",), ("wrong", "taken"))
    )
    return right - PRICE * bad


def told(counts: Counter[tuple[str, str]]) -> str:
    """The counts in one line."""
    kinds = sorted({kind for kind, _ in counts if kind != "other"})
    parts = [f"{kind} {counts[kind, 'right']}/{counts[kind, 'wrong']}/{counts[kind, 'asked']}" for kind in kinds]
    return ", ".join(
        (*parts, f"other {counts['other', 'taken']} taken of {counts['other', 'taken'] + counts['other', 'left']}")
    )


def main() -> None:
    """Hears, tries and prints."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument(
        "folders",
        nargs="+",
        type=Path,
        metavar="FOLDER",
        help="with manifest.tsv and audio/; not what you measure with",
    )
    parser.add_argument(
        "--only-now", action="store_true", help="tell what the bounds give as they are, and try no others"
    )
    parser.add_argument(
        "--only",
        default="",
        metavar="NAME",
        help="move this number alone: `value` shows right against wrong as that bound moves",
    )
    parser.add_argument("--engine", default="built-in", help="built-in, vosk or both")
    parser.add_argument("--vosk-model", type=Path, help="folder of a Vosk model")
    options = parser.parse_args()
    lexicon = load_lexicon(texts("grammar"))
    now = lexicon.certainty[options.engine]
    wanted = [each for each in tried(now) if each[0] == AS_IT_IS or each[0].startswith(options.only)]
    if len(wanted) == 1:
        parser.error(f"--only {options.only}: no number of that name; there are {', '.join(sorted(names(now)))}")
    always_twice = {name: replace(each, at_once=NEVER) for name, each in lexicon.certainty.items()}
    recogniser = open_recogniser(options.engine, replace(lexicon, certainty=always_twice), options.vosk_model)
    found = {folder.name: list(cases(folder, recogniser, lexicon)) for folder in options.folders}
    worths = {}
    for changed, thresholds in wanted[: 1 if options.only_now else None]:
        chosen = with_bounds(lexicon, options.engine, thresholds)
        counts = {name: counted(each, chosen) for name, each in found.items()}
        worths[changed] = sum(map(worth, counts.values()))
        print(f"{changed}: {'; '.join(f'{name}: {told(each)}' for name, each in counts.items())}", flush=True)
    best = max(worths, key=lambda changed: worths[changed])  # the first of equals, which is as it is
    print(f"worth most: {best}, {worths[best]}; as it is {worths[AS_IT_IS]}")


def names(now: Thresholds) -> set[str]:
    """What can be moved."""
    return {changed.rpartition(" ")[0] for changed, _ in tried(now) if changed != AS_IT_IS}


if __name__ == "__main__":
    main()
