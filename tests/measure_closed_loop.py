"""What is said is heard again: `python tests/measure_closed_loop.py [--every 20] [--engine built-in] [--json]`.

Every sentence of the assistant, every phrase of the grammar and readings in sentences (spoken_lines.py) are spoken by every
synthetic voice there is (voices.py, two at least) and go into the ears.
*Understood the same* means that the sound means what its text means:
a phrase its command, answer or value; a value read back ("Primary reading: 1.4 Ω") that very value; any other sentence
nothing. Asked again is allowed, another meaning taken surely is not: such a sentence the ears would take for an answer.
"""

import argparse
import json
import sys
import time
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from spoken_lines import led_cases, phrase_cases, said_cases
from voices import Cast, there

from assistant.commands_score import shown, with_machine
from assistant.devices.engines import open_recogniser
from assistant.dialogue.state import Bench
from assistant.preflight import load_bench, read_files
from assistant.score.hearing import clean, heard
from assistant.score.manifest import Case
from assistant.score.told import lines


def cases(bench: Bench, every: int) -> Iterator[Case]:
    """Every Nth thing that is said, by every voice; another Nth for each of them, so that a sample holds more."""
    for number, voice in enumerate(there()):
        everything = [*said_cases(bench, voice), *phrase_cases(bench.lexicon, voice), *led_cases(bench.lexicon, voice)]
        yield from everything[number % every :: every]


def main() -> None:
    """Measures and prints."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--engine", help="built-in, vosk or both; left out, the best that is installed")
    parser.add_argument("--vosk-model", type=Path, help="folder of a Vosk model")
    parser.add_argument("--every", type=int, default=1, help="only every Nth sentence and phrase")
    parser.add_argument("--json", action="store_true", help="print JSON")
    options = parser.parse_args()
    bench = load_bench(read_files())
    began = time.perf_counter()
    recogniser = open_recogniser(options.engine, bench.lexicon, options.vosk_model)
    load_s = time.perf_counter() - began
    wanted = list(cases(bench, options.every))
    with Cast() as cast:
        heard_again = heard(
            wanted, [clean()], recogniser, bench.lexicon, lambda case: cast.say(case.words, case.speaker)
        )
        found = with_machine(list(shown(heard_again, len(wanted))), recogniser, load_s)
    print(json.dumps(found, ensure_ascii=False) if options.json else "\n".join(lines(found, "speaker")))


if __name__ == "__main__":
    main()
