"""Is what was heard sure enough to be taken? The evidence of one hearing, weighed by meaning.

Different words may mean the same ("four point seven k", "4.7 kilohms"), so alternatives are understood first and their
shares added up by meaning. What each listen gives a meaning is then multiplied, as chances are: a meaning that every listen
holds possible beats one that a single listen is sure of. Weights and bounds are data (grammar/certainty.toml), measured for
each engine.
"""

import math
from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import replace

from assistant.language.lexicon import Lexicon
from assistant.language.meaning import (
    Alternative,
    Ask,
    Expectation,
    Hearing,
    Meaning,
    NotUnderstood,
    SaidNumber,
    SaidReading,
    Understood,
    Why,
)
from assistant.language.thresholds import Kind, Thresholds
from assistant.language.understand import understand
from assistant.measure.units import Reading, Shown

_Shares = Mapping[Meaning | None, float]
"""The share of each meaning in one listen; None stands for everything that was not understood. They add up to 1 at most."""
RIVAL_SHARE = 0.1
"""A second value believed a tenth as much as the first is held up beside it. Only the wording of a question hangs on it."""
_HELD = "limited"
"""A way of listening that was held to a list of words; sessions of earlier versions have it, and replay as they were."""


def decide(hearing: Hearing, expectation: Expectation, lexicon: Lexicon) -> Understood:
    """What was most likely meant; `sure` only when the evidence reaches the bounds of the engine. Total and pure.

    A meaning that is not sure is returned too, so that the question can be "did you say ...?". When nothing could be
    understood, the refusal of the freest alternative says what was heard.
    """
    understood = _understood(hearing, expectation, lexicon)
    listens = _listens(hearing, understood)
    thresholds = lexicon.certainty.get(_engine(hearing))
    likeliest = _likeliest(listens, thresholds)
    if likeliest is None:
        return _refused(hearing, understood)
    meaning, belief = likeliest
    best = _fullest(meaning, hearing, understood)
    if thresholds is None:
        return replace(best, sure=False)
    whole = hearing.duration_s < thresholds.longest_s
    if whole and belief >= thresholds.bounds[_kind(meaning)] and _witnessed(meaning, listens, thresholds, ahead=0):
        return replace(best, sure=True)
    beliefs = _beliefs(listens, thresholds)
    return replace(best, sure=False, rival=_rival(meaning, beliefs) or _sound_alike(best, expectation, lexicon))


def doubted(hearing: Hearing) -> Hearing:
    """The same as of an engine without bounds, of which nothing is sure: its sound lacks a part."""
    return replace(hearing, engine=f"part of {hearing.engine}")


def _rival(meaning: Meaning, beliefs: _Shares) -> Reading | None:
    """The likeliest other value, when it is believed nearly as much; None beside anything but a plain value."""
    others = [other for other in beliefs if _is_other_value(other, meaning)]
    best = max(others, key=lambda other: beliefs[other], default=None)
    if not isinstance(best, SaidReading) or beliefs[best] < RIVAL_SHARE * beliefs[meaning]:
        return None
    return best.reading


def _sound_alike(best: Understood, expectation: Expectation, lexicon: Lexicon) -> Reading | None:
    """The value it would be with the last confusable word of it taken for its double ("fifteen" for "fifty")."""
    words = best.words.split(" ")
    at = max((index for index, word in enumerate(words) if word in lexicon.confusable), default=None)
    if at is None:
        return None
    doubled = " ".join((*words[:at], lexicon.confusable[words[at]], *words[at + 1 :]))
    other = understand(doubled, expectation, lexicon, typed=False).meaning
    return other.reading if isinstance(other, SaidReading) and _is_other_value(other, best.meaning) else None


def _is_other_value(other: Meaning | None, meaning: Meaning) -> bool:
    """Whether both are values, given as such and not as corrections, and of different resistance."""
    return (
        isinstance(other, SaidReading)
        and isinstance(meaning, SaidReading)
        and not (other.correction or meaning.correction)
        and other.reading.quantity is not None
        and meaning.reading.quantity is not None
        and other.reading.quantity.ohms != meaning.reading.quantity.ohms
    )


def belief_in(hearing: Hearing, expectation: Expectation, lexicon: Lexicon) -> float | None:
    """The share of all belief that the likeliest meaning has, from 0 to 1; None where nothing is believed.

    That is where nothing was understood, and with an engine that has no bounds.
    """
    thresholds = lexicon.certainty.get(_engine(hearing))
    likeliest = _likeliest(_listens(hearing, _understood(hearing, expectation, lexicon)), thresholds)
    return None if thresholds is None or likeliest is None else likeliest[1]


def sure_at_once(hearing: Hearing, expectation: Expectation, lexicon: Lexicon) -> bool:
    """True when the belief reaches the engine's bound for a first listen, so that a second would tell nothing new.

    Where as many ways of listening have another meaning first, a further one has to decide.
    """
    thresholds = lexicon.certainty.get(_engine(hearing))
    listens = _listens(hearing, _understood(hearing, expectation, lexicon))
    likeliest = _likeliest(listens, thresholds)
    if thresholds is None or likeliest is None or likeliest[1] < thresholds.at_once:
        return False
    return _witnessed(likeliest[0], listens, thresholds, ahead=1)


