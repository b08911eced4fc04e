"""The grammar files: what they give, and that every mistake in them is named by file, key and what was expected."""

from collections.abc import Mapping

import pytest
from language_cases import lexicon

from assistant import data
from assistant.errors import BadData
from assistant.language.lexicon import load_lexicon
from assistant.language.meaning import Expectation


def faults(**replaced: tuple[str, str] | None) -> tuple[str, ...]:
    """The faults of the shipped files with one text replaced by another in each file named; None leaves a file out."""
    texts = dict(data.texts("grammar"))
    for name, change in replaced.items():
        if change is None:
            del texts[name]
            continue
        assert change[0] in texts[name], change
        texts[name] = texts[name].replace(*change, 1)
    return problems(texts)


def problems(texts: Mapping[str, str]) -> tuple[str, ...]:
    try:
        load_lexicon(texts)
    except BadData as error:
        return tuple(problem.line() for problem in error.problems)
    return ()


def test_the_shipped_files_have_no_fault() -> None:
    assert faults() == ()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("file", "old", "new", "where", "expected"),
    [
        ("commands", "[command.stop]", "[command.stop", "grammar/commands.toml: found", "expected valid TOML"),
        ("commands", '"quit"', '"Quit"', "commands.toml: command.stop.phrases[", "lower-case words"),
        ("commands", '"quit"', '" "', "commands.toml: command.stop.phrases[", "a phrase of at least one word"),
        ("commands", '"quit"', "7", "commands.toml: command.stop.phrases[", "a phrase of at least one word"),
        ("commands", '"quit"', '"quit  it"', "commands.toml: command.stop.phrases[", "single spaces"),
        ("commands", '"quit"', '"quit!"', "commands.toml: command.stop.phrases[", "letters and apostrophes"),
        ("commands", '"quit"', '"stop"', "commands.toml: command.stop.phrases[", "not in the list already"),
        (
            "commands",
            '"quit"',
            '"skip"',
            "commands.toml: command.stop.phrases: found 'skip'",
            "command.skip does not own",
        ),
        ("commands", '"quit"', '"yes"', "answers.toml: answer.yes.phrases: found 'yes'", "command.stop does not own"),
        (
            "commands",
            '"quit"',
            '"forty seven"',
            "commands.toml: command.stop.phrases: found 'forty seven'",
            "no number",
        ),
        (
            "commands",
            'help = "stop"',
            'halp = "stop"',
            "commands.toml: command.stop.halp: found an unknown key",
            "phrases, help",
        ),
        ("commands", 'help = "stop"', 'help = ""', "commands.toml: command.stop.help: found ''", "a text"),
        ("commands", 'help = "stop"', "", "commands.toml: command.stop.help: found nothing", "a text"),
        (
            "commands",
            "[command.repeat]",
            "[stray]\nx = 1\n[command.repeat]",
            "commands.toml: stray: found an unknown key",
            "one of command",
        ),
        ("answers", 'say = "yes"', "say = 1", "answers.toml: answer.yes.say: found 1", "a text"),
        ("answers", "alone = true", 'alone = "yes"', "answers.toml: answer.yes.alone: found 'yes'", "true or false"),
        (
            "display",
            '"over range"',
            '"jumping"',
            "display.toml: unsteady.phrases: found 'jumping'",
            "over_range does not own",
        ),
        ("display", "[beep]", "[boop]", "display.toml: beep: found nothing", "a table"),
        (
            "fillers",
            "hesitations =",
            "hesitation =",
            "fillers.toml: fillers.hesitations: found nothing",
            "a list of phrases",
        ),
        ("fillers", 'hesitations = ["uh"', 'hesitations = [["uh"]', "fillers.toml: fillers.hesitations[0]", "a phrase"),
        (
            "homophones",
            'noms = "ohms"',
            'noms = "gnomes"',
            "homophones.toml: anywhere.noms: found 'gnomes'",
            "a word of the grammar",
        ),
        ("homophones", 'noms = "ohms"', 'noms = "kilo ohms"', "homophones.toml: anywhere.noms", "one word"),
        ("homophones", 'noms = "ohms"', 'stop = "ohms"', "homophones.toml: anywhere.stop", "no meaning of its own"),
        (
            "homophones",
            'not = "nought"',
            'not = "stop"',
            "homophones.toml: in_numbers.not: found 'stop'",
            "a number word",
        ),
        ("homophones", 'not = "nought"', 'nine = "five"', "homophones.toml: in_numbers.nine", "no meaning of its own"),
        ("numbers", 'nine = "9"', 'nine = "10"', "numbers.toml: digits.nine: found '10'", "digits as text, '0' to '9'"),
        ("numbers", 'nine = "9"', "nine = 9", "numbers.toml: digits: found no word for 9", "each of the ten digits"),
        ("numbers", 'twenty = "20"', 'twenty = "21"', "numbers.toml: tens.twenty", "'20' to '90'"),
        ("numbers", '"half" = "5"', '"half" = "0.5"', "numbers.toml: fractions.half", "what stands after the point"),
        ("numbers", '"half" = "5"', '"Half" = "5"', "numbers.toml: fractions.Half", "lower-case words"),
        ("numbers", "double = 2", "double = 4", "numbers.toml: repeats.double: found 4", "2 or 3"),
        (
            "numbers",
            'hundred = ["hundred"]',
            'hundrets = ["hundred"]',
            "numbers.toml: marks.hundrets",
            "an unknown key",
        ),
        ("units", '"kilo ohms"', '"ohms"', "units.toml: unit.kilohm.words: found 'ohms'", "stand nowhere else"),
        ("units", 'infix = ["meg"]', 'infix = ["megga"]', "units.toml: unit.megohm.infix", "one of unit.megohm.words"),
        (
            "units",
            'symbols = ["Ω", "R"]',
            'symbols = ["Ω", ""]',
            "units.toml: unit.ohm.symbols: found ''",
            "no other unit has",
        ),
        (
            "units",
            'symbols = ["k",',
            'symbols = ["Ω",',
            "units.toml: unit.kilohm.symbols: found 'Ω'",
            "no other unit has",
        ),
        (
            "units",
            'symbols = ["m",',
            'symbols = ["M",',
            "units.toml: ambiguous.symbols: found 'M'",
            "no other unit has",
        ),
        ("units", 'say = ["ohm", "ohms"]', 'say = ["ohm"]', "units.toml: unit.ohm.say", "two names"),
        ("units", 'say = ["ohm", "ohms"]', 'say = "ohm"', "units.toml: unit.ohm.say", "two names"),
        ("units", "[unit.ohm]", "[unit.oom]", "units.toml: unit.ohm: found nothing", "a table"),
        (
            "expectations",
            "[expectation.any]",
            "[expectation.all]",
            "expectations.toml: expectation.any: found nothing",
            "a table",
        ),
        (
            "expectations",
            "values_only = true",
            "values_only = 1.5",
            "expectations.toml: expectation.limit.values_only: found 1.5",
            "true or false",
        ),
        (
            "expectations",
            'number = "plain"',
            'number = "round"',
            "expectations.toml: expectation.label.number: found 'round'",
            "plain, signed, length, percent or counts",
        ),
        (
            "expectations",
            'number = "plain"',
            "number = []",
            "expectations.toml: expectation.label.number: found []",
            "plain, signed, length, percent or counts",
        ),
        (
            "expectations",
            'answers = ["yes", "no"]',
            'answers = ["yes", "nay"]',
            "expectations.toml: expectation.yes_no.answers: found 'nay'",
            "answers.toml",
        ),
        (
            "expectations",
            'answers = ["yes", "no"]',
            'answers = "yes"',
            "expectations.toml: expectation.yes_no.answers: found 'yes'",
            "a list of answers",
        ),
        (
            "expectations",
            'as = { none = "no" }',
            'as = { nine = "no" }',
            "expectation.electronics.as: found 'nine'",
            "answers.toml",
        ),
        (
            "expectations",
            'as = { none = "no" }',
            'as = { none = "done" }',
            "expectation.electronics.as.none: found 'done'",
            "live here",
        ),
        ("expectations", 'as = { none = "no" }', "as = 3", "expectation.electronics.as: found 3", "a table"),
        (
            "expectations",
            'two = "two_stroke"',
            'two = "auto"',
            "expectation.stroke.short.two: found 'auto'",
            "live here",
        ),
        ("expectations", "{ two =", "{ Two =", "expectation.stroke.short: found 'Two'", "lower-case words"),
        ("expectations", 'help = "Say yes or no."', "", "expectation.yes_no.help: found nothing", "a text"),
        (
            "expectations",
            'help = "Say yes or no."',
            'help = "Say yes or no."\nsing = true',
            "expectation.yes_no.sing: found an unknown key",
            "readings",
        ),
    ],
)
def test_a_mistake_is_named(file: str, old: str, new: str, where: str, expected: str) -> None:
    found = faults(**{file: (old, new)})
    assert any(where in line and expected in line.partition(", expected")[2] + line for line in found), found


