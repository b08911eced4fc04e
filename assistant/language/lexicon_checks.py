"""What the files of the grammar must agree on with each other; faults are noted in the reader."""

from typing import TYPE_CHECKING

from assistant.language.numbers import number_at
from assistant.language.toml_reader import Phrase, TomlReader

if TYPE_CHECKING:
    from assistant.language.lexicon import Lexicon


def check_owners(lexicon: "Lexicon", reader: TomlReader) -> None:
    """No phrase may have two meanings, since all are live at once under `any`; nor may a phrase be a number."""
    owners: dict[Phrase, str] = {}
    for phrase, file, owner in (
        *((phrase, "commands", f"command.{name}") for phrase, name in lexicon.commands.items()),
        *((phrase, "answers", f"answer.{name}") for phrase, name in lexicon.answers.items()),
        *((phrase, "display", "over_range") for phrase in sorted(lexicon.over_range)),
        *((phrase, "display", "unsteady") for phrase in sorted(lexicon.unsteady)),
        *((phrase, "display", "beep") for phrase in sorted(lexicon.beep)),
        *((phrase, "units", f"unit.{unit.name.lower()}") for phrase, unit in lexicon.units.items()),
    ):
        if phrase in owners:
            reader.fault(
                file, f"{owner}.phrases", repr(" ".join(phrase)), f"a phrase that {owners[phrase]} does not own"
            )
        owners.setdefault(phrase, owner)
        number = number_at(phrase, 0, lexicon.numbers)
        if number is not None and number.end == len(phrase):
            reader.fault(file, f"{owner}.phrases", repr(" ".join(phrase)), "words that are no number")


def check_homophones(lexicon: "Lexicon", reader: TomlReader) -> None:
    """A homophone must lead to a word of the language and must not take a word away that has a meaning of its own."""
    for key, pairs, taken, words, expected in (
        ("anywhere", lexicon.homophones, lexicon.known, lexicon.known, "a word of the grammar"),
        ("in_numbers", lexicon.homophones_in_numbers, lexicon.numbers.words, lexicon.numbers.words, "a number word"),
        ("spoken_digits", lexicon.spoken_digits, lexicon.known, lexicon.numbers.words, "a number word"),
        ("confusable", lexicon.confusable, frozenset[str](), lexicon.numbers.words, "a number word"),
    ):
        for heard, meant in pairs.items():
            if heard in taken:
                reader.fault("homophones", f"{key}.{heard}", repr(heard), "a word that has no meaning of its own here")
            if meant not in words:
                reader.fault("homophones", f"{key}.{heard}", repr(meant), expected)
