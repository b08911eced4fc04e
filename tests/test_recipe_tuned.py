"""The recipe of the tuned weights: the network in PyTorch is the program's, it learns, and the program runs what it learned."""

from pathlib import Path

import numpy as np
import pytest
from sounds import uttered

torch = pytest.importorskip("torch", reason="the recipe's training is not installed (pip install '.[recipe]')")

from tokenizers import Tokenizer  # noqa: E402  only where torch is

from assistant.devices.network import END, START, Network, spoken_part  # noqa: E402
from assistant.devices.tuned import changed, stored  # noqa: E402
from assistant.devices.weights import checked, manifest  # noqa: E402
from models.recipe import letters, tuned  # noqa: E402
from models.recipe.sounds import Sound  # noqa: E402

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def package() -> Path:
    return checked(manifest()["built-in"])


@pytest.fixture
def learner(package: Path) -> tuned.Learner:
    torch.manual_seed(4)
    tokens = Tokenizer.from_file(str(package / "tokenizer.json"))
    return tuned.Learner(tuned.Tuned(package / "model.bin"), letters.Letters(), tokens)


def heard(text: str) -> tuple[np.ndarray, Sound]:
    sound = spoken_part(uttered(0.5, text, 0.5))
    return sound, Sound("espeak", text, (), len(sound))


def test_with_the_shipped_changes_it_writes_what_the_program_writes(learner: tuned.Learner) -> None:
    """The program runs eight bits and looks at several texts at once; on clear speech the likeliest text is the same."""
    with np.load(checked(manifest()["tuned"]) / "tuned.npz") as arrays, torch.no_grad():
        for name in learner.tuned.up:
            stored_name = name.replace("__", "/")
            learner.tuned.up[name].copy_(torch.from_numpy(arrays[f"up {stored_name}"].astype(np.float32)))
            learner.tuned.down[name].copy_(torch.from_numpy(arrays[f"down {stored_name}"].astype(np.float32)))
    learner.eval()
    program = Network(tuned=True)
    for text in ("four point seven kilo ohms", "it reads one five point two", "stop"):
        sound, _ = heard(text)
        with torch.no_grad():
            states = learner.tuned(letters.framed(torch.from_numpy(sound)[None], [len(sound)]))
            (written,) = learner.written(states)
        assert written == program.decoded(program.states(sound))[0][0].strip() == text


def test_it_begins_as_the_package_and_a_few_steps_lower_both_losses(learner: tuned.Learner) -> None:
    before = {name: tensor.clone() for name, tensor in learner.tuned.named_buffers()}
    sound, described = heard("six zero nine")
    batch = torch.from_numpy(sound)[None]
    written, spelled = learner.losses(batch, [described], wear=False)
    optimiser = torch.optim.AdamW(learner.parameters(), 2e-3)
    for _ in range(6):
        optimiser.zero_grad()
        sum(learner.losses(batch, [described], wear=True)).backward()
        optimiser.step()
    with torch.no_grad():
        after = learner.losses(batch, [described], wear=False)
    assert after[0] < 0.5 * written
    assert after[1] < spelled
    assert all(torch.equal(tensor, before[name]) for name, tensor in learner.tuned.named_buffers()), (
        "the package's stay"
    )


def test_what_is_learned_is_what_is_added(learner: tuned.Learner, package: Path, tmp_path: Path) -> None:
    name = "decoder__layer_1__ffn__linear_0__weight"
    with torch.no_grad():
        learner.tuned.up[name].normal_()
    with (tmp_path / "tuned.npz").open("wb") as stream:
        np.savez(stream, **learner.tuned.changes())  # type: ignore[arg-type]
    content = (package / "model.bin").read_bytes()
    made = dict(stored(changed(content, tmp_path / "tuned.npz", package / "model.bin")))
    plain = name.replace("__", "/")
    wanted = learner.tuned.changed(plain).detach().numpy()
    assert np.allclose(made[plain].astype(np.float32), wanted, atol=0.02)
    assert [other for other, values in stored(content) if not np.array_equal(values, made[other])] == [plain]


def test_nothing_said_is_an_end_and_other_talk_its_words(learner: tuned.Learner) -> None:
    given, wanted = learner.rows([Sound("none", "", (), 0), Sound("real", "tree", (), 0)])
    assert given.shape == wanted.shape
    assert wanted[0].tolist()[:2] == [-100, END]
    counted = [token for token in wanted[1].tolist() if token not in (-100, END)]
    assert learner.tokens.decode(counted) == " tree"
    assert given[1].tolist()[: len(START)] == list(START)
