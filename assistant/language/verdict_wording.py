"""Every sentence about a verdict: what it is, why, what it does not prove, what to do next, what to beware of.

The word "fault" stands in no sentence but those of the three kinds that condemn. Printed values (`4.70 kΩ`) stay in
the text as they are; the speaker turns them into words.
"""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from math import floor, log10

from assistant.language.hidden_wording import hidden_turns, percent
from assistant.measure.case import FAULTS, Because, Prepare, Reason, TapResult, Verdict, VerdictKind
from assistant.measure.coil import Class, Tap
from assistant.measure.limits import Conformity, Limit
from assistant.measure.measured import Measured
from assistant.measure.units import Reading
from assistant.measure.warm import BESIDE_COPPER

NAMES: Mapping[Tap, str] = {Tap.PRIMARY: "primary", Tap.SECONDARY: "secondary", Tap.KILLTAB: "kill-tab reading"}

_SAY: Mapping[VerdictKind, str] = {
    VerdictKind.SOUND: "No open winding and no gross short was found. This does not prove the coil good.",
    VerdictKind.ELECTRONICS: "The meter most likely sees electronics inside the coil block. "
    "The windings are not condemned. Do not replace the coil on these readings.",
    VerdictKind.PRIMARY_FAULT: "Primary fault: the primary winding or its tab connection is open, or has a bad joint.",
    VerdictKind.SECONDARY_FAULT: "Secondary fault: the secondary winding or its connection is open, or nearly so.",
    VerdictKind.WINDING_FAULT: "Winding fault: the secondary is open, or nearly so, and the primary is not right.",
    VerdictKind.BAD_CONTACT: "A probe contact was bad. The winding is not condemned.",
    VerdictKind.REPEAT: "Not decided yet: take the {take} again.",
    VerdictKind.UNDECIDED: "These readings do not decide it. The coil is not condemned.",
}
_SAY_WANTED = "Not decided yet: take the {take}."
_SAY_TOO_SMALL = (
    "No open winding was found. Whether the primary is shorted, this meter cannot tell. The coil is not proven good."
)
_SAY_ROW = {
    "core-contact": "The core contact of the secondary reading was bad. The winding is not condemned.",
    "warm-fault": "Secondary fault: the secondary or its connection opens when it is hot.",
    "warm-primary-fault": "Primary fault: the primary or its tab connection opens when it is hot.",
    "primary-contact": "The probe point of the primary reading was bad. The winding is not condemned.",
}


_USUAL = "the usual band, {low} to {high}, common practice without a source"
_CLASS: Mapping[tuple[Tap, Class], str] = {
    (Tap.PRIMARY, Class.USUAL): "It lies inside {band}.",
    (Tap.PRIMARY, Class.NEAR): "It lies outside {band}, but up to 10 Ω it is no cause by itself.",
    (Tap.PRIMARY, Class.TOO_SMALL): "It is too small for this meter to tell from a short.",
    (Tap.PRIMARY, Class.RAISED): "Above 10 Ω, contacts come first.",
    (Tap.PRIMARY, Class.SUSPICIOUS): "That is no reading of a bare primary winding.",
    (Tap.SECONDARY, Class.USUAL): "It lies inside {band}.",
    (
        Tap.SECONDARY,
        Class.NEAR,
    ): "It lies outside {band}, but makers print 1.5 to 19.8 kΩ for coils without a cap: no cause by itself.",
    (Tap.SECONDARY, Class.LOW): "Below 1.5 kΩ, first make sure of the unit.",
    (Tap.SECONDARY, Class.RAISED): "Above 20 kΩ, cap, lead and corrosion come first.",
    (Tap.SECONDARY, Class.BEYOND): "That only says it is above this range of the meter.",
    (Tap.SECONDARY, Class.BAD): "A whole secondary winding does not read like that.",
}

_NEAR_LIMITS = "It lies outside {band}, but that is neither an open winding nor a gross short."
"""With the maker's limits at hand, what other makers print proves nothing."""

