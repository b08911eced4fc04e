"""The command about meters: list those that are known, describe one's own by options or by answering questions."""

import argparse
import json
import re
import sys
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import TypeVar

from assistant.errors import BadData, BadInput
from assistant.streams import out, tell

_NAME = re.compile(r"[a-z][a-z0-9_-]{0,30}")
_OHMS = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,9})?)([kKM]?)(?:Ω|ohms?)?")
_NUMBER = re.compile(r"[0-9]{1,9}(?:\.[0-9]{1,9})?")
_FACTORS = {"": Decimal(1), "k": Decimal(1_000), "K": Decimal(1_000), "M": Decimal(1_000_000)}
_YES_NO = {"yes": True, "y": True, "no": False, "n": False}
_MOST_RANGES = 20


def meter(options: argparse.Namespace) -> int:
    """List the meters, or describe a new one."""
    if options.what == "list":
        return _list(options)
    return _new(options)


def _list(options: argparse.Namespace) -> int:
    """Every meter that --meter knows, one JSON object a line."""
    from assistant import data
    from assistant.measure.meter import load_meters

    if options.name is not None or options.ranges:
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
    from assistant.measure.meter import load_meters

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
        title, hand_set, ranges = _asked(options.title)
    text = _profile(title, ranges, hand_set=hand_set)
    try:
        load_meters({name: text})
    except BadData as error:
        raise BadInput(error.problems[0].line()) from error
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
            f"--range {text!r}: expected FULL:LAST-DIGIT:PERCENT:COUNTS, as 200:0.1:0.8:2 or 20k:10:0.8:2"
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


def _plain(value: Decimal) -> str:
    """Without exponent, and without a point where it is a whole number."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


# ---- asked for, one answer a line


def _asked(title: str | None) -> tuple[str, bool, list[Range]]:
    tell("The figures stand in the meter's manual, on the page about its resistance ranges.")
    if title is None:
        title = _ask("What is the meter called?", str, "a name")
    hand_set = _ask("Do you set its range with a dial: yes or no?", lambda text: _YES_NO[text.lower()], "yes or no")
    ranges: list[Range] = []
    which = "lowest"
    while len(ranges) < _MOST_RANGES:
        done = " Or say done." if ranges else ""
        full = _ask(f"Full scale of the {which} range, as 200, 20k or 2M?{done}", _ohms_or_done, "ohms, as 200 or 20k")
        if full is None and ranges:
            break
        if full is None:
            tell("A meter has one range at least.")
            continue
        digit = _ask("What is its last digit worth, as 0.1 or 10?", _ohms, "ohms, as 0.1")
        percent = _ask("Its accuracy: how many percent of the reading, as 0.8?", _number, "a number, as 0.8")
        counts = _ask("And how many counts of the last digit, as 2?", _number, "a whole number, as 2")
        ranges.append((full, digit, percent, counts, Decimal(0)))
        which = "next"
    return title, hand_set, ranges


def _ohms_or_done(text: str) -> Decimal | None:
    return None if text.lower() == "done" else _ohms(text)


T = TypeVar("T")


def _ask(question: str, reader: Callable[[str], T], expected: str) -> T:
    """Ask until the answer can be read. Raises BadInput where no more answers come."""
    while True:
        tell(question)
        line = sys.stdin.readline()
        if not line:
            raise BadInput(f"no more answers; expected {expected}. Nothing was kept")
        try:
            if line.strip():
                return reader(line.strip())
        except (ValueError, KeyError):
            pass
        tell(f"I need {expected}.")


COMMANDS: Mapping[str, Callable[[argparse.Namespace], int]] = {"meter": meter}
