from dataclasses import replace

import pytest

from assistant.data import texts
from assistant.errors import BadData
from assistant.language.certainty import decide, sure_at_once
from assistant.language.lexicon import Lexicon, load_lexicon
from assistant.language.meaning import (
    Alternative,
    Ask,
    Expectation,
    Hearing,
    NotUnderstood,
    SaidAnswers,
    SaidCommand,
    SaidNumber,
    SaidReading,
    Understood,
    Why,
    Word,
)
from assistant.language.thresholds import Kind, Thresholds

ANY = Expectation("any")
TEST = Thresholds(
    longest_s=7.9,
    weights={"limited": 1.0, "free": 1.0},
    floors={"limited": 0.05, "free": 0.05},
    at_once=0.99,
    bounds=dict.fromkeys(Kind, 0.75),
)


@pytest.fixture(scope="module")
def lexicon() -> Lexicon:
    """The shipped words under bounds that are easy to reckon with."""
    return replace(load_lexicon(texts("grammar")), certainty={"test": TEST})


def heard(*alternatives: tuple[str, float | None, str], engine: str = "test model", duration_s: float = 2.0) -> Hearing:
    return Hearing(
        tuple(
            Alternative(tuple(Word(word) for word in text.split()), score, source)
            for text, score, source in alternatives
        ),
        engine,
        duration_s,
    )


def ohms(understood: Understood) -> str:
    meaning = understood.meaning
    assert isinstance(meaning, SaidReading)
    assert meaning.reading.quantity is not None
    return meaning.reading.quantity.text


def test_two_listens_that_mean_the_same_are_sure(lexicon: Lexicon) -> None:
    found = decide(
        heard(("four point seven kilohms", -0.5, "limited"), ("four point seven k", -2.0, "free")), ANY, lexicon
    )
    assert (ohms(found), found.sure, found.words) == ("4.7 kΩ", True, "four point seven kilohms")


def test_two_listens_that_differ_are_not_sure_but_the_likelier_meaning_is_told(lexicon: Lexicon) -> None:
    found = decide(
        heard(
            ("fifteen ohms", -0.1, "limited"),
            ("fifty ohms", -1.2, "limited"),
            ("fifty ohms", -0.1, "free"),
            ("fifteen ohms", -1.0, "free"),
        ),
        ANY,
        lexicon,
    )
    assert (ohms(found), found.sure) == ("15 Ω", False)


def test_alternatives_with_one_meaning_add_up(lexicon: Lexicon) -> None:
    # Each spelling alone has a third of its listen; together they are two thirds.
    listen = [("one point two k", -1.0), ("one point two kilohms", -1.0), ("nine point two k", -1.0)]
    found = decide(
        heard(*((text, score, source) for source in ("limited", "free") for text, score in listen)), ANY, lexicon
    )
    assert (ohms(found), found.sure) == ("1.2 kΩ", True)


def test_what_is_not_understood_counts_against(lexicon: Lexicon) -> None:
    same = ("two point two k", -1.0)
    found = decide(heard((*same, "limited"), (*same, "free"), ("the kettle", -0.2, "free")), ANY, lexicon)
    assert (ohms(found), found.sure) == ("2.2 kΩ", True)  # 1.05 * 0.36 against 0.05 * 0.74
    found = decide(heard((*same, "free"), ("the kettle", -0.9, "free")), ANY, lexicon)
    assert (ohms(found), found.sure) == ("2.2 kΩ", False)


def test_words_that_make_no_sense_count_nothing_where_only_words_of_a_list_can_be_heard(lexicon: Lexicon) -> None:
    phrase = ("where are we", -0.5, "free")
    found = decide(heard(("be over", -0.1, "limited"), ("no", -2.0, "limited"), phrase), ANY, lexicon)
    assert found == Understood(SaidCommand("where"), sure=True, words="where are we")
    # Heard freely, the same words stand against it.
    found = decide(heard(("be over", -0.1, "guess"), ("be over", -0.1, "free"), phrase), ANY, lexicon)
    assert not found.sure


def test_a_second_listen_divides_the_weight_of_its_kind(lexicon: Lexicon) -> None:
    # limited: half for, half against; free: all for.
    found = decide(heard(("yes", -1, "limited"), ("no", -1, "limited again"), ("yes", -1, "free")), ANY, lexicon)
    assert found == Understood(SaidAnswers(("yes",)), sure=True, words="yes")
    # As much against as for.
    found = decide(
        heard(("yes", -1, "limited"), ("no", -1, "limited again"), ("no", -1, "free again"), ("yes", -1, "free")),
        ANY,
        lexicon,
    )
    assert not found.sure


