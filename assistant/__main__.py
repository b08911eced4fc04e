"""The command line: the only place that chooses real devices. Nothing heavy is imported before a command needs it."""

import argparse
import gc
import sys
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path

from assistant.errors import OhmaloudError
from assistant.parsing import EXAMPLE, AnyOrder, Parser

STEPS = "leads, primary, secondary, killtab or any (any other entry of grammar/expectations.toml works too)"
_POINTS = "from where to the lead end the maker's limits of the secondary hold (default: the core)"
KINDS = (
    "sound",
    "electronics",
    "primary-fault",
    "secondary-fault",
    "winding-fault",
    "bad-contact",
    "repeat",
    "undecided",
    "nothing-found",
    "not-right",
)
"""Kinds of verdicts; a test holds them to VerdictKind and PartKind, whose module takes longer to import than a list to print."""


_RUBBISH_FROM = 20_000
"""So many new objects before unused ones are looked for: a start makes many, hardly any unused, and looking takes a tenth of it."""


@cache
def parser() -> argparse.ArgumentParser:  # noqa: PLR0915 - one statement for each option
    """All commands with their options; every one has an example."""
    top = Parser(
        prog="ohmaloud",
        description="Voice and chat assistant for testing small-engine ignition coils with a multimeter.",
        epilog="Results go to standard output, JSON one object a line unless asked otherwise; talk goes to standard error.",
    )
    commands = top.add_subparsers(dest="command", required=True, metavar="COMMAND", parser_class=AnyOrder)

    def command(name: str, text: str, example: str) -> argparse.ArgumentParser:
        return commands.add_parser(name, help=text, description=text, epilog=EXAMPLE + example)

    def session(to: argparse.ArgumentParser) -> None:
        to.add_argument("--data", metavar="DIR", help="folder for the records (default: this user's data folder)")
        to.add_argument(
            "--job", metavar="LABEL", default="", help="label of the job; an unfinished one is taken up again"
        )
        to.add_argument(
            "--meter", metavar="NAME", default="", help="meter profile: pocket, auto, fine, or one of your own"
        )
        to.add_argument(
            "--check",
            metavar="NAME",
            default="",
            help="check something else than the coil: cap, kill_switch, resistor, trigger, charging or spark",
        )

    def engine(to: argparse.ArgumentParser) -> None:
        to.add_argument(
            "--engine",
            choices=("built-in", "vosk", "both"),
            help="recogniser (default: both where a Vosk model is found, else built-in)",
        )

    def step(to: argparse.ArgumentParser) -> None:
        to.add_argument("--step", default="any", metavar="STEP", help=STEPS)
        to.add_argument("--range", metavar="OHMS", help="full scale the dial stands on, as 200, 20k or 2M")

    voice = command(
        "voice",
        "A spoken session, hands on the probes: microphone and loudspeaker, and typed lines at any moment.",
        "ohmaloud voice --job 14 --meter pocket",
    )
    voice.add_argument("--input", metavar="NAME", help="microphone: its name or a part of it")
    voice.add_argument("--output", metavar="NAME", help="loudspeaker: its name or a part of it")
    voice.add_argument(
        "--headset", action="store_true", help="ears stay open while it speaks, so it can be interrupted"
    )
    voice.add_argument("--rate", metavar="WPM", type=_rate, help="how fast it speaks, words a minute, 120 to 450")
    voice.add_argument("--quiet", action="store_true", help="no speech and no tones, only text")
    voice.add_argument("--plain", action="store_true", help="no large type; for screen readers")
    voice.add_argument("--no-audio", action="store_true", help="do not keep what was heard as sound")
    engine(voice)
    session(voice)

    chat = command("chat", "A typed session.", "ohmaloud chat --job 14")
    session(chat)

    listen = command(
        "listen",
        "A session whose answers are recordings (WAV or FLAC), in order; it ends where they end.",
        "ohmaloud listen answers/*.wav --job 14 --say-to replies/",
    )
    listen.add_argument("files", nargs="+", metavar="FILE")
    listen.add_argument("--say-to", metavar="DIR", help="write what the assistant says as WAV files into this folder")
    engine(listen)
    session(listen)

    demo = command("demo", "The sessions that come with the program, heard and answered.", "ohmaloud demo")
    demo.add_argument("--say-to", metavar="DIR", help="folder for the spoken replies (default: beside each record)")
    demo.add_argument("--data", metavar="DIR", help="folder for the records (default: a new folder for this demo)")
    engine(demo)

    read = command(
        "read", "What a typed or spoken phrase means.", 'ohmaloud read "four point seven k" --step secondary'
    )
    read.add_argument("text", metavar="TEXT")
    step(read)

    hear = command(
        "hear", "What recordings (WAV or FLAC) say.", "ohmaloud hear reading.wav --step secondary --range 20k"
    )
    hear.add_argument("files", nargs="+", metavar="FILE")
    step(hear)
    engine(hear)

    judge = command(
        "judge",
        "What a set of readings says about a coil. Readings are ohms unless they carry k or M; OL and unsteady are readings too.",
        "ohmaloud judge --stroke four --leads 0.3 --primary 1.4 --secondary 4.2k",
    )
    judge.add_argument("--stroke", choices=("four", "two", "unknown"), default="unknown")
    judge.add_argument("--electronics", choices=("yes", "no", "unknown"), default="unknown")
    for tap in ("leads", "primary", "secondary", "killtab"):
        judge.add_argument(f"--{tap}", metavar="READING")
    for winding in ("primary", "secondary"):
        judge.add_argument(f"--{winding}-limits", metavar="LOW:HIGH", help="the maker's; one side may be empty")
    judge.add_argument("--limits-at", metavar="CELSIUS", help="temperature the limits hold for")
    judge.add_argument("--limits-points", choices=("core", "killtab", "other"), default="core", help=_POINTS)
    judge.add_argument("--coil-at", metavar="CELSIUS", help="temperature of the coil")
    judge.add_argument("--meter", metavar="NAME", default="pocket", help="pocket, auto, fine, or one of your own")
    judge.add_argument(
        "--repeated", metavar="TAPS", default="", help="readings taken a second time, as primary,secondary,killtab"
    )

    replay = command("replay", "A session's record through the dialogue again.", "ohmaloud replay FOLDER --today")
    replay.add_argument("folder", metavar="FOLDER")
    replay.add_argument("--play", metavar="N", type=_whole, help="play what was heard the N-th time, from 1")
    replay.add_argument("--today", action="store_true", help="with today's data files instead of the recorded ones")
    check = command(
        "check",
        "Which devices, recogniser and voice a spoken session would use, and how the microphone sounds.",
        "ohmaloud check",
    )
    check.add_argument("--input", metavar="NAME", help="microphone: its name or a part of it")
    check.add_argument("--output", metavar="NAME", help="loudspeaker: its name or a part of it")
    check.add_argument(
        "--seconds", metavar="S", type=_seconds, default=5.0, help="length of the microphone test (default 5; 0: none)"
    )
    check.add_argument("--json", action="store_true", help="one JSON object on standard output too")
    check.add_argument(
        "--voice",
        action="store_true",
        help="ten prompts to read aloud: other words are asked for than those it gets wrong",
    )
    check.add_argument(
        "--from", dest="recordings", nargs="+", metavar="FILE", help="with --voice: recordings, one a prompt, in order"
    )
    check.add_argument("--forget", action="store_true", help="with --voice: ask for the usual words again")
    engine(check)

    settings = command("settings", "Every setting, its value and where it comes from.", "ohmaloud settings")
    settings.add_argument("--json", action="store_true", help="as one JSON object on standard output")
    _models(command)
    _records(command)
    _score(command, engine)
    return top