_BECAUSE: Mapping[Because, str] = {
    Because.CANNOT_DECIDE: "This meter cannot decide whether the {tap} is inside the maker's limits: "
    "its doubt is wider than they allow.",
    Because.WARM_AS_COPPER: "Hot, the {tap} reads what its copper makes of the cold reading, {low} to {high}, "
    "contacts allowed for, and steady.",
    Because.WARM_TEMPERATURE_UNKNOWN: "How hot the coil was is not known, so anything from a cold coil to 130 °C is allowed for.",
    Because.WARM_UNCLEAR: "Hot, the {tap} reads neither clearly what its copper makes of the cold reading, {low} to {high}, "
    "nor clearly otherwise: it is within the meter's doubt.",
    Because.WARM_LOWER: "Hot, the {tap} reads lower than its copper allows, {low} to {high}. That is no break; it is not explained.",
    Because.WARM_HIGHER: "Hot, the {tap} reads higher than its copper explains, {low} to {high}: a joint may be giving way.",
    Because.WARM_BEYOND: "Hot, the {tap} was above the range of the meter; that says nothing.",
    Because.WARM_UNSTEADY: "Hot, the {tap} does not settle, though it reads well cold.",
    Because.WARM_OPEN: "Hot, the {tap} reads open, or nearly so, though it reads well cold.",
    Because.WARM_ONCE: "That was read only once, and nothing is condemned on a single reading.",
    Because.WARM_BOTH: "Both windings give way at once: the core contact that they share may be what opens. "
    "Clean the core where the probe sits, and read both hot again.",
    Because.FINER_METER: "A meter that shows {low} as its last digit here, and is as accurate otherwise, could.",
    Because.NO_FINER_METER: "More digits alone would not help.",
    Because.PREFIX_FITS: "With another prefix the {tap} would be {low}, and that would fit: look at the prefix on the display.",
    Because.BODY_ALONE: "Hands on both probe tips read like that too: keep fingers off the tips.",
    Because.BODY_BESIDE: "Hands on both tips at the secondary or at the comparison, a body of about {low}, would explain why they differ.",
    Because.CAP_BETWEEN: "Kill tab to lead end differs from the other readings by {low}, as much as a resistor "
    "plug cap has: a cap may have been on for one of them.",
    Because.KILLTAB_AGREES: "Kill tab to lead end agrees with the other readings.",
    Because.KILLTAB_GOOD: "Kill tab to lead end reads like a good coil, so the windings are whole.",
    Because.KILLTAB_UNCLEAR: "Kill tab to lead end neither clearly agrees nor clearly disagrees: it is within the meter's doubt.",
    Because.KILLTAB_BLIND: "Kill tab to lead end agrees with the secondary, with what the primary reads and without it: "
    "beside the secondary, so little cannot be told.",
    Because.KILLTAB_RANGE_TOO_LOW: "Kill tab to lead end reads over range where a whole coil would too. "
    "Use a higher range.",
    Because.KILLTAB_HIGH: "Kill tab to lead end reads higher than the secondary: the way through the primary adds to it.",
    Because.KILLTAB_BAD_TOO: "Kill tab to lead end does not read like a good coil either.",
    Because.KILLTAB_BETWEEN: "Kill tab to lead end reads neither like a good coil nor like an open one.",
    Because.KILLTAB_UNEXPLAINED: "What the primary reads does not explain the kill-tab reading: they contradict each other.",
    Because.KILLTAB_DIFFERS: "Kill tab to lead end does not agree with the other readings.",
    Because.KILLTAB_OPEN: "Kill tab to lead end reads over range.",
    Because.KILLTAB_UNSTEADY: "Kill tab to lead end does not settle.",
    Because.ELECTRONICS_YES: "There are electronics inside this coil block. Seen through them, a primary reads high, "
    "jumps or reads open without being broken.",
    Because.ELECTRONICS_UNKNOWN: "Many coils on small engines have electronics inside. Seen through them, a primary "
    "reads high, jumps or reads open without being broken.",
    Because.ELECTRONICS_NO: "There are no electronics in this coil that could explain it.",
    Because.PRIMARY_ALONE: "Such a primary alone does not condemn the coil. Do not replace it on that reading.",
    Because.SECONDARY_CONDEMNS: "It is the secondary that condemns; the primary alone would not.",
    Because.FIRST_WAS_CONTACT: "An earlier reading of the {tap} was worse: that was contact, and the repeat counts.",
    Because.FIRST_DIFFERED: "An earlier reading of the {tap} was different; the repeat counts.",
    Because.FIRST_WAS_GOOD: "An earlier reading of the {tap} was good: what is broken comes and goes.",
    Because.DOES_NOT_REPEAT: "The {tap} does not repeat: its readings do not agree with each other.",
    Because.STAYED: "The {tap} stayed so when it was taken again.",
    Because.MISSING: "The {tap} has not been taken yet.",
    Because.DECLINED: "The {tap} was left out, and without it this cannot be decided.",
    Because.REPEAT_DECLINED: "The {tap} was not taken again, and without that this cannot be decided.",
    Because.TAKE_AGAIN: "Nothing is condemned on a single reading: the {tap} is taken again first.",
    Because.IN_DOUBT: "The {tap} is within the meter's doubt of {high}: it may lie on either side.",
    Because.HALF_A_DIGIT: "Half a last digit more or less would make the {tap} count otherwise: the verdict is within the meter's doubt.",
    Because.LEADS_HALF_A_DIGIT: "Half a last digit more or less would make the leads count otherwise: "
    "the verdict is within the meter's doubt.",
    Because.CAP_STILL_ON: "Is a resistor cap still on? Without it, this would be {low} to {high}.",
    Because.CAP_COUNTED: "The plug cap stayed on; a resistor cap of 4 to 6 kΩ is allowed for.",
    Because.CAP_IN_DOUBT: "With the plug cap on, it cannot be decided whether the {tap} is inside the maker's limits: "
    "what a cap has is not known well enough. Take the cap off and read it again.",
    Because.CAP_OFF_IN_DOUBT: "The maker's limits hold with the plug cap on, and what a cap has is not known well enough "
    "to decide whether the {tap} is inside them. Put the cap on and read it again.",
    Because.CAP_NOT_SAID: "The maker's limits hold with the plug cap on, and it was not said whether it was on when the {tap} was read: "
    "read it again with the cap on.",
    Because.CAP_BEFORE_FAULT: "The plug cap is still on, and an open cap reads the same. Take it off first.",
    Because.LEADS_NOT_TAKEN: "The leads were not measured, so nothing is subtracted; they usually add 0.1 to 0.5 Ω.",
    Because.LEADS_HIGH: "The leads read {low}. Above 1 Ω, put leads and tips right and measure again.",
    Because.LEADS_OPEN: "The leads gave no value, so nothing is subtracted. Put leads and tips right first.",
    Because.LEADS_NOT_BELIEVED: "The leads read clearly more than the primary, so they are not subtracted from it. "
    "Measure the leads again.",
    Because.LEADS_BEFORE_FAULT: "Nothing is condemned through leads like these: they may be what reads open.",
    Because.LEADS_UNPROVEN: "The leads were not read, and no value was read through them: broken leads read the same.",
    Because.LIMITS_ALONE: "A winding that still conducts is not condemned for its distance from the maker's limits. "
    "A known-good coil in its place can settle it.",
    Because.NO_MAKERS_FIGURE: "Only the maker's figure for this coil can settle a secondary like that.",
    Because.RANGE_TOO_LOW: "Over range here says only that the secondary is above this range. Use a higher one.",
    Because.LIMITS_ELSEWHERE: "The maker's limits of the secondary hold between other points than core and lead end: "
    "this reading is not held against them.",
    Because.LIMITS_AT_ROOM: "The maker's limits name no temperature; 20 °C is taken for it (common practice, no source).",
    Because.TEMPERATURE_UNKNOWN: "The temperature of the coil is not known; that is allowed for in the doubt.",
}

