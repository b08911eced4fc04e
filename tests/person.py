"""A synthetic person at the bench: hears the assistant through a loudspeaker that is none, answers into a microphone that is none.

It knows that it is its turn by the tone "listening", after which it hears nothing more for as long as a person needs to begin;
what to say it takes from the question on the screen.
"""

import fcntl
import os
import queue
import re
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Self

import numpy as np
import pulse
from pulse import RATE_HZ

from assistant.devices.ports import Samples

FRAME = 320
"""20 ms."""
LOUD = 0.01
"""Mean square root of a frame in which the assistant sounds."""
_PURE = 0.7
_TURN = re.compile(r"aax?bb+x?\.{10}$")
"""The tone "listening" and 0.2 s of silence; a frame may hold the end of one note and the other's beginning."""
_WORDS_FRAMES = 25
"""What sounds so long is no tone."""


class Voice:
    """Feeds the microphone in real time: silence, noise when wanted, and what is to be said."""

    def __init__(self, plug: pulse.Plug) -> None:
        self._plug = plug
        self._process = self._started()
        self._left = np.zeros(0, dtype=np.float32)
        self._lock = threading.Lock()
        self._random = np.random.default_rng(3)
        self.noise = 0.0
        self.ended_at = 0.0
        """When the last sample that was to be said went out."""
        self._closed = False
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def say(self, samples: Samples) -> None:
        with self._lock:
            self._left = np.concatenate([self._left, samples])

    @property
    def speaking(self) -> bool:
        return bool(len(self._left))

    @property
    def left_s(self) -> float:
        """How much of what is to be said has not gone out yet."""
        return len(self._left) / RATE_HZ

    def again(self) -> None:
        """After the device was plugged in again: what was said meanwhile went nowhere."""
        with self._lock:
            self._left = self._left[:0]
        ended(self._process)
        self._process = self._started()

    def _started(self) -> subprocess.Popen[bytes]:
        """What is written waits no longer than 0.13 s in the pipe, so that writing keeps time by itself."""
        process = self._plug.speaking()
        assert process.stdin is not None
        fcntl.fcntl(process.stdin, fcntl.F_SETPIPE_SZ, 4096)
        return process

    def _run(self) -> None:
        while not self._closed:
            with self._lock:
                part, self._left = self._left[:FRAME], self._left[FRAME:]
            block = self._random.standard_normal(FRAME).astype(np.float32) * np.float32(self.noise)
            block[: len(part)] += part
            if len(part):
                self.ended_at = time.monotonic()
            try:
                assert self._process.stdin is not None
                self._process.stdin.write((np.clip(block, -1, 1) * 32767).astype("<i2").tobytes())
                self._process.stdin.flush()
            except (OSError, ValueError):  # the device was pulled out
                time.sleep(FRAME / RATE_HZ)

    def close(self) -> None:
        self._closed = True
        self._process.kill()
        self._thread.join()
        ended(self._process)


class Ear:
    """Hears the loudspeaker: when it sounds, when words do, and how often it gave the turn."""

    def __init__(self, plug: pulse.Plug) -> None:
        self._plug = plug
        self._process = plug.listening()
        self.tones = 0
        self.loud_at = 0.0
        """When something sounded last."""
        self.began_at = 0.0
        """When, after 0.25 s of silence, something began to sound last."""
        self.words_at = 0.0
        """When words sounded last."""
        self.sound: list[Samples] = []
        self._closed = False
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def again(self) -> None:
        """After the device was plugged in again."""
        self._process.kill()

    def _run(self) -> None:
        notes, sounding = "", 0
        while not self._closed:
            assert self._process.stdout is not None
            raw = self._process.stdout.read(FRAME * 2)
            if len(raw) < FRAME * 2:
                ended(self._process)
                time.sleep(0.1)
                self._process = self._plug.listening()
                continue
            frame = np.asarray(np.frombuffer(raw, dtype="<i2") / 32768, dtype=np.float32)
            self.sound.append(frame)
            now = time.monotonic()
            if float(np.sqrt(np.square(frame).mean())) > LOUD:
                if now - self.loud_at > 0.25:
                    self.began_at = now
                self.loud_at = now
                sounding += 1
                if sounding >= _WORDS_FRAMES:
                    self.words_at = now
            elif now - self.loud_at > 0.1:
                sounding = 0
            notes = (notes + note(frame))[-24:]
            if _TURN.search(notes):
                self.tones += 1
                notes = ""

    def close(self) -> None:
        self._closed = True
        self._process.kill()
        self._thread.join()
        ended(self._process)


