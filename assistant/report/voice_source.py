"""Where the prompts of a voice check are heard: one recording each, or the microphone for a few seconds each."""

import queue
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soxr

from assistant.devices.endpoint import Endpointer
from assistant.devices.host import SoundHost, choose
from assistant.devices.ports import RATE_HZ, Samples
from assistant.devices.recordings import Recordings
from assistant.errors import BadInput
from assistant.language import device_wording as wording
from assistant.report.checkup import recorded

WINDOW_S = 5.0
"""The longest prompt takes half of it, so there is time to begin."""

Listen = Callable[[str], Samples | None]


def from_files(paths: tuple[Path, ...], prompts: tuple[str, ...]) -> Listen:
    """The first utterance of each file, for the prompt of the same place. Raises BadInput when there are more files than prompts."""
    if len(paths) > len(prompts):
        raise BadInput(
            f"--from: {len(paths)} recordings, expected {len(prompts)} at most, one for each prompt in order"
        )
    for path in paths:
        if not path.is_file():
            raise BadInput(f"{path}: no such file; expected a WAV or FLAC recording")
    by_prompt = dict(zip(prompts, paths, strict=False))

    def listen(prompt: str) -> Samples | None:
        utterance = next(iter(Recordings((by_prompt[prompt],)).utterances()), None)
        return None if utterance is None else utterance.samples

    return listen


def from_microphone(host: SoundHost, name: str | None, tell: Callable[[str], None]) -> Listen:
    """The first utterance within WINDOW_S of being asked. `listen` raises BadInput when there is no microphone."""

    def listen(prompt: str) -> Samples | None:
        blocks: queue.Queue[Samples] = queue.Queue()
        stream = host.record(choose(host.devices(), wording.MICROPHONE, name), lambda block, _: blocks.put(block))
        try:
            tell(f"Read aloud: {prompt}")
            sound = recorded(blocks, round(WINDOW_S * stream.rate_hz))
        finally:
            stream.close()
        if sound is None:
            raise BadInput(wording.MICROPHONE_GONE)
        ears = Endpointer()
        at_rate = np.asarray(soxr.resample(sound, stream.rate_hz, RATE_HZ), dtype=np.float32)
        utterances = [*ears.feed(at_rate), *ears.finish()]
        return utterances[0].samples if utterances else None

    return listen
