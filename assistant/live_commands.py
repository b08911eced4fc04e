"""The commands of the live side: `voice`, `check`, `settings` and `replay`. Heavy imports stand inside."""

import argparse
import queue
import time
from collections.abc import Callable, Collection, Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.devices.quiet import quiet_libraries
from assistant.errors import BadData, BadInput, BadRecord, Problem
from assistant.settings import KEYS, Settings, Value, load, remember
from assistant.streams import out, tell

if TYPE_CHECKING:
    from assistant.devices.host import SoundHost
    from assistant.devices.ports import Recogniser
    from assistant.devices.reports import Report
    from assistant.language.lexicon import Lexicon
    from assistant.live import Live, Remember
    from assistant.session import Opening, Session

GOODBYE_S = 120.0
"""A verdict is spoken to its end when somebody types "done" in the middle of it; a mouth that hangs does not keep the program."""
PLAY_TRIES = 3
"""So often a recording is begun where the loudspeaker breaks off in the middle of it."""

SHORTEST_S = 0.06
"""Ears are open to the tone that an answer was heard: in 240 settings of level, noise and place it was at most one judgement of
speech (0.03 s) long. Two of 1,040 short words of 89 people were no longer than that."""

Begin = Callable[["Opening", "Live"], "Session"]
"""Opens or takes up the session; the part that `voice` shares with the other kinds of session."""


def settings_of(options: argparse.Namespace) -> Settings:
    """What holds, from options, file and defaults; every mistake in the file is told."""
    given: dict[str, Value | None] = {key: getattr(options, key, None) or None for key in KEYS}
    given["audio"] = False if getattr(options, "no_audio", False) else None
    given["large"] = False if getattr(options, "plain", False) else None
    found = load(given)
    for problem in found.problems:
        tell(problem.line())
    return found


# ---- voice


@quiet_libraries()
def voice(options: argparse.Namespace, begin: Begin, decided: Callable[..., None]) -> int:  # noqa: PLR0915 - a session's parts are put together in one place
    """A spoken session, with typed lines at any moment."""
    from assistant.devices.clock import SteadyClock
    from assistant.devices.ears import Ears
    from assistant.devices.endpoint import Pauses
    from assistant.devices.host import PortAudio
    from assistant.devices.keyboard import Keyboard
    from assistant.devices.loudspeaker import Loudspeaker
    from assistant.devices.mouth import Mouth
    from assistant.devices.reports import Remark
    from assistant.devices.speaker import Silent, Voice
    from assistant.live import Habits, Live
    from assistant.preflight import load_bench, read_files
    from assistant.screen import Screen
    from assistant.session import Opening

    settings = settings_of(options)
    bench = load_bench(read_files())
    meter = meter_of(settings, bench.meters)
    recogniser, why_not = _recogniser(settings, bench.lexicon, asked=bool(options.engine))
    host = PortAudio()
    inbox: queue.Queue[Report] = queue.Queue()

    def wrong_voice(_name: str) -> None:
        inbox.put(Remark(no_such_voice(settings).line()))

    speaker = Silent() if options.quiet else Voice(settings.text("voice") or None, wrong=wrong_voice)
    loudspeaker = None if options.quiet else Loudspeaker(host, settings.text("output") or None)
    mouth = Mouth(speaker, loudspeaker, inbox.put, tones=settings.on("tones"))
    screen = Screen(large=settings.on("large"), decided=decided)
    habits = Habits(headset=settings.on("headset"), keep_audio=settings.on("audio"))
    live = Live(mouth, screen, SteadyClock(), inbox, habits, _rememberer(settings.path))
    speaker.start()
    mouth.voice(settings.whole("rate"), settings.whole("volume"))
    mouth.start()
    engine = recogniser.name if recogniser else "none"
    session = begin(
        Opening(
            options.job,
            meter,
            engine,
            timed=True,
            rate_wpm=settings.whole("rate"),
            volume_percent=settings.whole("volume"),
        ),
        live,
    )
    live.begin(session)
    ears: Ears | None = None
    goodbye_s = 0.0
    try:
        if recogniser is None:
            live.no_ears(why_not)
        else:
            ears = Ears(
                host,
                recogniser,
                bench.lexicon,
                inbox.put,
                now_expected=live.expected,
                turn=live.turn,
                deaf=(lambda: False) if habits.headset else (lambda: mouth.shuts_ears),
                name=settings.text("input") or None,
                pauses=Pauses(shortest_s=SHORTEST_S).times(settings.number("patience")),
            )
            ears.start()
        Keyboard(inbox.put).start()
        live.run()
        goodbye_s = GOODBYE_S
    finally:
        with ExitStack() as last:  # from the last to the first, whatever happens in one of them
            if ears is not None:
                last.callback(ears.close)
            last.callback(session.end)
            last.callback(mouth.close, after_s=goodbye_s)  # Ctrl-C is silence first; it may come in here too
    return 0


