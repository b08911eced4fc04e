"""The words of the language, read from the files in `grammar/` and checked as a whole."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from assistant.errors import BadData
from assistant.language.lexicon_checks import check_homophones, check_owners
from assistant.language.meaning import Expectation
from assistant.language.numbers import NumberWords
from assistant.language.thresholds import Thresholds, thresholds
from assistant.language.toml_reader import Phrase, TomlReader
from assistant.measure.units import Unit


@dataclass(frozen=True, slots=True)
class Answers:
    """What one expectation makes live. `number` is empty or one of NUMBERS; `renamed` maps an answer to what it means here.

    `before` and `after` are what people say around an answer to this question alone.
    """

    name: str
    help: str
    readings: bool = False
    values_only: bool = False
    unit: bool = False
    number: str = ""
    text: bool = False
    many: bool = False
    answers: tuple[str, ...] = ()
    renamed: Mapping[str, str] = field(default_factory=dict)
    short: Mapping[Phrase, str] = field(default_factory=dict)
    before: frozenset[Phrase] = frozenset()
    after: frozenset[Phrase] = frozenset()


@dataclass(frozen=True, slots=True)
class Lexicon:
    """Every word and phrase that has a meaning, and what is live when."""

    numbers: NumberWords
    units: Mapping[Phrase, Unit]
    units_said: frozenset[Phrase]
    """Those of `units` that are said in separate words, for recognisers that know no "kilohm"."""
    units_typed: frozenset[Phrase]
    """Those that are only ever typed."""
    infix: Mapping[str, Unit]
    symbols: Mapping[str, Unit]
    ambiguous_symbols: frozenset[str]
    unit_names: Mapping[Unit, tuple[str, str]]
    degrees: frozenset[Phrase]
    degrees_refused: frozenset[Phrase]
    fahrenheit: frozenset[Phrase]
    """Said after a temperature instead of `degrees`; empty in older records, where they are among those refused."""
    lengths: frozenset[Phrase]
    """Said after a gap, in millimetres; empty in records that are older than such questions."""
    other_units: frozenset[Phrase]
    """Units of something else than resistance, said after a number that is refused; empty in older records."""
    figures: Mapping[str, frozenset[Phrase]]
    """Said after the figures of a meter's manual, `percent` and `counts`; empty in older records too."""
    commands: Mapping[Phrase, str]
    command_help: Mapping[str, str]
    answers: Mapping[Phrase, str]
    answer_names: Mapping[str, str]
    over_range: frozenset[Phrase]
    unsteady: frozenset[Phrase]
    between: frozenset[Phrase]
    between_to: frozenset[str]
    beep: frozenset[Phrase]
    fillers: Mapping[str, frozenset[Phrase]]
    homophones: Mapping[str, str]
    homophones_in_numbers: Mapping[str, str]
    spoken_digits: Mapping[str, str]
    confusable: Mapping[str, str]
    """Number words that sound alike, each to the other, in both directions."""
    expectations: Mapping[str, Answers]
    alone: frozenset[str]
    """Answers that must be all that was said, like `yes` and `no`: not after "it says", nor together with others."""
    certainty: Mapping[str, Thresholds]
    """What each engine must show before its words are taken without a question, by engine name."""

    known: frozenset[str] = field(init=False)
    """Every word that has a meaning somewhere."""
    apostrophes: Mapping[str, str] = field(init=False)
    """Known words with an apostrophe, by the same without it: `wont` for `won't`."""

    def __post_init__(self) -> None:
        words = set[str]().union(*(self.words(Expectation(name)) for name in self.expectations))
        known = frozenset(words.union(*self.units))
        object.__setattr__(self, "known", known)
        bare = {word.replace("'", ""): word for word in sorted(known) if "'" in word}
        object.__setattr__(self, "apostrophes", {typed: word for typed, word in bare.items() if typed not in known})

    def spelled(self, word: str) -> str:
        """The known word that differs at most in apostrophes: `wont` and `wo'nt` are `won't`, `'stop'` is `stop`."""
        bare = word.replace("'", "")
        return next((one for one in (word, bare) if one in self.known), self.apostrophes.get(bare, word))

    def expects(self, expectation: Expectation) -> Answers:
        """What is live; raises KeyError for a name that no expectation has (procedures are checked against `expectations`)."""
        return self.expectations[expectation.name]

    def units_of(self, number: str) -> frozenset[Phrase]:
        """What may be said after a number of this kind: degrees after `signed`, millimetres after `length`."""
        return {"signed": self.degrees, "length": self.lengths, **self.figures}.get(number, frozenset())

    def help(self, expectation: Expectation) -> tuple[str, ...]:
        """What can be said now, as lines to be spoken: the answers to the question, then the commands."""
        return (self.expects(expectation).help, "At any time: " + ", ".join(self.command_help.values()) + ".")

    def phrases(self, expectation: Expectation) -> Iterator[Phrase]:
        """Every whole phrase that is live, commands included, in file order; numbers and fillers are not phrases."""
        live = self.expects(expectation)
        yield from self.commands
        names = {*live.answers, *live.renamed}
        yield from (phrase for phrase, name in self.answers.items() if name in names)
        yield from live.short
        if live.readings and not live.values_only:
            yield from sorted(self.over_range | self.unsteady | self.beep)
        if live.unit:
            yield from (phrase for phrase in self.units if phrase not in self.units_typed)
        yield from sorted(self.units_of(live.number))

    def words(self, expectation: Expectation) -> tuple[str, ...]:
        """Every word that can be part of what is understood there, sorted; the word list of a recogniser."""
        live = self.expects(expectation)
        words = set[str]().union(*self.phrases(expectation))
        loose = [*self.fillers["hesitations"], *self.fillers["polite"]]
        if live.readings or live.number:
            words |= self.numbers.words - (frozenset() if live.number == "signed" else self.numbers.marks["minus"])
            loose += [*self.fillers["before"], *self.fillers["after"], *self.fillers["corrections"]]
            loose += self.fillers["about"] if live.number != "plain" else ()
            loose += [*live.before, *live.after]
        if live.readings:
            loose += [phrase for phrase in self.units if phrase not in self.units_typed]
        if live.readings and not live.values_only:
            loose += [*self.between]
            words |= self.between_to
        if live.many:
            loose += [*self.fillers["joins"]]
        return tuple(sorted(word for word in words.union(*loose) if not word.isdigit()))

    @property
    def vocabulary(self) -> tuple[str, ...]:
        """Every word of the language, sorted."""
        return tuple(sorted(self.known))