_PREPARE: Mapping[Prepare, str] = {
    Prepare.CLEAN_CORE: "Clean the core down to bare metal where the probe sits.",
    Prepare.CLEAN_TAB: "Clean the kill tab and press the probe on firmly.",
    Prepare.LEAD_AND_CAP_OFF: "Take the lead or the plug cap off, and clean the end the probe touches.",
    Prepare.SAY_UNIT: "Look at the prefix on the display, and say the reading with its unit.",
    Prepare.HIGHER_RANGE: "Turn the dial one range higher.",
}

_UNPROVEN: Mapping[str, str] = {
    "shorted turns": "Resistance cannot show shorted turns.",
    "primary short": "A primary that small cannot be told from a short with this meter.",
    "insulation": "Nor can it show insulation that fails under voltage.",
    "electronics work": "It does not show whether the electronics work.",
    "no comparison": "The comparison at the kill tab was not taken.",
    "cold only": "A break that opens only when hot is not seen in a cold coil.",
    "general bands": "Without the maker's limits, the general bands are only a rough guide.",
    "rest of engine": "Something else in the ignition may be wrong as well.",
}

_NEXT: Mapping[str, str] = {
    "leads": "Put leads and tips right: held together, the probes should read 0 to 0.5 Ω. Then take the readings again.",
    "manual": "Look up the maker's manual for this coil, or ask a qualified person.",
    "warm again": "Take the secondary again while the coil is warm: it should read a little higher, and steady.",
    "plug": "Check the spark plug and its gap, or fit a new plug.",
    "cap and lead": "Measure the plug cap and the lead by themselves; look for corrosion and cracks.",
    "kill switch": "Look for a short to ground in the kill switch and its wire: leave the wire off the coil and try.",
    "air gap": "Check the air gap between coil and flywheel against the manual.",
    "magnet and key": "Check the flywheel's magnet, and its key for shear.",
    "ground straps": "Check ground straps and the coil's mounting: bare metal, tight screws.",
    "trigger": "Check the trigger or the ignition module by the manual.",
    "spark gap": "Test for spark across a known gap, with a proper spark tester.",
    "known-good coil": "Try a known-good coil in its place.",
}

