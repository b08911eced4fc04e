"""What each command does. Every one takes the parsed options and gives the exit status; heavy imports stand inside."""

import argparse
import datetime as dt
import io
import shlex
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from assistant.errors import BadInput
from assistant.streams import data_folder, out, tell, typed_line

if TYPE_CHECKING:
    from assistant.devices.ports import Recogniser, Speaker
    from assistant.language.lexicon import Lexicon
    from assistant.language.meaning import Expectation
    from assistant.live import Live
    from assistant.measure.parts import Judged
    from assistant.measure.units import Reading
    from assistant.session import Opening, Outlet, Rim, Session
    from assistant.settings import Settings


# ---- read and hear


def read(options: argparse.Namespace) -> int:
    """What a phrase means, as one JSON object."""
    from assistant.language.understand import understand
    from assistant.report.meaning_json import as_json

    lexicon = _lexicon()
    out(as_json(understand(options.text, _expectation(options, lexicon), lexicon, typed=True)))
    return 0


def hear(options: argparse.Namespace) -> int:
    """What each recording says, one JSON object per utterance. A file that cannot be read does not stop the others."""
    from assistant.devices.recordings import Recordings
    from assistant.language.certainty import decide
    from assistant.report.meaning_json import as_json

    lexicon = _lexicon()
    expectation = _expectation(options, lexicon)
    recogniser = _recogniser(options.engine, lexicon)
    status = 0
    for name in options.files:
        heard = 0
        try:
            for utterance in Recordings((Path(name),)).utterances():
                began = time.perf_counter()
                hearing = recogniser.hear(utterance.samples, expectation)
                understood = decide(hearing, expectation, lexicon)
                took_ms = round((time.perf_counter() - began) * 1000)
                heard += 1
                found = {
                    "file": name,
                    "words": understood.words,
                    "meaning": as_json(understood),
                    "sure": understood.sure,
                }
                at = {"from_s": round(utterance.start_s, 2), "to_s": round(utterance.end_s, 2)}
                out(found | {"heard_ms": took_ms, "clipped": utterance.clipped} | at)
        except BadInput as error:
            tell(f"ohmaloud hear: {error}")
            status = 2
            continue
        if not heard:
            nothing = {"kind": "not understood", "why": "nothing", "at": 0}
            out({"file": name, "words": "", "meaning": nothing, "sure": False, "heard_ms": 0})
    return status


def _lexicon() -> "Lexicon":
    from assistant import data
    from assistant.language.lexicon import load_lexicon

    return load_lexicon(data.texts("grammar"))


def _expectation(options: argparse.Namespace, lexicon: "Lexicon") -> "Expectation":
    from assistant import arguments
    from assistant.language.meaning import Expectation

    if options.step not in lexicon.expectations:
        raise BadInput(f"no step {options.step!r}: there are {', '.join(lexicon.expectations)}")
    return Expectation(options.step, None if options.range is None else arguments.range_ohm(options.range))


def _recogniser(engine: str | None, lexicon: "Lexicon") -> "Recogniser":
    from assistant.devices.engines import open_recogniser

    return open_recogniser(engine, lexicon)


# ---- judge

_TAPS = ("primary", "secondary", "killtab")


def judge(options: argparse.Namespace) -> int:
    """The verdict on readings given as options, as one JSON object."""
    from assistant import arguments, data
    from assistant.measure.limits import CoilLimits, Points
    from assistant.measure.meter import load_meters
    from assistant.measure.verdict import Case, Electronics, Stroke
    from assistant.measure.verdict import judge as judge_case
    from assistant.report.verdict_json import as_json

    lexicon = _lexicon()
    meters = load_meters(data.meters())
    if options.meter not in meters:
        raise BadInput(f"--meter {options.meter!r}: there are {', '.join(sorted(meters))}")

    def reading(name: str) -> "Reading | None":
        text = getattr(options, name)
        return None if text is None else arguments.shown_by(meters[options.meter], f"--{name}", text, lexicon)

    def attempts(name: str) -> "tuple[Reading, ...]":
        found = reading(name)
        return () if found is None else (found,)

    at_c = arguments.celsius("--limits-at", options.limits_at)
    windings = ("primary", "secondary")
    limits = [arguments.limits(winding, getattr(options, f"{winding}_limits"), at_c, lexicon) for winding in windings]
    if limits[1] is not None:
        limits[1] = replace(limits[1], points=Points[options.limits_points.upper()])
    try:
        case = Case(
            meter=meters[options.meter],
            stroke=Stroke(options.stroke),
            electronics=Electronics(options.electronics),
            leads=reading("leads"),
            primary=attempts("primary"),
            secondary=attempts("secondary"),
            killtab=attempts("killtab"),
            limits=CoilLimits(*limits),
            coil_at_c=arguments.celsius("--coil-at", options.coil_at),
            repeated=arguments.taps(options.repeated, {name for name in _TAPS if getattr(options, name) is not None}),
        )
    except ValueError as error:
        raise BadInput(str(error)) from error
    for name in ("coil_at", "limits_at"):
        if getattr(options, name) is not None and not any(limits):
            option = f"--{name.replace('_', '-')}"
            tell(f"{option} was left aside: it is of use together with --primary-limits or --secondary-limits.")
    out(as_json(judge_case(case)))
    return 0