_FIGURES = ("percent", "counts")
NUMBERS = ("plain", "signed", "length", *_FIGURES)  # kinds of numbers, told apart by what may be said after them
_LATER = {"fahrenheit": ("words",), "lengths": ("words",), "other": ("words",), "figures": _FIGURES}
"""Tables of units.toml that older records have not."""
_FILES = ("answers", "certainty", "commands", "display", "expectations", "fillers", "homophones", "numbers", "units")
_UNITS = {"ohm": Unit.OHM, "kilohm": Unit.KILOHM, "megohm": Unit.MEGOHM, "milliohm": Unit.MILLIOHM}
_UNIT_WORDS = ("words", "joined", "written")
_MARKS = ("a", "and", "hundred", "letter", "minus", "point", "thousand")
_FILLERS = ("about", "after", "agreeing", "before", "corrections", "hesitations", "joins", "polite")
_FLAGS = ("readings", "values_only", "unit", "text", "many")
_HOMOPHONES = ("anywhere", "in_numbers", "spoken_digits")
_CONFUSABLE = "confusable"


def load_lexicon(texts: Mapping[str, str]) -> Lexicon:
    """The lexicon in the texts of `grammar/*.toml`, by file name without ending. Raises BadData with every fault found."""
    reader = TomlReader("grammar", texts, _FILES)
    lexicon = _lexicon(reader)
    check_owners(lexicon, reader)
    check_homophones(lexicon, reader)
    if reader.problems:
        raise BadData(tuple(reader.problems))
    return lexicon