_CAUTIONS: Mapping[str, str] = {
    "stopped engine": "Engine stopped, switch off, coil disconnected; never ohms on a live circuit.",
    "spark voltage": "Ignition voltage can injure, on both sides of an electronic ignition. "
    "With a pacemaker, keep away from it.",
    "lead open": "Never crank with the lead open, and never hold a plug against the engine by hand.",
    "fuel vapour": "Keep sparks away from fuel vapour.",
    "turning parts": "Keep clear of hot and turning parts.",
    "piercing": "Never pierce a lead with a probe.",
    "manual first": "The maker's manual, local rules and a qualified person come before this tool.",
}


def say(verdict: Verdict) -> str:
    """The verdict in one or two sentences."""
    if verdict.kind is VerdictKind.SOUND and verdict.primary.kind is Class.TOO_SMALL:
        return _SAY_TOO_SMALL
    named = verdict.kind is VerdictKind.BAD_CONTACT or verdict.kind in FAULTS
    text = _SAY_ROW.get(verdict.row, _SAY[verdict.kind]) if named else _SAY[verdict.kind]
    if not verdict.take:
        return text
    take = _list([NAMES[tap] for tap in verdict.take])
    if verdict.kind is VerdictKind.BAD_CONTACT:
        return f"{text} Take the {take} again."
    return (text if verdict.kind is VerdictKind.REPEAT else _SAY_WANTED).format(take=take)


def because(verdict: Verdict) -> tuple[str, ...]:
    """The reasons, one sentence or two each, in the order of the judgement."""
    return tuple(_reason(verdict, reason) for reason in verdict.reasons)


def unproven(verdict: Verdict) -> tuple[str, ...]:
    """What the readings do not show; beside "sound", how much of a winding could be shorted all the same."""
    told = [_UNPROVEN[key] for key in verdict.unproven]
    if verdict.kind is VerdictKind.SOUND:
        told[verdict.unproven.index("shorted turns")] += hidden_turns(verdict)
    return tuple(told)


def prepare(verdict: Verdict) -> tuple[str, ...]:
    """What to do before the next reading; empty when no reading is wanted or nothing has to be done."""
    return tuple(_PREPARE[step] for step in verdict.prepare)


def next_steps(verdict: Verdict) -> tuple[str, ...]:
    """What to do next: the readings still wanted and what to do before them, or the ladder."""
    take = (f"Take the {_list([NAMES[tap] for tap in verdict.take])}.",) if verdict.take else ()
    return (*prepare(verdict), *take, *(_NEXT[key] for key in verdict.next))


def cautions(verdict: Verdict) -> tuple[str, ...]:
    """The cautions that the next steps call for."""
    return tuple(_CAUTIONS[key] for key in verdict.cautions)


def caution(key: str) -> str:
    """One caution by its key."""
    return _CAUTIONS[key]


def shown(reading: Reading) -> str:
    """What the display showed, printed: `4.70 kΩ`, `over range`, `unsteady`."""
    if reading.quantity is not None:
        return reading.quantity.text
    bounds = [bound.text for bound in (reading.low, reading.high) if bound is not None]
    return " ".join([reading.shown.value, *([f"({' to '.join(bounds)})"] if bounds else [])])


def with_doubt(measured: Measured) -> str:
    """A value and U: U with two significant digits, the value to the same place: `1.10 Ω ± 0.25 Ω`."""
    expanded = Decimal(measured.expanded_ohm)
    if not expanded:
        return ohms(measured.value_ohm)
    place = Decimal(1).scaleb(floor(log10(expanded)) - 1)
    return f"{ohms(measured.value_ohm, place)} ± {ohms(expanded, place)}"