def test_what_all_hold_possible_beats_what_one_is_sure_of(lexicon: Lexicon) -> None:
    # limited: "nine" 0.73, "five" 0.27; free: "five" alone, so that "nine" has the floor. 0.32 * 1.05 against 0.78 * 0.05.
    found = decide(
        heard(("nine ohms", -1, "limited"), ("five ohms", -2, "limited"), ("five ohms", -1, "free")), ANY, lexicon
    )
    assert (ohms(found), found.sure) == ("5 Ω", True)
    # Where the other listen holds both possible too, nothing is certain.
    found = decide(
        heard(
            ("nine ohms", -1, "limited"),
            ("five ohms", -2, "limited"),
            ("five ohms", -1, "free"),
            ("nine ohms", -1.5, "free"),
        ),
        ANY,
        lexicon,
    )
    assert not found.sure


@pytest.mark.parametrize(
    ("alternatives", "sure"),
    [
        ((("yes", -1.0, "limited"), ("yes", -1.0, "free")), True),
        ((("yes", -1.0, "limited"), ("no", -3.0, "limited"), ("yes", -1.0, "free")), True),
        ((("yes", -1.0, "limited"), ("no", -1.1, "limited"), ("yes", -1.0, "free"), ("no", -1.2, "free")), False),
        ((("yes", -1.0, "limited"), ("no", -1.0, "free")), False),
        ((("the kettle", -1.0, "free"),), False),
        ((), False),
    ],
)
def test_a_first_listen_is_enough_when_all_agree(
    lexicon: Lexicon, alternatives: tuple[tuple[str, float, str], ...], *, sure: bool
) -> None:
    assert sure_at_once(heard(*alternatives), ANY, lexicon) is sure
    assert not sure_at_once(heard(*alternatives, engine="unheard of"), ANY, lexicon)


_LOUD = {"limited": 0.1, "free": 0.1, "letters": 1.0, "idle": 0.0}


@pytest.mark.parametrize(
    ("witnesses", "alternatives", "sure", "at_once"),
    [
        (1, ("eight ohms letters",), True, True),
        (2, ("eight ohms letters",), False, False),
        (2, ("eight ohms letters", "eight ohms letters again"), False, False),  # the same way twice
        (2, ("eight ohms letters", "eight ohms free"), True, True),
        (2, ("eight ohms letters", "eight ohms idle"), False, False),  # a way without weight is none
        (1, ("eight ohms letters", "five ohms limited", "five ohms free"), False, False),  # two against one
        (1, ("eight ohms letters", "five ohms limited", "the kettle free"), True, False),  # one against one
        (1, ("eight ohms letters", "five ohms limited", "nine ohms free"), True, False),  # the same, twice
        (2, ("stop letters",), True, True),  # no number
    ],
)
def test_a_number_needs_its_witnesses_and_no_more_against_it(
    lexicon: Lexicon, witnesses: int, alternatives: tuple[str, ...], *, sure: bool, at_once: bool
) -> None:
    """However loud the letters are: they alone are believed to nearly all here, whatever the others have."""
    thresholds = replace(TEST, weights=_LOUD, floors=dict.fromkeys(_LOUD, 1e-5), at_once=0.75, witnesses=witnesses)
    lexicon = replace(lexicon, certainty={"test": thresholds})
    ways = ("limited", "free", "letters again", "letters", "idle")
    split = [(text, next(way for way in ways if text.endswith(way))) for text in alternatives]
    hearing = heard(*((text.removesuffix(f" {way}"), -1.0, way) for text, way in split))
    assert decide(hearing, ANY, lexicon).sure is sure
    assert sure_at_once(hearing, ANY, lexicon) is at_once


@pytest.mark.parametrize("witnesses", ["3", "1.5", "true", "0"])
def test_there_are_not_more_witnesses_than_ways(witnesses: str) -> None:
    shipped = texts("grammar")["certainty"]
    two_ways = (
        shipped[: shipped.index("[engine.vosk]")].replace(", letters = 1 }", " }").replace(", letters = 1e-5 }", " }")
    )
    wrong = two_ways.replace("witnesses = 1", f"witnesses = {witnesses}")
    with pytest.raises(BadData, match=r"engine\.built-in\.witnesses: found .*, expected a whole number from 1 to 2"):
        load_lexicon({**texts("grammar"), "certainty": wrong})


def test_sound_that_the_end_pointer_cut_off_is_not_sure(lexicon: Lexicon) -> None:
    found = decide(heard(("stop", -1, "limited"), ("stop", -1, "free"), duration_s=8.0), ANY, lexicon)
    assert found == Understood(SaidCommand("stop"), sure=False, words="stop")


def test_silence_is_nothing(lexicon: Lexicon) -> None:
    assert decide(heard(), ANY, lexicon) == Understood(NotUnderstood(Why.NOTHING), sure=False, words="")