# ---- sessions


class Terminal:
    """A session's outlet: lines on standard error, verdicts as JSON on standard output unless that is a screen."""

    def __init__(
        self,
        speaker: "Speaker | None" = None,
        say_to: Path | None = None,
        out: TextIO | None = None,
        *,
        rate_wpm: int = 175,
    ) -> None:
        self._speaker = speaker
        self._say_to = say_to
        self._out = out or sys.stderr
        self._rate_wpm = rate_wpm
        self._trouble: str | None = None
        # replies of an earlier session in the same folder stay: numbers go on after theirs
        numbers = [int(path.stem) for path in say_to.glob("*.wav") if path.stem.isdecimal()] if say_to else []
        self._spoken = max(numbers, default=0)

    def say(self, text: str, *, whole: bool) -> None:  # noqa: ARG002 - nothing can cut off a line of text
        """Print a line; with a speaker, write it as the next WAV file."""
        self.show(text)
        if self._speaker is None or self._say_to is None:
            return
        wav = self._speaker.render(text, self._rate_wpm)
        if self._speaker.trouble != self._trouble:
            self._trouble = self._speaker.trouble
            self.show(self._trouble or "The voice is back.")
        if wav is None:
            return
        self._spoken += 1
        try:
            (self._say_to / f"{self._spoken:03}.wav").write_bytes(wav)
        except OSError as error:
            self.show(f"{self._say_to}: the spoken reply cannot be written ({error.strerror}); going on in writing.")
            self.close()

    def close(self) -> None:
        """Nothing more will be spoken."""
        if self._speaker is not None:
            self._speaker.close()
        self._speaker = None

    def show(self, text: str) -> None:
        """Print a line."""
        print(text, file=self._out, flush=True)

    def voice(self, rate_wpm: int, volume_percent: int) -> None:  # noqa: ARG002 - a file has no loudness of its own
        """Speak at this rate from now on."""
        self._rate_wpm = rate_wpm

    def decided(self, verdict: "Judged") -> None:
        """Give the verdict to whatever reads the output."""
        from assistant.report.verdict_json import as_json

        if not sys.stdout.isatty():
            out(as_json(verdict))


def _settings(options: argparse.Namespace) -> "Settings":
    from assistant.live_commands import settings_of

    return settings_of(options)


def _open(options: argparse.Namespace, engine: str, outlet: Terminal, settings: "Settings | None" = None) -> "Session":
    """A session in which nobody is waited for; without settings (the demo) as the options say."""
    from assistant.live_commands import meter_of
    from assistant.preflight import read_files
    from assistant.session import Opening

    if settings is None:
        return _begun(options, Opening(options.job, options.meter, engine), outlet)
    rate, volume = settings.whole("rate"), settings.whole("volume")
    opening = Opening(
        options.job, meter_of(settings, read_files()["meters"]), engine, rate_wpm=rate, volume_percent=volume
    )
    return _begun(options, opening, outlet)


def _begun(options: argparse.Namespace, opening: "Opening", outlet: "Outlet", rim: "Rim | None" = None) -> "Session":
    from assistant.devices.clock import SteadyClock
    from assistant.language import wording
    from assistant.preflight import read_files
    from assistant.session import Jobs

    jobs = Jobs(data_folder(options))
    left = jobs.latest_unfinished()
    if left is not None and not options.job:
        outlet.show(f"Job {left} was left unfinished; take it up with --job {shlex.quote(left)}.")
    opening = replace(opening, label=wording.shorten(options.job), check=options.check)
    try:
        return jobs.open(read_files(), opening, SteadyClock(), outlet, dt.datetime.now().astimezone(), rim)
    except OSError as error:
        raise BadInput(f"{jobs.data}: the record cannot be written ({error.strerror})") from error


def chat(options: argparse.Namespace) -> int:
    """A typed session, from a terminal or a pipe."""
    settings = _settings(options)
    session = _open(options, "none", Terminal(), settings)
    at_terminal = sys.stdin.isatty() and sys.stdout.isatty()
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="replace")  # a byte that is no UTF-8 is a refused word, not the end of the session
    try:
        while not session.over:
            line = typed_line(at_terminal=at_terminal)
            if line is None:
                break
            session.type(line)
    finally:
        session.end()
    return 0