def _models(command: Callable[[str, str, str], argparse.ArgumentParser]) -> None:
    """The command about recognisers' models."""
    models = command(
        "models",
        "Models for hearing: list those that are there, fetch one for Vosk from its makers, or check a folder unpacked by hand.",
        "ohmaloud models get && ohmaloud models check vosk-model",
    )
    models.add_argument("what", choices=("list", "get", "check"), metavar="list|get|check")
    models.add_argument(
        "name", nargs="?", metavar="NAME", help="get: which model (default: the first); check: a folder"
    )
    models.add_argument("--address", metavar="URL", help="get: fetch it from here instead of its makers")
    models.add_argument("--replace", action="store_true", help="get: fetch anew what is there already")
    models.add_argument("--data", metavar="DIR", help="folder of the models (default: this user's data folder)")
    models.add_argument("--json", action="store_true", help="one JSON object a line on standard output")


def _records(command: Callable[[str, str, str], argparse.ArgumentParser]) -> None:
    """The commands about records."""

    def data(to: argparse.ArgumentParser) -> None:
        to.add_argument("--data", metavar="DIR", help="folder of the records (default: this user's data folder)")

    def job(to: argparse.ArgumentParser) -> None:
        to.add_argument("job", metavar="JOB", help="label (the latest of that label), folder name or path of a record")
        data(to)

    report = command(
        "report",
        "A session as one page for the customer: an HTML file beside its record, and a PDF where a browser is found to print it.",
        'ohmaloud report "water pump" --open',
    )
    job(report)
    report.add_argument("--to", metavar="FILE", help="write the page here (default: report.html beside the record)")
    report.add_argument("--open", action="store_true", help="show the page in the browser")
    report.add_argument("--no-pdf", action="store_true", help="the page alone")
    report.add_argument("--paper", choices=("A4", "letter"), default="A4", help="paper of the PDF (default: A4)")
    report.add_argument("--browser", metavar="PROGRAM", help="browser that prints the PDF (default: chromium if found)")

    jobs = command(
        "jobs", "The list of sessions, oldest first.", "ohmaloud jobs --since 2026-01-01 --verdict electronics"
    )
    data(jobs)
    jobs.add_argument("--since", metavar="DATE", default="", help="begun on this day or later, as 2026-01-31")
    jobs.add_argument("--until", metavar="DATE", default="", help="begun on this day or before")
    jobs.add_argument("--engine", choices=("four", "two", "unknown"), default="", help="kind of engine, by strokes")
    jobs.add_argument("--verdict", choices=KINDS, default="", metavar="KIND", help=", ".join(KINDS))
    jobs.add_argument("--label", metavar="TEXT", default="", help="part of the label")
    jobs.add_argument(
        "--coil", metavar="TEXT", default="", help="part of the coil's name, or of the label where it has none"
    )
    jobs.add_argument("--last", metavar="N", type=_whole, help="only the last N of them")
    how = jobs.add_mutually_exclusive_group()
    how.add_argument("--json", action="store_true", help="one JSON object a line")
    how.add_argument("--csv", action="store_true", help="comma-separated, for a spreadsheet")
    jobs.add_argument("--rebuild", action="store_true", help="make the index of the list anew from the records")

    compare = command(
        "compare",
        "A coil's readings beside the shop's own earlier readings of the same coil: one of the same name, else of the same label.",
        'ohmaloud compare "water pump"',
    )
    job(compare)

    mark = command(
        "mark",
        "Say which coil a session was about, and whether it was good.",
        'ohmaloud mark 14 --coil "pump A" --good',
    )
    job(mark)
    mark.add_argument("--coil", metavar="NAME", help="a name that all sessions of this coil share; empty takes it away")
    mark.add_argument(
        "--good", action=argparse.BooleanOptionalAction, help="the coil was known to be good: it worked in its engine"
    )

    export = command("export", "Sessions as one zip file.", "ohmaloud export --all --to records.zip")
    export.add_argument("jobs", nargs="*", metavar="JOB", help="labels, folder names or paths of records")
    export.add_argument("--all", action="store_true", help="all of them")
    export.add_argument("--to", metavar="FILE", required=True, help="a new file")
    data(export)

    import_ = command(
        "import",
        "Take in the sessions of a zip file that export made; it is checked, and nothing is overwritten.",
        "ohmaloud import records.zip",
    )
    import_.add_argument("file", metavar="FILE")
    data(import_)

    meter = command(
        "meter",
        "List the meters, or describe your own: by a --range for each of its ranges, or by answering questions.",
        "ohmaloud meter new workshop --range 200:0.1:0.8:2 --range 20k:10:0.8:2",
    )
    meter.add_argument("what", choices=("new", "list"), metavar="new|list")
    meter.add_argument("name", nargs="?", metavar="NAME", help="what --meter will call it")
    meter.add_argument(
        "--range",
        dest="ranges",
        action="append",
        default=[],
        metavar="FULL:DIGIT:PERCENT:COUNTS[:OFFSET]",
        help="full scale, last digit (ohms), percent of reading, counts of the last digit; what shorted leads show; lowest range first",
    )
    meter.add_argument(
        "--from",
        dest="recorded",
        nargs="+",
        default=[],
        metavar="FILE",
        help="recordings of the answers, in their order",
    )
    meter.add_argument("--engine", choices=("built-in", "vosk", "both"), help="recogniser for the recordings")
    meter.add_argument("--title", metavar="TEXT", help="what reports call it (default: its name)")
    meter.add_argument("--auto", action="store_true", help="it finds its range itself")
    meter.add_argument("--replace", action="store_true", help="describe one of your own anew")


