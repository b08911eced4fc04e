"""The loop of a live session, with stand-ins and a clock that is moved by hand: turns, time, interruptions, trouble, the record."""

import datetime as dt
import queue
import random
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from conversation import TO_LEADS
from hearings import Hears, hearing, sure
from sounds import silence, uttered
from stand_in_host import StandInHost

from assistant.devices.clock import HeldClock, SteadyClock
from assistant.devices.ears import Ears
from assistant.devices.loudspeaker import Loudspeaker
from assistant.devices.mouth import Mouth
from assistant.devices.ports import RATE_HZ, Utterance
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
from assistant.devices.speaker import Silent
from assistant.devices.tones import Tone
from assistant.dialogue.events import Heard
from assistant.dialogue.state import Phase
from assistant.journal import read
from assistant.language import device_wording as wording
from assistant.language.meaning import Expectation
from assistant.live import NOBODY_MS, Habits, Live, audio_name
from assistant.measure.parts import Judged
from assistant.preflight import load_bench, read_files
from assistant.replay import replay
from assistant.session import Jobs, Opening, Session

AT = dt.datetime(2026, 1, 2, 3, 4, 5, tzinfo=dt.UTC)
TO_PRIMARY = ("ready", "four stroke", "no", "no spark", "done", "no", "done", "0.3")


class StandInMouth:
    """Keeps what it is told; says nothing by itself."""

    def __init__(self) -> None:
        self.did: list[str] = []
        self.burst = 0
        self.others = "deep"

    def say(self, text: str, *, whole: bool) -> None:
        self.burst += 1
        self.did.append(f"{'whole' if whole else 'say'} {text}")

    def tone(self, tone: Tone) -> None:
        self.did.append(f"tone {tone.name}")

    def breathe(self) -> None:
        self.did.append("breathe")

    def voice(self, rate_wpm: int, volume_percent: int) -> None:
        self.did.append(f"voice {rate_wpm} {volume_percent}")

    def next_voice(self) -> str | None:
        self.did.append("next voice")
        return self.others or None

    def get_ready(self) -> None:
        self.did.append("get ready")

    def hold(self) -> None:
        self.did.append("hold")

    def go_on(self) -> None:
        self.did.append("go on")

    def drop(self) -> None:
        self.did.append("drop")

    def hush(self) -> None:
        self.did.append("hush")


