"""The command about meters: list those that are known; describe one's own by options, or by answers, typed or in recordings."""

import argparse
import json
import re
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from assistant.errors import BadData, BadInput
from assistant.streams import out, tell

if TYPE_CHECKING:
    from assistant.language.lexicon import Lexicon
    from assistant.language.meaning import Meaning

_NAME = re.compile(r"[a-z][a-z0-9_-]{0,30}")
_OHMS = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,9})?)([kKM]?)(?:Ω|ohms?)?")
_NUMBER = re.compile(r"[0-9]{1,9}(?:\.[0-9]{1,9})?")
_FACTORS = {"": Decimal(1), "k": Decimal(1_000), "K": Decimal(1_000), "M": Decimal(1_000_000)}
_YES_NO = {"yes": True, "y": True, "no": False, "n": False}
_MOST_RANGES = 20
_OFFSET_FROM_OHM = 100_000_000
"""Ranges from here up may show a fixed value with the leads shorted (tests/checks/meter_display.tsv, the 200 MΩ range)."""


def meter(options: argparse.Namespace) -> int:
    """List the meters, or describe a new one."""
    if options.what == "list":
        return _list(options)
    return _new(options)


def _list(options: argparse.Namespace) -> int:
    """Every meter that --meter knows, one JSON object a line."""
    from assistant import data
    from assistant.measure.meter import load_meters

    if options.name is not None or options.ranges or options.recorded:
        raise BadInput("list takes no name and no ranges; to describe a meter: ohmaloud meter new NAME")
    shipped = data.texts("meters")
    for name, found in sorted(load_meters(data.meters()).items()):
        ranges = [
            {
                "full_ohms": range_.full_ohm,
                "last_digit_ohms": f"{range_.resolution_ohm:f}",
                "percent": f"{range_.percent:f}",
                "counts": range_.counts,
                "offset_ohms": f"{range_.offset_ohm:f}",
            }
            for range_ in found.ranges
        ]
        own = name not in shipped
        out({"name": name, "title": found.title, "hand_set": found.hand_set, "own": own, "ranges": ranges})
    return 0


def _new(options: argparse.Namespace) -> int:
    """Describe a meter, check it as every profile is checked, and keep it for this user."""
    from assistant import data
    from assistant.devices.store import save_file

    name = options.name or ""
    if not _NAME.fullmatch(name):
        raise BadInput(f"{name!r}: expected a name for the meter: small letters, digits, - and _, as workshop-2")
    folder = data.own_meters_folder()
    if name in data.texts("meters"):
        raise BadInput(f"{name!r}: a meter of that name comes with the program; choose another")
    if (folder / f"{name}.toml").exists() and not options.replace:
        raise BadInput(f"{folder / name}.toml: is there already; choose another name, or add --replace")
    if options.ranges:
        title, hand_set = options.title or name, not options.auto
        ranges = [_range(text) for text in options.ranges]
    else:
        # a name is typed: a recogniser knows no names
        title = options.title or (name if options.recorded else None)
        answers = _recorded(options.recorded, options.engine) if options.recorded else _typed()
        title, hand_set, ranges = _asked(name, title, answers)
    text = _profile(title, ranges, hand_set=hand_set)
    if fault := _fault_of(name, text):
        raise BadInput(fault)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        save_file(folder, f"{name}.toml", text.encode())
    except OSError as error:
        raise BadInput(f"{folder / name}.toml: cannot be written ({error.strerror})") from error
    tell(f"Kept. Begin a session with it: ohmaloud chat --meter {name}")
    out({"name": name, "file": str(folder / f"{name}.toml")})
    return 0


Range = tuple[Decimal, Decimal, Decimal, Decimal, Decimal]
"""Full scale, last digit, percent of reading, counts, offset with the leads shorted; all but percent and counts in ohms."""