def _witnessed(meaning: Meaning, listens: Mapping[str, _Shares], thresholds: Thresholds, ahead: int) -> bool:
    """Whether enough ways of listening have this meaning first, if it is a number, so many more than have any other one first.

    The same way heard twice counts once.
    """
    if _kind(meaning) is Kind.WORD:
        return True
    ways: dict[Meaning, set[str]] = defaultdict(set)
    weighty = (source for source in listens if thresholds.weights.get(_kind_of_listen(source)))
    for source in weighty:
        shares, most = listens[source], max(listens[source].values())
        for first in (each for each, share in shares.items() if each is not None and share >= most):
            ways[first].add(_kind_of_listen(source))
    others = max((len(found) for other, found in ways.items() if other != meaning), default=0)
    return len(ways[meaning]) >= max(thresholds.witnesses, others + ahead)


def _likeliest(listens: Mapping[str, _Shares], thresholds: Thresholds | None) -> tuple[Meaning, float] | None:
    """The likeliest meaning and its share of all belief; None when nothing was understood.

    Without thresholds it is the first one, and belief is 0.
    """
    candidates = dict.fromkeys(meaning for shares in listens.values() for meaning in shares if meaning is not None)
    if not candidates:
        return None
    if thresholds is None:
        return next(iter(candidates)), 0.0
    beliefs = _beliefs(listens, thresholds)
    best = max(candidates, key=lambda meaning: beliefs[meaning])
    return best, beliefs[best]


def _engine(hearing: Hearing) -> str:
    return hearing.engine.partition(" ")[0]


def _understood(hearing: Hearing, expectation: Expectation, lexicon: Lexicon) -> dict[str, Understood]:
    return {text: understand(text, expectation, lexicon, typed=False) for text in _texts(hearing)}


def _texts(hearing: Hearing) -> tuple[str, ...]:
    return tuple(dict.fromkeys(alternative.text for alternative in hearing.alternatives))


def _listens(hearing: Hearing, understood: Mapping[str, Understood]) -> dict[str, _Shares]:
    """The shares of every way of listening, by source.

    A listen that was held to a list of words had to answer in them: where they make no sense it cannot spell what was said, and
    that tells nothing against what the others understood.
    """
    by_source: dict[str, list[Alternative]] = defaultdict(list)
    for alternative in hearing.alternatives:
        by_source[alternative.source].append(alternative)
    found = {source: _shares(alternatives, understood) for source, alternatives in by_source.items()}
    for source, shares in found.items():
        if _kind_of_listen(source) == _HELD and len(shares) > 1:
            found[source] = {meaning: share for meaning, share in shares.items() if meaning is not None}
    return found


def _kind_of_listen(source: str) -> str:
    """`free again` is a listen of the kind `free`."""
    return source.partition(" ")[0]


def _shares(alternatives: list[Alternative], understood: Mapping[str, Understood]) -> _Shares:
    scores = [alternative.score or 0.0 for alternative in alternatives]
    top = max(scores)
    shares: dict[Meaning | None, float] = defaultdict(float)
    for alternative, score in zip(alternatives, scores, strict=True):
        shares[_same(understood[alternative.text].meaning)] += math.exp(score - top)
    total = sum(shares.values())
    return {meaning: share / total for meaning, share in shares.items()}


def _beliefs(listens: Mapping[str, _Shares], thresholds: Thresholds) -> _Shares:
    """The belief in every meaning, None among them: its shares, each to the power of its listen's weight, multiplied.

    A listen keeps only its best alternatives; a meaning that is not among them has the floor there. `free` and
    `free again` are two listens of one kind and divide its weight. Beliefs add up to 1; listens without weight give none.
    """
    kinds = Counter(_kind_of_listen(source) for source in listens)
    logs: dict[Meaning | None, float] = {meaning: 0.0 for shares in listens.values() for meaning in shares}
    weighty = False
    for source, shares in listens.items():
        kind = _kind_of_listen(source)
        weight = thresholds.weights.get(kind, 0.0)
        if weight:
            weighty = True
            for meaning in logs:
                logs[meaning] += weight / kinds[kind] * math.log(shares.get(meaning, 0.0) + thresholds.floors[kind])
    top = max(logs.values())
    total = sum(math.exp(log - top) for log in logs.values())
    return {meaning: math.exp(log - top) / total if weighty else 0.0 for meaning, log in logs.items()}


def _kind(meaning: Meaning) -> Kind:
    if isinstance(meaning, Ask):
        return Kind.LONE if len(meaning.numeral.text.removeprefix("0.")) == 1 else Kind.VALUE
    if isinstance(meaning, SaidReading):
        return Kind.VALUE if meaning.reading.shown is Shown.VALUE else Kind.WORD
    return Kind.VALUE if isinstance(meaning, SaidNumber) else Kind.WORD


def _same(meaning: Meaning) -> Meaning | None:
    """The meaning without the mark "easily misheard", which depends on the words; None for a refusal."""
    if isinstance(meaning, NotUnderstood):
        return None
    return replace(meaning, check=False) if isinstance(meaning, SaidReading) else meaning


def _fullest(meaning: Meaning, hearing: Hearing, understood: Mapping[str, Understood]) -> Understood:
    """The first alternative with that meaning, preferring one whose words are not easily misheard."""
    fitting = [understood[text] for text in _texts(hearing) if _same(understood[text].meaning) == meaning]
    return next((found for found in fitting if found.meaning == meaning), fitting[0])


def _refused(hearing: Hearing, understood: Mapping[str, Understood]) -> Understood:
    if not hearing.alternatives:
        return Understood(NotUnderstood(Why.NOTHING), sure=False, words="")
    freest = next((heard for heard in hearing.alternatives if heard.source == "free"), hearing.alternatives[0])
    return understood[freest.text]
