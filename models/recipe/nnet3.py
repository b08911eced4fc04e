r"""Reads and writes the file of an acoustic model, `am/final.mdl`: Kaldi's binary form, as much of it as a TDNN-F chain model needs.

    "\0B" <TransitionModel> topology, tuples, log probabilities </TransitionModel>
    <Nnet3> config lines, an empty line, named components </Nnet3> left and right context, priors

A token ends with a space. Numbers carry their size in bytes before them, arrays a token for their type (FV, FM, DV, DM).
"""

import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

Component = dict[str, Any]
"""`type` and the fields by the names they have in the file."""
State = tuple[int, int, tuple[tuple[int, float], ...]]
"""Class of the forward pdf, class of the loop's pdf, and (next state, probability) of every transition; -1 for no pdf."""

_ARRAYS = frozenset(
    {"LinearParams", "BiasParams", "Params", "ValueAvg", "DerivAvg", "OderivRms", "StatsMean", "StatsVar"}
)
_INTEGERS = frozenset({"Dim", "BlockDim", "TimePeriod", "RankIn", "RankOut", "UpdatePeriod"})
_PAIRS = {"RankInOut": "integer", "AlphaInOut": "number"}
_FLAGS_WITHOUT_VALUE = frozenset({"TestMode", "Continuous"})
"""In the dropout component these are only named when they hold; elsewhere they have a value."""


@dataclass(frozen=True, slots=True)
class Chain:
    """Phones, pdfs and transitions.

    phones            the phone numbers, and in `entries` for each number from 0 its row of `topology` (-1 for none)
    tuples            (phone, state, forward pdf, loop pdf), sorted
    log_probabilities one for each transition, after a 0 for the number 0, which is none
    """

    phones: tuple[int, ...]
    entries: tuple[int, ...]
    topology: tuple[tuple[State, ...], ...]
    tuples: tuple[tuple[int, ...], ...]
    log_probabilities: npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Model:
    """All that is in the file. `config` is the network: input nodes, component nodes, output nodes; contexts are in frames."""

    chain: Chain
    config: tuple[str, ...]
    components: Mapping[str, Component]
    left_context: int
    right_context: int


class _Reader:
    def __init__(self, data: bytes) -> None:
        self.data = data
        self.at = 0

    def token(self, *wanted: str) -> str:
        end = self.data.find(b" ", self.at, self.at + 80)
        found = self.data[self.at : end].decode("latin-1") if end >= 0 else ""
        if end < 0 or (wanted and found not in wanted):
            raise ValueError(f"found {found[:20]!r} at byte {self.at}, expected {' or '.join(wanted) or 'a token'}")
        self.at = end + 1
        return found

    def _plain(self, form: str, size: int) -> Any:  # noqa: ANN401  an int or a float, as the form says
        if self.data[self.at] != size:
            raise ValueError(f"found a number of {self.data[self.at]} bytes at byte {self.at}, expected {size}")
        value = struct.unpack_from(form, self.data, self.at + 1)[0]
        self.at += 1 + size
        return value

    def integer(self) -> int:
        return int(self._plain("<i", 4))

    def number(self) -> float | bool:
        size = self.data[self.at]
        if size in b"TF":
            self.at += 1
            return size == ord("T")
        return float(self._plain("<f", 4) if size == 4 else self._plain("<d", 8))  # noqa: PLR2004  bytes of a float

    def integers(self) -> tuple[int, ...]:
        count = self.integer()
        values = struct.unpack_from(f"<{count}i", self.data, self.at)
        self.at += 4 * count
        return values

    def array(self) -> npt.NDArray[np.float32] | npt.NDArray[np.float64]:
        kind = self.token("FV", "FM", "DV", "DM")
        shape = [self.integer() for _ in range(1 if kind[1] == "V" else 2)]
        values = np.frombuffer(self.data, "<f4" if kind[0] == "F" else "<f8", int(np.prod(shape)), self.at)
        self.at += values.nbytes
        return values.reshape(shape).copy()

    def component(self) -> Component:
        kind = self.token()[1:-1]
        found: Component = {"type": kind}
        while (name := self.token()[1:-1]) != f"/{kind}":
            if name in _ARRAYS:
                found[name] = self.array()
            elif name == "TimeOffsets":
                found[name] = self.integers()
            elif name in _INTEGERS:
                found[name] = self.integer()
            elif name in _PAIRS:
                one = self.integer if _PAIRS[name] == "integer" else self.number
                found[name] = (one(), one())
            elif name in _FLAGS_WITHOUT_VALUE and kind == "GeneralDropoutComponent":
                found[name] = True
            else:
                found[name] = self.number()
        return found


