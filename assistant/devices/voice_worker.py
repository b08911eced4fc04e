"""The process that owns the speech engine; `speaker.Voice` starts it by path, so it imports nothing of this package.

One JSON object a line comes in, `{"text": ..., "rate_wpm": ..., "voice": ...}`; for each, one JSON line goes out,
`{"bytes": n}` followed by n bytes of a WAV file, or `{"error": "one line"}`. To `{"after": voice}` the answer is `{"name": ...}`, the
next English voice, empty when there is no other; to `{"is_there": voice}` that voice, empty when it cannot be used. It ends when
its input ends.

Why a process of its own: espeak-ng can be set up once in a process, calls exit() when its data are missing, and
pyttsx3 2.99 turns an error while it writes into an endless loop. None of that may happen to a session.
What is known of pyttsx3 2.99 and avoided here: after `save_to_file` a later `say` is never spoken (so nothing is ever
said aloud here), two `say` speak only the last (so one sentence is rendered at a time), an empty sentence never ends
(so none is passed on), a changed rate may get lost (so it is read back), a sentence may be cancelled by the one before
(so its end is checked), and it prints to standard output (so the replies go out by another handle).
"""

import ctypes
import json
import os
import signal
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any, BinaryIO

ESPEAK_PATH_LIMIT = 140
"""espeak-ng 1.52 cuts its data path off at 160 bytes (N_PATH_HOME_DEF); a longer one is reached by a short link."""


ATTEMPTS = 5
"""How often an order that got lost is given again."""


def make_espeak_available(scratch: Path) -> None:
    """Load the espeak-ng of the package `espeakng-loader`; pyttsx3 then finds it by its name without a system package.

    Where that package is missing, whatever the system has is used.
    """
    try:
        import espeakng_loader  # noqa: PLC0415  heavy, and Linux alone needs it
    except ImportError:
        return
    data = Path(espeakng_loader.get_data_path())
    if len(os.fsencode(data)) > ESPEAK_PATH_LIMIT:
        link = scratch / "espeak-ng-data"
        link.symlink_to(data, target_is_directory=True)
        data = link
    os.environ["ESPEAK_DATA_PATH"] = str(data)
    ctypes.CDLL(espeakng_loader.get_library_path(), mode=ctypes.RTLD_GLOBAL)


def all_english(voices: list[Any]) -> list[str]:
    """The ids of the English voices, in their order."""

    def speaks_english(voice: Any) -> bool:  # noqa: ANN401  pyttsx3 has no types
        languages = [tag.decode("ascii", "ignore") if isinstance(tag, bytes) else str(tag) for tag in voice.languages]
        return any(tag.strip("\x05").lower().startswith("en") for tag in languages)

    return [str(voice.id) for voice in voices if speaks_english(voice)]


def following(voices: list[str], current: str | None) -> str:
    """The voice after the current one, round and round; empty when there is no other."""
    others = [voice for voice in voices if voice != current]
    if not others:
        return ""
    at = voices.index(current) + 1 if current in voices else 0
    return voices[at % len(voices)]


def english(voices: list[Any], current: str | None) -> str | None:
    """The id of the first English voice; None, to leave things alone, when the current one is English or none is."""
    found = all_english(voices)
    if current in found or not found:
        return None
    return str(found[0])


def as_wav(path: Path) -> bytes:
    """The file's bytes as WAV; AIFF, which macOS writes under any name, is converted. ValueError when it is empty."""
    content = path.read_bytes()
    if content[:4] != b"RIFF":
        import io  # noqa: PLC0415  macOS alone comes here

        import soundfile  # noqa: PLC0415  the same

        samples, rate_hz = soundfile.read(io.BytesIO(content), dtype="int16")
        out = io.BytesIO()
        soundfile.write(out, samples, rate_hz, format="WAV", subtype="PCM_16")
        content = out.getvalue()
    if len(content) <= 44:  # noqa: PLR2004  the length of a WAV header alone
        raise ValueError("the speech engine wrote a file without sound")
    return content


