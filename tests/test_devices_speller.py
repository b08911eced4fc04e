"""Letters held to words: the search over word sequences, rivals, and the cost of free spelling."""

import itertools

import numpy as np
import pytest

from assistant.data import texts
from assistant.devices.letters import SYMBOLS, Floats, greedy, score
from assistant.devices.speller import Speller
from assistant.devices.word_loop import WordLoop
from assistant.language.lexicon import Lexicon, load_lexicon
from assistant.language.meaning import Expectation

ANY = Expectation("any")
WORDS = ("zero", "oh", "three", "four", "five", "six", "seven", "eight", "nine", "point", "ohms", "k", "yes")


@pytest.fixture(scope="module")
def lexicon() -> Lexicon:
    return load_lexicon(texts("grammar"))


def heard(*ways: tuple[str, float], loud: float = 0.9) -> Floats:
    """Log probabilities of frames that spell texts of one length, each as likely as told; a blank after every letter.

    `loud` is the share of a letter's frame that is the letter and not any other symbol.
    """
    length = len(ways[0][0])
    assert all(len(text) == length for text, _ in ways)
    chances = np.full((2 * length + 1, len(SYMBOLS)), (1 - loud) / len(SYMBOLS))
    chances[::2, 0] += loud
    for text, share in ways:
        for place, letter in enumerate(text):
            chances[2 * place + 1, SYMBOLS.index(letter)] += loud * share
    return np.asarray(np.log(chances / chances.sum(axis=1, keepdims=True)), dtype=np.float32)


# ---- the search


@pytest.mark.parametrize("text", ["four point seven k", "three three three three", "oh", "six oh oh six", "yes"])
def test_the_loop_finds_what_is_spelled(text: str) -> None:
    assert WordLoop(WORDS).best(heard((text, 1.0))) == text


def test_what_is_no_word_becomes_the_word_that_fits() -> None:
    spelled = heard(("six foul zero", 1.0))
    assert greedy(spelled) == "six foul zero"
    assert WordLoop(WORDS).best(spelled) == "six four zero"


def test_the_loop_finds_the_best_of_all_sequences() -> None:
    # Against trying all 3 + 9 + 27 sequences one by one. Their best single path is what the loop promises; the score adds up
    # all paths, so evidence is taken that leaves no doubt between the two.
    words = ("oh", "four", "one")
    chance = np.random.default_rng(7)
    for _ in range(20):
        text = " ".join(chance.choice(words, size=chance.integers(1, 4)))
        spelled = heard((text, 1.0), loud=0.6) + chance.normal(0, 0.3, (2 * len(text) + 1, len(SYMBOLS))).astype(
            np.float32
        )
        sequences = [" ".join(each) for count in (1, 2, 3) for each in itertools.product(words, repeat=count)]
        assert WordLoop(words).best(spelled) == max(sequences, key=lambda each: score(spelled, each))


def test_silence_is_no_word() -> None:
    silence = heard(("", 1.0))
    assert WordLoop(WORDS).best(np.repeat(silence, 30, axis=0)) == ""
    assert WordLoop(WORDS).best(silence[:0]) == ""


def test_words_that_have_no_letters_are_left_out() -> None:
    assert WordLoop(("4", "", "four")).best(heard(("four", 1.0))) == "four"
    with pytest.raises(ValueError, match="no word of 2 can be spelled"):
        WordLoop(("4", "[unk]"))


# ---- the alternatives


def told(lexicon: Lexicon, spelled: Floats, *others: str) -> dict[str, float | None]:
    found = Speller(lexicon).alternatives(spelled, ANY, WORDS, others, "letters again")
    assert all(alternative.source == "letters again" for alternative in found)
    scores = [alternative.score or 0.0 for alternative in found]
    assert scores == sorted(scores, reverse=True)
    assert len(scores) <= 8
    assert scores[0] - scores[-1] < 12  # what is further below has no share worth keeping in the record
    return {alternative.text: alternative.score for alternative in found}


def lead(found: dict[str, float | None]) -> float:
    first, second = list(found.values())[:2]
    assert first is not None
    assert second is not None
    return first - second


def test_a_near_rival_stands_beside_the_best(lexicon: Lexicon) -> None:
    found = told(lexicon, heard(("five five", 0.55), ("nine five", 0.45)))
    assert list(found)[:2] == ["five five", "nine five"]
    assert lead(found) < 1
    clear = told(lexicon, heard(("five five", 1.0)))
    assert next(iter(clear)) == "five five"
    assert lead(clear) > 5


def test_a_digit_left_out_or_said_twice_is_a_rival_though_nobody_heard_it(lexicon: Lexicon) -> None:
    # The second "six" is half there: its letters are as likely as silence.
    spelled = np.log((np.exp(heard(("four six six", 1.0))) + np.exp(heard(("four six    ", 1.0)))) / 2)
    found = told(lexicon, spelled)
    assert {"four six", "four six six"} <= set(found)


def test_what_others_heard_is_weighed_too(lexicon: Lexicon) -> None:
    found = told(lexicon, heard(("where are we", 0.9)), "where are we", "where are you")
    assert next(iter(found)) == "where are we"


def test_other_talk_is_best_spelled_freely(lexicon: Lexicon) -> None:
    found = told(lexicon, heard(("oh my word", 1.0)), "oh")
    assert next(iter(found)) == "oh my word"
    assert "oh" not in found


def test_known_words_that_mean_nothing_together_are_no_alternative(lexicon: Lexicon) -> None:
    found = told(lexicon, heard(("k point yes", 1.0)), "point k", "k point yes", "4", "")
    assert list(found) == ["k point yes"]  # as a free spelling, never as words


@pytest.mark.parametrize(
    ("spelled", "kept"),
    [
        ("i dot know", False),  # a slip of two letters in "i don't know"
        ("i dot kow", True),  # one letter too many
        ("stap", True),  # too short for a slip: it may be another word
        ("i don't know", True),  # it means something as it is
    ],
)
def test_a_slip_of_a_letter_is_no_other_speech(lexicon: Lexicon, spelled: str, *, kept: bool) -> None:
    found = Speller(lexicon).alternatives(heard((spelled, 1.0)), ANY, WORDS, (), "letters")
    assert (spelled in [alternative.text for alternative in found]) is kept


def share(found: dict[str, float | None], *texts: str) -> float:
    """The share of these texts among all that were told."""
    chances = {text: np.exp(score or 0.0) for text, score in found.items()}
    return float(sum(chances.get(text, 0.0) for text in texts) / sum(chances.values()))


@pytest.mark.parametrize(
    "said", ["no one point four", "no on point four", "it's one point four", "eight one point four"]
)
def test_words_before_a_value_swallow_no_digit(lexicon: Lexicon, said: str) -> None:
    lead = said.split(maxsplit=1)[0]
    found = told(lexicon, heard((said, 1.0)), "no point four", "it's point four", f"{lead} one point four")
    assert share(found, "no point four", "it's point four") < 0.1


def test_a_slip_of_letters_in_what_others_heard_is_no_other_speech(lexicon: Lexicon) -> None:
    spelled = heard(("that five point five ohms", 1.0))
    assert "that five point five ohms" in told(lexicon, spelled)
    assert "that five point five ohms" not in told(lexicon, spelled, "that's five point five ohms")