def read(path: Path) -> Model:
    """The model in a file. Raises ValueError with the place where it is not as expected."""
    reader = _Reader(path.read_bytes())
    try:
        return _model(reader)
    except (ValueError, IndexError, struct.error) as error:
        raise ValueError(f"{path}: {error}") from None


def _model(reader: _Reader) -> Model:
    if reader.data[:2] != b"\0B":
        raise ValueError("no model in binary form")
    reader.at = 2
    reader.token("<TransitionModel>")
    reader.token("<Topology>")
    phones, entries = reader.integers(), reader.integers()
    count = reader.integer()
    with_loops = count == -1
    topology = tuple(_entry(reader, with_loops) for _ in range(reader.integer() if with_loops else count))
    reader.token("</Topology>")
    width = 4 if reader.token("<Tuples>", "<Triples>") == "<Tuples>" else 3
    tuples = tuple(tuple(reader.integer() for _ in range(width)) for _ in range(reader.integer()))
    reader.token("</Tuples>", "</Triples>")
    reader.token("<LogProbs>")
    log_probabilities = reader.array().astype(np.float32)
    for name in ("</LogProbs>", "</TransitionModel>", "<Nnet3>"):
        reader.token(name)
    end = reader.data.index(b"\n\n", reader.at)
    config = tuple(line for line in reader.data[reader.at : end].decode().split("\n") if line)
    reader.at = end + 2
    components = {}
    reader.token("<NumComponents>")
    for _ in range(reader.integer()):
        reader.token("<ComponentName>")
        name = reader.token()
        components[name] = reader.component()
    reader.token("</Nnet3>")
    reader.token("<LeftContext>")
    left = reader.integer()
    reader.token("<RightContext>")
    right = reader.integer()
    reader.token("<Priors>")
    reader.array()
    if reader.at != len(reader.data):
        raise ValueError(f"{len(reader.data) - reader.at} bytes beyond the end")
    chain = Chain(phones, entries, topology, tuples, log_probabilities)
    return Model(chain, config, components, left, right)


def _entry(reader: _Reader, with_loops: bool) -> tuple[State, ...]:  # noqa: FBT001  as the file says
    states: list[State] = []
    for _ in range(reader.integer()):
        forward = reader.integer()
        loop = reader.integer() if with_loops else forward
        states.append(
            (forward, loop, tuple((reader.integer(), float(reader.number())) for _ in range(reader.integer())))
        )
    return tuple(states)


class _Writer:
    def __init__(self) -> None:
        self.parts = [b"\0B"]

    def put(self, *values: Any) -> None:  # noqa: ANN401  every type has its form
        """Text as a token, bool, int, float, a tuple of ints, an array: each in the form that the reader expects."""
        for value in values:
            self.parts.append(self._form(value))

    def _form(self, value: Any) -> bytes:  # noqa: ANN401, PLR0911  one for every type
        if isinstance(value, str):
            return value.encode() + b" "
        if isinstance(value, bool):
            return b"T" if value else b"F"
        if isinstance(value, int):
            return b"\4" + struct.pack("<i", value)
        if isinstance(value, float):
            return b"\4" + struct.pack("<f", value)
        if isinstance(value, Double):
            return b"\x08" + struct.pack("<d", value.value)
        if isinstance(value, tuple):
            return b"\4" + struct.pack(f"<{len(value) + 1}i", len(value), *value)
        array = np.ascontiguousarray(value, dtype="<f4")
        sizes = b"".join(b"\4" + struct.pack("<i", size) for size in array.shape)
        return (b"FV " if array.ndim == 1 else b"FM ") + sizes + array.tobytes()

    def component(self, fields: Component) -> None:
        kind = fields["type"]
        self.put(f"<{kind}>")
        for name, default in _WRITTEN[kind].items():
            value = fields.get(name, default)
            self.put(f"<{name}>")
            if name in _PAIRS:
                self.put(*value)
            else:
                self.put(Double(value) if isinstance(default, Double) and not isinstance(value, Double) else value)
        self.put(f"</{kind}>")


