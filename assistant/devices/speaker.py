"""Speaking: sentences become WAV bytes in a process that can be killed, so that a broken voice never stops a session.

`Voice` is the real speaker, `Silent` the stand-in; both satisfy `ports.Speaker`. `for_speech` turns a printed line
into what is said. Playing the bytes is another module's work.
"""

import json
import re
import subprocess
import sys
import tempfile
import threading
import weakref
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import IO, Self

from assistant.language.readback import spoken
from assistant.measure.units import Numeral, Quantity, Unit

SLOWEST_WPM, FASTEST_WPM = 120, 450
"""Words a minute on offer; people used to a screen reader listen at about 280 to 300 (from memory)."""

LONGEST_CHARACTERS = 1_000
"""What is spoken of one line; all of it is on the screen. At 180 words a minute this is about a minute of speech."""

WORKER = (sys.executable, "-P", str(Path(__file__).with_name("voice_worker.py")))
"""Starts the process of `voice_worker`. By path, so it starts fast; `-P` keeps this folder off its import path."""

_SYMBOLS = {"mΩ": Unit.MILLIOHM, "Ω": Unit.OHM, "kΩ": Unit.KILOHM, "MΩ": Unit.MEGOHM}
_NUMBER = r"[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]+)?|[0-9]+(?:\.[0-9]+)?|\.[0-9]+"
_QUANTITY = re.compile(rf"(?<![\w.,])({_NUMBER})\s*(mΩ|kΩ|MΩ|Ω)")
_BARE = re.compile(rf"(?<![\w.,])({_NUMBER})(?!\w|\.[0-9])")
_DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_RANGE = re.compile(r"(?<=[0-9Ω])\s*[–—]\s*(?=[.0-9])")
_MINUS = re.compile(r"(?<![\w.)])[−-](?=[.0-9])")
_SAID_SO = (
    ("±", " plus or minus "),
    ("°C", " degrees Celsius"),
    ("%", " percent"),
    ("≥", " at least "),
    ("≤", " at most "),
    ("≈", " about "),
    ("×", " times "),
    ("mΩ", " milliohms"),
    ("kΩ", " kilo-ohms"),
    ("MΩ", " megohms"),
    ("Ω", " ohms"),
    ("−", " minus "),
    ("–", ", "),
    ("—", ", "),
    ("…", ", "),
)
_UNSPEAKABLE = re.compile(r"[^\w\s.,;:?!'’()+\-&]|_")


def _said_quantity(match: re.Match[str]) -> str:
    numeral = Numeral(match[1].replace(",", ""))
    return spoken(Quantity(numeral, _SYMBOLS[match[2]]))


def _said_number(match: re.Match[str]) -> str:
    digits = Numeral(match[1].replace(",", "")).text
    return " ".join("point" if digit == "." else _DIGITS[int(digit)] for digit in digits)


def for_speech(text: str) -> str:
    """What is said for a printed line: `4.70 kΩ` becomes "four point seven zero kilo-ohms".

    Quantities are said by `language.readback.spoken`, so a value sounds the same wherever it stands; every other number
    goes digit by digit too, so that fifteen and fifty cannot be confused. Signs become words, brackets and other marks
    that a voice would spell out go, spaces are single. At most LONGEST_CHARACTERS come back, cut between words. Total:
    any text has an answer.
    """
    line = text.replace("\N{OHM SIGN}", "Ω")
    line = _RANGE.sub(" to ", line)
    line = _MINUS.sub("minus ", line)
    line = _BARE.sub(_said_number, _QUANTITY.sub(_said_quantity, line))
    for sign, words in _SAID_SO:
        line = line.replace(sign, words)
    line = " ".join(_UNSPEAKABLE.sub(" ", line).split())
    line = re.sub(r" (?=[.,;:?!])", "", line)
    if not re.search(r"\w", line):
        return ""
    if len(line) <= LONGEST_CHARACTERS:
        return line
    return line[:LONGEST_CHARACTERS].rsplit(" ", 1)[0]


class Silent:
    """The stand-in: never a sound, never a fault."""

    trouble: str | None = None

    def start(self) -> None:
        """Nothing to start."""

    def render(self, text: str, rate_wpm: int) -> bytes | None:  # noqa: ARG002  the port's signature
        """None: there is no voice here, and the text goes on without it."""
        return None

    def next_voice(self) -> str | None:
        """None: there is no voice here at all."""
        return None

    def close(self) -> None:
        """Nothing to end."""


class _Worker:
    """One run of the worker process."""

    def __init__(self, command: tuple[str, ...]) -> None:
        self._complaints: IO[bytes] = tempfile.TemporaryFile()  # noqa: SIM115  it lives as long as the process
        try:
            self._process = subprocess.Popen(  # noqa: S603  our own program
                command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self._complaints
            )
        except OSError:
            self._complaints.close()
            raise
        # kills and collects the process, once: when called, when nobody holds this object any more, and at exit
        self.end = weakref.finalize(self, _collect, self._process, self._complaints)

    def alive(self) -> bool:
        return self._process.poll() is None

    def ask(self, request: dict[str, object], limit_s: float) -> bytes | str:
        """The sound, or a name's bytes; a text is one line that says why there is none. After one the process may not be used again."""
        late = threading.Event()

        def give_up() -> None:
            late.set()
            self._process.kill()

        watchdog = threading.Timer(limit_s, give_up)
        watchdog.daemon = True
        watchdog.start()
        try:
            answer = self._exchange(request)
        except (OSError, ValueError, KeyError, TypeError) as error:
            answer = f"the voice process gave no proper answer ({error})"
        finally:
            watchdog.cancel()
            watchdog.join()  # it is past killing now, so that what `late` says is final
        if late.is_set():
            return f"the voice process did not answer within {limit_s:g} s"
        return answer

    def _exchange(self, request: dict[str, object]) -> bytes | str:
        if self._process.stdin is None or self._process.stdout is None:
            raise ValueError("no pipes")
        self._process.stdin.write(json.dumps(request).encode() + b"\n")
        self._process.stdin.flush()
        line = self._process.stdout.readline()
        if not line:
            return f"the voice process ended{self._last_words()}"
        header = json.loads(line)
        if "error" in header:
            return str(header["error"])
        if "name" in header:
            return str(header["name"]).encode()
        length = int(header["bytes"])
        sound = self._process.stdout.read(length)
        if len(sound) < length or sound[:4] != b"RIFF":
            return f"the voice process broke off{self._last_words()}"
        return sound

    def _last_words(self) -> str:
        self._complaints.seek(0)
        lines = self._complaints.read().decode("utf-8", "replace").split("\n")
        said = [" ".join(line.split()) for line in lines if line.strip()]
        return f": {said[-1][:200]}" if said else ""