def _range(text: str) -> Range:
    """A range in one word: FULL:DIGIT:PERCENT:COUNTS, and the offset after that where there is one."""
    parts = text.split(":")
    try:
        full, digit, percent, counts, *offset = parts
        (offset_ohm,) = [_ohms(part) for part in offset] or [Decimal(0)]
        return (_ohms(full), _ohms(digit), _number(percent), _number(counts), offset_ohm)
    except ValueError:
        raise BadInput(
            f"--range {text!r}: expected FULL:LAST-DIGIT:PERCENT:COUNTS, as 200:0.1:0.8:2 or 20k:10:0.8:2;"
            " behind them what it shows with the leads shorted where that is subtracted, as 200M:100k:5:10:1M"
        ) from None


def _ohms(text: str) -> Decimal:
    match = _OHMS.fullmatch(text.strip().replace(" ", ""))
    if match is None:
        raise ValueError(text)
    return Decimal(match[1]) * _FACTORS[match[2]]


def _number(text: str) -> Decimal:
    if not _NUMBER.fullmatch(text.strip()):
        raise ValueError(text)
    return Decimal(text.strip())


def _profile(title: str, ranges: list[Range], *, hand_set: bool) -> str:
    """The profile as a file, by the example of those that come with the program."""
    lines = [f"title = {json.dumps(title, ensure_ascii=False)}", f"hand_set = {'true' if hand_set else 'false'}"]
    for full, digit, percent, counts, offset in ranges:
        values = {"full_ohm": full, "resolution_ohm": digit, "percent": percent, "counts": counts}
        values |= {"offset_ohm": offset} if offset else {}
        lines += ["", "[[range]]", *(f"{key} = {_plain(value)}" for key, value in values.items())]
    return "\n".join(lines) + "\n"


def _fault_of(name: str, profile: str) -> str:
    """The first fault of a profile, in one line; empty when every command will read it."""
    from assistant.measure.meter import load_meters

    try:
        load_meters({name: profile})
    except BadData as error:
        return error.problems[0].line()
    return ""


