"""Can an engine hear what the grammar wants? Which meanings it has no words for.

Checked when an engine is opened. A word that is missing costs a phrase, a meaning without any phrase an answer that must be
typed; without the essential ones there is no session by ear.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator

from assistant.language.lexicon import Lexicon
from assistant.language.toml_reader import Phrase

ESSENTIAL = frozenset({*(f"digit {digit}" for digit in range(10)), "point", "Ω", "kΩ", "MΩ", "yes", "no", "stop"})
"""What every session needs to hear."""


def unheard(lexicon: Lexicon, knows: Callable[[str], bool]) -> tuple[str, ...]:
    """The meanings that every phrase of is lost on an engine that knows these words alone: `digit 4`, `stop`, `kΩ`."""
    phrases: dict[str, list[Phrase]] = defaultdict(list)
    for meaning, phrase in _meanings(lexicon):
        if not any(word.isdigit() for word in phrase):
            phrases[meaning].append(phrase)
    return tuple(meaning for meaning, said in phrases.items() if not any(all(map(knows, phrase)) for phrase in said))


def _meanings(lexicon: Lexicon) -> Iterator[tuple[str, Phrase]]:
    """Every meaning that must be sayable, with each of its phrases."""
    yield from ((f"digit {digit}", (word,)) for word, digit in lexicon.numbers.digits.items())
    yield from (("point", (word,)) for word in sorted(lexicon.numbers.marks["point"]))
    yield from ((unit.symbol, phrase) for phrase, unit in lexicon.units.items() if phrase not in lexicon.units_typed)
    yield from ((name, phrase) for phrase, name in lexicon.commands.items())
    yield from ((name, phrase) for phrase, name in lexicon.answers.items())
    yield from (("over range", phrase) for phrase in sorted(lexicon.over_range))
    yield from (("unsteady", phrase) for phrase in sorted(lexicon.unsteady))
