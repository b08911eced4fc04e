"""The recipe of the Vosk model: the record of a model's files, and the command that makes them."""

import subprocess
import sys
import tomllib
from hashlib import sha256
from pathlib import Path

import pytest

from assistant.data import folder
from assistant.devices.weights import manifest
from models.recipe import record

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture
def model(tmp_path: Path) -> Path:
    (tmp_path / "words" / "am").mkdir(parents=True)
    (tmp_path / "words" / "am" / "final.mdl").write_bytes(b"network")
    (tmp_path / "words" / "README.md").write_text("for people")
    return tmp_path / "words"


def test_the_entry_of_a_model_has_the_hash_of_every_file_that_the_program_reads(model: Path) -> None:
    found = manifest(record.entry(model))["words"]
    assert found.sha256 == {"am/final.mdl": sha256(b"network").hexdigest()}
    assert (found.module, found.folder, found.package) == ("", "words", "ohmaloud")


def test_an_entry_takes_the_place_of_the_one_before(model: Path) -> None:
    text = (folder("models") / "MANIFEST.toml").read_text(encoding="utf-8")
    before = tomllib.loads(text)
    once = record.listed(f"{text}\n{record.entry(model)}", model)
    (model / "am" / "final.mdl").write_bytes(b"another")
    (model / "more").write_bytes(b"")
    twice = record.listed(f'{once}\n[last]\ntitle = "x"\n', model)
    assert tomllib.loads(once) == before | tomllib.loads(once[once.index("[words]") :])
    after = tomllib.loads(twice)
    assert set(after) == {*before, "words", "last"}
    assert after["words"]["sha256"] == {"am/final.mdl": sha256(b"another").hexdigest(), "more": sha256(b"").hexdigest()}
    assert twice.startswith(text.splitlines()[0])


@pytest.mark.slow
@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["bake"], "no stage bake; expected any of speak, train, letters, tuned, model, graph, judge"),
        (["train"], "--work is needed"),
        (["speak", "--work", "w"], "to speak, --speech and --voices are needed"),
    ],
)
def test_bad_arguments_are_named(arguments: list[str], said: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "models.recipe", *arguments], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert done.stderr.splitlines()[-1].endswith(said)
