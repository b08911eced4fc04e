"""Is what was heard sure enough to be taken? The evidence of one hearing, weighed by meaning.

Different words may mean the same ("four point seven k", "4.7 kilohms"), so alternatives are understood first and their
shares added up by meaning. Weights and bounds are data (grammar/certainty.toml), measured for each engine.
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
from assistant.language.thresholds import Bounds, Kind
from assistant.language.understand import understand
from assistant.measure.units import Shown

_Shares = Mapping[Meaning | None, float]
"""The share of each meaning in one listen; None stands for everything that was not understood. They add up to 1."""


def decide(hearing: Hearing, expectation: Expectation, lexicon: Lexicon) -> Understood:
    """What was most likely meant; `sure` only when the evidence reaches the bounds of the engine. Total and pure.

    A meaning that is not sure is returned too, so that the question can be "did you say ...?". When nothing could be
    understood, the refusal of the freest alternative says what was heard.
    """
    understood = {text: understand(text, expectation, lexicon, typed=False) for text in _texts(hearing)}
    thresholds = lexicon.certainty.get(hearing.engine.partition(" ")[0])
    listens = _listens(hearing, understood)
    candidates = dict.fromkeys(meaning for shares in listens.values() for meaning in shares if meaning is not None)
    if not candidates:
        return _refused(hearing, understood)
    if thresholds is None:
        return replace(_fullest(next(iter(candidates)), hearing, understood), sure=False)
    weighed = {meaning: _weighed(meaning, listens, thresholds.bounds[_kind(meaning)]) for meaning in candidates}
    best = max(weighed, key=lambda meaning: weighed[meaning])
    belief, agree = weighed[best]
    bounds = thresholds.bounds[_kind(best)]
    sure = belief >= bounds.belief and agree >= bounds.agree and hearing.duration_s < thresholds.longest_s
    return replace(_fullest(best, hearing, understood), sure=sure)


def _texts(hearing: Hearing) -> tuple[str, ...]:
    return tuple(dict.fromkeys(alternative.text for alternative in hearing.alternatives))


def _listens(hearing: Hearing, understood: Mapping[str, Understood]) -> dict[str, _Shares]:
    """The shares of every way of listening, by source."""
    by_source: dict[str, list[Alternative]] = defaultdict(list)
    for alternative in hearing.alternatives:
        by_source[alternative.source].append(alternative)
    return {source: _shares(alternatives, understood) for source, alternatives in by_source.items()}


def _shares(alternatives: list[Alternative], understood: Mapping[str, Understood]) -> _Shares:
    scores = [alternative.score or 0.0 for alternative in alternatives]
    top = max(scores)
    shares: dict[Meaning | None, float] = defaultdict(float)
    for alternative, score in zip(alternatives, scores, strict=True):
        shares[_same(understood[alternative.text].meaning)] += math.exp(score - top)
    total = sum(shares.values())
    return {meaning: share / total for meaning, share in shares.items()}


def _weighed(meaning: Meaning, listens: Mapping[str, _Shares], bounds: Bounds) -> tuple[float, float]:
    """The weighted share of all evidence that has this meaning, and the weight of the listens that put it first.

    `free` and `free again` are two listens of one kind: they divide its weight.
    """
    kinds = Counter(source.partition(" ")[0] for source in listens)
    total = sum(bounds.weights.get(kind, 0.0) for kind in kinds)
    belief = agree = 0.0
    for source, shares in listens.items():
        kind = source.partition(" ")[0]
        weight = bounds.weights.get(kind, 0.0) / kinds[kind] / total if total else 0.0
        belief += weight * shares.get(meaning, 0.0)
        if meaning == max(shares, key=lambda candidate: shares[candidate]):
            agree += weight
    return belief, agree


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
