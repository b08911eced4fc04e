"""The loop around `step`: take one event, write it with its effects, then perform them. Nothing is said that is not on disk."""

import datetime as dt
import json
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, assert_never

from filelock import FileLock, Timeout

from assistant.devices.ports import Clock, Store
from assistant.devices.store import FolderStore
from assistant.dialogue.events import (
    Checked,
    Decided,
    Effect,
    Event,
    Finished,
    Heard,
    Hush,
    InputEnded,
    Listen,
    NextVoice,
    Save,
    Say,
    SetVoice,
    Show,
    SpeechEnded,
    Started,
    StartTimer,
    TakenUp,
    Typed,
)
from assistant.dialogue.state import Bench, State
from assistant.dialogue.step import step
from assistant.errors import BadInput, BadRecord, OhmaloudError
from assistant.journal import FILE, Header, Journal, read
from assistant.language import wording
from assistant.language.meaning import Expectation
from assistant.measure.parts import Judged
from assistant.preflight import Files, load_bench
from assistant.replay import replay

TYPED_MOST = 2_000  # characters of a typed line that are kept: more is no answer, and the record stays small
JOB_FILE = "job.json"
_LOCK = ".lock"
_SLUG = re.compile(r"[^\w-]+")


class Outlet(Protocol):
    """What a person sees and hears of a session."""

    def say(self, text: str, *, whole: bool) -> None:
        """Print a line and, where there is a voice, speak it."""

    def show(self, text: str) -> None:
        """Print a line."""

    def voice(self, rate_wpm: int, volume_percent: int) -> None:
        """Speak at this rate and loudness from now on."""

    def decided(self, verdict: Judged) -> None:
        """A verdict was reached, or the judgement of a check."""


class Rim(Protocol):
    """The live side of a session: ears, time, and a mouth that itself reports the end of speech."""

    def listen(self, expect: Expectation) -> None:
        """The question stands: ears open for this."""

    def start_timer(self, name: str, after_ms: int) -> None:
        """Report `TimerFired(name)` after so long."""

    def next_voice(self) -> None:
        """Speak in another voice from now on, where there is one."""

    def hush(self) -> None:
        """Silence at once."""


@dataclass(slots=True)
class Session:
    """One session in progress. `over` once it finished; `complete` when it reached its end rather than being left.

    Without a `rim` nothing takes time: what is said has been spoken at once. `heard` counts utterances since the beginning.
    """

    bench: Bench
    state: State
    journal: Journal
    store: Store
    clock: Clock
    outlet: Outlet
    lock: FileLock
    rim: Rim | None = None
    over: bool = False
    complete: bool = False
    heard: int = 0
    _noted: tuple[str, bool] | None = None
    _refused: bool = False
    """Whether the disk refused what came last."""

    def take(self, event: Event) -> bool:
        """Take an event: write, then act. False when the disk refused: the event did not happen, and the person is told.

        Of an answer that is told each time, of all else once until the disk takes something again.
        """
        state, effects = step(self.bench, self.state, event)
        try:
            self.journal.turn(event, effects, self.clock.now_ms())
        except OSError as error:
            self._not_taken(event, effects, error)
            return False
        self._refused = False
        self.state = state
        self.heard += isinstance(event, Heard)
        self.perform(effects)
        return True

    def write(self, event: Started | TakenUp) -> tuple[Effect, ...]:
        """Take the event that a session begins or goes on with; what it returns is to be performed. Raises OSError."""
        state, effects = step(self.bench, self.state, event)
        self.journal.turn(event, effects, self.clock.now_ms())
        self.state = state
        return effects

    def _not_taken(self, event: Event, effects: tuple[Effect, ...], error: OSError) -> None:
        # "stop" and the end of all input end the session even where the disk does not take them
        self.over = any(isinstance(effect, Finished) for effect in effects)
        # a noise, or an empty line, is no answer: nothing would have been said to it
        answer = isinstance(event, Heard | Typed) and any(isinstance(effect, Say | Show) for effect in effects)
        if self._refused and not answer and not self.over:
            return
        self._refused = True
        why = error.strerror or "no reason given"
        self.outlet.say(wording.not_recorded(why, answer=answer, over=self.over), whole=True)
        if not self.over:
            self._at_rim(Listen(self.state.expect))  # the question is still open

    def type(self, line: str) -> bool:
        """Take a typed line."""
        return self.take(Typed(line.rstrip("\r\n")[:TYPED_MOST]))

    def perform(self, effects: tuple[Effect, ...]) -> None:
        """Carry out effects that are on disk already."""
        self._note_job()
        for effect in effects:
            self._perform(effect)
        spoken = self.rim is None and any(isinstance(effect, Say) for effect in effects)
        if self.state.timed and spoken and not self.over:
            self.take(SpeechEnded())

    def _perform(self, effect: Effect) -> None:
        match effect:
            case Say(text, whole):
                self.outlet.say(text, whole=whole)
            case Show(text):
                self.outlet.show(text)
            case SetVoice(rate_wpm, volume_percent):
                self.outlet.voice(rate_wpm, volume_percent)
            case Decided(verdict):
                self.outlet.decided(verdict)
            case Checked(judgement):
                self.outlet.decided(judgement)
            case Save(name, text):
                self._save(name, text)
            case Finished(complete):
                self.over, self.complete = True, complete
            case Listen() | StartTimer() | NextVoice() | Hush():
                self._at_rim(effect)
            case _:
                assert_never(effect)

    def _at_rim(self, effect: Listen | StartTimer | NextVoice | Hush) -> None:
        match self.rim, effect:
            case None, _:  # whoever feeds events reads the state's expectation itself
                pass
            case rim, Listen(expect):
                rim.listen(expect)
            case rim, StartTimer(name, after_ms):
                rim.start_timer(name, after_ms)
            case rim, NextVoice():
                rim.next_voice()
            case rim, Hush():
                rim.hush()

    def _save(self, name: str, text: str) -> None:
        try:
            self.store.save(name, text.encode())
        except OSError as error:
            self.outlet.show(f"{name} could not be written: {error.strerror}. The journal holds everything in it.")

    def _note_job(self) -> None:
        # only an index for finding the session again: everything in it stands in the journal too
        job = (self.state.facts.label, self.state.complete)
        if self._noted != job:
            self._save(JOB_FILE, _job_text(*job))
            self._noted = job

    def end(self) -> None:
        """No more answers will come; another process may have the session now."""
        if not self.over:
            self.take(InputEnded())
        self.lock.release()


