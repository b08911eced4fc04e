"""The mouth: a thread that speaks sentences in order, can be interrupted, and goes on in silence when something breaks."""

import io
import threading
import time
from collections import deque
from dataclasses import dataclass, field

import numpy as np
import soundfile

from assistant.devices.loudspeaker import Loudspeaker
from assistant.devices.ports import Samples, Speaker
from assistant.devices.reports import AllSpoken, Back, Failed, Tell
from assistant.devices.tones import Tone
from assistant.devices.tones import sound as tone_sound
from assistant.errors import BadInput
from assistant.language import device_wording as wording

RETRY_S = (2.0, 4.0, 8.0, 15.0, 30.0)
"""Between tries to open a loudspeaker that failed."""
READING_CHARACTERS_PER_S = 15.0
"""What is not heard is read: so fast (about 180 words a minute), before the time to contradict begins."""
_READING_MOST_S = 5.0
_TRIES = 3
"""So often a sentence is begun where the device is lost in the middle of it."""
BREATH_S = 0.5
"""Between the tone and the words of a read-back. Who takes a reading back at once says "no" 0.45 to 0.7 s after it; the words
would begin then, and shut the ears."""
_IDLE_S = 4.0
"""After so long without a sentence the loudspeaker is let go."""
_TONE_RATE_HZ = 22_050
_LOUDEST = 0.98
_FAINTEST = 0.01
_KEPT_S = 0.05
"""Voices end a sentence with silence, 0.3 s at 175 words a minute. Before the tone that gives the turn so much of it is left: ears
are shut in it, and who contradicts what was said back begins 0.2 s after the last word."""


@dataclass(frozen=True, slots=True)
class Sentence:
    """What is to be spoken, or a tone, or a breath of silence. `whole` is never cut off by anything but `hush`."""

    text: str = ""
    whole: bool = False
    tone: Tone | None = None
    breath: bool = False


@dataclass(slots=True)
class _Trouble:
    """Of one device: whether it is told, and when it is tried again."""

    told: bool = False
    tries: int = 0
    again_at: float = field(default=0.0)