def _score(
    command: Callable[[str, str, str], argparse.ArgumentParser], engine: Callable[[argparse.ArgumentParser], None]
) -> None:
    """The command that measures hearing."""
    score = command(
        "score",
        "How well the program hears recordings: right, wrong while sure, asked again, false alarms; with 95 percent intervals.",
        "ohmaloud score manifest.tsv --audio recordings/ --noise vacuum.wav --snr 20,10",
    )
    score.add_argument(
        "manifest",
        metavar="MANIFEST.tsv",
        help="columns file, words, kind; where there: step, expected, range, speaker",
    )
    score.add_argument("--audio", metavar="DIR", help="folder of its recordings (default: the manifest's own)")
    score.add_argument(
        "--noise", nargs="+", metavar="FILE", help="sounds to mix under the speech, one for each recording in turn"
    )
    score.add_argument(
        "--snr", type=_decibels, metavar="DB,DB", help="ratios of speech to noise in decibels (default 20,10,5,0)"
    )
    score.add_argument("--by", choices=("speaker", "step"), help="the counts of each speaker or each step too")
    score.add_argument("--every", type=_whole, metavar="N", default=1, help="only every N-th recording")
    score.add_argument("--vosk-model", metavar="DIR", type=Path, help="folder of a Vosk model")
    score.add_argument("--json", action="store_true", help="everything as one JSON object on standard output")
    engine(score)