def _collect(process: subprocess.Popen[bytes], complaints: IO[bytes]) -> None:
    process.kill()
    for pipe in (process.stdin, process.stdout):
        if pipe is not None:
            with suppress(OSError):  # what was still unsent has nowhere to go
                pipe.close()
    process.wait()
    complaints.close()


class Voice:
    """Speaks with the machine's own voice (on Linux with the espeak-ng that comes as a package).

    One worker process is started when first needed, or by `start` ahead of that. A sentence that takes longer than
    `limit_s`, and a process that dies, answer None; `trouble` then says why in one line. The next sentence starts a new
    process; after each further failure in a row twice as many sentences go unspoken before the next try (1, 3, 7, ...
    at most 15), so that a voice that stays broken costs almost no time and one that comes back is used again.
    Sentences are kept by text and rate, the last `kept` of them. Safe to use from several threads; one sentence is
    rendered at a time. A `voice` that this machine does not have is told to `wrong`, once, before the first sentence; the
    usual one speaks instead. `wrong` must return at once.
    """

    def __init__(
        self,
        voice: str | None = None,
        *,
        wrong: Callable[[str], None] = lambda _voice: None,
        limit_s: float = 5.0,
        command: tuple[str, ...] = WORKER,
        kept: int = 64,
    ) -> None:
        self._voice = voice
        self._checked = voice is None
        self._wrong = wrong
        self._limit_s = limit_s
        self._command = command
        self._kept = kept
        self._cache: OrderedDict[tuple[str, int], bytes] = OrderedDict()
        self._lock = threading.Lock()
        self._worker: _Worker | None = None
        self._failures = 0
        self._skip = 0
        self.trouble: str | None = None
        """Why the last sentence has no sound, in one line; None while the voice works."""

    def start(self) -> None:
        """Start the process now, so that the first sentence need not wait for it. Does not wait."""
        with self._lock, suppress(OSError):  # a process that cannot be started is reported by `render`
            self._ready()

    def render(self, text: str, rate_wpm: int) -> bytes | None:
        """The line as it is spoken (`for_speech`), as a WAV file's bytes, or None; never raises.

        The rate is kept within SLOWEST_WPM to FASTEST_WPM. A line with nothing to speak in it is None and no trouble.
        """
        said = for_speech(text)
        rate_wpm = min(max(rate_wpm, SLOWEST_WPM), FASTEST_WPM)
        if not said:
            return None
        with self._lock:
            sound = self._cache.get((said, rate_wpm))
            if sound is None:
                sound = self._new(said, rate_wpm)
            if sound is not None:
                self._cache[said, rate_wpm] = sound
                self._cache.move_to_end((said, rate_wpm))
                while len(self._cache) > self._kept:
                    self._cache.popitem(last=False)
            return sound

    def next_voice(self) -> str | None:
        """The name of the voice that speaks from now on. Nothing changes with None, there is no other, or "", the process fails."""
        with self._lock:
            self._skip = 0  # somebody asks for it: it is tried now, however often it failed
            answer = self._asked({"after": self._voice})
            if not answer:
                return "" if answer is None else None
            self._voice, self._checked = answer.decode(), True
            self._cache.clear()
            return self._voice

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc_info: object) -> None:
        self.close()

    def close(self) -> None:
        """End the process. A later `render` starts another."""
        with self._lock:
            self._drop()

    def _new(self, said: str, rate_wpm: int) -> bytes | None:
        if self._voice is not None and not self._checked:
            found = self._asked({"is_there": self._voice})
            if found is None:
                return None
            self._checked = True
            if not found:
                self._drop()  # an engine that refused a voice may not be used again
                self._wrong(self._voice)
                self._voice = None
        return self._asked({"text": said, "rate_wpm": rate_wpm, "voice": self._voice})

    def _asked(self, request: dict[str, object]) -> bytes | None:
        """What the process answers, or None, with the reason in `trouble`."""
        if self._skip:
            self._skip -= 1
            return None
        try:
            answer = self._ready().ask(request, self._limit_s)
        except OSError as error:
            answer = f"the voice process cannot be started ({error})"
        if isinstance(answer, bytes):
            self._failures, self.trouble = 0, None
            return answer
        self._drop()
        self._skip = min(2**self._failures - 1, 15)
        self._failures = min(self._failures + 1, 5)
        self.trouble = f"No spoken words: {answer}. The text goes on."
        return None

    def _ready(self) -> _Worker:
        if self._worker is not None and not self._worker.alive():
            self._drop()
        if self._worker is None:
            self._worker = _Worker(self._command)
        return self._worker

    def _drop(self) -> None:
        if self._worker is not None:
            self._worker.end()
            self._worker = None
