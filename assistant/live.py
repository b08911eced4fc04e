"""The loop of a live session: ears, mouth, keyboard and time come through one queue and become the dialogue's events."""

import io
import queue
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

import soundfile

from assistant.devices.ports import RATE_HZ, Clock, Samples
from assistant.devices.reports import (
    AllSpoken,
    Back,
    Failed,
    KeysEnded,
    LineTyped,
    Remark,
    Report,
    SoundHeard,
    SpeechBegan,
    SpeechOver,
)
from assistant.devices.tones import Tone
from assistant.dialogue.events import DeviceBack, DeviceFailed, Heard, InputEnded, SpeechEnded, TimerFired
from assistant.dialogue.state import Phase, State
from assistant.language import device_wording as wording
from assistant.language.certainty import decide, doubted
from assistant.language.meaning import Expectation, NotUnderstood, SaidAnswers, SaidCommand, Understood, Why
from assistant.language.readback import printed
from assistant.measure.parts import Judged
from assistant.session import Session

NOBODY_MS = 30_000
"""Without a keyboard and without a working microphone nobody can answer: after so long the session is left, to be taken up."""
AGAIN_MS = 2_000
"""What the disk refused of time is tried again after so long, so that a session goes on by itself when there is room."""
_CONTRADICTIONS = (SaidAnswers(("no",)), SaidCommand("back"), SaidCommand("undo"))
"""What takes a reading back and brings no value of its own."""
_STOP = SaidCommand("stop")


class Speaking(Protocol):
    """A mouth, as the loop uses it: `devices.mouth.Mouth` and stand-ins."""

    @property
    def burst(self) -> int:
        """Number of the run of sentences that is going on or was the last."""

    def say(self, text: str, *, whole: bool) -> None:
        """Speak this after what is waiting."""

    def tone(self, tone: Tone) -> None:
        """Sound a tone after what is waiting."""

    def breathe(self) -> None:
        """Be silent for a moment after what is waiting, in which a word can be heard."""

    def voice(self, rate_wpm: int, volume_percent: int) -> None:
        """Speak so from now on."""

    def next_voice(self) -> str | None:
        """Speak in another voice: its name, or None when there is no other."""

    def get_ready(self) -> None:
        """Something will be said soon."""

    def hold(self) -> None:
        """Be silent for now."""

    def go_on(self) -> None:
        """On with what was held."""

    def drop(self) -> None:
        """Forget what is waiting, except what must be heard whole."""

    def hush(self) -> None:
        """Forget everything."""


class Page(Protocol):
    """A screen, as the loop uses it."""

    def line(self, text: str) -> None:
        """Print a line."""

    def question(self, text: str) -> None:
        """Show the open question large."""

    def reading(self, text: str) -> None:
        """Show the last reading large."""

    def verdict(self, verdict: Judged) -> None:
        """A verdict was reached."""


Remember = Callable[[Mapping[str, int | str]], None]
"""Keeps changed settings, by their names, for the next session. Never raises."""


@dataclass(frozen=True, slots=True)
class Habits:
    """How a live session goes: whether speech may be interrupted, and whether what is heard is kept as sound."""

    headset: bool = False
    keep_audio: bool = True


