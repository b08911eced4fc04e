"""The test set of confusable words, by synthetic voices: `python tests/make_confusable.py DIR`, then

`ohmaloud score DIR/manifest.tsv --audio DIR/audio --by speaker`.

Numbers that sound alike, "oh" and "nought" beside the words that they are taken for, and digits said twice. No person speaks here;
voices.py tells which voices do. The same voices give the same set.
"""

import argparse
import csv
import sys
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import soundfile
from voices import Cast, there

from assistant.data import texts
from assistant.devices.ports import RATE_HZ
from assistant.language.lexicon import Lexicon, load_lexicon

HEADS = ("file", "words", "kind", "step", "speaker", "pair")
AROUND = ("{} ohms:primary", "{} kilo ohms:secondary", "it says {} k:killtab", "six point {} kilo ohms:secondary")
"""Sentences in which a teen and its ten may stand, and the step they answer."""
SAID: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("oh, of", ("one oh five ohms", "four point oh k", "point oh five ohms", "oh point nine ohms", "two oh oh ohms")),
    (
        "nought, not",
        ("nought point three ohms", "one point nought ohms", "nought point nought five ohms", "six point nought k"),
    ),
    (
        "nine, five",
        ("nine ohms", "five ohms", "one nine ohms", "one five ohms", "nine point five k", "five point nine k"),
    ),
    ("nine, five", ("five nine five ohms", "nine five nine ohms", "four point nine k", "four point five k")),
    (
        "repeated",
        ("four four seven ohms", "four seven seven ohms", "one one ohms", "one one one ohms", "double four seven ohms"),
    ),
    (
        "repeated",
        ("three three k", "three point three three k", "two two two ohms", "seven seven ohms", "triple six ohms"),
    ),
)
OTHER = ("a bit of five", "one of five", "not five", "not now it is not", "of course", "five of them")
"""Talk with the words that "oh" and "nought" are taken for: no reading without a question."""


def rows(lexicon: Lexicon) -> Iterator[tuple[str, str, str, str]]:
    """Words, kind, step and pair of everything in the set."""
    for teen, ten in lexicon.confusable.items():
        pair = ", ".join(sorted((teen, ten)))
        for sentence in AROUND:
            words, _, step = sentence.partition(":")
            yield words.format(teen), "reading", step, pair
    for pair, said in SAID:
        for words in said:
            yield words, "reading", "secondary" if words.endswith(" k") else "primary", pair
    for words in OTHER:
        yield words, "chatter", "primary", "oh, nought"


def made(folder: Path, voices: tuple[str, ...]) -> int:
    """Speak everything with every voice into the folder; how many recordings that is."""
    (folder / "audio").mkdir(parents=True, exist_ok=True)
    count = 0
    with Cast() as cast, (folder / "manifest.tsv").open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, delimiter="\t", lineterminator="\n")
        table.writerow(HEADS)
        for voice in voices:
            for words, kind, step, pair in rows(load_lexicon(texts("grammar"))):
                count += 1
                name = f"{count:04}.flac"
                soundfile.write(folder / "audio" / name, cast.say(words, voice), RATE_HZ)
                table.writerow((name, words, kind, step, f"{voice} (synthetic)", pair))
    return count


def main() -> None:
    """Make the set."""
    parser = argparse.ArgumentParser(description="Make the test set of confusable words, by synthetic voices.")
    parser.add_argument("folder", type=Path, metavar="DIR", help="where manifest.tsv and audio/ are written")
    options = parser.parse_args()
    print(
        f"{made(options.folder, there())} recordings; now: ohmaloud score {options.folder}/manifest.tsv --audio {options.folder}/audio"
    )


if __name__ == "__main__":
    main()
