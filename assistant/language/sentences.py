"""Sentences that may be said, made from the grammar: the word order a recogniser learns, and the cases of the over-match tests.

The same lexicon gives the same sentences in the same order. They cover every live phrase and every word that is ever heard;
numbers are a spread sample, since there are too many to list.
"""

from collections.abc import Iterator, Sequence

from assistant.language.lexicon import Answers, Lexicon
from assistant.language.meaning import Expectation
from assistant.language.toml_reader import Phrase

MOST_SENTENCES = 3000
"""A recogniser's grammar of about this size works well (measured with the prototype model; a bare word list does not)."""
# digit strings by length, at most so many; of one and two digits that is all of them
_STRINGS = {1: 20, 2: 200, 3: 200, 4: 200, 5: 100}
_DECIMALS = 700
_STRIDE = 7919  # a prime: steps of it visit every residue before any comes twice


def sentences(lexicon: Lexicon, expectation: Expectation) -> tuple[str, ...]:
    """At most MOST_SENTENCES different sentences, lower case, single spaces, the phrases first.

    Every one is understood, but for a beep and the correction of a plain number ("no twenty five"): these must be heard
    as what they are to be refused.
    """
    live = lexicon.expects(expectation)
    made = [_phrases(lexicon, expectation)]
    if live.many:
        made.append(_several(lexicon, live.answers))
    if live.readings:
        made += [_digit_strings(lexicon), _decimals(lexicon), _other_numbers(lexicon)]
        made.append(_with_fillers(lexicon, _SPOKEN_VALUES, ("before", "about", "corrections")))
    if live.readings and not live.values_only:
        made.append(_unsteady(lexicon))
    if live.number:
        made += [_digit_strings(lexicon), _whole_numbers(lexicon, live.number)]
        about = () if live.number == "plain" else ("about",)
        made.append(_with_fillers(lexicon, _SPOKEN_NUMBERS, ("before", "corrections", *about)))
    if live.before or live.after:
        units = sorted(lexicon.units_of(live.number)) or _units(lexicon)
        made.append(_named(live, [(*value, *units[at % len(units)]) for at, value in enumerate(_FIGURES)]))
    found = dict.fromkeys(" ".join(words) for part in made for words in part)
    return tuple(found)[:MOST_SENTENCES]


def _phrases(lexicon: Lexicon, expectation: Expectation) -> Iterator[Phrase]:
    """Every live phrase that can be heard, politely too."""
    unsaid = lexicon.units.keys() - lexicon.units_said | lexicon.units_of(lexicon.expects(expectation).number)
    yield from (phrase for phrase in lexicon.phrases(expectation) if _sayable(phrase) and phrase not in unsaid)
    commands = [phrase for phrase in lexicon.commands if len(phrase) == 1]
    polite = sorted(lexicon.fillers["polite"])
    for index, filler in enumerate(polite):
        yield (*filler, *commands[index % len(commands)])
        yield (*commands[index % len(commands)], *filler)
    for index, filler in enumerate(sorted(lexicon.fillers["hesitations"])):
        yield (*filler, *commands[index % len(commands)])


def _sayable(phrase: Phrase) -> bool:
    return not any(word[0].isdigit() for word in phrase)


def _spread(items: Sequence[str], at: int) -> str:
    return items[at * _STRIDE % len(items)]


def _digits(lexicon: Lexicon) -> list[str]:
    """The words for the ten digits, "oh" and "nought" among them."""
    return [word for word in lexicon.numbers.digits if len(word) > 1]