class Engine:
    """pyttsx3 with what it needs, used for one sentence at a time."""

    def __init__(self, scratch: Path) -> None:
        if sys.platform == "linux":
            make_espeak_available(scratch)
        import pyttsx3  # noqa: PLC0415  it must come after its library

        self._engine = pyttsx3.init()
        self._faults: list[str] = []
        self._ends: list[bool] = []
        self._ended = threading.Event()
        self._engine.connect("error", self._failed)
        self._engine.connect("finished-utterance", self._finished)
        self._engine.runAndWait()  # the first run returns at once, whatever it was given
        self._file = scratch / "sentence.wav"
        self._voice = english(self._engine.getProperty("voices"), self._engine.getProperty("voice"))

    def _failed(self, name: str, exception: Exception) -> None:  # noqa: ARG002  pyttsx3 calls by these names
        self._faults.append(str(exception))

    def _finished(self, name: str, completed: bool) -> None:  # noqa: ARG002, FBT001  the same
        self._ends.append(completed)
        self._ended.set()

    def render(self, text: str, rate_wpm: int, voice: str | None) -> bytes:
        """The sentence as a WAV file's bytes. Raises whatever the engine raises, OSError, ValueError."""
        self._faults.clear()
        if voice or self._voice:
            self._engine.setProperty("voice", voice or self._voice)
        self._set_rate(rate_wpm)
        for _ in range(ATTEMPTS):
            if self._spoken(text):
                return as_wav(self._file)
        raise ValueError(self._faults[0] if self._faults else "the speech engine broke the sentence off")

    def next_voice(self, after: str | None) -> str:
        """The English voice after that one, or after the usual one; empty when there is no other."""
        current = after or self._voice or self._engine.getProperty("voice")
        return following(all_english(self._engine.getProperty("voices")), current)

    def is_there(self, voice: str) -> bool:
        """Whether this voice can be used; raises as `render` does when the engine itself is broken. After False use the engine no more."""
        if voice in [str(each.id) for each in self._engine.getProperty("voices")]:
            return True
        if sys.platform != "linux":  # macOS would go on with another voice without a word
            return False
        try:
            self.render("a", 175, voice)  # espeak-ng knows its voices by more names than it lists
        except ValueError as error:
            if "voice" not in str(error).lower():
                raise
            return False
        return True

    def _set_rate(self, rate_wpm: int) -> None:
        """Set it until it is set: espeak-ng takes orders on its own thread, and pyttsx3 may cancel one not yet begun."""
        for _ in range(ATTEMPTS):
            self._engine.setProperty("rate", rate_wpm)
            for _ in range(10):
                if self._engine.getProperty("rate") == rate_wpm:
                    return
                time.sleep(0.001)

    def _spoken(self, text: str) -> bool:
        """True when the whole sentence is in the file; False when pyttsx3 cancelled it, thinking it was the last one."""
        self._file.unlink(missing_ok=True)
        self._ends.clear()
        self._ended.clear()
        self._engine.save_to_file(text, str(self._file))
        self._engine.runAndWait()
        self._ended.wait(1.0)
        return not self._faults and self._ends == [True] and self._file.exists()


def serve(requests: BinaryIO, replies: BinaryIO, scratch: Path) -> None:
    """Answer every request line until there are no more; no engine, or a sentence that fails, is an error reply."""
    engine: Engine | None = None
    header: dict[str, object]
    for line in requests:
        try:
            request = json.loads(line)
            engine = engine or Engine(scratch)
            if "after" in request:
                header, sound = {"name": engine.next_voice(request["after"])}, b""
            elif "is_there" in request:
                voice = request["is_there"]
                header, sound = {"name": voice if engine.is_there(voice) else ""}, b""
            else:
                sound = engine.render(request["text"], request["rate_wpm"], request["voice"])
                header = {"bytes": len(sound)}
        except Exception as error:  # noqa: BLE001  whatever an engine raises, the answer is the same
            reason = " ".join(f"{type(error).__name__}: {error}".split())
            replies.write(json.dumps({"error": reason[:300]}).encode() + b"\n")
        else:
            replies.write(json.dumps(header).encode() + b"\n" + sound)
        replies.flush()


def main() -> None:
    """Serve standard input; the engine's own printing goes to standard error."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the session's to handle; this process ends with its input
    with os.fdopen(os.dup(1), "wb") as replies, tempfile.TemporaryDirectory(prefix="ohmaloud-") as scratch:
        os.dup2(2, 1)
        serve(sys.stdin.buffer, replies, Path(scratch))


if __name__ == "__main__":
    main()