def _plain(value: Decimal) -> str:
    """Without exponent, and without a point where it is a whole number."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


# ---- asked for, one answer after the other, typed or from recordings


@dataclass(frozen=True, slots=True)
class _Answer:
    """An answer as typed or heard, and what it means; `sure` is False for what was not heard surely."""

    text: str
    meaning: "Meaning"
    sure: bool = True


Answers = Callable[[str], "_Answer | None"]
"""The next answer to a question of this expectation; None when there are no more."""


def _asked(name: str, title: str | None, answers: Answers) -> tuple[str, bool, list[Range]]:
    """Title, whether its range is set by hand, and the ranges; each is checked as soon as it is described."""
    from assistant.language.verdict_wording import ohms

    tell("The figures stand in the meter's manual, on the page about its resistance ranges.")
    if title is None:
        title = _ask("What is the meter called?", "label", _title, "a name", answers)
    hand_set = _ask("Do you set its range with a dial: yes or no?", "yes_no", _yes_no, "yes or no", answers)
    tell(f"Set by hand: {'yes' if hand_set else 'no'}.")
    ranges: list[Range] = []
    which = "lowest"
    while len(ranges) < _MOST_RANGES:
        done = " Or say none, or done." if ranges else ""
        question = f"Full scale of the {which} range, as 200, 20k or 2M?{done}"
        full = _ask(question, "full_scale", _ohms_or_done, "ohms, as 200 or 20k, or two hundred ohms", answers)
        if full is None and ranges:
            break
        if full is None:
            tell("A meter has one range at least.")
            continue
        digit = _ask("What is its last digit worth, as 0.1 or 10?", "last_digit", _ohms_said, "ohms, as 0.1", answers)
        percent = _ask(
            "Its accuracy: how many percent of the reading, as 0.8?",
            "percent",
            _number_said,
            "a number, as 0.8",
            answers,
        )
        counts = _ask(
            "And how many counts of the last digit, as 2?", "counts", _number_said, "a whole number, as 2", answers
        )
        offset = _offset(full, answers)
        shorted = f", {ohms(offset)} with the leads shorted" if offset else ""
        tell(f"Range {ohms(full)}: last digit {ohms(digit)}, {percent} percent, {counts} counts{shorted}.")
        so_far = [*ranges, (full, digit, percent, counts, offset)]
        fault = _fault_of(name, _profile(title, so_far, hand_set=hand_set))
        if fault:
            tell(f"{fault} This range once more.")
            continue
        ranges = so_far
        which = "next"
    return title, hand_set, ranges


def _offset(full_ohm: Decimal, answers: Answers) -> Decimal:
    """What a very high range shows with the leads shorted; lower ranges are not asked about."""
    if full_ohm < _OFFSET_FROM_OHM:
        return Decimal(0)
    question = "What does it show on this range with the leads shorted, as 1M? Or say none."
    return _ask(question, "offset", _ohms_or_done, "ohms, as 1M, or one meg-ohm; or none", answers) or Decimal(0)


def _title(answer: _Answer) -> str:
    return answer.text


def _yes_no(answer: _Answer) -> bool:
    names = getattr(answer.meaning, "names", (answer.text.lower(),))
    return _YES_NO[names[0]]


def _ohms_or_done(answer: _Answer) -> Decimal | None:
    """Ohms; None for "done" or "none"."""
    finished = getattr(answer.meaning, "names", ()) in (("none",), ("done",))
    return None if finished else _ohms_said(answer)


def _ohms_said(answer: _Answer) -> Decimal:
    """Ohms as typed, or as said with their unit: without one, nobody knows whether they are thousands."""
    reading = getattr(answer.meaning, "reading", None)
    if reading is not None and reading.quantity is not None and not _OHMS.fullmatch(answer.text.replace(" ", "")):
        return Decimal(reading.quantity.ohms)
    return _ohms(answer.text)


def _number_said(answer: _Answer) -> Decimal:
    number = getattr(answer.meaning, "text", None) or answer.text
    return _number(number if _NUMBER.fullmatch(number) else answer.text)


T = TypeVar("T")


def _ask(question: str, expect: str, reader: Callable[[_Answer], T], expected: str, answers: Answers) -> T:
    """Ask until the answer can be read. Raises BadInput where no more answers come."""
    while True:
        tell(question)
        answer = answers(expect)
        if answer is None:
            raise BadInput(f"no more answers; expected {expected}. Nothing was kept")
        try:
            if answer.text and answer.sure:
                return reader(answer)
        except (ValueError, KeyError):
            pass
        tell(
            f"I need {expected}."
            if answer.sure
            else f"I am not sure of what I heard ({answer.text}). I need {expected}."
        )


def _typed() -> Answers:
    """Answers from the keyboard, one a line; figures may be written as words."""
    from assistant.language.meaning import Expectation
    from assistant.language.understand import understand

    lexicon = _lexicon()

    def answer(expect: str) -> _Answer | None:
        line = sys.stdin.readline()
        if not line:
            return None
        text = line.strip()
        return _Answer(text, understand(text, Expectation(expect), lexicon, typed=True).meaning)

    return answer


def _recorded(files: list[str], engine: str | None) -> Answers:
    """Answers from recordings, one an utterance."""
    from assistant.devices.engines import open_recogniser
    from assistant.devices.recordings import Recordings
    from assistant.language.certainty import decide
    from assistant.language.meaning import Expectation

    lexicon = _lexicon()
    recogniser = open_recogniser(engine, lexicon)
    utterances = Recordings(tuple(Path(name) for name in files)).utterances()

    def answer(expect: str) -> _Answer | None:
        utterance = next(utterances, None)
        if utterance is None:
            return None
        expectation = Expectation(expect)
        understood = decide(recogniser.hear(utterance.samples, expectation), expectation, lexicon)
        return _Answer(understood.words, understood.meaning, understood.sure)

    return answer


def _lexicon() -> "Lexicon":
    from assistant import data
    from assistant.language.lexicon import load_lexicon

    return load_lexicon(data.texts("grammar"))


COMMANDS: Mapping[str, Callable[[argparse.Namespace], int]] = {"meter": meter}
