"""The four short tones, made here: each stands beside a line of text and says the same as it."""

from enum import Enum

import numpy as np

from assistant.devices.ports import Samples

_LEVEL = 0.25
_EDGE_S = 0.008


class Tone(Enum):
    """What a tone means. The value is its notes: Hz and seconds; rising asks for something, falling ends something."""

    LISTENING = ((660.0, 0.08), (880.0, 0.1))
    GOT_IT = ((880.0, 0.06),)
    NOT_SURE = ((440.0, 0.07), (0.0, 0.04), (440.0, 0.07))
    TROUBLE = ((330.0, 0.12), (220.0, 0.18))


def sound(tone: Tone, rate_hz: int) -> Samples:
    """The tone at that rate, with soft edges so that nothing clicks."""
    return np.concatenate([_note(hz, seconds, rate_hz) for hz, seconds in tone.value])


def _note(hz: float, seconds: float, rate_hz: int) -> Samples:
    count = round(seconds * rate_hz)
    wave = _LEVEL * np.sin(2 * np.pi * hz * np.arange(count) / rate_hz)
    edge = min(round(_EDGE_S * rate_hz), count // 2)
    ramp = np.ones(count)
    ramp[:edge] = np.linspace(0, 1, edge)
    ramp[count - edge :] = np.linspace(1, 0, edge)
    return np.asarray(wave * ramp, dtype=np.float32)
