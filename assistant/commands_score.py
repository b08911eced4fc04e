"""What `ohmaloud score` does: the recordings of a manifest heard, and the figures."""

import argparse
import os
import sys
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.errors import BadInput
from assistant.streams import out

if TYPE_CHECKING:
    from assistant.devices.ports import Recogniser
    from assistant.language.lexicon import Lexicon
    from assistant.score.hearing import Level, Row
    from assistant.score.manifest import Case


def score(options: argparse.Namespace) -> int:
    """How well the program hears these recordings. 2 for a manifest, noise or recording that cannot be used."""
    from assistant.preflight import load_bench, read_files
    from assistant.score.manifest import read_manifest
    from assistant.score.told import lines

    bench = load_bench(read_files())
    manifest = Path(options.manifest)
    cases = read_manifest(manifest, Path(options.audio) if options.audio else manifest.parent, bench)[:: options.every]
    found = measured(cases, levels(options), bench.lexicon, options.engine, options.vosk_model)
    if options.json:
        out(found)
    else:
        print("\n".join(lines(found, options.by)), flush=True)
    return 0


def levels(options: argparse.Namespace) -> "list[Level]":
    """Clean, and every ratio of speech to noise that was asked for."""
    from assistant.score.hearing import clean, loaded, noisy

    if options.snr and not options.noise:
        raise BadInput("--snr wants --noise FILE: the sound to mix under the speech")
    noises = [loaded(Path(name)) for name in options.noise or ()]
    silent = [name for name, noise in zip(options.noise or (), noises, strict=True) if not noise.any()]
    if silent:
        raise BadInput(f"{silent[0]}: is silent from end to end; expected a noise")
    return [clean(), *(noisy(noises, snr_db) for snr_db in (options.snr or (20.0, 10.0, 5.0, 0.0)) if noises)]


def measured(
    cases: "Sequence[Case]",
    at: "Sequence[Level]",
    lexicon: "Lexicon",
    engine: str | None = None,
    vosk_model: Path | None = None,
) -> dict[str, Any]:
    """All figures of these cases at these levels, with the engine and the machine's part in them."""
    from assistant.devices.engines import open_recogniser
    from assistant.score.hearing import heard

    began = time.perf_counter()
    recogniser = open_recogniser(engine, lexicon, vosk_model)
    load_s = time.perf_counter() - began
    rows = list(shown(heard(cases, at, recogniser, lexicon), len(cases) * len(at)))
    return with_machine(rows, recogniser, load_s)


def with_machine(rows: "Sequence[Row]", recogniser: "Recogniser", load_s: float) -> dict[str, Any]:
    """The figures of these rows, and beside them what they were measured with."""
    from assistant.score.figures import figures

    return {
        "engine": recogniser.name,
        "cores": len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count(),
        "load_s": round(load_s, 2),
        "peak_mb": _peak_mb(),
        **figures(rows),
    }


def _peak_mb() -> int | None:
    """The most memory this process held, in megabytes; None where the system does not say (Windows)."""
    try:
        import resource
    except ImportError:
        return None
    unit = 1024 if sys.platform == "darwin" else 1  # bytes there, kilobytes elsewhere
    return round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit / 1024)


def shown(rows: "Iterable[Row]", of: int) -> "Iterable[Row]":
    """The same rows; at a terminal, how far it has come."""
    at_terminal = sys.stderr.isatty()
    for done, row in enumerate(rows, 1):
        if at_terminal:
            print(f"\r{done} of {of}", end="", file=sys.stderr, flush=True)
        yield row
    if at_terminal:
        print(file=sys.stderr)


COMMANDS: Mapping[str, Callable[[argparse.Namespace], int]] = {"score": score}