def meter_of(settings: Settings, meters: Collection[str]) -> str:
    """The meter's name; empty, so that it is asked, when the settings name one that there is not. BadInput when an option does."""
    meter, source = settings.text("meter"), settings.source("meter")
    if not meter or meter in meters:
        return meter
    line = f"no meter {meter!r} ({source}): there are {', '.join(sorted(meters))}"
    if source == "--meter":
        raise BadInput(line)
    tell(f"{line}. It will be asked.")
    return ""


def no_such_voice(settings: Settings) -> Problem:
    """The settings name a voice that this machine does not have."""
    found, do = repr(settings.text("voice")), "The usual one speaks; “another voice” in a spoken session chooses one."
    return Problem(f"{settings.source('voice')}: voice", found, "the name of a voice of this system", do)


def tell_passed_over(_key: str, problem: Problem) -> None:
    """A setting of no use, as a line."""
    tell(problem.line())


def recogniser_of(
    settings: Settings, lexicon: "Lexicon", passed_over: Callable[[str, Problem], None] = tell_passed_over
) -> "Recogniser":
    """The recogniser; the usual one, and why, where the Vosk model of the settings cannot be used. Raises BadInput and BadData."""
    from assistant.devices.engines import open_recogniser

    engine, model = settings.text("engine") or None, settings.text("vosk_model")
    if not model:
        return open_recogniser(engine, lexicon, None)
    try:
        return open_recogniser(engine, lexicon, Path(model))
    except (BadInput, BadData) as error:
        why = str(error).splitlines()[0].removeprefix(f"{model}: ")
    recogniser = open_recogniser(engine, lexicon, None)  # raises where it is not the model's fault
    where, found = f"{settings.source('vosk_model')}: vosk_model", f"{model!r} ({why.rstrip('.')})"
    passed_over("vosk_model", Problem(where, found, KEYS["vosk_model"].expected, "The usual one is used."))
    return recogniser


def _recogniser(settings: Settings, lexicon: "Lexicon", *, asked: bool) -> "tuple[Recogniser | None, str]":
    """The recogniser, or why there is none: then answers are typed. One that was asked for by option must be there."""
    try:
        return recogniser_of(settings, lexicon), ""
    except (BadInput, BadData) as error:
        if asked:
            raise
        return None, str(error).splitlines()[0]


def _rememberer(path: Path) -> "Remember":
    told: set[str] = set()

    def keep(changes: Mapping[str, int | str]) -> None:
        try:
            remember(path, changes)
        except OSError as error:
            line = f"{path}: the new setting could not be kept ({error.strerror})."
        except BadInput as error:
            line = f"{error}. Until then it holds for this session only."
        else:
            return
        if line not in told:  # the voice may be changed many times in a session
            told.add(line)
            tell(line)

    return keep


# ---- settings