def _lexicon(reader: TomlReader) -> Lexicon:
    commands, command_help, _ = _meanings(reader, "commands", "command", "help")
    answers, answer_names, alone = _meanings(reader, "answers", "answer", "say", "alone")
    units = _units(reader)
    display = {key: _lists(reader, "display", key, ("phrases",))["phrases"] for key in ("over_range", "beep")}
    unsteady = _lists(reader, "display", "unsteady", ("phrases", "between", "to"))
    degrees = _lists(reader, "units", "degrees", ("words", "refused"))
    later = {key: names for key, names in _LATER.items() if key in reader.files["units"]}
    added = {key: _lists(reader, "units", key, names) for key, names in later.items()}
    known = {"display": (*display, "unsteady"), "fillers": ("fillers",), "homophones": (*_HOMOPHONES, _CONFUSABLE)}
    for file, keys in known.items():
        reader.keys(file, "", reader.files[file], keys)
    homophones = {key: _word_pairs(reader, "homophones", key) for key in _HOMOPHONES}
    return Lexicon(
        numbers=_numbers(reader),
        units=units.words,
        units_said=units.said,
        units_typed=units.typed,
        infix=units.infix,
        symbols=units.symbols,
        ambiguous_symbols=units.ambiguous,
        unit_names=units.names,
        degrees=degrees["words"],
        degrees_refused=degrees["refused"],
        fahrenheit=added.get("fahrenheit", {}).get("words", frozenset()),
        lengths=added.get("lengths", {}).get("words", frozenset()),
        other_units=added.get("other", {}).get("words", frozenset()),
        figures=added.get("figures", {}),
        commands=commands,
        command_help=command_help,
        answers=answers,
        answer_names=answer_names,
        over_range=display["over_range"],
        unsteady=unsteady["phrases"],
        between=unsteady["between"],
        between_to=frozenset().union(*unsteady["to"]),
        beep=display["beep"],
        fillers=_lists(reader, "fillers", "fillers", _FILLERS),
        homophones=homophones["anywhere"],
        homophones_in_numbers=homophones["in_numbers"],
        spoken_digits=homophones["spoken_digits"],
        confusable=_both_ways(reader),
        expectations=_expectations(reader, answer_names, command_help),
        alone=alone,
        certainty=thresholds(reader),
    )


def _lists(reader: TomlReader, file: str, key: str, parts: tuple[str, ...]) -> dict[str, frozenset[Phrase]]:
    """A table of lists of phrases, with exactly these keys."""
    table = reader.table(file, key)
    reader.keys(file, key, table, parts)
    return {part: frozenset(reader.phrases(file, f"{key}.{part}", table.get(part))) for part in parts}


def _word_pairs(reader: TomlReader, file: str, key: str) -> dict[str, str]:
    pairs = ((f"{key}.{word}", word, meant) for word, meant in reader.table(file, key).items())
    return {reader.word(file, where, word): reader.word(file, where, meant) for where, word, meant in pairs}


def _both_ways(reader: TomlReader) -> dict[str, str]:
    """The confusable words; none in the files of older records, which have no such table."""
    if _CONFUSABLE not in reader.files["homophones"]:
        return {}
    pairs = _word_pairs(reader, "homophones", _CONFUSABLE)
    return {other: word for word, other in pairs.items()} | pairs


