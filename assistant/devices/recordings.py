"""Recordings as a microphone: WAV and FLAC files, any rate, any number of channels, 8 to 32 bit or floating point."""

import stat
import struct
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import BinaryIO

import numpy as np
import soundfile
import soxr

from assistant.devices.endpoint import Endpointer, Pauses
from assistant.devices.ports import RATE_HZ, Samples, Utterance
from assistant.errors import BadInput

_KINDS = ("WAV", "WAVEX", "RF64", "FLAC")
_BLOCK_S = 1.0
_SIZE_UNKNOWN = (0, 0xFFFFFFFF)
"""What recorders leave in a WAV header when they write to a pipe or are stopped hard: the length is the file's."""


LOWEST_RATE_HZ = 4_000
"""Half a telephone's rate: below it nothing is left of what tells words apart, and a wrong header makes seconds into days."""


class Recordings:
    """The utterances of sound files, in order, read in blocks of a second, so that length does not matter.

    Satisfies `ports.Microphone`. Times count from the beginning of each file. `unfinished` goes to the end-pointer;
    without it only a pause of `incomplete_s` separates two utterances.
    """

    def __init__(
        self, paths: tuple[Path, ...], pauses: Pauses | None = None, unfinished: Callable[[Samples], bool] | None = None
    ) -> None:
        self._paths = paths
        self._pauses = pauses
        self._unfinished = unfinished

    def utterances(self) -> Iterator[Utterance]:
        """Utterances in order; a file without speech yields none. Raises BadInput, one line, naming the file."""
        for path in self._paths:
            ears = Endpointer(self._pauses, self._unfinished)
            for block in sound(path):
                yield from ears.feed(block)
            yield from ears.finish()


def refuse_unreadable(paths: Iterable[Path]) -> None:
    """Raises BadInput, one line, for the first file that does not begin as sound: before anything is begun with them."""
    for path in paths:
        next(sound(path), None)


def sound(path: Path) -> Iterator[Samples]:
    """One file's sound as mono blocks at RATE_HZ. Raises BadInput with one line for anything that is not whole sound."""
    with _opened(path) as handle:
        _refuse_cut_wav(path, handle)
        try:
            file = soundfile.SoundFile(handle)
        except (soundfile.SoundFileError, ValueError, TypeError):
            raise BadInput(f"{path}: this is not a sound file that can be read; expected WAV or FLAC") from None
        with file:
            if file.format not in _KINDS:
                raise BadInput(f"{path}: this is {file.format}; expected WAV or FLAC")
            if not file.frames:
                raise BadInput(f"{path}: the recording is empty (0 s of sound)")
            if file.samplerate < LOWEST_RATE_HZ:
                raise BadInput(
                    f"{path}: its header says {file.samplerate} samples a second, too few for speech; "
                    f"expected {LOWEST_RATE_HZ} or more"
                )
            yield from _resampled(path, file)


def _opened(path: Path) -> BinaryIO:
    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            raise BadInput(f"{path}: this is a folder; expected a WAV or FLAC file")
        if not stat.S_ISREG(mode):  # opening a pipe would wait for ever
            raise BadInput(f"{path}: this is not an ordinary file; expected a WAV or FLAC file")
        return path.open("rb")
    except FileNotFoundError:
        raise BadInput(f"{path}: no such file; expected a WAV or FLAC file") from None
    except PermissionError:
        raise BadInput(f"{path}: no permission to read this file") from None
    except (OSError, ValueError) as error:
        raise BadInput(f"{path}: cannot be opened ({error})") from None


def _refuse_cut_wav(path: Path, handle: BinaryIO) -> None:
    """A WAV that promises more than it holds may end in the middle of a number, and the reader would not notice."""
    try:
        head = handle.read(12)
        held = handle.seek(0, 2)
        handle.seek(0)
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error})") from None
    if not held:
        raise BadInput(f"{path}: the file is empty (0 bytes); expected WAV or FLAC")
    if len(head) == 12 and head[:4] == b"RIFF":  # noqa: PLR2004 - the length of a RIFF head
        promised = struct.unpack("<I", head[4:8])[0]
        if promised not in _SIZE_UNKNOWN and promised + 8 > held + 1:
            raise BadInput(
                f"{path}: the recording is cut short: its header promises {promised + 8} bytes, {held} are there; "
                "copy or record it again"
            )


def _resampled(path: Path, file: soundfile.SoundFile) -> Iterator[Samples]:
    rate_hz = file.samplerate
    resampler = soxr.ResampleStream(rate_hz, RATE_HZ, 1, dtype="float32")
    size = max(1, round(_BLOCK_S * rate_hz))
    read = 0
    while read < file.frames:
        try:
            block = file.read(size, dtype="float32", always_2d=True)
        except soundfile.SoundFileError:
            block = np.zeros((0, 1), dtype=np.float32)
        if not len(block):
            raise BadInput(
                f"{path}: the recording is cut short or damaged after {read / rate_hz:.1f} s of "
                f"{file.frames / rate_hz:.1f} s; copy or record it again"
            )
        if not np.isfinite(block).all():
            at_s = (read + int(np.argmin(np.isfinite(block).all(axis=1)))) / rate_hz
            raise BadInput(f"{path}: holds samples that are not numbers (NaN or infinite) at {at_s:.2f} s")
        read += len(block)
        yield resampler.resample_chunk(np.clip(block.mean(axis=1), -1.0, 1.0), last=read >= file.frames)