def voice(options: argparse.Namespace) -> int:
    """A session by microphone and loudspeaker, with typed lines at any moment."""
    from assistant import live_commands

    def begin(opening: "Opening", live: "Live") -> "Session":
        return _begun(options, opening, live, live)

    return live_commands.voice(options, begin, Terminal().decided)


def listen(options: argparse.Namespace) -> int:
    """A session whose answers are recordings."""
    from assistant.devices.recordings import refuse_unreadable
    from assistant.live_commands import recogniser_of

    files = tuple(Path(name) for name in options.files)
    refuse_unreadable(files)
    settings = _settings(options)
    recogniser = recogniser_of(settings, _lexicon())
    speaker, say_to = _speaker(options.say_to, settings)
    outlet = Terminal(speaker, say_to, rate_wpm=settings.whole("rate"))
    session = _open(options, recogniser.name, outlet, settings)
    _answer(session, recogniser, files, outlet)
    return 0


def _speaker(folder: str | None, settings: "Settings | None" = None) -> "tuple[Speaker | None, Path | None]":
    if folder is None:
        return None, None
    from assistant.devices.speaker import Voice
    from assistant.live_commands import no_such_voice

    say_to = Path(folder)
    try:
        say_to.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(
            f"{folder}: cannot be used for the spoken replies ({error.strerror}); give another folder with --say-to"
        ) from error

    def wrong(_name: str) -> None:
        if settings is not None:
            tell(no_such_voice(settings).line())

    voice = Voice((settings.text("voice") if settings else "") or None, wrong=wrong)
    voice.start()
    return voice, say_to


def _answer(session: "Session", recogniser: "Recogniser", files: tuple[Path, ...], outlet: Terminal) -> None:
    from assistant.devices.recordings import Recordings
    from assistant.dialogue.events import Heard
    from assistant.language.certainty import decide

    try:
        for utterance in Recordings(files).utterances():
            if session.over:
                break
            hearing = recogniser.hear(utterance.samples, session.state.expect)
            words = decide(hearing, session.state.expect, session.bench.lexicon).words
            outlet.show(f"> {words or '(no words)'}")
            session.take(Heard(hearing))
    finally:
        session.end()
        outlet.close()


def demo(options: argparse.Namespace) -> int:
    """The shipped sessions through the real recogniser."""
    import tempfile

    from assistant import data
    from assistant.session import Jobs

    sessions = sorted(folder for folder in data.folder("recordings").iterdir() if any(folder.glob("*.flac")))
    if not sessions:
        raise BadInput(f"{data.folder('recordings')}: no recorded sessions there; install the program again")
    base = Path(options.data) if options.data else Path(tempfile.mkdtemp(prefix="ohmaloud-demo-"))
    Jobs(base)  # one that cannot be used is named before anything is loaded
    recogniser = _recogniser(options.engine, _lexicon())
    for folder in sessions:
        say_to = Path(options.say_to) / folder.name if options.say_to else base / f"replies-{folder.name}"
        speaker, say_to_made = _speaker(str(say_to))
        outlet = Terminal(speaker, say_to_made)
        outlet.show(f"=== {folder.name.replace('-', ' ')} (synthetic voices; lines with > are what was heard)")
        given = argparse.Namespace(data=str(base), job=folder.name, meter="", check="")
        session = _open(given, recogniser.name, outlet)
        _answer(session, recogniser, tuple(sorted(folder.glob("*.flac"))), outlet)
    tell(f"Records and spoken replies: {base}")
    return 0


def _elsewhere(module: str, name: str) -> Callable[[argparse.Namespace], int]:
    """A command of another module, which is imported when the command runs."""

    def run(options: argparse.Namespace) -> int:
        from importlib import import_module

        command: Callable[[argparse.Namespace], int] = import_module(f"assistant.{module}").COMMANDS[name]
        return command(options)

    return run


COMMANDS: Mapping[str, Callable[[argparse.Namespace], int]] = {
    "voice": voice,
    "chat": chat,
    "listen": listen,
    "demo": demo,
    "read": read,
    "hear": hear,
    "judge": judge,
    **{
        name: _elsewhere("commands_records", name) for name in ("report", "jobs", "compare", "mark", "export", "import")
    },
    "meter": _elsewhere("commands_meter", "meter"),
    "replay": _elsewhere("live_commands", "replay"),
    "models": _elsewhere("commands_models", "models"),
    "score": _elsewhere("commands_score", "score"),
    "check": _elsewhere("live_commands", "check"),
    "settings": _elsewhere("live_commands", "settings"),
}
