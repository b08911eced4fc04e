"""Every sentence of the dialogue that is not in a procedure file or in grammar/; the verdict's are in verdict_wording.

Printed values (`4.70 kΩ`) stand in the text as the meter shows them; the speaker turns them into digits, one by one.
"""

from decimal import Decimal

from assistant.language.meaning import NotUnderstood, Why
from assistant.language.readback import printed
from assistant.measure.units import Numeral, Reading, Unit

TYPE_INSTEAD = "You can also type the answer, or say help."
PAUSED = "Paused. Say resume to go on, or stop."
STILL_PAUSED = "The session is paused. Say resume to go on, or stop."
RESUMED = "Going on."
CANNOT_SKIP = "This step cannot be skipped."
SKIPPED = "Skipped."
FIRST_STEP = "This is the first step: there is nothing before it."
NOTHING_TO_UNDO = "There is no reading to take back."
NO_READING_YET = "There is no reading yet."
TAKE_YOUR_TIME = "Take your time."
YES_OR_NO = "Please say yes or no."
WARM_AGAIN = "Nothing is condemned on a single reading: make good contact and read it once more."
NOT_IN_ORDER = "The lower limit is above the upper one. Let us take both again."
SAID_ONE = (
    "Is that a lone one at the left edge, over range, or the value one? Say over range, or the reading with its unit."
)
NO_PAUSE = "The session is not paused."
MORE_OR_DONE = "Any more? Say it, or done."
UNUSUAL = "which is unusual here"
BELOW_LEADS = "which is less than the leads alone read"
SHIFTED = "which is the last reading here but for the point or the unit"
NOT_SURE = "I am not sure what I heard."
COMPLETE = "This session is complete. Its record is kept."
NO_TEMPERATURE = "A coil's temperature is somewhere between minus 60 and 300 degrees Celsius."
NO_GAP = "Only gaps from 1.3 to 11.7 millimetres say something here. Testers mostly have 4 to 8."
FINISHED = "The record is saved. Thank you, and take care."
AUTO_DIAL = "Let the meter choose its range."

_REFUSALS = {
    Why.TWO_NUMBERS: "that sounds like two numbers; one reading at a time",
    Why.UNFINISHED: "that is not finished",
    Why.UNKNOWN_WORD: "I do not know the word {text}",
    Why.WRONG_UNIT: "{text} is no unit of resistance; check that the meter is set to ohms",
    Why.WRONG_KIND: "that is another kind of answer than the question wants",
    Why.NOT_EXPECTED: "that does not fit this question",
    Why.TOO_LONG: "that is too long for one answer",
    Why.BEYOND_METER: "no pocket meter shows that",
    Why.NEGATIVE: "a resistance has no minus sign; check that the meter is set to ohms",
    Why.BEEP: "a beep is no reading: set the dial to ohms and read the display",
    Why.UNCLEAR: "I could not make that out",
}


def refusal(meaning: NotUnderstood, words: str) -> str:
    """What was heard or typed and why it is not taken."""
    heard = f"I got “{shorten(words)}”: " if words.strip() else ""
    reason = _REFUSALS.get(meaning.why, "I could not make that out").format(text=f"“{shorten(meaning.text)}”")
    return heard + reason + "." if heard else reason[0].upper() + reason[1:] + "."


def shorten(text: str, most: int = 60) -> str:
    """The text on one line without control characters, cut to `most` characters."""
    clean = " ".join("".join(char if char.isprintable() else " " for char in text[: 4 * most]).split())
    return clean if len(clean) <= most else clean[: most - 1] + "…"


def mended(pairs: tuple[tuple[str, str], ...]) -> str:
    """Which typed words were taken for which."""
    return "; ".join(f"“{shorten(typed)}” taken as “{meant}”" for typed, meant in pairs) + "."


def read_back(title: str, reading: Reading) -> str:
    """A reading that stands, said back, as `Primary reading: 1.4 Ω`."""
    short = title.removeprefix("the ")
    return f"{short[0].upper()}{short[1:]}: {printed(reading)}."


def ask_reading(reading: Reading, reason: str) -> str:
    """Whether a reading was heard right; `reason` says why it is asked: a clause, or empty."""
    because = f", {reason}" if reason else ""
    return f"I got: {printed(reading)}{because}. Is that what the meter shows?"


def beyond_meter(meter: str, full_ohm: int) -> str:
    """Why a value is asked about that the meter in use cannot show: a clause for `ask_reading`."""
    return f"but the meter in use, {shorten(meter)}, shows at most {printed_ohms(full_ohm)}; above that say over range"


