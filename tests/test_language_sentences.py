"""Over-match: every phrase and every generated sentence means what its entry says, under everything live at once."""

import pytest
from language_cases import heard, lexicon, typed

from assistant.language.meaning import (
    Ask,
    Expectation,
    Meaning,
    NotUnderstood,
    SaidAnswers,
    SaidCommand,
    SaidNumber,
    SaidReading,
    SaidUnit,
    Why,
)
from assistant.language.sentences import MOST_SENTENCES, sentences
from assistant.measure.units import Reading, Shown

QUICK = ("yes_no",)
"""The step of the quick set; the others are slow because they are many and have thousands of sentences, which try everything."""
ALL_OF_IT = (pytest.mark.slow, pytest.mark.no_cover)
STEPS = [step if step in QUICK else pytest.param(step, marks=ALL_OF_IT) for step in lexicon().expectations]


def expected(phrase: tuple[str, ...], step: str) -> Meaning | Why | None:
    """What the entry of a phrase says it means at a step: a meaning, a refusal, or None when it is no phrase."""
    words, live = lexicon(), lexicon().expectations[step]
    if phrase in words.commands:
        return SaidCommand(words.commands[phrase])
    if phrase in live.short or phrase in words.answers:
        name = live.short.get(phrase) or words.answers[phrase]
        name = live.renamed.get(name, name)
        answer = SaidAnswers((name,)) if name in live.answers else Why.NOT_EXPECTED
        return SaidCommand(name) if name in words.command_help else answer
    return _expected_of_a_meter(phrase, step)


def _expected_of_a_meter(phrase: tuple[str, ...], step: str) -> Meaning | Why | None:
    words, live = lexicon(), lexicon().expectations[step]
    if phrase in words.beep:
        return Why.BEEP if live.readings else Why.NOT_EXPECTED
    for phrases, shown in ((words.over_range, Shown.OVER_RANGE), (words.unsteady, Shown.UNSTEADY)):
        if phrase in phrases:
            return SaidReading(Reading(shown)) if live.readings and not live.values_only else Why.WRONG_KIND
    unit = words.units.get(phrase)
    return None if unit is None else SaidUnit(unit) if live.unit else Why.WRONG_KIND


EVERY_PHRASE = tuple(
    dict.fromkeys(
        [
            *lexicon().commands,
            *lexicon().answers,
            *sorted(lexicon().over_range | lexicon().unsteady | lexicon().beep),
            *lexicon().units,
        ]
    )
)


@pytest.mark.parametrize("step", STEPS)
def test_every_phrase_means_what_its_entry_says(step: str) -> None:
    """Live or not: a phrase never means anything but its own entry, heard, typed, politely and said twice."""
    for phrase in EVERY_PHRASE:
        meant = expected(phrase, step)
        said = " ".join(phrase)
        for text in (said, said.capitalize() + ".", f"please {said}", f"um {said} thank you"):
            meaning = heard(text, step)
            found = meaning.why if isinstance(meaning, NotUnderstood) else meaning
            assert found == meant, (text, step)
        if step != "label":
            meaning = typed(said, step)
            assert (meaning.why if isinstance(meaning, NotUnderstood) else meaning) == meant, (said, step)


@pytest.mark.parametrize("step", STEPS)
def test_every_generated_sentence_is_understood_as_its_own_kind(step: str) -> None:
    live = lexicon().expectations[step]
    kinds: list[type[Meaning]] = [SaidAnswers, SaidCommand]
    kinds += [SaidReading, Ask, SaidUnit] if live.readings else []
    kinds += [SaidNumber] if live.number else []
    for sentence in sentences(lexicon(), Expectation(step)):
        phrase = tuple(sentence.split())
        meaning = heard(sentence, step)
        if isinstance(meaning, NotUnderstood):
            refused = Why.BEEP if phrase in lexicon().beep else Why.UNCLEAR
            assert meaning.why is refused, sentence
            assert phrase in lexicon().beep or (live.number and _corrects(phrase)), sentence
        else:
            assert type(meaning) in kinds, sentence
        meant = expected(phrase, step)
        if isinstance(meant, SaidAnswers | SaidCommand | SaidReading | SaidUnit):
            assert meaning == meant, sentence


def _corrects(phrase: tuple[str, ...]) -> bool:
    return any(phrase[:end] in lexicon().fillers["corrections"] for end in range(1, len(phrase)))


@pytest.mark.parametrize("step", STEPS)
def test_no_sentence_steals_a_meaning_when_everything_is_live(step: str) -> None:
    """Under `any` a sentence of a step means the same, or what the step's own `as` and `short` entries rename.

    Answers that `any` leaves out, because they choose between things offered ("the first"), mean nothing there.
    """
    live = lexicon().expectations[step]
    for sentence in sentences(lexicon(), Expectation(step)):
        here, everywhere = heard(sentence, step), heard(sentence, "any")
        if here == everywhere or isinstance(here, NotUnderstood):
            continue
        phrase = tuple(sentence.split())
        if isinstance(here, SaidNumber):
            assert isinstance(everywhere, Ask | SaidReading) or live.number, sentence
            continue
        if isinstance(everywhere, NotUnderstood) and everywhere.why is Why.NOT_EXPECTED:
            assert not _names(here) & set(lexicon().expectations["any"].answers), sentence
            continue
        if isinstance(everywhere, NotUnderstood) and (live.before or live.after):
            continue  # said with words around it that only this question has
        own = phrase in live.short or isinstance(everywhere, SaidAnswers)
        assert own, sentence
        if isinstance(everywhere, SaidAnswers) and phrase not in live.short:
            assert {live.renamed.get(name, name) for name in everywhere.names} == _names(here), sentence


def _names(meaning: Meaning) -> set[str]:
    if isinstance(meaning, SaidAnswers):
        return set(meaning.names)
    assert isinstance(meaning, SaidCommand)
    return {meaning.name}


@pytest.mark.parametrize("step", lexicon().expectations)
def test_sentences_are_few_plain_and_cover_the_words(step: str) -> None:
    expectation = Expectation(step)
    made = sentences(lexicon(), expectation)
    assert made == sentences(lexicon(), expectation)
    assert 100 < len(made) == len(set(made)) < MOST_SENTENCES
    assert all(sentence == " ".join(sentence.lower().split()) for sentence in made)
    said = {word for sentence in made for word in sentence.split()}
    left = {word for word in lexicon().words(expectation) if len(word) > 1} - said
    as_one_word = {word for phrase in set(lexicon().units) - lexicon().units_said for word in phrase}
    assert left <= as_one_word | {"an"}
    assert said <= set(lexicon().vocabulary)
    assert not said & {"kilohm", "kilohms", "megohm", "megohms"}


def test_the_whole_list_is_cut_where_a_recogniser_has_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("assistant.language.sentences.MOST_SENTENCES", 50)
    assert len(sentences(lexicon(), Expectation("any"))) == 50