class Mouth:
    """Speaks from `start` to `close`. Every method may be called from any thread and returns at once.

    After each run of sentences (a burst) `AllSpoken` is told, whether they could be heard or only read. Without a
    `loudspeaker` nothing is heard. A voice or loudspeaker that fails is told once, and once more when it is back. What must
    be heard whole is then spoken first: what was cut off, and what could only be read and was not answered.
    """

    def __init__(  # noqa: PLR0913 - what speaking needs
        self,
        speaker: Speaker,
        loudspeaker: Loudspeaker | None,
        tell: Tell,
        *,
        tones: bool = True,
        retry_s: tuple[float, ...] = RETRY_S,
        reading_characters_per_s: float = READING_CHARACTERS_PER_S,
    ) -> None:
        self._speaker = speaker
        self._loudspeaker = loudspeaker
        self._tell = tell
        self._tones = tones and loudspeaker is not None
        self._retry_s = retry_s
        self._reading_per_s = reading_characters_per_s
        self._changed = threading.Condition()
        self._waiting: deque[Sentence] = deque()
        self._now: Sentence | None = None
        self._held = self._cut = self._closed = self._ready_wanted = False
        self._burst = 0
        self._spoke = self._worded = False
        self._rate_wpm, self._gain = 175, 1.0
        self._trouble = _Trouble()
        self._failed_in = 0
        self._owed: list[Sentence] = []
        """What must be heard and was cut off: of the burst in which the loudspeaker failed."""
        self._read: list[Sentence] = []
        """What must be heard and came later, so that it could only be read; whoever answers has read it."""
        self._voice_told = False
        self._thread = threading.Thread(target=self._run, name="mouth", daemon=True)

    # ---- for the loop

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    @property
    def burst(self) -> int:
        """Number of the run of sentences that is going on or was the last."""
        return self._burst

    @property
    def audible(self) -> bool:
        """Whether something is being spoken, or about to be, or still sounds: then a microphone would hear it."""
        with self._changed:
            speaking = self._loudspeaker is not None and not self._trouble.told and not self._held
            if speaking and (self._now is not None or self._waiting):
                return True
        return self._loudspeaker is not None and self._loudspeaker.sounding

    @property
    def shuts_ears(self) -> bool:
        """Whether a microphone would take what is audible for somebody: from the first word of a burst on.

        Not before: who has given an answer and contradicts it at once begins while the words are still made, or in the short tone.
        """
        return self._worded and self.audible

    def say(self, text: str, *, whole: bool) -> None:
        """Speak this after what is waiting."""
        self._add(Sentence(text, whole))

    def tone(self, tone: Tone) -> None:
        """Sound a tone after what is waiting."""
        if self._tones:
            self._add(Sentence(tone=tone))

    def breathe(self) -> None:
        """Be silent for a moment after what is waiting: a word can be heard in it. Nothing where ears are never shut."""
        if self._loudspeaker is not None:
            self._add(Sentence(breath=True))

    def _add(self, sentence: Sentence) -> None:
        with self._changed:
            self._begin_burst()
            turn = self._waiting.pop() if self._gives_turn() else None
            self._waiting.append(sentence)
            if turn is not None and not self._gives_turn():
                self._waiting.append(turn)
            self._changed.notify_all()

    def _gives_turn(self) -> bool:
        """Whether the tone "listening" waits. It stands once, after everything: who hears it earlier answers into shut ears."""
        return bool(self._waiting) and self._waiting[-1].tone is Tone.LISTENING

    def _begin_burst(self) -> None:
        """Unless one is going on."""
        if self._now is None and not self._waiting and not self._spoke:
            self._burst += 1
            self._worded = False

    def voice(self, rate_wpm: int, volume_percent: int) -> None:
        """Speak at this rate and loudness from the next sentence on."""
        self._rate_wpm, self._gain = rate_wpm, volume_percent / 100

    def next_voice(self) -> str | None:
        """Speak in the next voice from the next sentence on: its name, or None when there is no other. Waits for the voice's answer."""
        return self._speaker.next_voice()

    def get_ready(self) -> None:
        """Something will be said soon: open the loudspeaker meanwhile."""
        with self._changed:
            self._ready_wanted = True
            self._changed.notify_all()

    def hold(self) -> None:
        """Be silent for now, unless what is being said must be heard whole."""
        with self._changed:
            self._held = True
            if self._now is not None and not self._now.whole:
                self._interrupt()
            self._changed.notify_all()

    def go_on(self) -> None:
        """On with the sentence that was held."""
        with self._changed:
            self._held = False
            self._changed.notify_all()

    def drop(self) -> None:
        """Forget what is waiting, except what must be heard whole."""
        self._forget(keep_whole=True)

    def hush(self) -> None:
        """Forget everything and be silent at once."""
        self._forget(keep_whole=False)

    def _forget(self, *, keep_whole: bool) -> None:
        with self._changed:
            self._held = False
            self._waiting = deque(sentence for sentence in self._waiting if keep_whole and sentence.whole)
            self._read.clear()
            if not keep_whole:
                self._owed.clear()
            if self._now is not None and not (keep_whole and self._now.whole):
                self._cut = True
                self._interrupt()
            self._changed.notify_all()

    def _interrupt(self) -> None:
        if self._loudspeaker is not None:
            self._loudspeaker.stop()

    def close(self, *, after_s: float = 0.0) -> None:
        """End; what is waiting is spoken first when it can be heard and takes no longer than `after_s`. Ctrl-C cuts that short."""
        try:
            until = time.monotonic() + after_s
            with self._changed:
                while self.audible and (left := until - time.monotonic()) > 0:
                    self._changed.wait(min(left, 0.1))
        finally:
            self._end()

    def _end(self) -> None:
        with self._changed:
            self._closed = True
            self._waiting.clear()
            self._interrupt()
            self._changed.notify_all()
        if self._thread.is_alive():
            self._thread.join(_IDLE_S)
        self._speaker.close()

    # ---- the thread

    def _run(self) -> None:
        while True:
            task = self._next()
            if task == "end":
                break
            if isinstance(task, Sentence):
                self._perform(task)
            elif task == "over":
                self._burst_over()
            else:
                self._open_or_let_go(idle=task == "idle")
        if self._loudspeaker is not None:
            self._loudspeaker.close()

    def _next(self) -> "Sentence | str":
        """What is to be done: a sentence; the end of a burst; getting ready; a try after trouble or letting go; the end."""
        with self._changed:
            while True:
                if self._closed:
                    return "end"
                if self._waiting and (not self._held or self._waiting[0].whole):
                    if self._trouble.told and time.monotonic() >= self._trouble.again_at:
                        return "ready"  # what was cut off goes before it
                    self._now, self._cut = self._waiting.popleft(), False
                    if self._loudspeaker is not None:
                        self._loudspeaker.free()
                    self._spoke = True
                    return self._now
                if self._spoke and not self._waiting:
                    return "over"
                if self._ready_wanted:
                    self._ready_wanted = False
                    return "ready"
                if not self._changed.wait(self._idle_s()):
                    return "idle"

    def _idle_s(self) -> float | None:
        if self._loudspeaker is None:
            return None
        if self._trouble.told:
            return max(0.0, self._trouble.again_at - time.monotonic())
        return _IDLE_S

    def _perform(self, sentence: Sentence) -> None:
        heard = self._breath() if sentence.breath else self._aloud(sentence)
        if not heard and not self._cut and not sentence.tone:
            self._wait(min(len(sentence.text) / self._reading_per_s, _READING_MOST_S))
        with self._changed:
            if self._held and not sentence.whole and not self._cut:
                self._put_back(sentence)
            if not heard and not self._cut and self._trouble.told and sentence.whole:
                owed = self._owed if self._burst == self._failed_in else self._read
                if sentence not in owed:
                    owed.append(sentence)
            self._now = None
            self._changed.notify_all()

    def _put_back(self, sentence: Sentence) -> None:
        """It was held. The tone "listening" begins again only when nothing was added in the meantime."""
        if sentence.tone is not Tone.LISTENING or not self._waiting:
            self._waiting.appendleft(sentence)
        elif not self._gives_turn():
            self._waiting.append(sentence)

    def _burst_over(self) -> None:
        """The sound has left the device: then it is the other's turn."""
        while self._loudspeaker is not None and self._loudspeaker.sounding and not self._closed:
            time.sleep(0.01)  # the device tells nothing about what it still holds
        with self._changed:
            if self._waiting:
                return
            self._spoke = False
            burst = self._burst
        self._tell(AllSpoken(burst))

    def _wait(self, seconds: float) -> None:
        """Let somebody read, unless something else is to be done."""
        until = time.monotonic() + seconds
        with self._changed:
            while not self._cut and not self._closed and (left := until - time.monotonic()) > 0:
                self._changed.wait(left)

    def _breath(self) -> bool:
        with self._changed:
            self._changed.wait_for(lambda: self._held or self._cut or self._closed, BREATH_S)
        return True

    def _aloud(self, sentence: Sentence) -> bool:
        """Whether it was spoken, or begun to be."""
        if self._loudspeaker is None or self._trouble.told:
            return False
        found = self._sound(sentence)
        if found is None:
            return False
        samples, rate_hz = found
        self._worded = self._worded or sentence.tone is not Tone.GOT_IT
        try:
            played = self._loudspeaker.play(samples, rate_hz, self._render_ahead)
            for _ in range(_TRIES - 1):  # the list of devices was read anew in mid-sentence, or the device starved
                if played or self._cut or self._held or self._closed:
                    break
                played = self._loudspeaker.play(samples, rate_hz)
        except BadInput as error:
            self._fails(str(error))
            return False
        return True

    def _sound(self, sentence: Sentence) -> tuple[Samples, int] | None:
        if sentence.tone is not None:
            return tone_sound(sentence.tone, _TONE_RATE_HZ) * np.float32(min(self._gain, 1.0)), _TONE_RATE_HZ
        wav = self._speaker.render(sentence.text, self._rate_wpm)
        trouble = self._speaker.trouble
        if bool(trouble) != self._voice_told:
            self._voice_told = bool(trouble)
            self._tell(Failed(wording.VOICE, trouble) if trouble else Back(wording.VOICE))
        if wav is None:
            return None
        samples, rate_hz = soundfile.read(io.BytesIO(wav), dtype="float32")
        with self._changed:  # what waits may be dropped meanwhile
            last = len(self._waiting) == 1 and self._gives_turn()
        if last:
            end = np.max(np.flatnonzero(np.abs(samples) > _FAINTEST), initial=0)
            samples = samples[: end + round(_KEPT_S * rate_hz)]
        return np.clip(samples * np.float32(self._gain), -_LOUDEST, _LOUDEST), rate_hz

    def _render_ahead(self) -> None:
        """The next sentence is rendered while this one sounds; the speaker keeps it."""
        with self._changed:
            text = self._waiting[0].text if self._waiting else ""
        if text:
            self._speaker.render(text, self._rate_wpm)

    def _open_or_let_go(self, *, idle: bool) -> None:
        if self._loudspeaker is None:
            return
        if idle and not self._trouble.told:
            self._loudspeaker.close()
            return
        try:
            self._loudspeaker.open()
            self._works()
        except BadInput as error:
            self._fails(str(error))

    def _works(self) -> None:
        if not self._trouble.told:
            return
        with self._changed:
            self._trouble = _Trouble()
            if owed := self._owed + self._read:
                self._begin_burst()
            self._waiting.extendleft(reversed(owed))
            self._owed.clear()
            self._read.clear()
        self._tell(Back(wording.LOUDSPEAKER))

    def _fails(self, line: str) -> None:
        trouble = self._trouble
        trouble.again_at = time.monotonic() + self._retry_s[min(trouble.tries, len(self._retry_s) - 1)]
        trouble.tries += 1
        if not trouble.told:
            trouble.told = True
            self._failed_in = self._burst
            self._tell(Failed(wording.LOUDSPEAKER, line))