def show_settings(options: argparse.Namespace) -> int:
    """Every setting, its value, where it comes from and what it is for."""
    found = settings_of(options)
    if options.json:
        values = {key: {"value": each.value, "source": each.source} for key, each in found.values.items()}
        problems = [problem.line() for problem in found.problems]
        out({"file": str(found.path), "settings": values, "problems": problems})
        return 0
    tell(f"File: {found.path}" + ("" if found.path.exists() else " (not there yet)"))
    for key, each in found.values.items():
        shown = "empty" if each.value == "" else str(each.value).lower() if isinstance(each.value, bool) else each.value
        tell(f"{key} = {shown} (from: {each.source}): {KEYS[key].meaning}; {KEYS[key].expected}")
    return 0


# ---- check


@quiet_libraries()
def check(options: argparse.Namespace) -> int:
    """What a voice session would use, and how it sounds. 0 when speech can be heard, 1 when answers would be typed."""
    from assistant.devices.host import PortAudio
    from assistant.devices.speaker import Voice
    from assistant.preflight import load_bench, read_files
    from assistant.report.checkup import Checkup

    if options.voice or options.recordings or options.forget:
        return _check_voice(options)
    settings = settings_of(options)
    checkup = Checkup(PortAudio(), settings, tell)
    bench = load_bench(read_files())
    checkup.engine(lambda: recogniser_of(settings, bench.lexicon, checkup.pass_over))
    wrong_voice = no_such_voice(settings)
    with Voice(settings.text("voice") or None, wrong=lambda _: checkup.pass_over("voice", wrong_voice)) as speaker:
        checkup.voice(speaker)
    checkup.loudspeaker()
    checkup.microphone(seconds=options.seconds)
    if options.json:
        out({**checkup.found, "problems": [problem.line() for problem in (*settings.problems, *checkup.problems)]})
    return 0 if checkup.can_hear else 1


# ---- replay


def replay(options: argparse.Namespace) -> int:
    """A record through the dialogue again: 0 when nothing differs, 1 and the first difference otherwise."""
    from assistant.journal import read as read_journal
    from assistant.preflight import load_bench, read_files
    from assistant.replay import replay as replay_record

    if options.play is not None:
        return play(Path(options.folder), options.play, settings=settings_of(options))
    record = read_journal(Path(options.folder))
    try:
        bench = load_bench(read_files() if options.today else record.header.files)
    except BadData as error:
        raise BadRecord(
            f"{options.folder}: the data files kept in this record do not suit this version: {error}"
        ) from error
    done = replay_record(bench, record)
    if record.cut_bytes:
        tell(f"The last line was cut short ({record.cut_bytes} bytes); it was never acted upon.")
    if done.difference is None:
        tell(f"Identical: {done.events} events.")
        return 0
    found = done.difference
    tell(f"Line {found.line} differs, in answer to {found.event}.")
    out({"line": found.line, "event": found.event, "recorded": found.recorded, "now": found.now})
    return 1


# ---- check --voice


