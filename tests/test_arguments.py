"""Options of the command line: readings and ranges as people write them, and refusals that say why."""

import pytest
from language_cases import KILOHM, OHM, lexicon, quantity

from assistant.__main__ import parser
from assistant.arguments import range_ohm, reading
from assistant.errors import BadInput
from assistant.measure.units import Quantity


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("4,700", quantity("4700", OHM)),
        (" 13,500 ", quantity("13500", OHM)),
        ("4700", quantity("4700", OHM)),
        ("1.4", quantity("1.4", OHM)),
        ("4k7", quantity("4.7", KILOHM)),
    ],
)
def test_a_reading_as_an_option(text: str, expected: Quantity) -> None:
    assert reading("--secondary", text, lexicon()).quantity == expected


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("4K7K", "It may mean 4.7 kΩ, but its last letter is a tolerance."),
        ("about 4.7k", "It may mean 4.7 kΩ, but this is no plain value."),
        ("4 7 k", "It may mean 47 kΩ, but this is no plain value."),
        ("4,700k", "it is not clear what is meant"),
        ("4,7k", "it is not clear what is meant"),
        ("1.4 5", "two numbers"),
        ("stop", "expected a reading"),
    ],
)
def test_a_reading_that_is_not_plain_is_refused_with_the_reason(text: str, reason: str) -> None:
    with pytest.raises(BadInput, match=f"^--secondary {text!r}: expected a reading, as") as refused:
        reading("--secondary", text, lexicon())
    assert reason in str(refused.value)


@pytest.mark.parametrize(
    ("text", "ohms"),
    [
        ("200", 200),
        ("20k", 20_000),
        ("20 kΩ".replace(" ", ""), 20_000),
        ("40K", 40_000),
        ("600", 600),
        ("2M", 2_000_000),
        ("200M", 200_000_000),
    ],
)
def test_the_full_scale_of_a_dial(text: str, ohms: int) -> None:
    assert range_ohm(text) == ohms


@pytest.mark.parametrize(
    "text", ["", "0", "0k", "3k", "7", "2", "123", "20x", "2m", "-200", "400M", "2000M", "٢٠٠", "1.5k"]
)
def test_what_no_dial_has_is_refused(text: str) -> None:
    with pytest.raises(BadInput, match="expected the full scale of the dial as printed beside it"):
        range_ohm(text)


@pytest.mark.parametrize(
    ("usual", "other"),
    [
        ("models check here --json", "models check --json here"),
        ("models check here --json", "models --json check here"),
        ("meter new here --range 200:0.1:0.8:2", "meter new --range 200:0.1:0.8:2 here"),
        ("listen a.wav b.wav --engine vosk", "listen a.wav --engine vosk b.wav"),
    ],
)
def test_a_name_may_stand_before_and_after_options(usual: str, other: str) -> None:
    assert parser().parse_args(other.split()) == parser().parse_args(usual.split())


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        (["read", "--", "--json"], {"text": "--json"}),
        (["listen", "--", "-a.wav"], {"files": ["-a.wav"]}),
        (["export", "--to", "x", "--", "a", "--all"], {"jobs": ["a", "--all"], "all": False}),
    ],
    ids=str,
)
def test_after_two_dashes_everything_is_a_name(line: list[str], expected: dict[str, object]) -> None:
    parsed = vars(parser().parse_args(line))
    assert {name: parsed[name] for name in expected} == expected


@pytest.mark.parametrize("line", [["mark", "--", "14", "--good"], ["read", "--", "--", "x"]], ids=" ".join)
def test_after_two_dashes_nothing_is_an_option(line: list[str]) -> None:
    with pytest.raises(SystemExit):
        parser().parse_args(line)


def test_what_is_left_over_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        parser().parse_args(["models", "check", "--json", "here", "there"])
    assert ended.value.code == 2
    assert "there" in capsys.readouterr().err