@dataclass(frozen=True, slots=True)
class Opening:
    """How a session begins: the job's label and the meter when they are known, the engine's name, whether people are waited for.

    `rate_wpm` and `volume_percent` are how to speak, 0 as usual, or as before in a session that is taken up.
    """

    label: str = ""
    meter: str = ""
    engine: str = "none"
    timed: bool = False
    rate_wpm: int = 0
    volume_percent: int = 0
    check: str = ""
    """The check to begin with instead of the coil test."""


class Jobs:
    """The folder that holds every session's folder."""

    def __init__(self, data: Path) -> None:
        """Make the folder when it is missing. Raises BadInput when that cannot be."""
        self.data = data
        try:
            data.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise BadInput(
                f"{data}: cannot be used for records ({error.strerror}); give another folder with --data"
            ) from error

    def open(  # noqa: PLR0913, PLR0917 - all that a session is made of
        self, files: Files, opening: Opening, clock: Clock, outlet: Outlet, at: dt.datetime, rim: Rim | None = None
    ) -> Session:
        """Begin a session, or take up the unfinished one of the same label. Raises BadInput (another process has it), BadData, OSError."""
        bench = load_bench(files)
        if opening.meter and opening.meter not in bench.meters:
            raise BadInput(f"no meter {opening.meter!r}: there are {', '.join(sorted(bench.meters))}")
        if opening.check and opening.check not in bench.checks:
            raise BadInput(f"no check {opening.check!r}: there are {', '.join(bench.checks)}")
        left = self.unfinished(opening.label) if opening.label else None
        if left is not None:
            try:
                session = self.take_up(left, clock, outlet, opening, rim)
            except BadRecord as error:
                raise BadRecord(f"{error} This job cannot be taken up: begin it anew under another label.") from error
            begun_with = session.state.facts.meter
            if opening.meter and begun_with and opening.meter != begun_with:
                outlet.show(f"This job was begun with the meter {begun_with}; it stays with it.")
            if opening.check and opening.check != session.state.facts.check:
                outlet.show("This job was left unfinished: it is finished first. Give another label to begin a check.")
            return session
        folder = self._new_folder(opening.label, at)
        voice = (opening.rate_wpm, opening.volume_percent)
        first = Started(f"{at:%Y-%m-%d %H:%M}", opening.label, opening.meter, opening.timed, *voice, opening.check)
        lock = _lock(folder)
        try:
            store = FolderStore(folder, FILE)
            journal = Journal(store)
            journal.begin(Header(at.isoformat(timespec="seconds"), opening.engine, files))
            # after the header, so that a folder that can be found by its label has a journal
            store.save(JOB_FILE, _job_text(opening.label, complete=False).encode())
            session = Session(bench, State(), journal, store, clock, outlet, lock, rim, _noted=(opening.label, False))
            effects = session.write(first)
        except OSError:
            lock.release()
            shutil.rmtree(folder, ignore_errors=True)  # nothing was recorded in it
            raise
        session.perform(effects)
        return session

    def take_up(
        self, folder: Path, clock: Clock, outlet: Outlet, opening: Opening | None = None, rim: Rim | None = None
    ) -> Session:
        """Go on with a session. What the last event still owed is written and done first. Raises BadInput, BadRecord, BadData, OSError."""
        lock = _lock(folder)
        try:
            return self._taken_up(folder, lock, clock, outlet, opening or Opening(), rim)
        except BaseException:
            lock.release()  # whatever it was: it can be tried again
            raise

    @staticmethod
    def _taken_up(  # noqa: PLR0913, PLR0917 - all that a session is made of
        folder: Path, lock: FileLock, clock: Clock, outlet: Outlet, how: Opening, rim: Rim | None
    ) -> Session:
        record = read(folder)
        bench = load_bench(record.header.files)
        done = replay(bench, record)
        if done.difference:
            raise BadInput(
                f"{folder}: this version would have answered line {done.difference.line} of the journal in another way, "
                "so it cannot go on with this session. See: ohmaloud replay FOLDER"
            )
        store = FolderStore(folder, FILE, record.kept_bytes)
        journal = Journal(store, record.check)
        session = Session(bench, done.state, journal, store, clock, outlet, lock, rim)
        session.heard = sum(isinstance(entry.event, Heard) for entry in record.entries)
        if done.missing:
            journal.owed(done.missing)
            session.perform(done.missing)
        if not record.entries:
            at = dt.datetime.fromisoformat(record.header.at)
            effects = session.write(Started(f"{at:%Y-%m-%d %H:%M}", timed=how.timed))
        else:
            session.over = False
            effects = session.write(TakenUp(how.timed, how.rate_wpm, how.volume_percent))
        session.perform(effects)
        return session

    def unfinished(self, label: str) -> Path | None:
        """The latest unfinished session of a label, or of that folder name; None when there is none."""
        for folder, name, complete in self._latest_first():
            if not complete and label in (name, folder.name):
                return folder
        return None

    def latest_unfinished(self) -> str | None:
        """What takes up the latest session, when it was left unfinished: its label, or its folder's name."""
        for folder, name, complete in self._latest_first():
            return None if complete else name or folder.name
        return None

    def _latest_first(self) -> Iterator[tuple[Path, str, bool]]:
        try:
            folders = sorted(self.data.iterdir(), reverse=True)
        except OSError as error:
            raise BadInput(
                f"{self.data}: cannot be read ({error.strerror}); give another folder with --data"
            ) from error
        for folder in folders:
            job = _job(folder)
            if job is not None:
                yield folder, *job

    def _new_folder(self, label: str, at: dt.datetime) -> Path:
        name = f"{at:%Y%m%d-%H%M%S}"
        slug = _SLUG.sub("-", label)[:40].strip("-")
        base = f"{name}-{slug}" if slug else name
        for number in range(1, 1000):
            folder = self.data / (base if number == 1 else f"{base}-{number}")
            try:
                folder.mkdir()
            except FileExistsError:
                continue
            except OSError as error:
                raise BadInput(f"{folder}: cannot be made ({error.strerror})") from error
            return folder
        raise BadInput(f"{self.data}: a thousand sessions began in this second")


def _job_text(label: str, complete: bool) -> str:  # noqa: FBT001 - the two things such a file holds
    return json.dumps({"complete": complete, "label": label}, ensure_ascii=False, sort_keys=True) + "\n"


def _job(folder: Path) -> tuple[str, bool] | None:
    """Label and completeness of a session; None for what is none. The journal tells them where the little file is lost or broken."""
    try:
        job = json.loads((folder / JOB_FILE).read_text(encoding="utf-8"))
        return str(job["label"]), bool(job["complete"])
    except (OSError, ValueError, KeyError, TypeError):
        pass
    try:
        record = read(folder)
        state = replay(load_bench(record.header.files), record).state
    except (OSError, OhmaloudError):
        return None
    return (state.facts.label, state.complete) if record.entries else None


def _lock(folder: Path) -> FileLock:
    # the system frees it when the process ends, even when it is killed
    lock = FileLock(folder / _LOCK)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise BadInput(f"{folder}: this session is open in another window; close it there first") from None
    except OSError as error:
        raise BadInput(f"{folder}: cannot be opened ({error.strerror})") from error
    return lock