def ohms(value_ohm: Decimal, place_ohm: Decimal | None = None) -> str:
    """Ohms with the unit that keeps the number short; rounded to a place when one is given: `4.2 kΩ`."""
    rounded = value_ohm if place_ohm is None else value_ohm.quantize(place_ohm)
    size = abs(rounded)
    power, symbol = next(
        (power, symbol) for power, symbol in ((6, "MΩ"), (3, "kΩ"), (0, "Ω")) if size >= 10**power or not power
    )
    number = rounded.scaleb(-power)
    return f"{number.normalize() if place_ohm is None else number:f} {symbol}"


# ---- pieces


def _reason(verdict: Verdict, reason: Reason) -> str:
    result = verdict.result(reason.tap) if reason.tap else verdict.primary
    if reason.because is Because.CLASS:
        return _class(result, reason)
    if reason.because is Because.AGAINST_LIMITS and result.conformity is not None:
        return _against(result.tap, result.conformity)
    place = _cap_place(result) if reason.because is Because.CAP_STILL_ON else None
    if reason.because in _ROUNDED and reason.low_ohm:
        place = Decimal(1).scaleb(reason.low_ohm.adjusted() - 2)
    return _BECAUSE[reason.because].format(
        tap=NAMES[reason.tap] if reason.tap else "",
        low="" if reason.low_ohm is None else ohms(reason.low_ohm, place),
        high="" if reason.high_ohm is None else ohms(reason.high_ohm, place),
    )


_ROUNDED = {Because.PREFIX_FITS, Because.BODY_BESIDE, Because.CAP_BETWEEN, *BESIDE_COPPER}
"""Reasons whose value is an explanation, not a reading: three digits are enough."""


def _cap_place(result: TapResult) -> Decimal:
    """How far a value less a plug cap is printed: caps are known to a kilo-ohm, and the meter's doubt may be more."""
    doubt_ohm = result.measured.expanded_ohm if result.measured is not None else 0.0
    return Decimal(1).scaleb(max(2, floor(log10(max(doubt_ohm, 1.0)))))


def _class(result: TapResult, reason: Reason) -> str:
    band = "the maker's limits"
    text = _CLASS[result.tap, result.kind]
    if result.conformity is not None and result.kind is Class.NEAR:
        text = _NEAR_LIMITS
    if result.conformity is None:
        band = _USUAL.format(low=ohms(reason.low_ohm or Decimal(0)), high=ohms(reason.high_ohm or Decimal(0)))
    less = ", less the leads" if result.tap is Tap.PRIMARY and leads_off(result) else ""
    return f"The {NAMES[result.tap]} is {_value(result)}{less}. {text.format(band=band)}"


def leads_off(result: TapResult) -> bool:
    """Whether the leads were taken off the value."""
    quantity = result.reading.quantity if result.reading else None
    return result.measured is not None and quantity is not None and quantity.ohms != result.measured.value_ohm


def _value(result: TapResult) -> str:
    if result.measured is not None:
        return with_doubt(result.measured)
    return "" if result.reading is None else shown(result.reading)


def _against(tap: Tap, found: Conformity) -> str:
    as_compared = " ".join(compared_as(found))
    as_compared = f" ({with_doubt(found.referred)} {as_compared})" if as_compared else ""
    probability = f"{percent(found.probability)} probability of being inside"
    against = f"Against {found.limit.source}, {printed_limit(found.limit)}"
    return f"{against}, the {NAMES[tap]}{as_compared} is {found.zone.value}; {probability}."


def compared_as(found: Conformity) -> Iterator[str]:
    """How what was compared with the limits differs from what was read: `at 20 °C`, `without a cap of 4 to 6 kΩ`."""
    if found.at_c is not None:
        yield f"at {found.at_c} °C"
    if found.cap_ohm is not None:
        low_ohm, high_ohm = sorted(map(abs, found.cap_ohm))
        with_or_without = "without" if found.cap_ohm[0] < 0 else "with"
        yield f"{with_or_without} a cap of {_kilohms(low_ohm)} to {ohms(high_ohm)}"


def _kilohms(value_ohm: Decimal) -> str:
    return ohms(value_ohm).removesuffix(" kΩ").removesuffix(" Ω")


def printed_limit(limit: Limit) -> str:
    """A pair of limits, or the side that is given: `0.8 Ω to 1.3 Ω`, `at most 1.3 Ω`."""
    if limit.low_ohm is None:
        return f"at most {ohms(limit.high_ohm or Decimal(0))}"
    if limit.high_ohm is None:
        return f"at least {ohms(limit.low_ohm)}"
    return f"{ohms(limit.low_ohm)} to {ohms(limit.high_ohm)}"


def _list(words: list[str]) -> str:
    return " and the ".join(words)
