"""Slips of the finger in typed words. Never digits, never number words: a wrong value is worse than a question."""

from rapidfuzz.distance import OSA

from assistant.language.lexicon import Lexicon

_SHORTEST = 4
_LONG = 7
_MOST_SLIPS = 2


def mend(words: str, lexicon: Lexicon) -> tuple[str, tuple[tuple[str, str], ...]]:
    """The words with unknown ones replaced by the one known word they must be, and the (typed, taken as) pairs.

    A short word may have one letter too many, too few, or two swapped; from seven letters on two slips of any kind are mended.
    Nothing is mended that could be two words or that lies as near to a number word. A known word with letters in front may
    be its opposite ("unready"): there, two slips are one too many.
    """
    mended: list[str] = []
    pairs: list[tuple[str, str]] = []
    known = lexicon.known
    for word in words.split():
        low = word.lower()
        meant = low if low in known or not low.isalpha() else _nearest(low, known, lexicon.numbers.words)
        if meant != low:
            pairs.append((word, meant))
        mended.append(meant if meant != low else word)
    return " ".join(mended), tuple(pairs)


def _nearest(word: str, known: frozenset[str], number_words: frozenset[str]) -> str:
    if len(word) < _SHORTEST:
        return word
    distances = ((other, OSA.distance(word, other, score_cutoff=_MOST_SLIPS)) for other in known)
    near = {other: slips for other, slips in distances if slips <= _MOST_SLIPS}
    most = 1 if _has_syllable_before(word, known) else _MOST_SLIPS
    meant = {other: slips for other, slips in near.items() if slips <= most and _is_slip(word, other, slips)}
    best = min(meant.values(), default=0)
    candidates = [other for other, slips in meant.items() if slips == best]
    if len(candidates) != 1 or any(near[other] <= best for other in number_words.intersection(near)):
        return word
    return candidates[0]


def _is_slip(word: str, meant: str, slips: int) -> bool:
    if len(word) >= _LONG:
        return True
    return slips == 1 and (len(word) != len(meant) or sorted(word) == sorted(meant))


def _has_syllable_before(word: str, known: frozenset[str]) -> bool:
    return any(word[at:] in known for at in range(1, len(word) - _SHORTEST + 1))
