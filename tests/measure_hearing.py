"""How well the program hears the people of ../shared/speech: `python tests/measure_hearing.py [--speech DIR] [options of score]`.

The same as `ohmaloud score DIR/manifest.tsv --audio DIR/audio`, with every option of it, and the speakers named.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from assistant.__main__ import main

SPEECH = Path(__file__).parents[2] / "shared" / "speech"


def command(arguments: list[str]) -> list[str]:
    """The arguments of `ohmaloud` for those of this script."""
    speech, rest = SPEECH, arguments
    if "--speech" in rest[:-1]:
        at = rest.index("--speech")
        speech, rest = Path(rest[at + 1]), [*rest[:at], *rest[at + 2 :]]
    return ["score", str(speech / "manifest.tsv"), "--audio", str(speech / "audio"), *rest]


if __name__ == "__main__":
    sys.exit(main(command(sys.argv[1:])))