def _meanings(
    reader: TomlReader, file: str, kind: str, text: str, flag: str = ""
) -> tuple[dict[Phrase, str], dict[str, str], frozenset[str]]:
    """Which name owns each phrase, the text of each name, and the names that carry the flag."""
    owners: dict[Phrase, str] = {}
    flagged: set[str] = set()
    said: dict[str, str] = {}
    reader.keys(file, "", reader.files[file], (kind,))
    for name in reader.table(file, kind):
        key = f"{kind}.{name}"
        table = reader.table(file, key)
        reader.keys(file, key, table, ("phrases", text, *([flag] if flag else [])))
        if (
            flag in table
            and reader.choice(file, f"{key}.{flag}", table[flag], (True, False), "true or false")
            and table[flag]
        ):
            flagged.add(name)
        said[name] = reader.text(file, f"{key}.{text}", table.get(text))
        for phrase in reader.phrases(file, f"{key}.phrases", table.get("phrases")):
            if phrase in owners:
                owner = f"{kind}.{owners[phrase]}"
                reader.fault(file, f"{key}.phrases", repr(" ".join(phrase)), f"a phrase that {owner} does not own")
            owners.setdefault(phrase, name)
    return owners, said, frozenset(flagged)


@dataclass(slots=True)
class _Units:
    words: dict[Phrase, Unit] = field(default_factory=dict)
    said: frozenset[Phrase] = frozenset()
    typed: frozenset[Phrase] = frozenset()
    infix: dict[str, Unit] = field(default_factory=dict)
    symbols: dict[str, Unit] = field(default_factory=dict)
    ambiguous: frozenset[str] = frozenset()
    names: dict[Unit, tuple[str, str]] = field(default_factory=dict)


def _units(reader: TomlReader) -> _Units:
    found = _Units()
    reader.keys("units", "", reader.files["units"], ("unit", "ambiguous", "degrees", *_LATER))
    reader.keys("units", "unit", reader.table("units", "unit"), _UNITS)
    for name, unit in _UNITS.items():
        key = f"unit.{name}"
        table = reader.table("units", key)
        reader.keys("units", key, table, (*_UNIT_WORDS, "infix", "symbols", "say"))
        parts = {part: reader.phrases("units", f"{key}.{part}", table.get(part)) for part in _UNIT_WORDS}
        for part, phrases in parts.items():
            for phrase in phrases:
                if phrase in found.words:
                    reader.fault("units", f"{key}.{part}", repr(" ".join(phrase)), "words that stand nowhere else")
                found.words[phrase] = unit
        found.said |= frozenset(parts["words"])
        found.typed |= frozenset(parts["written"])
        for phrase in reader.phrases("units", f"{key}.infix", table.get("infix")):
            if reader.choice("units", f"{key}.infix", phrase, parts["words"], f"one of {key}.words"):
                found.infix[phrase[0]] = unit
        for symbol in _symbols(reader, f"{key}.symbols", table.get("symbols"), found):
            found.symbols[symbol] = unit
        say = reader.list("units", f"{key}.say", table.get("say"), "two names, for one and for many")
        if len(say) == 2 and all(isinstance(item, str) and item for item in say):  # noqa: PLR2004  # one and many
            found.names[unit] = (say[0], say[1])
        else:
            reader.fault("units", f"{key}.say", repr(say), "two names, for one and for many")
    ambiguous = reader.table("units", "ambiguous")
    reader.keys("units", "ambiguous", ambiguous, ("symbols",))
    found.ambiguous = frozenset(_symbols(reader, "ambiguous.symbols", ambiguous.get("symbols"), found))
    return found


def _symbols(reader: TomlReader, key: str, value: object, found: _Units) -> Iterator[str]:
    for symbol in reader.list("units", key, value, "a list of symbols"):
        if isinstance(symbol, str) and symbol and symbol not in found.symbols:
            yield symbol
        else:
            reader.fault("units", key, repr(symbol), "a symbol that no other unit has")


