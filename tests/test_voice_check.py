"""One person's hard words: found by ten prompts, kept in the settings, other words asked for, and replayed as they were."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from sounds import silence, uttered
from stand_in_host import StandInHost

from assistant import data, live_commands
from assistant.devices.ports import RATE_HZ, Samples
from assistant.errors import BadData, BadInput
from assistant.journal import read
from assistant.language.meaning import Alternative, Expectation, Hearing, Word
from assistant.language.person import Alternatives, adapted, hints, load_alternatives, misheard
from assistant.language.understand import understand
from assistant.preflight import load_bench, read_files
from assistant.report.voice_check import Row, hard_words, rows
from assistant.report.voice_source import from_microphone
from assistant.settings import VARIABLE, load

SHIPPED = load_alternatives(data.texts("procedures")["voice"])


@pytest.fixture(autouse=True)
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(VARIABLE, str(tmp_path / "settings.toml"))
    return tmp_path / "settings.toml"


class Mishearing:
    """Hears what its prompts say, with some words as others; satisfies ports.Recogniser."""

    name = "built-in stand-in"

    def __init__(self, heard: list[str]) -> None:
        self._heard = heard

    def hear(self, samples: Samples, expectation: Expectation) -> Hearing:  # noqa: ARG002 - the port's signature
        words = tuple(Word(word) for word in self._heard.pop(0).split())
        return Hearing((Alternative(words, -1.0, "tuned"),), self.name, len(samples) / RATE_HZ)


# ---- words


@pytest.mark.parametrize(
    ("prompt", "heard", "wrong"),
    [
        ("zero point one two ohms", "zero point one two ohms", ()),
        ("zero point one two ohms", "hero point one two ohms", ("zero",)),
        ("zero point one two ohms", "point one two", ("zero", "ohms")),
        ("yes", "", ("yes",)),
        ("one one two", "one two", ("one",)),
    ],
)
def test_words_that_are_not_in_their_place_are_found(prompt: str, heard: str, wrong: tuple[str, ...]) -> None:
    assert misheard(prompt, heard) == wrong


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("Say yes or no.", "Say correct or nope."),
        (
            "Are there electronics inside: yes, no, or not known?",
            "Are there electronics inside: correct, nope, or not known?",
        ),
        ("Say a symptom, such as no spark; or none.", "Say a symptom, such as no spark; or none."),
        ("Say ready when that is done.", "Say done when that is done."),
        ("Say done when ready.", "Say done when ready."),
        ("Say ohms, such as zero point two ohms.", "Say ohms, such as nought point two ohms."),
        ("Nothing of it.", "Nothing of it."),
    ],
)
def test_only_words_that_are_to_be_said_are_replaced(text: str, asked: str) -> None:
    assert adapted(text, ("yes", "no", "ready", "zero", "five"), SHIPPED) == asked
    assert adapted(text, ("five",), SHIPPED) == text


def test_a_hint_is_given_once(path: Path) -> None:
    assert hints(("open", "loop", "unheard"), SHIPPED) == "Say over range for open loop."
    assert hints((), SHIPPED) == ""
    assert Alternatives().instead == {}
    assert not path.exists()


def test_what_is_asked_for_instead_means_the_same_wherever_it_is_asked() -> None:
    lexicon = load_bench(read_files()).lexicon
    for word, other in SHIPPED.instead.items():
        for name, live in lexicon.expectations.items():
            expect = Expectation(name)
            said = f"{word} point two ohms" if word == "zero" else word
            asks = adapted(live.help, (word,), SHIPPED) != live.help
            if asks:
                meant = understand(said, expect, lexicon, typed=False).meaning
                assert understand(said.replace(word, other), expect, lexicon, typed=False).meaning == meant, (
                    word,
                    name,
                )


def test_every_word_of_the_prompts_has_another_or_a_hint() -> None:
    words = {word for prompt in SHIPPED.prompts for word in prompt.split()}
    assert len(SHIPPED.prompts) == 10
    assert words <= {*SHIPPED.instead, *SHIPPED.hint}
    assert {"zero", "one", "nine", "point", "kilo", "ohms", "yes", "no", "stop", "open"} <= words


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("x", "valid TOML"),
        ("prompts = 1\n[instead]\n[hint]", "voice.toml: prompts"),
        ("prompts = [1]\n[instead]\n[hint]", "voice.toml: prompts"),
        ("prompts = []\n[hint]", "voice.toml: instead"),
        ("prompts = []\n[instead]\n[hint]\na = 1", "voice.toml: hint"),
    ],
)
def test_faults_in_the_file_are_named(text: str, where: str) -> None:
    with pytest.raises(BadData) as caught:
        load_alternatives(text)
    assert where in str(caught.value)


# ---- hearing


def test_prompts_are_right_by_what_they_mean(bench: Any) -> None:
    heard = ["hero point one two ohms", "yes", "over range", "zero point three ohms"]
    prompts = ("zero point one two ohms", "yes", "open loop", "zero point three ohms", "stop")
    sound = [np.ones(10, dtype=np.float32)] * 4 + [None]
    found = tuple(rows(prompts, lambda _: sound.pop(0), Mishearing(heard), bench.lexicon))
    assert [row.right for row in found] == [False, True, True, True, False]
    assert [row.wrong for row in found] == [("zero",), (), (), (), ()]
    assert found[4] == Row("stop", "", sure=False, right=False, wrong=())
    assert hard_words(found) == ("zero",)  # wrong as often as right
    assert hard_words((*found, found[3])) == ()  # one slip of three
    assert hard_words(found[:3]) == ("zero",)


def test_the_microphone_is_heard_for_each_prompt_and_let_go() -> None:
    host = StandInHost()
    said = uttered(0.5, "stop", 5)
    listen = from_microphone(host, None, lambda _: None if host.feed(said) else pytest.fail("nobody listens"))
    samples = listen("stop")
    assert samples is not None
    assert 0.2 < len(samples) / RATE_HZ < 2
    assert host.streams == []
    said = silence(6)
    assert listen("stop") is None
    host.plugged.clear()
    with pytest.raises(BadInput, match="No microphone was found"):
        listen("stop")


# ---- the command


def recording(path: Path, text: str) -> str:
    soundfile.write(path, uttered(0.4, text, 0.8), RATE_HZ)
    return str(path)


def hearing(monkeypatch: pytest.MonkeyPatch, *heard: str) -> None:
    monkeypatch.setattr(live_commands, "recogniser_of", lambda *_: Mishearing(list(heard)))


@pytest.mark.slow
def test_hard_words_are_kept_shown_asked_for_otherwise_and_forgotten(
    run: Any, path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    files = [recording(tmp_path / f"{number}.wav", prompt) for number, prompt in enumerate(SHIPPED.prompts[:2])]
    path.write_text("rate = 200\n", encoding="utf-8")
    hearing(monkeypatch, "hero point one two ohms", "three point four five ohms")
    done = run("check", "--voice", "--json", "--from", *files)
    assert done.status == 1
    assert "1 of 2: zero point one two ohms: heard “hero point one two ohms”" in done.err
    assert "2 of 2: three point four five ohms: right" in done.err
    assert "Wrong with this voice and microphone: zero." in done.err
    assert [json.loads(line)["wrong"] for line in done.out.splitlines()] == [["zero"], []]
    assert (load({}).text("hard_words"), load({}).whole("rate")) == ("zero", 200)
    assert f"hard_words = zero (from: {path})" in run("settings").err
    chat = run("chat", "--data", str(tmp_path / "jobs"), typed="ready\n1\nskip\nskip\nnone\nno\npocket\ndone\nhelp\n")
    assert "Say nought for zero." in chat.err
    assert "such as nought point two ohms" in chat.err
    (folder,) = [each for each in (tmp_path / "jobs").iterdir() if each.is_dir()]
    assert read(folder).header.files["person"] == {"hard_words": "zero"}
    assert run("check", "--voice", "--forget").status == 0
    assert load({}).text("hard_words") == ""
    assert run("replay", str(folder)).status == 0  # as it was, although the settings have changed
    assert run("replay", str(folder), "--today").status == 1
    again = run("chat", "--data", str(tmp_path / "later"), typed="help\n")
    assert "nought" not in again.err


def test_nothing_wrong_is_said(run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    hearing(monkeypatch, "zero point one two ohms")
    done = run("check", "--voice", "--from", recording(tmp_path / "0.wav", SHIPPED.prompts[0]))
    assert done.status == 0
    assert "No word was wrong." in done.err


@pytest.mark.slow
def test_nothing_heard_leaves_the_settings(
    run: Any, path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    soundfile.write(tmp_path / "quiet.wav", silence(2), RATE_HZ)
    path.write_text('hard_words = "no"\n', encoding="utf-8")
    hearing(monkeypatch)
    done = run("check", "--voice", "--from", str(tmp_path / "quiet.wav"))
    assert done.status == 2
    assert "nothing was heard at all; the settings stay" in done.err
    assert load({}).text("hard_words") == "no"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--forget",), "--from and --forget go with --voice"),
        (("--from", "x.wav"), "--from and --forget go with --voice"),
        (("--voice", "--from", "none.wav"), "none.wav: no such file; expected a WAV or FLAC recording"),
        (("--voice", "--from", *["x.wav"] * 11), "11 recordings, expected 10 at most"),
    ],
)
def test_bad_arguments_are_one_line(run: Any, arguments: tuple[str, ...], message: str) -> None:
    done = run("check", *arguments)
    assert done.status == 2
    assert message in done.err
    assert done.err.count("\n") == 1


def test_settings_with_mistakes_are_left_alone(
    run: Any, path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path.write_text("rate = = 1\n", encoding="utf-8")
    hearing(monkeypatch, "hero point one two ohms")
    done = run("check", "--voice", "--from", recording(tmp_path / "0.wav", SHIPPED.prompts[0]))
    assert done.status == 2
    assert "has mistakes in it and was left alone" in done.err
    assert path.read_text(encoding="utf-8") == "rate = = 1\n"


@pytest.mark.slow
def test_real_hearing_finds_no_hard_word_in_clear_speech(run: Any, tmp_path: Path) -> None:
    files = [recording(tmp_path / f"{number}.wav", prompt) for number, prompt in enumerate(SHIPPED.prompts)]
    done = run("check", "--voice", "--json", "--engine", "built-in", "--from", *files)
    found = [json.loads(line) for line in done.out.splitlines()]
    assert len(found) == 10
    assert sum(row["right"] for row in found) >= 7