def _check_voice(options: argparse.Namespace) -> int:
    """Which words this voice and microphone get wrong; kept in the settings. 0 when all is right, 1 when words were wrong."""
    from assistant import data
    from assistant.devices.host import PortAudio
    from assistant.language.person import hints, load_alternatives
    from assistant.preflight import load_bench, read_files
    from assistant.report.voice_check import hard_words, rows
    from assistant.report.voice_source import from_files, from_microphone

    if not options.voice:
        raise BadInput("--from and --forget go with --voice")
    settings = settings_of(options)
    if options.forget:
        _keep_hard_words(settings.path, "")
        tell("The usual words are asked for again.")
        return 0
    alternatives = load_alternatives(data.texts("procedures")["voice"])
    bench = load_bench(read_files())
    prompts = alternatives.prompts
    if options.recordings:
        listen = from_files(tuple(Path(name) for name in options.recordings), prompts)
        prompts = prompts[: len(options.recordings)]
    else:
        listen = from_microphone(PortAudio(), settings.text("input") or None, tell)
    recogniser = recogniser_of(settings, bench.lexicon)
    found = []
    for row in rows(prompts, listen, recogniser, bench.lexicon):
        found.append(row)
        how = "right" if row.right else f"heard “{row.heard}”" if row.heard else "nothing was heard"
        tell(f"{len(found)} of {len(prompts)}: {row.prompt}: {how}{'' if row.sure or not row.heard else ', not sure'}")
        if options.json:
            out({"prompt": row.prompt, "heard": row.heard, "sure": row.sure, "right": row.right, "wrong": row.wrong})
    if not any(row.heard for row in found):
        raise BadInput("nothing was heard at all; the settings stay. Try the microphone: ohmaloud check")
    hard = hard_words(tuple(found))
    _keep_hard_words(settings.path, " ".join(hard))
    if not hard:
        tell("No word was wrong. The usual words are asked for.")
        return 0
    tell(f"Wrong with this voice and microphone: {', '.join(hard)}. Other words are asked for from now on.")
    other = [f"Say {alternatives.instead[word]} for {word}." for word in hard if word in alternatives.instead]
    for line in dict.fromkeys([*other, *filter(None, [hints(hard, alternatives)])]):
        tell(line)
    tell("To undo it: ohmaloud check --voice --forget")
    return 1


def _keep_hard_words(path: Path, words: str) -> None:
    try:
        remember(path, {"hard_words": words})
    except OSError as error:
        raise BadInput(f"{path}: cannot be written ({error.strerror})") from None


# ---- replay --play


@quiet_libraries()
def play(folder: Path, number: int, *, host: "SoundHost | None" = None, settings: Settings | None = None) -> int:
    """Play what was heard the so-many-th time in a session, from 1, and say what it was taken for. Raises BadInput."""
    import soundfile

    from assistant.devices.host import PortAudio
    from assistant.devices.loudspeaker import Loudspeaker
    from assistant.dialogue.events import Heard
    from assistant.journal import read
    from assistant.live import audio_name

    heard = [entry for entry in read(folder).entries if isinstance(entry.event, Heard)]
    if not 1 <= number <= len(heard):
        raise BadInput(f"--play {number}: this session heard {len(heard)} utterances, counted from 1")
    entry = heard[number - 1]
    path = folder / audio_name(number)
    if not path.is_file():
        raise BadInput(f"--play {number}: {path} is not there; its sound was not kept")
    try:
        samples, rate_hz = soundfile.read(path, dtype="float32")
    except soundfile.SoundFileError:
        raise BadInput(f"--play {number}: {path} cannot be read; expected a FLAC file") from None
    hearing = entry.event.hearing if isinstance(entry.event, Heard) else None
    best = {alternative.source: alternative.text for alternative in reversed(hearing.alternatives)} if hearing else {}
    tell(f"{number} of {len(heard)}, journal line {entry.line}, {len(samples) / rate_hz:.1f} s: {path}")
    for source, text in best.items():
        tell(f"heard ({source}): {text}")
    settings = settings or load({})
    loudspeaker = Loudspeaker(host or PortAudio(), settings.text("output") or None)
    try:
        # a device that starved, or a list of devices read anew, ends the stream: the next try opens another
        whole = any(loudspeaker.play(samples, rate_hz) for _ in range(PLAY_TRIES))
        while loudspeaker.sounding:
            time.sleep(0.02)
    except BadInput as error:
        raise BadInput(f"--play {number}: {error}") from None
    finally:
        loudspeaker.close()
    if not whole:
        raise BadInput(f"--play {number}: The loudspeaker broke off: see that it is plugged in, then play it again.")
    return 0


COMMANDS: Mapping[str, Callable[[argparse.Namespace], int]] = {
    "check": check,
    "settings": show_settings,
    "replay": replay,
}
