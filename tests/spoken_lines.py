"""Everything that is ever said: every sentence of the assistant, and every phrase of the grammar.

Sentences come from the modules and files that hold them, so a new one is in the list by itself: constants and tables are taken
whole, with values in the places that are left open; functions are called with the arguments in GIVEN, by name.
"""

import inspect
import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from decimal import Decimal
from itertools import cycle
from pathlib import Path
from types import ModuleType

from coil_cases import reading

from assistant.devices.speaker import for_speech
from assistant.dialogue.state import Bench
from assistant.language import device_wording, hidden_wording, verdict_wording, wording
from assistant.language.lexicon import Lexicon
from assistant.language.meaning import Expectation, NotUnderstood, Why
from assistant.language.sentences import sentences
from assistant.language.understand import understand
from assistant.measure.units import Numeral
from assistant.score.manifest import Case, value

READINGS = tuple(map(reading, ("1.4", "0.85", "15", "50", "4.70k", "15.05k", "9.95k", "2.3M", "OL", "jumping")))
GIVEN: Mapping[str, object] = {
    "title": "the primary reading",
    "reason": wording.UNUSUAL,
    "meaning": NotUnderstood(Why.UNKNOWN_WORD, 0, "bed"),
    "words": "four bed",
    "text": "20",
    "celsius": "-6.7",
    "pairs": (("homs", "ohms"),),
    "numeral": Numeral("4700"),
    "readings": (("the leads", reading("0.3")), ("the primary reading", reading("1.4"))),
    "phase": "a question is open",
    "label": "14",
    "meter": "pocket meter with a dial set by hand",
    "phrases": ("two-stroke", "no spark at all"),
    "full_ohm": 20_000,
    "finest_ohm": Decimal(10),
    "words_a_minute": 200,
    "percent": 80,
    "line": device_wording.MICROPHONE_GONE,
    "device": "microphone",
    "second": reading("50"),
    "command": "pip install sound",
    "kind": "microphone",
    "wanted": "desk",
    "there": ("one", "two"),
    "name": "desk",
    "why": "it is busy",
    "over": True,
    "answer": True,
}
"""Arguments by name. A reading goes through all READINGS."""
OF_SENTENCES = 10
"""Of the sentences made from the grammar, which are a sample of numbers, units and fillers themselves, every so many."""
LED = (
    "one point four ohms",
    "four point seven kilo ohms",
    "six point two five k",
    "zero point eight ohms",
    "twelve point one k",
)
"""Values that are said in a sentence."""
NO_SENTENCES = frozenset({"shorten", "printed_ohms", "heard", "not_sure", "left"})
"""Functions that give parts of sentences, and lines that are only shown."""
_A_READING = ("reading", "limit", "first")
_SENTENCE = re.compile(r"(?<=[.?!])\s+")


def functions(module: ModuleType) -> dict[str, inspect.Signature]:
    """The functions of a module that give sentences."""
    found = inspect.getmembers(module, inspect.isfunction)
    own = ((name, function) for name, function in found if function.__module__ == module.__name__)
    return {name: inspect.signature(one) for name, one in own if not name.startswith("_") and name not in NO_SENTENCES}


def lines(bench: Bench) -> tuple[str, ...]:
    """Every sentence, as it is printed, each once."""
    found = [*_called(wording), *_called(device_wording)]
    for module in (wording, device_wording, verdict_wording, hidden_wording):
        found += _written(module)
    for step in bench.procedure.steps:
        found += [step.caution, step.do, step.ask, step.wrong]
    for name in bench.lexicon.expectations:
        found += bench.lexicon.help(Expectation(name))
    found += [wording.answered((say,)) for say in bench.lexicon.answer_names.values()]
    parts = (part.strip() for text in found for part in _SENTENCE.split(text))
    return tuple(dict.fromkeys(part for part in parts if for_speech(part)))


def _called(module: ModuleType) -> Iterator[str]:
    for name, signature in functions(module).items():
        names = tuple(signature.parameters)
        for one in READINGS if set(names) & set(_A_READING) else (None,):
            yield str(getattr(module, name)(**{each: one if each in _A_READING else GIVEN[each] for each in names}))


def _written(module: ModuleType) -> Iterator[str]:
    """Constants and the tables of a module that are whole sentences."""
    for name, content in vars(module).items():
        if not name.startswith("__"):
            for text in content.values() if isinstance(content, Mapping) else (content,):
                if isinstance(text, str) and text.rstrip().endswith((".", "?")):
                    yield text.format_map(defaultdict(lambda: "4.7 kΩ", tap="primary", take="primary", text="bed"))


def said_cases(bench: Bench, voice: str) -> Iterator[Case]:
    """Every sentence of the assistant. It must mean to the ears what its text means, mostly nothing."""
    anything = Expectation("any")
    for line in lines(bench):
        words = for_speech(line)
        truth = value(understand(words, anything, bench.lexicon, typed=False).meaning)
        yield Case(f"{voice}: {line}", Path(), line, "sentence", voice, anything, truth)


def phrase_cases(lexicon: Lexicon, voice: str) -> Iterator[Case]:
    """Every phrase of the grammar where it is first live, and sentences with numbers, units and fillers."""
    seen = set[str]()
    for name in ("any", *lexicon.expectations):
        expectation = Expectation(name)
        phrases = (" ".join(phrase) for phrase in lexicon.phrases(expectation))
        made = sentences(lexicon, expectation)[::OF_SENTENCES] if name in ("any", "temperature") else ()
        for words in (*phrases, *made):
            if words not in seen and not any(word[0].isdigit() for word in words.split()):
                seen.add(words)
                truth = value(understand(words, expectation, lexicon, typed=False).meaning)
                yield Case(f"{voice}: {words}", Path(), words, "phrase", voice, expectation, truth)


def led_cases(lexicon: Lexicon, voice: str) -> Iterator[Case]:
    """A reading in a sentence: everything that may be said before a value, with one value after the other."""
    expectation = Expectation("secondary")
    leads = sorted(" ".join(phrase) for kind in ("before", "about", "corrections") for phrase in lexicon.fillers[kind])
    for lead, reads in zip(leads, cycle(LED), strict=False):
        words = f"{lead} {reads}"
        truth = value(understand(words, expectation, lexicon, typed=False).meaning)
        yield Case(f"{voice}: {words}", Path(), words, "reading in a sentence", voice, expectation, truth)
