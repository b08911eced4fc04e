"""The letters' recipe: the encoder in PyTorch is the program's, the network learned is the one that runs, and it learns."""

import hashlib
import struct
from pathlib import Path

import numpy as np
import pytest
from sounds import speech

torch = pytest.importorskip("torch", reason="the recipe's training is not installed (pip install '.[recipe]')")

from assistant.devices.letters import STATES, greedy  # noqa: E402  only where torch is
from assistant.devices.letters import Letters as InNumpy  # noqa: E402
from assistant.devices.network import LEAD_S, PEAK, Network, spoken_part  # noqa: E402
from assistant.devices.ports import RATE_HZ  # noqa: E402
from assistant.devices.weights import checked, manifest  # noqa: E402
from models.recipe import letters, record  # noqa: E402
from models.recipe.sounds import Sound  # noqa: E402
from models.recipe.voices import trimmed  # noqa: E402

pytestmark = pytest.mark.slow


def test_the_encoder_here_gives_what_the_program_hears() -> None:
    """The program runs it in eight bits; half a spread of difference anywhere would be another network."""
    encoder = letters.Encoder(checked(manifest()["built-in"]) / "model.bin").eval()
    sound = spoken_part(
        np.concatenate([np.zeros(RATE_HZ), speech("four point seven"), np.zeros(RATE_HZ)]).astype(np.float32)
    )
    heard = Network().states(sound)[0]
    with torch.no_grad():
        found = encoder(letters.framed(torch.from_numpy(sound)[None], [len(sound)]))[0].numpy()
    assert found.shape == heard.shape
    assert np.abs(found - heard).mean() < 0.1 * heard.std()
    assert np.corrcoef(found.ravel(), heard.ravel())[0, 1] > 0.99


def test_what_is_no_file_of_weights_is_refused(tmp_path: Path) -> None:
    (tmp_path / "model.bin").write_bytes(struct.pack("<I", 6) + b"\x03\x00ab")
    with pytest.raises(ValueError, match="expected the weights that the package brings"):
        letters.Encoder(tmp_path / "model.bin")


def test_what_is_kept_is_what_the_program_runs(tmp_path: Path) -> None:
    torch.manual_seed(1)
    network = letters.Letters().eval()
    letters.save(network, tmp_path / "letters.npz")
    states = torch.randn(40, STATES)
    with torch.no_grad():
        here = network(states[None])[0].numpy()
    assert np.allclose(InNumpy(tmp_path / "letters.npz").log_probabilities(states.numpy()), here, atol=0.02)


def test_the_network_learns_what_it_is_shown() -> None:
    torch.manual_seed(2)
    sounds = [Sound("espeak", "yes", (), 0), Sound("espeak", "no", (), 0)]
    states = torch.randn(2, 12, STATES)
    network = letters.Letters()
    optimiser = torch.optim.AdamW(network.parameters(), 2e-3)
    for _ in range(60):
        optimiser.zero_grad()
        letters.loss_of(network, states, sounds).backward()
        optimiser.step()
    network.eval()
    with torch.no_grad():
        assert [greedy(chances) for chances in network(states).numpy()] == ["yes", "no"]


def test_a_sound_is_framed_as_the_program_frames_it() -> None:
    sound = trimmed(speech("seven"))
    framed = letters.framed(torch.from_numpy(np.pad(sound, (0, 4000), constant_values=0.9))[None], [len(sound)])[
        0
    ].numpy()
    assert len(framed) % RATE_HZ == 0
    lead = round(LEAD_S * RATE_HZ)
    assert np.abs(framed).max() == pytest.approx(PEAK, rel=1e-4), "what does not count sets no level"
    assert not framed[:lead].any()
    assert not framed[lead + len(sound) :].any()


def test_a_new_hash_takes_the_place_of_the_old(tmp_path: Path) -> None:
    (tmp_path / "letters.npz").write_bytes(b"new")
    before = f'[letters.sha256]\n"letters.npz" = "{"0" * 64}"\n\n[numbers.sha256]\n"am/final.mdl" = "{"1" * 64}"\n'
    after = record.hashed(before, tmp_path / "letters.npz")
    assert after == before.replace("0" * 64, hashlib.sha256(b"new").hexdigest())
    with pytest.raises(ValueError, match=r"no hash of letters\.npz"):
        record.hashed("[numbers]", tmp_path / "letters.npz")