class Live:
    """Satisfies `session.Outlet` and `session.Rim`: made first, then given to the session, then `run`.

    Ears, mouth and keyboard put what they have to report into `inbox`.
    """

    def __init__(  # noqa: PLR0913, PLR0917 - one of each
        self,
        mouth: Speaking,
        page: Page,
        clock: Clock,
        inbox: "queue.Queue[Report]",
        habits: Habits,
        remember: Remember | None = None,
    ) -> None:
        self._mouth = mouth
        self._page = page
        self._clock = clock
        self._habits = habits
        self._remember = remember
        self._inbox = inbox
        self._session: Session | None = None
        self._timers: dict[TimerFired | SpeechEnded, int] = {}
        """What happens by itself, and when. That the speech ended stands here only when the disk did not take it at once."""
        self._may_be_contradicted = False
        """Whether what is said next answers a spoken answer: a reading may be taken back before it is said back."""
        self._unanswered = False
        """Whether an answer was refused by the disk: until it is given again nothing may pass for want of one."""
        self._speaking = False
        self._turn = 0
        self._by_voice = False
        """Whether the last answer was spoken."""
        self._keys = True
        self._failed: set[str] = set()
        self._nobody_since: int | None = None
        self._last_said = ""
        self._said_something = False
        self._shown_reading = ""
        self._voice: dict[str, int] = {}
        """Rate and loudness as they are now; empty before the session began."""

    # ---- what the session has done: Outlet and Rim

    def say(self, text: str, *, whole: bool) -> None:
        """Print a line and speak it."""
        self._page.line(text)
        if self._may_be_contradicted and self._begun().state.phase is Phase.SETTLING:
            self._may_be_contradicted = False
            self._mouth.breathe()
        self._mouth.say(text, whole=whole)
        self._last_said = text
        self._said_something = True
        self._timers.pop(SpeechEnded(), None)  # it will end anew

    def show(self, text: str) -> None:
        """Print a line."""
        self._page.line(text)

    def voice(self, rate_wpm: int, volume_percent: int) -> None:
        """Speak so from now on; what a word changed, in the next session too: not what an option set for this one."""
        self._mouth.voice(rate_wpm, volume_percent)
        now = {"rate": rate_wpm, "volume": volume_percent}
        changed = {key: value for key, value in now.items() if value != self._voice.get(key, value)}
        self._voice = now
        if changed and self._remember is not None:
            self._remember(changed)

    def next_voice(self) -> None:
        """Speak in another voice, and in the next session too."""
        name = self._mouth.next_voice()
        self._page.line(wording.voice_now(name))
        if name and self._remember is not None:
            self._remember({"voice": name})

    def decided(self, verdict: Judged) -> None:
        """A verdict was reached."""
        self._page.verdict(verdict)

    def listen(self, expect: Expectation) -> None:  # noqa: ARG002 - the ears ask the session's state
        """The question stands; ears open when it was spoken."""
        if self._said_something:
            # a remark about a device is no question: the one that is open stands on the screen
            state = self._session.state if self._session else State()
            if state.phase is not Phase.SETTLING:  # then the reading itself is shown
                self._page.question(state.last_said[-1].text if state.last_said else self._last_said)
            self._mouth.tone(Tone.LISTENING)
        self._said_something = False

    def start_timer(self, name: str, after_ms: int) -> None:
        """Report after so long; a timer of the same name that still runs is replaced."""
        self._timers[TimerFired(name)] = self._clock.now_ms() + after_ms

    def hush(self) -> None:
        """Silence at once."""
        self._mouth.hush()

    # ---- what the ears ask

    def turn(self) -> int:
        """How many answers were taken."""
        return self._turn

    def expected(self) -> Expectation:
        """What may sensibly be said now."""
        return self._session.state.expect if self._session else Expectation("any")

    # ---- the loop

    def begin(self, session: Session) -> None:
        """The session that all reports go to from now on."""
        self._session = session
        voice = session.state.voice
        self._voice = {"rate": voice.rate_wpm, "volume": voice.volume_percent}
        self._mouth.voice(voice.rate_wpm, voice.volume_percent)

    def no_ears(self, why: str) -> None:
        """Nothing will be heard in this session."""
        self._inbox.put(Failed(wording.MICROPHONE, wording.nothing_to_hear_with(why)))

    def run(self) -> None:
        """Until the session is over."""
        session = self._begun()
        while not session.over:
            self.step(self._next())

    def _next(self) -> Report | None:
        due = self._due_ms()
        try:
            return self._inbox.get(timeout=None if due is None else max(0, due - self._clock.now_ms()) / 1000)
        except queue.Empty:
            return None

    def _due_ms(self) -> int | None:
        """When something is due by itself; nothing is while somebody speaks."""
        times = [] if self._speaking else list(self._timers.values())
        if self._nobody_since is not None:
            times.append(self._nobody_since + NOBODY_MS)
        return min(times, default=None)

    def step(self, report: Report | None) -> None:
        """Take one report, or None when only time passed; then whatever is due."""
        session = self._begun()
        if report is not None:
            self._take(session, report)
        self._due(session)
        self._show_reading(session)

    def _due(self, session: Session) -> None:
        now_ms = self._clock.now_ms()
        due = [] if self._speaking else [event for event, at_ms in self._timers.items() if at_ms <= now_ms]
        for event in due:
            if self._timers.pop(event, None) is not None:
                self._by_itself(session, event)
        if self._nobody_since is not None and now_ms >= self._nobody_since + NOBODY_MS and not session.over:
            self._page.line(wording.KEYS_ENDED)
            session.take(InputEnded())

    def _by_itself(self, session: Session, event: TimerFired | SpeechEnded) -> None:
        if not session.over and not self._unanswered and not session.take(event):
            self._timers[event] = self._clock.now_ms() + AGAIN_MS

    def _take(self, session: Session, report: Report) -> None:
        match report:
            case SoundHeard():
                self._heard(session, report)
            case LineTyped(text):
                self._typed(session, text)
            case SpeechBegan():
                self._began()
            case SpeechOver():
                self._over()
            case AllSpoken(burst):
                if burst == self._mouth.burst:  # otherwise something else is being said already
                    self._by_itself(session, SpeechEnded())
            case Remark(line):
                self._page.line(line)
            case Failed() | Back() | KeysEnded():
                self._changed(session, report)
        self._anybody()

    def _changed(self, session: Session, report: Failed | Back | KeysEnded) -> None:
        match report:
            case Failed(device, line):
                self._failed.add(device)
                self._mouth.tone(Tone.TROUBLE)
                if not session.take(DeviceFailed(device, line)):
                    self._page.line(line)
            case Back(device):
                self._failed.discard(device)
                session.take(DeviceBack(device))
            case KeysEnded():
                self._keys = False

    def _began(self) -> None:
        self._speaking = True
        self._mouth.hold()
        self._mouth.get_ready()

    def _over(self) -> None:
        self._speaking = False
        self._mouth.go_on()

    def _typed(self, session: Session, text: str) -> None:
        if not text.strip():
            session.type(text)
            return
        self._answered(by_voice=False)
        self._unanswered = not session.type(text)

    def _answered(self, *, by_voice: bool) -> None:
        """An answer came: what else was to be said, and what was waited for, is behind us."""
        self._turn += 1
        self._by_voice = by_voice
        self._timers.clear()
        self._mouth.drop()

    def _heard(self, session: Session, report: SoundHeard) -> None:
        self._speaking = False
        hearing = report.hearing
        understood = decide(hearing, session.state.expect, session.bench.lexicon)
        if report.utterance.begun and understood.meaning not in (*_CONTRADICTIONS, _STOP):
            hearing = doubted(hearing)
            understood = decide(hearing, session.state.expect, session.bench.lexicon)
        nothing = isinstance(understood.meaning, NotUnderstood) and understood.meaning.why is Why.NOTHING
        stop = understood.sure and understood.meaning == _STOP
        if not stop and not self._counts(session.state.phase, report, understood):
            self._over()
            if not nothing:
                self._page.line((wording.begun if report.utterance.begun else wording.left)(understood.words))
                self._mouth.tone(Tone.NOT_SURE)
            return
        if self._habits.keep_audio:
            self._keep(session, report.utterance.samples)
        if nothing:
            self._over()
            session.take(Heard(hearing))
            return
        self._answered(by_voice=True)
        sure = understood.sure and not isinstance(understood.meaning, NotUnderstood)
        self._page.line(wording.heard(understood.words) if sure else wording.not_sure(understood.words))
        self._mouth.tone(Tone.GOT_IT if sure else Tone.NOT_SURE)
        self._may_be_contradicted = not self._habits.headset  # whose words shut no ears
        self._unanswered = not session.take(Heard(hearing))
        self._may_be_contradicted = False

    def _counts(self, phase: Phase, report: SoundHeard, understood: Understood) -> bool:
        """Whether what was heard is an answer to what is open now, and whole.

        What began before the last answer was taken was meant for an older question. But what followed a spoken reading
        before that was said back is about the reading; where its beginning or end is missing, it may still contradict it, or doubt.
        """
        settling = phase is Phase.SETTLING
        follows = self._by_voice and report.turn == self._turn - 1  # ears hear one thing after the other
        if report.turn != self._turn and not (settling and follows):
            return False
        sure = understood.sure and not isinstance(understood.meaning, NotUnderstood)
        only_doubts = not sure or understood.meaning in _CONTRADICTIONS
        return not (report.utterance.cut or report.utterance.begun) or (settling and only_doubts)

    def _keep(self, session: Session, samples: Samples) -> None:
        """The sound beside the journal, under the number that its event will have there."""
        file = io.BytesIO()
        soundfile.write(file, samples, RATE_HZ, format="FLAC", subtype="PCM_16")
        try:
            session.store.save(audio_name(session.heard + 1), file.getvalue())
        except OSError as error:
            self._page.line(wording.audio_not_kept(error.strerror or str(error)))

    def _show_reading(self, session: Session) -> None:
        readings = session.state.facts.readings
        last = printed(readings[-1].reading) if readings else ""
        if last and last != self._shown_reading:
            self._page.reading(last)
        self._shown_reading = last

    def _anybody(self) -> None:
        """Whether anyone can still answer."""
        if self._keys or wording.MICROPHONE not in self._failed:
            self._nobody_since = None
        elif self._nobody_since is None:
            self._nobody_since = self._clock.now_ms()

    def _begun(self) -> Session:
        if self._session is None:
            raise TypeError("no session was begun")
        return self._session


def audio_name(number: int) -> str:
    """Name of the sound of the so-many-th utterance that was heard in a session, from 1."""
    return f"heard-{number:04}.flac"
