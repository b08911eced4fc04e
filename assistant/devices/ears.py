"""The ears: a thread that listens, recognises and reports, opens a microphone that failed again, and never ends the session."""

import threading
import time
from collections.abc import Callable

import numpy as np

from assistant.devices.endpoint import Pauses
from assistant.devices.host import SoundHost
from assistant.devices.levels import NOISY_DB, ratio_db
from assistant.devices.microphone import GONE_S, Ear, LiveMicrophone
from assistant.devices.ports import RATE_HZ, Recogniser, Samples, Utterance
from assistant.devices.reports import Back, Failed, Remark, SoundHeard, SpeechBegan, SpeechOver, Tell
from assistant.errors import BadInput
from assistant.language import device_wording as wording
from assistant.language.certainty import decide
from assistant.language.lexicon import Lexicon
from assistant.language.meaning import Ask, Expectation, Hearing, NotUnderstood, Why
from assistant.language.understand import unfinished

RETRY_S = (1.0, 2.0, 4.0, 8.0, 15.0)
"""Between one try and the next; the last one for ever. A device that is plugged in again is heard soon, a dead one costs nothing."""
_STEADY_S = 20.0
"""A device that worked so long counts as sound again."""
_CLOSE_S = 4.0
_NOISY_IN_A_ROW = 3
_SILENT_S = 60.0


def breaks_off(hearing: Hearing, expectation: Expectation, lexicon: Lexicon) -> bool:
    """Whether more is likely to follow: a way of listening put an unfinished reading first, or a number still wants its unit.

    A lone "one" wants none: it is how over range is read from many displays.
    """
    understood = decide(hearing, expectation, lexicon)
    if understood.sure and not isinstance(understood.meaning, Ask | NotUnderstood):
        return False
    firsts = {alternative.source: alternative.text for alternative in reversed(hearing.alternatives)}
    wants_unit = isinstance(understood.meaning, Ask) and understood.meaning.why is not Why.ONE_ALONE
    return wants_unit or any(unfinished(text, expectation, lexicon) for text in firsts.values())


class Ears(Ear):
    """Runs from `start` to `close`. `now_expected` and `turn` are asked when an utterance begins or is to be recognised."""

    def __init__(  # noqa: PLR0913 - what hearing needs
        self,
        host: SoundHost,
        recogniser: Recogniser,
        lexicon: Lexicon,
        tell: Tell,
        *,
        now_expected: Callable[[], Expectation],
        turn: Callable[[], int],
        deaf: Callable[[], bool],
        name: str | None = None,
        pauses: Pauses | None = None,
        retry_s: tuple[float, ...] = RETRY_S,
        gone_s: float = GONE_S,
    ) -> None:
        self._recogniser = recogniser
        self._lexicon = lexicon
        self._tell = tell
        self._now_expected = now_expected
        self._turn = turn
        self._retry_s = retry_s
        self._microphone = LiveMicrophone(
            host, name, pauses=pauses, unfinished=self._unfinished, deaf=deaf, ear=self, gone_s=gone_s
        )
        self._early: Hearing | None = None
        self._began_in = 0
        self._in_trouble = False
        self._tries = 0
        self._noise_power = 0.0
        self._noisy = 0
        self._silent_samples = 0
        self._said: set[str] = set()
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, name="ears", daemon=True)

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def close(self) -> None:
        """Listen no more; what is being recognised is left."""
        self._ended.set()
        self._microphone.close()
        if self._thread.is_alive():
            self._thread.join(_CLOSE_S)

    def _run(self) -> None:
        while not self._ended.is_set():
            began = time.monotonic()
            try:
                for utterance in self._microphone.utterances():
                    self._heard(utterance)
            except BadInput as error:
                self._failed(str(error))
            except Exception as error:  # noqa: BLE001 - whatever it is: the person is told, and can type
                self._failed(wording.hearing_broke(f"{type(error).__name__}: {error}"))
            if self._ended.is_set():
                return
            self._tell(SpeechOver())
            # a device that comes and goes all the time is tried ever less often, so that nobody hears of nothing else
            if time.monotonic() - began > _STEADY_S:
                self._tries = 0
            self._ended.wait(self._retry_s[min(self._tries, len(self._retry_s) - 1)])
            self._tries += 1

    def _failed(self, line: str) -> None:
        if not self._in_trouble:
            self._in_trouble = True
            self._tell(Failed(wording.MICROPHONE, line))

    # ---- what the microphone tells

    def works(self) -> None:
        """The device gives sound."""
        if self._in_trouble:
            self._in_trouble = False
            self._tell(Back(wording.MICROPHONE))

    def began(self) -> None:
        """Somebody speaks: the answer belongs to the question that is open now."""
        self._began_in = self._turn()
        self._silent_samples = 0
        self._tell(SpeechBegan())

    def ended_without(self) -> None:
        """It was nothing."""
        self._tell(SpeechOver())

    def lost(self) -> None:
        """A hole in the sound may hide a digit: nothing is taken from it."""
        self._tell(Remark(wording.SOUND_LOST))
        self._tell(SpeechOver())

    def silence(self, samples: Samples) -> None:
        """The level of the noise, slowly followed; and whether there is any sound at all."""
        power = float(np.square(samples, dtype=np.float64).mean()) if len(samples) else 0.0
        self._noise_power += 0.05 * (power - self._noise_power)
        self._silent_samples = self._silent_samples + len(samples) if not power else 0
        if self._silent_samples > _SILENT_S * RATE_HZ:
            self._once(wording.ALL_SILENT)

    # ---- recognising

    def _unfinished(self, samples: Samples) -> bool:
        """Recognise while the pause lasts; a mute microphone's clicks are not worth it."""
        expected = self._now_expected()
        self._early = self._recogniser.hear(samples, expected)
        return breaks_off(self._early, expected, self._lexicon)

    def _heard(self, utterance: Utterance) -> None:
        hearing = self._early if utterance.asked else None
        self._early = None
        if hearing is None:
            hearing = self._recogniser.hear(utterance.samples, self._now_expected())
        self._advise(utterance, hearing)
        self._tell(SoundHeard(utterance, hearing, self._began_in))

    def _advise(self, utterance: Utterance, hearing: Hearing) -> None:
        if utterance.clipped:
            self._once(wording.TOO_LOUD)
        if not hearing.alternatives:
            return
        power = float(np.square(utterance.samples, dtype=np.float64).mean())
        self._noisy = self._noisy + 1 if ratio_db(power - self._noise_power, self._noise_power) < NOISY_DB else 0
        if self._noisy >= _NOISY_IN_A_ROW:
            self._once(wording.TOO_NOISY)

    def _once(self, line: str) -> None:
        if line not in self._said:
            self._said.add(line)
            self._tell(Remark(line))