def test_a_refusal_says_what_the_free_listen_heard(lexicon: Lexicon) -> None:
    found = decide(heard(("ohms nine ohms", -1, "limited"), ("please put the kettle on", -1, "free")), ANY, lexicon)
    assert (found.words, found.sure) == ("please put the kettle on", False)
    assert isinstance(found.meaning, NotUnderstood)
    assert found.meaning.why is Why.UNKNOWN_WORD
    found = decide(heard(("four point", -1, "limited")), ANY, lexicon)
    assert isinstance(found.meaning, NotUnderstood)
    assert found.meaning.why is Why.UNFINISHED


def test_other_speech_inside_a_number_is_never_sure(lexicon: Lexicon) -> None:
    found = decide(heard(("four [unk] seven k", -1, "limited"), ("four [unk] seven k", -1, "free")), ANY, lexicon)
    assert not found.sure
    assert isinstance(found.meaning, NotUnderstood)


def test_an_engine_without_bounds_is_never_sure(lexicon: Lexicon) -> None:
    found = decide(heard(("yes", -1, "limited"), ("yes", -1, "free"), engine="unheard of"), ANY, lexicon)
    assert found == Understood(SaidAnswers(("yes",)), sure=False, words="yes")


def test_a_listen_without_weight_does_not_count(lexicon: Lexicon) -> None:
    assert not decide(heard(("yes", -1, "guess")), ANY, lexicon).sure
    found = decide(heard(("no", -1, "guess"), ("yes", -1, "limited"), ("yes", -1, "free")), ANY, lexicon)
    assert found == Understood(SaidAnswers(("yes",)), sure=True, words="yes")


def test_missing_scores_share_equally(lexicon: Lexicon) -> None:
    assert decide(heard(("yes", None, "limited"), ("yes", None, "free")), ANY, lexicon).sure
    assert not decide(heard(("yes", None, "limited"), ("no", None, "limited")), ANY, lexicon).sure


@pytest.mark.parametrize(
    ("words", "expectation", "kind", "meaning"),
    [
        ("four point seven k", "any", Kind.VALUE, SaidReading),
        ("four seven", "any", Kind.VALUE, Ask),
        ("seven", "any", Kind.LONE, Ask),
        ("over range", "any", Kind.WORD, SaidReading),
        ("stop", "any", Kind.WORD, SaidCommand),
        ("minus five degrees", "temperature", Kind.VALUE, SaidNumber),
    ],
)
def test_every_kind_of_meaning_has_its_own_bounds(
    lexicon: Lexicon, words: str, expectation: str, kind: Kind, meaning: type
) -> None:
    def certainty(strict: Kind) -> Lexicon:
        # A belief above 1 cannot be reached: only meanings of that kind can fail.
        bounds = {each: 1.1 if each is strict else 0.0 for each in Kind}
        return replace(lexicon, certainty={"test": replace(TEST, bounds=bounds)})

    hearing = heard((words, -1, "limited"), (words, -1, "free"))
    for strict in Kind:
        found = decide(hearing, Expectation(expectation), certainty(strict))
        assert isinstance(found.meaning, meaning)
        assert found.sure is (strict is not kind)


def test_easily_misheard_words_mean_the_same_and_the_plainer_ones_are_kept(lexicon: Lexicon) -> None:
    # "to" for "two" marks the reading as one to be checked; the other listen heard it plainly.
    found = decide(heard(("one point to ohms", -1, "free"), ("one point two ohms", -1, "limited")), ANY, lexicon)
    assert (ohms(found), found.sure, found.words) == ("1.2 Ω", True, "one point two ohms")
    assert isinstance(found.meaning, SaidReading)
    assert not found.meaning.check
    found = decide(heard(("one point to ohms", -1, "free"), ("one point to ohms", -1, "limited")), ANY, lexicon)
    assert isinstance(found.meaning, SaidReading)
    assert found.meaning.check


def test_the_shipped_bounds_name_every_engine_and_every_listen() -> None:
    certainty = load_lexicon(texts("grammar")).certainty
    assert sorted(certainty) == ["both", "built-in", "vosk"]
    assert set(certainty["built-in"].weights) == {"tuned", "free", "letters"}
    assert set(certainty["both"].weights) == {"vosk", "tuned", "free", "letters"}
    for thresholds in certainty.values():
        assert set(thresholds.floors) == set(thresholds.weights)