def ended(process: subprocess.Popen[bytes]) -> None:
    """It is over, and its pipes are closed."""
    process.kill()
    process.wait()
    for pipe in (process.stdin, process.stdout):
        if pipe is not None:
            with suppress(OSError):
                pipe.close()


def note(frame: Samples) -> str:
    """`a` for 660 Hz, `b` for 880 Hz, `.` for silence, `x` for anything else."""
    power = np.abs(np.fft.rfft(frame * np.hanning(len(frame)), 1600)) ** 2  # 10 Hz apart
    total = float(power.sum())
    if total < 0.05:
        return "."
    for name, hz in (("a", 660), ("b", 880)):
        if float(power[hz // 10 - 12 : hz // 10 + 13].sum()) > _PURE * total:
            return name
    return "x"


@dataclass
class Talk:
    """`ohmaloud voice` under way, with somebody who answers. `lines` is what stands on the screen."""

    bench: pulse.Bench
    data: Path
    options: tuple[str, ...] = ()
    lines: list[str] = field(default_factory=list)

    def __enter__(self) -> Self:
        self.ear = Ear(self.bench.loudspeaker)
        self.voice = Voice(self.bench.microphone)
        self._new: queue.Queue[str | None] = queue.Queue()
        settings = {"OHMALOUD_SETTINGS": str(self.data / "settings.toml")}
        command = [sys.executable, "-m", "assistant", "voice", "--data", str(self.data), "--plain", *self.options]
        self.process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ, **self.bench.environment, **settings},
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        return self

    def _read(self) -> None:
        assert self.process.stderr is not None
        for line in self.process.stderr:
            self.lines.append(line.rstrip("\n"))
            self._new.put(line.rstrip("\n"))
        self._new.put(None)

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.communicate()
        self.ear.close()
        self.voice.close()

    def until(self, wanted: Callable[[], bool], limit_s: float, what: str) -> None:
        """Wait for it; AssertionError with the screen when it takes too long."""
        end = time.monotonic() + limit_s
        while not wanted():
            if time.monotonic() > end or (self.process.poll() is not None and not wanted()):
                raise AssertionError(f"{what}: not within {limit_s} s. Screen:\n" + "\n".join(self.lines[-30:]))
            time.sleep(0.02)

    def shows(self, text: str, since: int = 0) -> bool:
        """Whether a line with this text came after so many."""
        return any(text in line for line in self.lines[since:])

    def wait_for(self, text: str, limit_s: float = 30.0, since: int = 0) -> None:
        self.until(lambda: self.shows(text, since), limit_s, text)

    def hear_out(self, text: str, limit_s: float = 60.0) -> None:
        """Wait for a line with this text and for words after it: the turn that comes after them counts, none before."""
        self.wait_for(text, limit_s)
        shown_at = time.monotonic()
        self.until(lambda: self.ear.words_at > shown_at, limit_s, f"the sound of: {text}")
        self._answered = self.ear.tones

    def my_turn(self, limit_s: float = 40.0) -> str:
        """Wait for the tone; the question, which is the last line on the screen."""
        self.until(lambda: self.ear.tones > self._answered, limit_s, "the tone")
        self._answered = self.ear.tones
        return self.lines[-1]

    _answered: int = 0

    def type(self, line: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()
        self._answered = self.ear.tones