def _digit_strings(lexicon: Lexicon) -> Iterator[Phrase]:
    words = _digits(lexicon)
    for length, count in _STRINGS.items():
        every = len(words) ** length
        for index in range(min(every, count)):
            number = index * _STRIDE % every
            phrase = tuple(words[number // len(words) ** place % len(words)] for place in range(length))
            if phrase != ("oh",):
                yield phrase


def _wholes(lexicon: Lexicon) -> list[Phrase]:
    """Whole parts from nought to one hundred and ninety-nine, as words."""
    numbers = lexicon.numbers
    digits = _digits(lexicon)
    units = [word for word in digits if numbers.digits[word] != "0"]
    small: list[Phrase] = [(word,) for word in (*digits, *numbers.teens, *numbers.tens)]
    small += [(ten, unit) for ten in numbers.tens for unit in units]
    hundred = [("one", "hundred", "and", *words) for words in small if numbers.digits.get(words[0]) != "0"]
    strings = [("one", first, second) for first in digits for second in digits]
    return [("point",), *small, ("one", "hundred"), *hundred[::3], *strings[::3]]


def _units(lexicon: Lexicon) -> list[Phrase]:
    scaled = frozenset(lexicon.numbers.marks["thousand"])
    return [unit for unit in sorted(lexicon.units_said) if not scaled.intersection(unit)]


def _decimals(lexicon: Lexicon) -> Iterator[Phrase]:
    digits, wholes, units = _digits(lexicon), _wholes(lexicon), _units(lexicon)
    points = sorted(lexicon.numbers.marks["point"], key=len, reverse=True)
    for index in range(_DECIMALS):
        whole = wholes[index % len(wholes)]
        places = tuple(_spread(digits, index + 5 * place + index // 3) for place in range(1 + index % 3))
        unit = units[index % len(units)] if index % 4 else ()
        yield (*whole, *(("point",) if whole != ("point",) else ()), *places, *unit)
    for index, pair in enumerate((*lexicon.numbers.teens, *lexicon.numbers.tens)):
        yield (_spread(digits[:4], index), "point", pair, *units[index % len(units)])
    for index, digit in enumerate(digits):
        yield (digit, points[index % len(points)], digits[(index + 3) % len(digits)])


def _other_numbers(lexicon: Lexicon) -> Iterator[Phrase]:
    """Hundreds, thousands, halves, "four k seven"."""
    nonzero = _nonzero(lexicon)
    for index, digit in enumerate(nonzero):
        other = nonzero[(index + 3) % len(nonzero)]
        yield from (
            (digit, "thousand", other, "hundred"),
            (digit, "thousand", "ohms"),
            (digit, "hundred", "ohms"),
            (digit, "hundred", "and", other, "ohms"),
            (digit, "point", other, "thousand", "ohms"),
            (digit, "and", "a", "half"),
        )
        yield from ((digit, infix, other) for infix in sorted(lexicon.infix))
        yield from ((word, digit, other) for word in lexicon.numbers.repeats)
    yield from ((tens, "seven", "hundred") for tens in lexicon.numbers.tens)
    for fraction in lexicon.numbers.fractions:
        for unit in _units(lexicon):
            article = ("an",) if unit[0].startswith("o") else ("a",)
            yield (*fraction, *(article if fraction[-1] == "half" else ()), *unit)


_SPOKEN_VALUES: tuple[Phrase, ...] = (
    ("four", "point", "seven", "k"),
    ("one", "point", "four", "ohms"),
    ("nought", "point", "three", "ohms"),
)
_SPOKEN_NUMBERS: tuple[Phrase, ...] = (("two", "zero"), ("eighteen",), ("twenty", "five"))


def _with_fillers(lexicon: Lexicon, values: tuple[Phrase, ...], names: tuple[str, ...]) -> Iterator[Phrase]:
    fillers = lexicon.fillers
    for name in names:
        for index, filler in enumerate(sorted(fillers[name])):
            yield (*filler, *values[index % len(values)])
    for index, filler in enumerate(sorted(fillers["after"])):
        yield (*values[index % len(values)], *filler)


_FIGURES: tuple[Phrase, ...] = (
    ("nought", "point", "eight"),
    ("two",),
    ("two", "hundred"),
    ("point", "one"),
    ("one", "point", "five"),
    ("three",),
    ("twenty",),
    ("zero", "point", "five"),
)


def _named(live: Answers, values: list[Phrase]) -> Iterator[Phrase]:
    """Figures with what people call them at this question, before or after."""
    for index, name in enumerate(sorted(live.before)):
        yield from ((*name, *value) for value in (values[index % len(values)], values[(index + 3) % len(values)]))
    for index, name in enumerate(sorted(live.after)):
        yield from ((*value, *name) for value in (values[index % len(values)], values[(index + 3) % len(values)]))


def _several(lexicon: Lexicon, live: tuple[str, ...]) -> Iterator[Phrase]:
    """Two answers in one breath, with every word that may join them."""
    phrases = [
        phrase
        for phrase, name in lexicon.answers.items()
        if name in live and name not in lexicon.alone and _sayable(phrase)
    ]
    joins = sorted(lexicon.fillers["joins"])
    for index, phrase in enumerate(phrases):
        yield (*phrase, *joins[index % len(joins)], *phrases[(index * _STRIDE + 1) % len(phrases)])


def _unsteady(lexicon: Lexicon) -> Iterator[Phrase]:
    units = _units(lexicon)
    nonzero = _nonzero(lexicon)
    for index, between in enumerate(sorted(lexicon.between)):
        low = nonzero[index % (len(nonzero) - 1)]
        high = nonzero[index % (len(nonzero) - 1) + 1]
        for to in sorted(lexicon.between_to):
            yield (*between, low, to, high, *units[index % len(units)])
    for index, phrase in enumerate(sorted(lexicon.unsteady | lexicon.over_range)):
        if _sayable(phrase):
            yield (("it's", "it", "is")[index % 2], *phrase)


def _whole_numbers(lexicon: Lexicon, number: str) -> Iterator[Phrase]:
    """Job numbers, temperatures and gaps; the last two have their unit after them, and temperatures may be signed."""
    wholes = [whole for whole in _wholes(lexicon) if whole != ("point",)]
    units = [phrase for phrase in sorted(lexicon.units_of(number)) if len(phrase[-1]) > 1]
    minus = sorted(lexicon.numbers.marks["minus"])
    for index, whole in enumerate(wholes):
        yield whole
        if units:
            yield (*whole, *units[index % len(units)])
        if number == "signed":
            yield (minus[index % len(minus)], *whole, *(units[0] if index % 2 else ()))
    yield from ((word, "one", "two") for word in lexicon.numbers.repeats)
    yield from (("four", point, "five") for point in sorted(lexicon.numbers.marks["point"]))
    yield from (("two", "and", *fraction) for fraction in lexicon.numbers.fractions)
    yield from (("one", "thousand"), ("a", "hundred"))


def _nonzero(lexicon: Lexicon) -> list[str]:
    return [word for word in _digits(lexicon) if lexicon.numbers.digits[word] != "0"]
