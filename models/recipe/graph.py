"""The graph of the recogniser: which transitions make which words, and the folder around it.

`HCLr.fst` leads from transitions to words: a loop of all words with optional silence after each, without grammar.
`Gr.fst` is the grammar for whoever gives none; the program always gives one. The look-ahead form of the first renumbers the
words, so `words.txt` and the second are written with the new numbers. Needs OpenFst's tools (Debian: libfst-tools).
"""

import math
import os
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

from models.recipe.phones import COUNT, GARBAGE, OTHER_SPEECH, boundaries, entering, numbers, staying, table
from models.recipe.pronounce import Phones

LOOKAHEAD = ("/usr/lib/x86_64-linux-gnu/libfstlookahead.so.22", "/usr/lib/aarch64-linux-gnu/libfstlookahead.so.22")
"""Where Debian keeps the form that the tools look for as olabel_lookahead-fst.so."""
CEPSTRA = """\
--use-energy=false
--num-mel-bins=40
--num-ceps=40
--low-freq=20
--high-freq=7600
--allow-upsample=true
--allow-downsample=true
"""
DECODING = """\
--min-active=200
--max-active=3000
--beam=13.0
--lattice-beam=6.0
--acoustic-scale=1.0
--frame-subsampling-factor=3
--endpoint.silence-phones=1
--endpoint.rule2.min-trailing-silence=0.5
--endpoint.rule3.min-trailing-silence=1.0
--endpoint.rule4.min-trailing-silence=2.0
"""
_START, _WORD, _PAUSE, _SILENCE = 0, 1, 2, 3


def arcs(words: Sequence[str], pronunciations: Mapping[str, Sequence[Phones]], other_speech_cost: float) -> list[str]:
    """The lines of HCL: from, to, transition, word, cost. The words have the numbers 1, 2, ... of their order; 0 is none.

    Silence is as likely as none, before the first word and after every one. `[unk]` is one garbage phone, at a cost.
    """
    even = math.log(2)
    lines = [f"{_START} {_WORD} 0 0 {even:.4f}", f"{_START} {_PAUSE} 0 0 {even:.4f}"]
    lines += [
        f"{_PAUSE} {_SILENCE} {entering(1)} 0",
        f"{_SILENCE} {_SILENCE} {staying(1)} 0",
        f"{_SILENCE} {_WORD} 0 0",
    ]
    state = _SILENCE
    for number, word in enumerate(words, 1):
        other = word == OTHER_SPEECH
        for phones in [(GARBAGE,)] if other else pronunciations[word]:
            source = _WORD
            for place, phone in enumerate(numbers(phones)):
                state += 1
                cost = other_speech_cost if other else 0.0
                lines.append(f"{source} {state} {entering(phone)} {0 if place else number} {cost:.4f}")
                lines.append(f"{state} {state} {staying(phone)} 0")
                source = state
            lines += [f"{source} {_WORD} 0 0 {even:.4f}", f"{source} {_PAUSE} 0 0 {even:.4f}"]
    return [*lines, f"{_WORD} 0.0"]


def write(folder: Path, pronunciations: Mapping[str, Sequence[Phones]], other_speech_cost: float = 0.0) -> None:
    """The folders graph/ and conf/ of a Vosk model. Raises FileNotFoundError when the tools are missing."""
    words = [OTHER_SPEECH, *sorted(pronunciations)]
    target = folder / "graph"
    (target / "phones").mkdir(parents=True, exist_ok=True)
    (folder / "conf").mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        (place / "hcl.txt").write_text("\n".join(arcs(words, pronunciations, other_speech_cost)) + "\n")
        _run(place, "fstcompile hcl.txt | fstarcsort --sort_type=olabel > hcl.fst")
        _run(place, "fstconvert --fst_type=olabel_lookahead --save_relabel_opairs=pairs hcl.fst HCLr.fst")
        renumbered = dict(tuple(map(int, line.split())) for line in (place / "pairs").read_text().splitlines() if line)
        ids = {word: renumbered.get(number, number) for number, word in enumerate(words, 1)}
        even = math.log(len(words) + 1)
        rows = [f"0 0 {ids[word]} {ids[word]} {even:.4f}" for word in words]
        (place / "g.txt").write_text("\n".join([*rows, f"0 {even:.4f}"]) + "\n")
        _run(place, "fstcompile g.txt | fstarcsort --sort_type=ilabel | fstconvert --fst_type=const > Gr.fst")
        for file in ("HCLr.fst", "Gr.fst"):
            (target / file).write_bytes((place / file).read_bytes())
    (target / "words.txt").write_text("\n".join(["<eps> 0", *(f"{word} {ids[word]}" for word in words)]) + "\n")
    (target / "phones.txt").write_text(table())
    (target / "phones" / "word_boundary.int").write_text(boundaries())
    (target / "disambig_tid.int").write_text(f"{2 * COUNT + 1}\n")  # read, but no arc has it
    (folder / "conf" / "mfcc.conf").write_text(CEPSTRA)
    (folder / "conf" / "model.conf").write_text(DECODING)


def _run(place: Path, command: str) -> None:
    """One line of OpenFst's tools, with its look-ahead form within their reach. Raises RuntimeError with what they say."""
    library = place / "olabel_lookahead-fst.so"
    source = next((path for path in map(Path, LOOKAHEAD) if path.exists()), None)
    if source and not library.exists():
        library.symlink_to(source)
    paths = os.pathsep.join(filter(None, (str(place), os.environ.get("LD_LIBRARY_PATH"))))
    done = subprocess.run(  # noqa: S603  the commands are those above
        ["bash", "-o", "pipefail", "-c", command],  # noqa: S607  found where the system has it
        cwd=place,
        env={**os.environ, "LD_LIBRARY_PATH": paths},
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise RuntimeError(f"{command}: {done.stderr.strip() or 'failed'} (Debian: apt-get install libfst-tools)")