def _decibels(text: str) -> tuple[float, ...]:
    try:
        found = tuple(float(part) for part in text.split(","))
    except ValueError:
        found = ()
    if found and all(-30 <= ratio <= 60 for ratio in found):  # noqa: PLR2004 - as the message says
        return found
    raise argparse.ArgumentTypeError(
        f"found {text!r}, expected decibels from -30 to 60 with commas between, as 20,10,5,0"
    )


def _whole(text: str) -> int:
    if text.isdecimal() and int(text):
        return int(text)
    raise argparse.ArgumentTypeError(f"found {text!r}, expected a whole number from 1")


def _rate(text: str) -> int:
    if text.isdecimal() and 120 <= int(text) <= 450:  # noqa: PLR2004 - as the message says
        return int(text)
    raise argparse.ArgumentTypeError(f"found {text!r}, expected words a minute from 120 to 450")


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = -1.0
    if 0 <= seconds <= 60:  # noqa: PLR2004 - as the message says
        return seconds
    raise argparse.ArgumentTypeError(f"found {text!r}, expected seconds from 0 to 60")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit status. 2 with one line for bad arguments or files, 130 after Ctrl-C."""
    gc.set_threshold(_RUBBISH_FROM)
    options = parser().parse_args(arguments)
    from assistant import commands, streams  # noqa: PLC0415 - help and errors in arguments come at once

    streams.prepare()
    try:
        return commands.COMMANDS[options.command](options)
    except OhmaloudError as error:
        streams.tell(f"ohmaloud {options.command}: {error}")
        return 2
    except KeyboardInterrupt:
        streams.tell("Left. Everything recorded so far is kept.")
        return 130
    except BrokenPipeError:
        sys.stderr.close()  # whoever read the output has gone; there is nobody left to tell
        return 1
    except OSError as error:  # files are looked after where they are used: mostly this is the output
        where = error.filename or "the output"
        streams.tell(f"ohmaloud {options.command}: {where}: {error.strerror or error}")
        sys.stdout = None  # or it would be tried once more at the end
        return 2


if __name__ == "__main__":
    sys.exit(main())
