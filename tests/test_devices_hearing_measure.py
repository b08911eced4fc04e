"""The measurement of hearing: its reckoning, and a sample of it on real people where their recordings are present."""

import csv
from pathlib import Path

import pytest
from choose_certainty import Case, counted, told, tried, with_bounds
from measure_hearing import SPEECH, Row, measure, plain, summary, wilson

from assistant.data import texts
from assistant.devices.engines import open_recogniser
from assistant.language.lexicon import load_lexicon
from assistant.language.meaning import Alternative, Expectation, Hearing, Word
from assistant.language.understand import understand

ANY = Expectation("any")


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    # Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, method 3 (Wilson without continuity correction).
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_intervals_agree_with_published_ones(count: int, of: int, low: float, high: float) -> None:
    assert wilson(count, of) == pytest.approx((low, high), abs=5e-5)


def test_of_nothing_nothing_is_known() -> None:
    assert wilson(0, 0) == (0, 1)


def test_a_summary_counts_by_kind_and_names_what_was_wrong() -> None:
    rows = [
        Row("a", "digit string", "x", "one two", "one two", "right", (0.1,)),
        Row("b", "digit string", "y", "one two", "one ten", "wrong", (0.2, 0.3)),
        Row("c", "chatter", "x", "bed", "", "left", ()),
    ]
    found = summary(rows)
    assert found["kinds"]["digit string"]["wrong"]["count"] == 1
    assert found["kinds"]["chatter"] == {
        "of": 1,
        "taken": {"count": 0, "interval": [0.0, 0.793]},
        "left": {"count": 1, "interval": [0.207, 1.0]},
    }
    assert found["faults"] == [["b", "one two", "one ten"]]
    assert (found["utterances"], found["median_s"]) == (3, 0.2)


def evidence(*alternatives: tuple[str, float, str]) -> Hearing:
    return Hearing(
        tuple(
            Alternative(tuple(Word(word) for word in text.split()), score, source)
            for text, score, source in alternatives
        ),
        "built-in test",
        2.0,
    )


def test_bounds_are_tried_on_one_and_the_same_evidence() -> None:
    lexicon = load_lexicon(texts("grammar"))
    clear = evidence(("four seven", -0.1, "limited"), ("four seven", -0.1, "free"), ("four seven", -1.0, "letters"))
    doubtful = evidence(("four five", -0.1, "limited"), ("four nine", -0.1, "free"), ("four nine", -1.0, "letters"))
    meant = plain(understand("four five", ANY, lexicon, typed=False).meaning)
    cases = [
        Case(
            "four seven", "digit string", plain(understand("four seven", ANY, lexicon, typed=False).meaning), (clear,)
        ),
        Case("four five", "digit string", meant, (doubtful,)),
        Case("stop it", "chatter", None, (clear,)),
        Case("", "background", None, ()),
    ]
    results = {
        changed: counted(cases, with_bounds(lexicon, "built-in", thresholds))
        for changed, thresholds in tried(lexicon.certainty["built-in"])
    }
    # "four nine" has what letters and one pass say against the other: about 0.9999 of the belief, so only the strictest asks.
    assert results["as it is"] == {
        ("digit string", "right"): 1,
        ("digit string", "wrong"): 1,
        ("other", "taken"): 1,
        ("other", "left"): 1,
    }
    assert results["weights.letters 0.5"]["digit string", "wrong"] == 0
    assert results["weights.letters 0.5"]["digit string", "asked"] == 1
    assert told(results["as it is"]) == "digit string 1/1/0, other 1 taken of 2"


@pytest.mark.slow
def test_a_sample_of_real_people_is_heard() -> None:
    if not (SPEECH / "manifest.tsv").is_file():
        pytest.skip("no recordings of people beside the repository (../shared/speech)")
    with (SPEECH / "manifest.tsv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file, delimiter="\t"))[::6]
    lexicon = load_lexicon(texts("grammar"))
    counts = summary(measure(rows, Path(SPEECH) / "audio", open_recogniser("built-in", lexicon), lexicon))["kinds"]
    assert counts["command"]["wrong"]["count"] == 0
    assert counts["command"]["right"]["count"] >= 0.85 * counts["command"]["of"]
    assert counts["digit string"]["wrong"]["count"] <= 1
    assert counts["digit string"]["right"]["count"] >= 0.6 * counts["digit string"]["of"]
    assert counts["background"]["taken"]["count"] == 0
    assert counts["chatter"]["taken"]["count"] <= 2
