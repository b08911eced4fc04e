"""Whether an engine has words for everything that may be meant, question by question."""

import pytest

from assistant.data import texts
from assistant.language.lexicon import Lexicon, load_lexicon
from assistant.language.vocabulary import ESSENTIAL, unheard


@pytest.fixture(scope="module")
def lexicon() -> Lexicon:
    return load_lexicon(texts("grammar"))


def test_an_engine_that_knows_every_word_hears_everything(lexicon: Lexicon) -> None:
    assert unheard(lexicon, lexicon.known.__contains__) == ()


@pytest.mark.parametrize(
    ("lost", "meanings"),
    [
        ({"four"}, ("digit 4", "four_stroke")),
        ({"zero"}, ()),  # oh, nought
        ({"zero", "oh", "o", "nought", "naught"}, ("digit 0",)),
        ({"stop"}, ()),
        ({"point", "decimal", "dot"}, ("point",)),
        ({"kilohm", "kilohms"}, ()),  # kilo ohms
    ],
)
def test_a_lost_word_costs_a_meaning_only_when_no_other_phrase_has_it(
    lexicon: Lexicon, lost: set[str], meanings: tuple[str, ...]
) -> None:
    assert unheard(lexicon, lambda word: word in lexicon.known and word not in lost) == meanings


def test_an_engine_without_words_hears_nothing_that_is_essential(lexicon: Lexicon) -> None:
    lost = unheard(lexicon, lambda _word: False)
    assert {*ESSENTIAL, "over range", "unsteady", "dies_hot"} <= set(lost)


def test_every_word_can_be_spelled_by_the_letters_of_the_built_in_recogniser(lexicon: Lexicon) -> None:
    from assistant.devices.letters import SYMBOLS  # noqa: PLC0415 - numpy, for this alone

    assert set("".join(lexicon.vocabulary)) - set("0123456789") <= set(SYMBOLS)