@dataclass(frozen=True, slots=True)
class Double:
    """A number that takes eight bytes in the file."""

    value: float


_NOTHING = np.zeros(0, dtype=np.float32)
_RATE = {"LearningRate": 0.001}
_WRITTEN: Mapping[str, Component] = {
    "NaturalGradientAffineComponent": {
        **_RATE,
        "LinearParams": None,
        "BiasParams": None,
        "RankIn": 20,
        "RankOut": 80,
        "UpdatePeriod": 4,
        "NumSamplesHistory": 2000.0,
        "Alpha": 4.0,
    },
    "FixedAffineComponent": {"LinearParams": None, "BiasParams": None},
    "LinearComponent": {
        **_RATE,
        "Params": None,
        "UseNaturalGradient": True,
        "RankInOut": (20, 80),
        "Alpha": 4.0,
        "NumSamplesHistory": 2000.0,
        "UpdatePeriod": 4,
    },
    "TdnnComponent": {
        **_RATE,
        "TimeOffsets": None,
        "LinearParams": None,
        "BiasParams": _NOTHING,
        "OrthonormalConstraint": 0.0,
        "UseNaturalGradient": True,
        "NumSamplesHistory": 2000.0,
        "AlphaInOut": (4.0, 4.0),
        "RankInOut": (20, 80),
    },
    "RectifiedLinearComponent": {
        "Dim": None,
        "ValueAvg": _NOTHING,
        "DerivAvg": _NOTHING,
        "Count": Double(0),
        "OderivRms": _NOTHING,
        "OderivCount": Double(0),
        "NumDimsSelfRepaired": Double(0),
        "NumDimsProcessed": Double(0),
    },
    "BatchNormComponent": {
        "Dim": None,
        "BlockDim": None,
        "Epsilon": 1e-3,
        "TargetRms": 1.0,
        "TestMode": True,
        "Count": 1e5,
        "StatsMean": None,
        "StatsVar": None,
    },
    "NoOpComponent": {"Dim": None, "BackpropScale": 1.0},
}
"""The fields of each component in the order in which they are written; those of training have the trainer's usual values."""


def write(path: Path, model: Model) -> None:
    """The model as a file. Only the components of `_WRITTEN` can be written; what only a trainer reads gets plain values."""
    writer = _Writer()
    chain = model.chain
    writer.put("<TransitionModel>", "<Topology>", chain.phones, chain.entries, -1, len(chain.topology))
    for states in chain.topology:
        writer.put(len(states))
        for forward, loop, transitions in states:
            writer.put(forward, loop, len(transitions))
            for state, probability in transitions:
                writer.put(state, float(probability))
    writer.put("</Topology>", "<Tuples>", len(chain.tuples), *(number for each in chain.tuples for number in each))
    writer.put("</Tuples>", "<LogProbs>", chain.log_probabilities, "</LogProbs>", "</TransitionModel>", "<Nnet3>")
    writer.parts.append(("\n" + "\n".join(model.config) + "\n\n").encode())
    writer.put("<NumComponents>", len(model.components))
    for name, component in model.components.items():
        writer.put("<ComponentName>", name)
        writer.component(component)
    writer.put("</Nnet3>", "<LeftContext>", model.left_context, "<RightContext>", model.right_context)
    writer.put("<Priors>", _NOTHING)
    path.write_bytes(b"".join(writer.parts))


def without(model: Model, dropped: Sequence[str]) -> Model:
    """The model without the nodes whose names begin with one of `dropped`; who read from a lost dropout reads from its input."""
    config = []
    for line in model.config:
        fields = dict(part.split("=", 1) for part in line.split(" ", 3)[1:])
        if fields["name"].startswith(tuple(dropped)):
            continue
        if fields["name"].endswith(".dropout"):
            continue
        config.append(line.replace(".dropout", ".batchnorm"))
    used = {line.split(" ")[1].removeprefix("name=") for line in config if line.startswith("component-node")}
    components = {name: each for name, each in model.components.items() if name in used}
    return replace(model, config=tuple(config), components=components)