def _numbers(reader: TomlReader) -> NumberWords:
    reader.keys("numbers", "", reader.files["numbers"], ("digits", "teens", "tens", "fractions", "repeats", "marks"))
    digits = _digit_texts(reader, "digits", [str(digit) for digit in range(10)])
    marks = _lists(reader, "numbers", "marks", _MARKS)
    if "numbers" in reader.readable:
        for digit in sorted(set("0123456789") - set(digits.values())):
            reader.fault("numbers", "digits", f"no word for {digit}", "a word for each of the ten digits")
    fractions: dict[Phrase, str] = {}
    for words, value in reader.table("numbers", "fractions").items():
        if reader.choice(
            "numbers", f"fractions.{words}", value, ("5", "25", "75"), 'what stands after the point, "5", "25" or "75"'
        ):
            fractions[reader.phrase("numbers", f"fractions.{words}", words)] = value
    repeats: dict[str, int] = {}
    for word, times in reader.table("numbers", "repeats").items():
        if reader.choice("numbers", f"repeats.{word}", times, (2, 3), "2 or 3"):
            repeats[reader.word("numbers", f"repeats.{word}", word)] = times
    return NumberWords(
        digits=digits,
        teens=_digit_texts(reader, "teens", [str(teen) for teen in range(10, 20)]),
        tens=_digit_texts(reader, "tens", [str(ten) for ten in range(20, 100, 10)]),
        fractions={phrase: value for phrase, value in fractions.items() if phrase},
        repeats=repeats,
        marks={key: frozenset(" ".join(phrase) for phrase in phrases) for key, phrases in marks.items()},
    )


def _digit_texts(reader: TomlReader, key: str, expected: list[str]) -> dict[str, str]:
    what = f"digits as text, {expected[0]!r} to {expected[-1]!r}"
    return {
        reader.word("numbers", f"{key}.{word}", word): value
        for word, value in reader.table("numbers", key).items()
        if reader.choice("numbers", f"{key}.{word}", value, expected, what)
    }


def _expectations(reader: TomlReader, answers: Mapping[str, str], commands: Mapping[str, str]) -> dict[str, Answers]:
    reader.keys("expectations", "", reader.files["expectations"], ("expectation",))
    names = reader.table("expectations", "expectation")
    if "any" not in names:
        reader.fault("expectations", "expectation.any", "nothing", "a table")
    return {name: _expectation(reader, name, answers, commands) for name in names}


def _expectation(reader: TomlReader, name: str, answers: Mapping[str, str], commands: Mapping[str, str]) -> Answers:
    file, key = "expectations", f"expectation.{name}"
    table = reader.table(file, key)
    reader.keys(file, key, table, (*_FLAGS, "number", "answers", "as", "short", "before", "after", "help"))
    flags = {flag: table.get(flag, False) for flag in _FLAGS}
    for flag, value in flags.items():
        reader.choice(file, f"{key}.{flag}", value, (True, False), "true or false")
    number = table.get("number", "")
    reader.choice(file, f"{key}.number", number, ("", *NUMBERS), f"{', '.join(NUMBERS[:-1])} or {NUMBERS[-1]}")
    an_answer = "the name of an answer in answers.toml"
    live = reader.list(file, f"{key}.answers", table.get("answers", []), "a list of answers")
    live = [answer for answer in live if reader.choice(file, f"{key}.answers", answer, answers, an_answer)]
    renamed: Mapping[str, Any] = reader.table(file, f"{key}.as") if "as" in table else {}
    for answer, meant in renamed.items():
        reader.choice(file, f"{key}.as", answer, answers, an_answer)
        reader.choice(
            file,
            f"{key}.as.{answer}",
            meant,
            (*live, *commands),
            "the name of a command, or of an answer that is live here",
        )
    short: Mapping[str, Any] = reader.table(file, f"{key}.short") if "short" in table else {}
    for words, answer in short.items():
        reader.choice(file, f"{key}.short.{words}", answer, live, "the name of an answer that is live here")
    return Answers(
        name=name,
        help=reader.text(file, f"{key}.help", table.get("help")),
        number=number if isinstance(number, str) else "",
        answers=tuple(live),
        renamed=renamed,
        short={reader.phrase(file, f"{key}.short", words): answer for words, answer in short.items()},
        before=frozenset(reader.phrases(file, f"{key}.before", table.get("before", []))),
        after=frozenset(reader.phrases(file, f"{key}.after", table.get("after", []))),
        **flags,
    )