def test_faults_in_the_bounds_are_all_reported_by_file_and_key() -> None:
    wrong = """
    more = 1
    [engine.built-in]
    longest_s = "long"
    surprise = 1
    weights = { free = -1, limited = 1 }
    floors = { free = 0 }
    at_once = true
    witnesses = 0
    value = 2
    lone = "much"
    """
    with pytest.raises(BadData) as caught:
        load_lexicon({**texts("grammar"), "certainty": wrong})
    where = {problem.where.removeprefix("grammar/certainty.toml: ") for problem in caught.value.problems}
    assert {
        "more",
        "engine.built-in.surprise",
        "engine.built-in.longest_s",
        "engine.built-in.floors.free",
        "engine.built-in.floors.limited",
        "engine.built-in.weights.free",
        "engine.built-in.at_once",
        "engine.built-in.witnesses",
        "engine.built-in.value",
        "engine.built-in.lone",
        "engine.built-in.word",
    } <= where


def test_a_session_begun_with_an_earlier_version_weighs_what_took_a_place_as_what_it_took_the_place_of() -> None:
    """Its own bounds know a pass that is gone; without a weight for its heir one way alone would decide."""
    kept = """
    [engine.built-in]
    longest_s = 7.9
    weights = { limited = 1, free = 1, letters = 1 }
    floors = { limited = 0.1, free = 0.1, letters = 1e-5 }
    measured = ""
    at_once = 0.9995
    value = 0.99
    lone = 0.9995
    word = 0.95
    """
    lexicon = load_lexicon({**texts("grammar"), "certainty": kept})
    assert lexicon.certainty["built-in"].weights["tuned"] == 1
    assert lexicon.certainty["built-in"].floors["tuned"] == 0.1
    three = [("three point seven k", -0.1, way) for way in ("tuned", "free")]
    against = heard(*three, ("six point seven k", -0.1, "letters"), engine="built-in")
    assert not decide(against, ANY, lexicon).sure, (
        "two ways have it otherwise, and the heir of the third is one of them"
    )
    of_today = load_lexicon(texts("grammar")).certainty["built-in"]
    assert "limited" not in of_today.weights


# ---- two values held up


def shown(understood: Understood) -> str | None:
    rival = understood.rival
    return rival.quantity.text if rival is not None and rival.quantity is not None else None


@pytest.mark.parametrize(
    ("first", "second", "score", "rival"),
    [
        ("fifteen ohms", "fifty ohms", -0.5, "50 Ω"),
        ("four four seven ohms", "four seven ohms", -0.5, "47 Ω"),
        ("fifteen ohms", "one five ohms", -0.5, "50 Ω"),  # one value by evidence, its double by sound
        ("one two ohms", "one seven ohms", -4.0, None),  # hardly believed
        ("one two ohms", "stop", -0.5, None),
        ("one two ohms", "open loop", -0.5, None),
        ("stop", "one two ohms", -0.5, None),
        ("no one two ohms", "one three ohms", -0.5, None),
        ("one two ohms", "no one three ohms", -0.5, None),
        ("one nine ohms", "mumble", -0.5, None),
        ("one nine ohms", "one five ohms", -0.5, "15 Ω"),
        ("fifteen", "mumble", -0.5, None),
        ("one point fifty ohms", "mumble", -0.5, "1.15 Ω"),
    ],
)
def test_beside_a_value_that_is_not_sure_stands_the_one_it_may_be(
    lexicon: Lexicon, first: str, second: str, score: float, rival: str | None
) -> None:
    strict = replace(lexicon, certainty={"test": replace(TEST, bounds=dict.fromkeys(Kind, 1.1))})
    found = decide(heard((first, 0.0, "limited"), (second, score, "limited")), ANY, strict)
    assert not found.sure
    assert shown(found) == rival


def test_a_double_that_is_no_value_is_not_held_up(lexicon: Lexicon) -> None:
    strict = replace(
        lexicon, certainty={"test": replace(TEST, bounds=dict.fromkeys(Kind, 1.1))}, confusable={"nine": "stop"}
    )
    assert shown(decide(heard(("nine ohms", 0.0, "limited")), ANY, strict)) is None


def test_beside_a_sure_value_stands_no_other(lexicon: Lexicon) -> None:
    found = decide(heard(("fifteen ohms", 0.0, "limited")), ANY, lexicon)
    assert found.sure
    assert found.rival is None


def test_confusable_words_are_number_words_and_both_ways() -> None:
    files = texts("grammar")
    lexicon = load_lexicon(files)
    assert lexicon.confusable["fifty"] == "fifteen"
    assert lexicon.confusable["fifteen"] == "fifty"
    head, _, rest = files["homophones"].partition("[confusable]")
    older = {**files, "homophones": head + rest[rest.index("[spoken_digits]") :]}
    assert load_lexicon(older).confusable == {}
    wrong = {**files, "homophones": files["homophones"].replace('fifteen = "fifty"', 'fifteen = "stop"')}
    with pytest.raises(BadData, match=r"homophones\.toml: confusable\.fifteen: found 'stop', expected a number word"):
        load_lexicon(wrong)