def finer_than_meter(meter: str, finest_ohm: Decimal) -> str:
    """A value stands that has more digits than the meter in use shows."""
    return (
        f"The meter in use, {shorten(meter)}, shows no digit below {finest_ohm:f} Ω there:"
        " the value is taken as given, with the doubt of that digit."
    )


def ask_which(first: Reading, second: Reading) -> str:
    """Which of two values was said, when sound does not tell; spoken digit by digit, they sound different."""
    return f"I got: {printed(first)} or {printed(second)}. Which is it: the first, the second, or neither?"


def ask_limit(limit: Reading, reason: str) -> str:
    """Whether a maker's limit was heard right; `reason` as for a reading."""
    because = f", {reason}" if reason else ""
    return f"I got: {printed(limit)}{because}. Is that the maker's figure?"


def ask_guess(words: str) -> str:
    """Whether something that was not heard surely is meant."""
    return f"Did you say “{shorten(words)}”?"


def ask_unit(numeral: Numeral) -> str:
    """Which prefix a bare number has."""
    return f"{numeral.text} what: ohms, kilo-ohms or meg-ohms?"


def taken_back(reading: Reading) -> str:
    """A reading was undone."""
    return f"Taken back: {printed(reading)}."


def said_last(title: str, reading: Reading) -> str:
    """The last reading that stands."""
    return f"The last one was {title}: {printed(reading)}."


def where(title: str, readings: tuple[tuple[str, Reading], ...], phase: str) -> str:
    """Where the session stands: the step, what is open, and the readings so far."""
    so_far = "; ".join(f"{name}, {printed(reading)}" for name, reading in readings)
    return f"We are at {title}: {phase}. " + (f"Readings so far: {so_far}." if so_far else "No reading so far.")


def labelled(label: str) -> str:
    """The job has a name."""
    return f"Job {shorten(label)}."


def taken_up(label: str) -> str:
    """A session goes on that was left."""
    return f"Taking up job {shorten(label)} where it was left." if label else "Taking up the session where it was left."


def stopped(label: str) -> str:
    """The session was stopped before its end."""
    how = f"take up job {shorten(label)} by its label" if label else "take it up again at any time"
    return f"Stopped. Everything so far is kept; {how}."


def not_recorded(why: str, *, answer: bool, over: bool) -> str:
    """The disk refused the record: of an `answer`, or of something that is tried again; `over` when the session ends all the same."""
    safe = "Everything before this answer is safe" if answer else "Everything so far is safe"
    then = "Make room on the disk, then give the answer again" if answer else "Make room on the disk, and it goes on"
    if over:
        then = "The session ends here and can be taken up again"
    return f"The record cannot be written: {why}. {safe}. {then}."


def input_ended(label: str) -> str:
    """No more answers will come."""
    return "No more answers came. " + stopped(label).removeprefix("Stopped. ")


def answered(phrases: tuple[str, ...]) -> str:
    """Answers said back in the words of the grammar."""
    text = ", ".join(phrases)
    return f"{text[0].upper()}{text[1:]}."


def dial(full_ohm: int) -> str:
    """Which range the dial should stand on."""
    return f"Dial on the {printed_ohms(full_ohm)} range."


def printed_ohms(ohms: int) -> str:
    """Whole ohms with the largest unit that keeps them whole: `20 kΩ`."""
    unit = next(unit for unit in (Unit.MEGOHM, Unit.KILOHM, Unit.OHM) if ohms % 10**unit.value == 0)
    return f"{ohms // 10**unit.value} {unit.symbol}"


def degrees(text: str) -> str:
    """A temperature said back."""
    return f"{text} degrees Celsius."


def degrees_fahrenheit(text: str, celsius: str) -> str:
    """A temperature said back that was given in degrees Fahrenheit, with what is kept of it."""
    return f"{text} degrees Fahrenheit, that is {degrees(celsius)}"


def millimetres(text: str) -> str:
    """A gap said back."""
    return f"{text} millimetres."


def can_check(phrases: tuple[str, ...]) -> str:
    """Which checks the session can go on with, in the words that start them."""
    return f"I can lead you through more here. Say {'; or '.join(phrases)}."


def rate(words_a_minute: int) -> str:
    """The rate of speech was changed."""
    return f"Speaking at {words_a_minute} words a minute."


NEXT_VOICE = "This is the next voice."


def volume(percent: int) -> str:
    """The loudness of speech was changed."""
    return f"Volume {percent} percent."


def device_failed(line: str) -> str:
    """A device stopped working; typing goes on."""
    return f"{line} Nothing is lost; you can type."


def device_back(device: str) -> str:
    """A device works again."""
    return f"The {device} is back."