def test_all_mistakes_are_told_at_once() -> None:
    found = faults(
        commands=('"quit"', '"Quit"'),
        units=('say = ["ohm", "ohms"]', ""),
        numbers=("double = 2", "double = 9"),
        homophones=None,
    )
    assert {line.split(":")[0] for line in found} == {
        f"grammar/{name}.toml" for name in ("homophones", "commands", "units", "numbers")
    }


def test_missing_and_strange_files_are_named() -> None:
    assert set(problems({"hats": ""})) >= {
        "grammar/hats.toml: found a file of another name, expected one of "
        + ", ".join(f"{name}.toml" for name in sorted(data.texts("grammar")))
        + ".",
        "grammar/units.toml: found no such file, expected the file.",
    }


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(data.texts("grammar")))
def test_an_empty_or_broken_file_never_raises_anything_else(name: str) -> None:
    for text in (
        "",
        "x = 1",
        "= =",
        "[command]\nstop = 1\n[answer]\nyes = 1\n[expectation]\nany = 1\n[unit]\nohm = 1\n",
    ):
        assert problems({**data.texts("grammar"), name: text})


def test_the_lexicon_tells_what_is_live() -> None:
    words = lexicon()
    assert {"stop", "yes", "no", "please"} <= set(words.words(Expectation("yes_no")))
    assert "kilo" not in words.words(Expectation("yes_no"))
    assert {"kilo", "four", "point", "between"} <= set(words.words(Expectation("primary")))
    assert "minus" in words.words(Expectation("temperature"))
    assert "minus" not in words.words(Expectation("primary"))
    assert set(words.words(Expectation("primary"))) <= set(words.vocabulary)
    assert not any(word.isdigit() for word in words.words(Expectation("any")))


def test_help_tells_the_answers_and_the_commands() -> None:
    answers, commands = lexicon().help(Expectation("stroke"))
    assert answers == "Say two-stroke, four-stroke, or not known."
    assert commands.startswith("At any time: repeat, ")
    assert "stop" in commands


def test_every_answer_that_is_live_somewhere_can_be_said_back() -> None:
    names = {name for live in lexicon().expectations.values() for name in live.answers}
    assert names == set(lexicon().answer_names)


def test_a_word_without_its_apostrophe_is_the_same_word() -> None:
    words = lexicon()
    for word in (word for word in words.known if "'" in word):
        bare = word.replace("'", "")
        assert words.spelled(word) == word
        assert bare in words.known or words.spelled(bare) == words.spelled(f"'{word}'") == word
    assert words.spelled("wo'nt") == "won't"
    assert words.spelled("'stop'") == "stop"
    assert words.spelled("were") == "were"  # a word of its own: "where were we"
    assert words.spelled("o'clock") == "o'clock"
