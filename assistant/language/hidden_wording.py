"""How much of a winding could be shorted although the verdict is "sound", in words."""

from decimal import Decimal

from assistant.measure import explain
from assistant.measure.case import Because, TapResult, Verdict
from assistant.measure.coil import CAPS_OHM, PRIMARY_PUBLISHED_OHM, SECONDARY_PUBLISHED_OHM, Class, Tap
from assistant.measure.limits import less_cap

_HIDDEN = (
    " Up to {inside} turns could be shorted and it would still read like this. "
    "Even beside a good reading of this very coil, this test shows them only from {best} turns."
)


def hidden_turns(verdict: Verdict) -> str:
    """Added to "resistance cannot show shorted turns" beside a sound verdict; begins with a space."""
    inside: list[str] = []
    best: list[str] = []
    for tap in (Tap.PRIMARY, Tap.SECONDARY):
        result = verdict.result(tap)
        measured = result.conformity.referred if result.conformity is not None else result.measured
        if measured is None:
            continue
        cap_ohm = _cap_in(verdict, result)
        parts = explain.hidden_turns(
            less_cap(measured) if cap_ohm else measured, _highest_whole(verdict, result) - cap_ohm
        )
        for texts, part in zip((inside, best), parts, strict=True):
            texts.append(f"{percent(part)} of the {tap.value}'s")
    return _HIDDEN.format(inside=" and ".join(inside), best=" and ".join(best))


def _cap_in(verdict: Verdict, result: TapResult) -> Decimal:
    """What a plug cap has of the highest reading of a whole winding; 0 where none is in it. A cap has no turns to lose."""
    low_ohm, high_ohm = CAPS_OHM[0]
    if result.conformity is not None:
        return low_ohm if result.conformity.limit.cap_on else Decimal(0)  # the maker's figures hold with it on
    counted = any(reason.because is Because.CAP_COUNTED and reason.tap is result.tap for reason in verdict.reasons)
    return high_ohm if counted else Decimal(0)


def _highest_whole(verdict: Verdict, result: TapResult) -> Decimal:
    """The most that a whole winding of this kind may read, cap and all: the top of the band that it was found in."""
    published = PRIMARY_PUBLISHED_OHM if result.tap is Tap.PRIMARY else SECONDARY_PUBLISHED_OHM
    if result.conformity is not None:
        return result.conformity.limit.high_ohm or published[1] + _cap_in(verdict, result)
    usual = (
        reason.high_ohm for reason in verdict.reasons if reason.because is Because.CLASS and reason.tap is result.tap
    )
    top = next(usual, None) if result.kind is Class.USUAL else None
    return top or published[1] + _cap_in(verdict, result)


def percent(probability: float) -> str:
    """Never 0 or 100: nothing measured is certain."""
    if probability < 0.01:  # noqa: PLR2004 - one percent
        return "under 1 %"
    return "over 99 %" if probability > 0.99 else f"{100 * probability:.0f} %"  # noqa: PLR2004 - the mirror