class StandInPage:
    """A screen that is a list."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.large: list[str] = []
        self.verdicts: list[Judged] = []

    def line(self, text: str) -> None:
        self.lines.append(text)

    def question(self, text: str) -> None:
        self.large.append(f"? {text}")

    def reading(self, text: str) -> None:
        self.large.append(text)

    def verdict(self, verdict: Judged) -> None:
        self.verdicts.append(verdict)


class Bench:
    """One live session under way."""

    def __init__(self, folder: Path, *lines: str, habits: Habits | None = None, **opening: Any) -> None:
        self.mouth, self.page, self.clock = StandInMouth(), StandInPage(), HeldClock()
        self.remembered: list[dict[str, int | str]] = []
        self.inbox: queue.Queue[Report] = queue.Queue()
        self.live = Live(
            self.mouth,
            self.page,
            self.clock,
            self.inbox,
            habits or Habits(),
            lambda changes: self.remembered.append(dict(changes)),
        )
        self.data = folder
        how = Opening(**{"label": "pump", "meter": "pocket", "timed": True, **opening})
        self.session: Session = Jobs(folder).open(read_files(), how, self.clock, self.live, AT, self.live)
        self.live.begin(self.session)
        for line in lines:
            self.answer(line)

    def answer(self, line: str) -> None:
        """Type a line; it is spoken to its end, and the time to contradict passes."""
        self.live.step(LineTyped(line))
        self.pass_on()

    def pass_on(self) -> None:
        for _ in range(3):
            if self.session.state.phase is not Phase.SETTLING:
                return
            self.live.step(AllSpoken(self.mouth.burst))
            self.later(2_000)

    def later(self, by_ms: int) -> None:
        self.clock.move(by_ms)
        self.live.step(None)

    def hear(
        self, text: str, *, turn: int | None = None, sure: bool = True, cut: bool = False, begun: bool = False
    ) -> None:
        """An utterance comes in."""
        self.live.step(sound(text, self.live.turn() if turn is None else turn, is_sure=sure, cut=cut, begun=begun))

    @property
    def folder(self) -> Path:
        (folder,) = (path for path in self.data.iterdir() if path.is_dir())
        return folder

    @property
    def step(self) -> str:
        return self.session.state.step

    def over(self) -> bool:
        return self.session.over


def sound(text: str, turn: int, *, is_sure: bool = True, cut: bool = False, begun: bool = False) -> SoundHeard:
    """An utterance that the built-in recogniser heard in all its passes alike, or an engine without bounds."""
    samples = np.full(RATE_HZ // 4, 0.1, dtype=np.float32)
    heard = sure(text) if is_sure else hearing(text, text, text, text)
    return SoundHeard(Utterance(samples, 0.0, 0.25, cut=cut, begun=begun), heard, turn)


# ---- turns


def test_a_question_is_printed_spoken_shown_large_and_followed_by_the_tone(tmp_path: Path) -> None:
    there = Bench(tmp_path)
    assert there.mouth.did[0].startswith("whole Before touching anything")
    assert there.mouth.did[1:3] == ["say Say ready when that is done.", "tone LISTENING"]
    assert there.page.large == ["? Say ready when that is done."]
    assert there.page.lines[1] == "Say ready when that is done."
    assert there.mouth.did[-1] == "voice 175 100"


def test_a_heard_answer_is_shown_kept_as_sound_and_answered(tmp_path: Path) -> None:
    there = Bench(tmp_path)
    there.live.step(SpeechBegan())
    assert there.mouth.did[-1] == "get ready"
    there.hear("ready")
    assert "> ready" in there.page.lines
    assert there.mouth.did[there.mouth.did.index("drop") :][:2] == ["drop", "tone GOT_IT"]
    assert there.step == "stroke"
    samples, rate_hz = soundfile.read(there.folder / "heard-0001.flac", dtype="float32")
    assert (len(samples), rate_hz) == (RATE_HZ // 4, RATE_HZ)
    (entry,) = (entry for entry in read(there.folder).entries if isinstance(entry.event, Heard))
    assert isinstance(entry.event, Heard)
    assert entry.event.hearing.alternatives[0].text == "ready"


def test_what_is_not_heard_surely_is_marked_and_asked_back(tmp_path: Path) -> None:
    there = Bench(tmp_path, "ready")
    there.hear("four stroke", sure=False)
    assert "> (not sure) four stroke" in there.page.lines
    assert "tone NOT_SURE" in there.mouth.did
    assert there.session.state.phase is Phase.CONFIRMING
    there.hear("yes")
    assert there.step == "electronics"


def test_a_last_reading_is_shown_large_when_it_changes(tmp_path: Path) -> None:
    there = Bench(tmp_path, *TO_PRIMARY)
    there.hear("one point four ohms")
    assert there.page.large[-2:] == ["? What does the primary read?", "1.4 Ω"]
    there.hear("no one point five ohms")
    assert there.page.large[-1] == "1.5 Ω"


def test_nothing_heard_leaves_everything_as_it_is(tmp_path: Path) -> None:
    there = Bench(tmp_path, habits=Habits(headset=True))
    lines = list(there.page.lines)
    there.live.step(SpeechBegan())
    there.hear("")
    assert there.mouth.did[-3:] == ["hold", "get ready", "go on"]
    assert there.page.lines == lines


def test_sound_is_not_kept_when_it_is_not_wanted(tmp_path: Path) -> None:
    there = Bench(tmp_path, habits=Habits(keep_audio=False))
    there.hear("ready")
    assert not list(there.folder.glob("*.flac"))
    assert there.step == "stroke"


def test_a_disk_that_refuses_the_sound_keeps_the_record(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    there = Bench(tmp_path)

    def full(_name: str, _content: bytes) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(there.session.store, "save", full)
    there.hear("ready")
    assert any("could not be kept as sound (No space left" in line for line in there.page.lines)
    assert there.step == "stroke"


def test_the_numbers_of_the_sounds_go_on_when_a_session_is_taken_up(tmp_path: Path) -> None:
    there = Bench(tmp_path)
    there.hear("ready")
    there.hear("stop")
    assert "hush" in there.mouth.did
    there.session.end()
    again = Bench(tmp_path, rate_wpm=300)
    again.hear("four stroke")
    assert sorted(path.name for path in again.folder.glob("*.flac")) == [f"heard-{n:04}.flac" for n in (1, 2, 3)]
    assert again.session.state.timed
    assert "voice 300 100" in again.mouth.did


# ---- whose turn


def test_an_answer_to_an_older_question_is_not_taken_for_the_new_one(tmp_path: Path) -> None:
    there = Bench(tmp_path)
    before = there.live.turn()
    there.live.step(SpeechBegan())
    there.live.step(LineTyped("ready"))
    there.hear("four stroke", turn=before)
    assert there.step == "stroke"
    assert not any("four" in line for line in there.page.lines if line.startswith(">"))
    assert there.page.lines[-1] == wording.left("four stroke")
    assert there.mouth.did[-1] == "tone NOT_SURE"
    lines = list(there.page.lines)
    there.hear("", turn=before)  # a noise: no sign
    assert there.page.lines == lines


def test_a_word_right_after_a_spoken_reading_is_about_that_reading(tmp_path: Path) -> None:
    there = Bench(tmp_path, *TO_PRIMARY)
    before = there.live.turn()
    there.hear("one point four ohms")
    there.hear("no", turn=before)
    assert "Taken back: 1.4 Ω." in there.page.lines
    there.live.step(LineTyped("1.4"))
    assert there.session.state.phase is Phase.SETTLING
    there.hear("no", turn=there.live.turn() - 1)  # of a typed one nobody knows what it was said to
    assert there.page.lines[-1] == wording.left("no")
    assert there.session.state.phase is Phase.SETTLING
    there.hear("no one point five ohms")
    there.hear("no one point six ohms", turn=there.live.turn() - 1)
    assert there.page.large[-1] == "1.6 Ω"
    there.hear("no", turn=there.live.turn() - 2)
    assert there.page.lines[-1] == wording.left("no")


def test_where_the_end_is_missing_a_reading_is_contradicted_or_doubted_and_nothing_else_is_taken(
    tmp_path: Path,
) -> None:
    there = Bench(tmp_path)
    there.hear("ready", cut=True)
    assert there.page.lines[-1] == wording.left("ready")
    assert there.step == "safety"
    for line in ("ready", *TO_PRIMARY[1:]):
        there.answer(line)
    there.hear("one point four ohms")
    for value in ("no one point five ohms", "one point five ohms", "yes"):
        there.hear(value, cut=True)
        assert there.page.lines[-1] == wording.left(value)
        assert there.page.large[-1] == "1.4 Ω"
    there.hear("no", cut=True, sure=False)
    assert there.page.lines[-1].startswith("I got: 1.4 Ω")
    there.hear("no", cut=True)
    assert "Taken back: 1.4 Ω." in there.page.lines
    there.hear("stop", cut=True)
    assert there.session.over


def test_of_what_had_begun_before_the_ears_opened_no_reading_is_taken(tmp_path: Path) -> None:
    """ "Zero point two ohms", begun while the microphone was out, would be two ohms."""
    there = Bench(tmp_path)
    for line in TO_PRIMARY:
        there.answer(line)
    there.hear("two ohms", begun=True)
    assert there.page.lines[-1] == wording.begun("two ohms")
    assert there.mouth.did[-1] == "tone NOT_SURE"
    assert there.step == "primary"
    there.hear("one point four ohms")
    assert "Primary reading: 1.4 Ω." in there.page.lines


def test_what_had_begun_before_the_read_back_was_over_takes_the_reading_back_or_lets_it_be_asked(
    tmp_path: Path,
) -> None:
    """ "No, one point five" may begin so soon that the ears hear "one point five" of it."""
    there = Bench(tmp_path, *TO_PRIMARY)
    for words in ("one point five ohms", "oh one point five", "yes"):
        there.live.step(LineTyped("no"))
        there.hear("one point four ohms")
        there.live.step(AllSpoken(there.mouth.burst))
        there.live.step(SpeechBegan())
        there.hear(words, begun=True)
        assert there.page.lines[-1].startswith("I got: 1.4 Ω")
        assert there.mouth.did[-1] == "tone LISTENING"
        there.later(60_000)
        assert there.session.state.phase is Phase.SETTLING
        assert there.page.large[-1] == "1.4 Ω"
    there.hear("no", begun=True)
    assert "Taken back: 1.4 Ω." in there.page.lines
    there.hear("stop", begun=True)
    assert there.session.over


@pytest.mark.parametrize("headset", [False, True])
def test_before_a_spoken_reading_is_said_back_there_is_a_breath_where_words_shut_the_ears(
    tmp_path: Path, *, headset: bool
) -> None:
    there = Bench(tmp_path, *TO_PRIMARY, habits=Habits(headset=headset))
    assert "breathe" not in there.mouth.did
    there.hear("one point four ohms")
    said = there.mouth.did.index("say Primary reading: 1.4 Ω.")
    assert there.mouth.did[said - 1] == ("tone GOT_IT" if headset else "breathe")
    assert there.mouth.did.count("breathe") == (not headset)


def test_stop_is_taken_whenever_it_was_said(tmp_path: Path) -> None:
    there = Bench(tmp_path)
    before = there.live.turn()
    there.live.step(LineTyped("ready"))
    there.hear("stop", turn=before)
    assert there.session.over
    assert there.mouth.did.index("hush") < len(there.mouth.did) - 1


def test_an_empty_line_is_no_answer(tmp_path: Path) -> None:
    there = Bench(tmp_path)
    there.live.step(LineTyped("  "))
    assert "drop" not in there.mouth.did
    assert there.live.turn() == 0


# ---- time


def test_the_time_to_contradict_begins_when_the_read_back_was_spoken(tmp_path: Path) -> None:
    there = Bench(tmp_path, *TO_PRIMARY)
    there.hear("one point four ohms")
    there.later(60_000)
    assert there.session.state.phase is Phase.SETTLING
    there.live.step(AllSpoken(there.mouth.burst - 1))  # of an earlier burst: something else is being said
    there.later(60_000)
    assert there.session.state.phase is Phase.SETTLING
    there.live.step(AllSpoken(there.mouth.burst))
    there.later(1_499)
    assert there.session.state.phase is Phase.SETTLING
    there.later(1)
    assert there.step == "secondary"


def test_time_stands_still_while_somebody_speaks(tmp_path: Path) -> None:
    there = Bench(tmp_path, *TO_PRIMARY)
    there.hear("one point four ohms")
    there.live.step(AllSpoken(there.mouth.burst))
    there.live.step(SpeechBegan())
    there.later(5_000)
    there.hear("no one point five ohms")
    assert [taken.reading.quantity.text for taken in there.session.state.facts.readings if taken.reading.quantity][
        -1
    ] == "1.5 Ω"
    there.live.step(AllSpoken(there.mouth.burst))
    there.live.step(SpeechBegan())
    there.later(5_000)
    there.live.step(SpeechOver())  # it was a cough: what was due meanwhile is done now
    assert there.step == "secondary"


def test_a_long_silence_is_reminded_of_once(tmp_path: Path) -> None:
    there = Bench(tmp_path)
    there.live.step(AllSpoken(there.mouth.burst))
    there.later(7_000)
    assert there.page.lines.count("Say ready when that is done.") == 2
    there.live.step(AllSpoken(there.mouth.burst))
    there.later(600_000)
    assert there.page.lines.count("Say ready when that is done.") == 2


def test_the_loop_takes_what_comes_and_does_what_is_due(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    there = Bench(tmp_path)
    waited: list[float | None] = []
    coming = iter([AllSpoken(there.mouth.burst), None, LineTyped("ready"), LineTyped("stop")])

    def get(timeout: float | None = None) -> Report:
        waited.append(timeout)
        report = next(coming)
        if report is None:
            there.clock.move(7_000)
            raise queue.Empty
        return report

    monkeypatch.setattr(there.inbox, "get", get)
    there.live.run()
    assert there.session.over
    assert waited == [None, 7.0, None, None]
    assert there.page.lines.count("Say ready when that is done.") == 2


# ---- speech that can be interrupted


@pytest.mark.parametrize("headset", [False, True])
def test_speech_is_held_while_somebody_speaks(tmp_path: Path, *, headset: bool) -> None:
    there = Bench(tmp_path, habits=Habits(headset=headset))
    there.live.step(SpeechBegan())
    assert there.mouth.did[-2:] == ["hold", "get ready"]
    there.live.step(SpeechOver())
    assert there.mouth.did[-1] == "go on"


def test_a_changed_voice_is_used_and_remembered(tmp_path: Path) -> None:
    there = Bench(tmp_path)
    there.answer("faster")
    assert "voice 200 100" in there.mouth.did
    assert there.remembered == [{"rate": 200}]


def test_only_what_a_word_changed_is_remembered(tmp_path: Path) -> None:
    there = Bench(tmp_path, rate_wpm=300)
    there.answer("louder")
    assert "voice 300 120" in there.mouth.did
    assert there.remembered == [{"volume": 120}]
    for _ in range(6):
        there.answer("louder")
    assert there.remembered[-1] == {"volume": 200}
    assert len(there.remembered) == 5, "nothing changed any more"
    there.answer("slower")
    assert there.remembered[-1] == {"rate": 275}


def test_another_voice_is_used_and_remembered_where_there_is_one(tmp_path: Path) -> None:
    there = Bench(tmp_path)
    there.answer("change the voice")
    assert "next voice" in there.mouth.did
    assert wording.voice_now("deep") in there.page.lines
    assert there.mouth.did[-2:] == ["say This is the next voice.", "tone LISTENING"]
    assert there.remembered == [{"voice": "deep"}]
    there.mouth.others = ""
    there.answer("another voice")
    assert there.page.lines[-2:] == [wording.voice_now(None), "This is the next voice."]
    assert there.remembered == [{"voice": "deep"}]


# ---- trouble


def test_a_device_that_fails_is_told_with_its_tone_and_typing_goes_on(tmp_path: Path) -> None:
    there = Bench(tmp_path)
    there.live.step(Failed("microphone", wording.MICROPHONE_GONE))
    assert "tone TROUBLE" in there.mouth.did
    assert f"{wording.MICROPHONE_GONE} Nothing is lost; you can type." in there.page.lines
    there.answer("ready")
    assert there.step == "stroke"
    there.live.step(Back("microphone"))
    assert "The microphone is back." in there.page.lines
    assert there.page.lines[-1].startswith("Is the engine")


class Refusing:
    """The disk of a session, which is full for as long as it is told."""

    def __init__(self, there: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
        self.full = True
        self._append = there.session.store.append
        monkeypatch.setattr(there.session.store, "append", self.append)

    def append(self, lines: tuple[str, ...]) -> None:
        if self.full:
            raise OSError(28, "No space left on device")
        self._append(lines)


def spoken_for(there: Bench, seconds: int) -> list[str]:
    """Everything is spoken to its end for so long: what was said meanwhile."""
    before = len(there.page.lines)
    told = 0
    for _ in range(seconds):
        if there.mouth.burst != told:
            told = there.mouth.burst
            there.live.step(AllSpoken(told))
        there.later(1_000)
    return there.page.lines[before:]


def test_a_full_disk_is_told_once_and_what_takes_time_goes_on_when_there_is_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    there = Bench(tmp_path, *TO_PRIMARY)
    there.hear("one point four ohms")
    disk = Refusing(there, monkeypatch)
    (line,) = spoken_for(there, 60)
    assert line.endswith("Everything so far is safe. Make room on the disk, and it goes on.")
    assert there.mouth.did[-1] == "tone LISTENING"
    disk.full = False
    assert "What does the secondary read?" in spoken_for(there, 5)
    disk.full = True  # a timer's own event
    assert spoken_for(there, 60) == [line]
    disk.full = False
    assert spoken_for(there, 10) == ["What does the secondary read?"]


def test_what_was_contradicted_on_a_full_disk_stands_only_when_it_is_said_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    there = Bench(tmp_path, *TO_PRIMARY)
    there.hear("one point four ohms")
    disk = Refusing(there, monkeypatch)
    for answer in (there.hear, lambda line: there.live.step(LineTyped(line))):
        answer("no")
        assert there.page.lines[-1].endswith("Make room on the disk, then give the answer again.")
        assert spoken_for(there, 60) == []
    disk.full = False
    there.live.step(LineTyped(" "))
    there.hear("")
    assert spoken_for(there, 60) == []
    assert there.session.state.phase is Phase.SETTLING
    there.hear("no")
    assert there.session.state.facts.readings[-1].step == "leads"


def test_a_device_that_fails_on_a_full_disk_is_shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    there = Bench(tmp_path)
    Refusing(there, monkeypatch)
    there.live.step(Failed("microphone", wording.MICROPHONE_GONE))
    assert there.page.lines[-1] == wording.MICROPHONE_GONE
    there.live.step(LineTyped("stop"))
    assert there.session.over


def test_a_remark_is_shown_and_not_spoken(tmp_path: Path) -> None:
    there = Bench(tmp_path)
    did = list(there.mouth.did)
    there.live.step(Remark(wording.TOO_NOISY))
    assert there.page.lines[-1] == wording.TOO_NOISY
    assert there.mouth.did == did


def test_without_keys_and_microphone_the_session_is_left_for_later(tmp_path: Path) -> None:
    there = Bench(tmp_path)
    there.live.no_ears("there is no model.")
    there.live.step(there.inbox.get())
    there.live.step(KeysEnded())
    there.later(NOBODY_MS - 1)
    assert not there.over()
    there.live.step(Back("microphone"))
    there.later(NOBODY_MS)
    assert not there.over()
    there.live.step(Failed("microphone", "Gone."))
    there.later(NOBODY_MS)
    assert there.over()
    assert not there.session.complete


def test_nobody_can_run_what_was_not_begun() -> None:
    live = Live(StandInMouth(), StandInPage(), HeldClock(), queue.Queue(), Habits())
    assert live.expected() == Expectation("any")
    with pytest.raises(TypeError, match="no session was begun"):
        live.run()


# ---- a long and troubled life

ANSWERS = (
    *TO_LEADS,
    "0.3",
    "1.4",
    "4.70",
    "no",
    "yes",
    "skip",
    "repeat",
    "go back",
    "that was wrong",
    "pause",
    "resume",
)


def troubled(random_: random.Random, there: Bench) -> Report | None:
    """Something that may happen: answers most of the time, so that sessions get somewhere."""
    kind = random_.random()
    if kind < 0.35:
        return LineTyped(random_.choice(ANSWERS))
    if kind < 0.6:
        turn = there.live.turn() - (random_.random() < 0.1)
        words = random_.choice(
            (*ANSWERS, "", "one point four ohms", "four point seven k", "what a day", "no one point five")
        )
        return sound(words, turn, is_sure=random_.random() < 0.8)
    device = random_.choice(("microphone", "loudspeaker", "voice"))
    return random_.choice(
        (
            SpeechBegan(),
            SpeechOver(),
            AllSpoken(there.mouth.burst - random_.randrange(2)),
            Failed(device, "It was pulled out."),
            Back(device),
            Remark("A remark."),
            None,
        )
    )


@pytest.mark.no_cover
@pytest.mark.slow
def test_ten_thousand_events_with_failing_devices_and_disk_lose_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    random_ = random.Random(20260102)  # noqa: S311 - not for secrets
    events = sessions = complete = refusals = spells = told = answers = full_for = 0
    bench = load_bench(read_files())
    there = Bench(tmp_path / "0")
    append = there.session.store.append
    while events < 10_000:
        if not full_for and random_.random() < 0.005:  # some refusals pass at once, some last
            full_for = random_.choice((1, 2, 20))
            spells += 1

        def full(_lines: tuple[str, ...]) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(there.session.store, "append", full if full_for else append)
        there.clock.move(random_.choice((0, 100, 1_600, 8_000)))
        lines = len(there.page.lines)
        report = troubled(random_, there)
        there.live.step(report)
        if full_for:
            there.live.step(AllSpoken(there.mouth.burst))  # whatever was said of it was spoken to its end
            refusals, full_for = refusals + 1, full_for - 1
            answers += isinstance(report, LineTyped | SoundHeard)
            told += sum(line.startswith("The record cannot be written") for line in there.page.lines[lines:])
        monkeypatch.setattr(there.session.store, "append", append)
        events += 1
        # over, or left in the middle as when the process is killed: begun anew or taken up
        if there.session.over or random_.random() < 0.005:
            complete += there.session.complete
            state = there.session.state
            if there.session.over:  # otherwise taking it up replays it
                done = replay(bench, read(there.folder))
                assert (done.difference, done.missing, done.state) == (None, (), state)
            there.session.lock.release()
            sessions += 1
            there = Bench(there.data if not there.session.complete else tmp_path / str(sessions))
            append = there.session.store.append
    assert (sessions > 50, complete > 5, refusals > 100) == (True, True, True), (sessions, complete, refusals)
    assert 0 < told <= answers + spells  # each answer that was refused, and all else once
    total = 0
    for folder in (path.parent for path in tmp_path.glob("*/*/journal.jsonl")):
        heard = sum(isinstance(entry.event, Heard) for entry in read(folder).entries)
        total += heard
        assert all((folder / audio_name(number)).is_file() for number in range(1, heard + 1))
    assert total > 500


@pytest.mark.slow
def test_real_ears_and_mouth_on_devices_that_come_and_go_never_stop_the_loop(tmp_path: Path) -> None:
    host = StandInHost()
    inbox: queue.Queue[Report] = queue.Queue()
    mouth = Mouth(Silent(), Loudspeaker(host, gone_s=0.02), inbox.put, retry_s=(0.01,), reading_characters_per_s=1e6)
    page = StandInPage()
    live = Live(mouth, page, SteadyClock(), inbox, Habits(headset=True))
    mouth.start()
    how = Opening(label="pump", meter="pocket", timed=True)
    session = Jobs(tmp_path).open(read_files(), how, SteadyClock(), live, AT, live)
    live.begin(session)
    ears = Ears(
        host, Hears("repeat"), session.bench.lexicon, inbox.put,
        now_expected=live.expected, turn=live.turn, deaf=lambda: mouth.audible, retry_s=(0.01,), gone_s=0.2,
    )  # fmt: skip
    ears.start()

    def trouble() -> None:
        random_ = random.Random(7)  # noqa: S311 - not for secrets
        word = uttered("stop", 0.5)
        for _ in range(150):
            host.refuses = random_.choice(("", "", "in use"))
            host.frozen = random_.random() < 0.2
            if random_.random() < 0.2:
                host.devices(anew=True)
            host.feed(word if random_.random() < 0.3 else silence(0.1))
            inbox.put(LineTyped(random_.choice(("where are we", "repeat", "help", "faster"))))
            threading.Event().wait(random_.choice((0.0, 0.01, 0.03)))
        host.refuses, host.frozen = "", False
        inbox.put(LineTyped("stop"))

    troubling = threading.Thread(target=trouble, daemon=True)
    troubling.start()
    live.run()  # the time limit of the whole run is what would find a deadlock
    troubling.join()
    ears.close()
    mouth.close()
    assert session.over
    assert {thread.name for thread in threading.enumerate()}.isdisjoint({"ears", "mouth"})
    assert "The microphone is back." in page.lines
    session.lock.release()
    done = replay(load_bench(read_files()), read(next(iter(tmp_path.glob("*/journal.jsonl"))).parent))
    assert (done.difference, done.missing) == (None, ())
