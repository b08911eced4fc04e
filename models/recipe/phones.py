"""Phones, pdfs and transitions of the model.

Phone 1 is silence. Each phone of the dictionary, and the garbage phone that stands for any other word, has four numbers, for
the beginning, the end and the inside of a word and for a word of one phone. All four share two pdfs: one for the first
frame of the phone and one for the frames after it.
"""

import math
from collections.abc import Sequence

import numpy as np

from models.recipe.nnet3 import Chain
from models.recipe.pronounce import PHONES

SILENCE = 0
GARBAGE = "SPN"
UNITS = ("SIL", *PHONES, GARBAGE)
"""What the training tells apart, by number: silence is 0."""
PDFS = 2 * len(UNITS)
PLACES = ("B", "E", "I", "S")
PLACE_NAMES = ("begin", "end", "internal", "singleton")
COUNT = 1 + 4 * (len(UNITS) - 1)
OTHER_SPEECH = "[unk]"


def unit(phone: str) -> int:
    """The number in `UNITS`."""
    return UNITS.index(phone)


def numbers(phones: Sequence[str]) -> list[int]:
    """The phones of a word as numbers of the model, by their place in the word."""
    last = len(phones) - 1
    places = ["S" if not last else "B" if at == 0 else "E" if at == last else "I" for at in range(len(phones))]
    return [2 + 4 * (unit(phone) - 1) + PLACES.index(place) for phone, place in zip(phones, places, strict=True)]


def entering(number: int) -> int:
    """The transition that enters the phone, as arcs of the graph name it."""
    return 2 * number


def staying(number: int) -> int:
    """The transition that stays in the phone."""
    return 2 * number - 1


def chain() -> Chain:
    """What the model file says about all this. Entering and staying are equally likely: the network alone decides."""
    phones = tuple(range(1, COUNT + 1))
    tuples = tuple((phone, 0, *_pdfs(phone)) for phone in phones)
    log_probabilities = np.full(2 * COUNT + 1, math.log(0.5), dtype=np.float32)
    log_probabilities[0] = 0
    topology = (((0, 1, ((0, 0.5), (1, 0.5))), (-1, -1, ())),)
    return Chain(phones, (-1, *(0 for _ in phones)), topology, tuples, log_probabilities)


def _pdfs(phone: int) -> tuple[int, int]:
    place = 0 if phone == 1 else 1 + (phone - 2) // 4
    return 2 * place, 2 * place + 1


def table() -> str:
    """phones.txt: every phone with its number."""
    rows = ["<eps> 0", "SIL 1"]
    for at, name in enumerate(UNITS[1:]):
        rows += [f"{name}_{place} {2 + 4 * at + number}" for number, place in enumerate(PLACES)]
    return "\n".join(rows) + "\n"


def boundaries() -> str:
    """word_boundary.int: which phones begin and end words; the times of words come from it."""
    rows = ["1 nonword"]
    for at in range(len(UNITS) - 1):
        rows += [f"{2 + 4 * at + number} {name}" for number, name in enumerate(PLACE_NAMES)]
    return "\n".join(rows) + "\n"
