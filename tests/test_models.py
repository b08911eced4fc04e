"""Models that are fetched: over bad lines, from bad servers, out of bad zips; and what is said of those that are there."""

import hashlib
import http.client
import io
import json
import shutil
import stat
import sys
import urllib.request
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import vosk
from filelock import FileLock
from model_server import (
    FILES,
    FOLDER,
    Manner,
    Server,
    from_elsewhere,
    half,
    says,
    serving,
    stalling,
    status,
    whole,
    without_ranges,
    zipped,
)

from assistant import data
from assistant.devices import engines, vosk_folder, weights
from assistant.devices.engines import MODEL_VARIABLE, vosk_place
from assistant.devices.fetch import Patience, _SameSafety
from assistant.devices.model_store import FETCHED_FILE, as_fetched, get
from assistant.devices.offers import Offer, offers
from assistant.errors import BadData, BadInput
from assistant.settings import VARIABLE

OFFER = replace(
    offers()["small-english"], most_bytes=200_000, most_unpacked_bytes=400_000, most_entries=20, seen_sha256=""
)


@pytest.fixture(autouse=True)
def _here_alone(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("no_proxy", "*")
    monkeypatch.delenv(MODEL_VARIABLE, raising=False)
    monkeypatch.setenv(VARIABLE, str(tmp_path / "settings.toml"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "user"))


@pytest.fixture
def server() -> Iterator[Server]:
    with serving() as state:
        yield state


Get = Callable[..., Path]


@pytest.fixture
def got(server: Server, tmp_path: Path) -> Get:
    """Fetch from that server; what was told and how far it came are kept on the function."""

    def get_it(offer: Offer = OFFER, **options: Any) -> Path:
        return get(
            offer,
            tmp_path / "models",
            address=server.address,
            progress=lambda here, whole_: seen.append((here, whole_)),
            tell=told.append,
            patience=Patience(silence_s=0.2, attempts=2),
            **options,
        )

    told: list[str] = []
    seen: list[tuple[int, int | None]] = []
    get_it.told, get_it.seen = told, seen  # type: ignore[attr-defined]
    return get_it


def found(tmp_path: Path) -> list[str]:
    """What an engine would find."""
    return [path.parent.parent.name for path in (tmp_path / "models").glob("*/am/final.mdl")]


# ---- the way here


def test_a_model_is_fetched_and_found(
    got: Get, server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = got()
    assert place == tmp_path / "models" / FOLDER
    assert {name: (place / name).read_bytes() for name in FILES} == FILES
    assert as_fetched(place) is True
    size = len(server.body)
    assert got.seen[-1] == (size, size)  # type: ignore[attr-defined]
    (line,) = got.told  # type: ignore[attr-defined]
    assert line.startswith(f"Fetched {size} bytes; sha256 ")
    assert line.endswith("No checksum of its makers is known here.")
    monkeypatch.setattr("assistant.devices.engines.own_models_folder", lambda: tmp_path / "models")
    assert vosk_place() in (place, *data.folder("models").iterdir())
    assert [path.name for path in (tmp_path / "models" / ".fetching").iterdir() if path.name != "lock"] == []


@pytest.mark.parametrize(
    ("manners", "ranges"),
    [
        ([half, whole], ["bytes=half-"]),
        ([stalling, whole], ["bytes=half-"]),
        ([half, without_ranges], ["bytes=half-"]),
        ([half, from_elsewhere, whole], ["bytes=half-", None]),
        ([half, status(416), whole], ["bytes=half-", None]),
        ([status(302, Location="/elsewhere.zip"), whole], [None]),
        ([says(None)], []),
    ],
)
def test_it_comes_whole_over_a_bad_line(
    got: Get, server: Server, manners: list[Manner], ranges: list[str | None]
) -> None:
    server.manners = manners
    place = got()
    assert {name: (place / name).read_bytes() for name in FILES} == FILES
    middle = f"bytes={len(server.body) // 2}-"
    assert server.ranges == [None, *(middle if each and "half" in each else each for each in ranges)]


def test_a_later_call_goes_on_where_an_earlier_one_broke_off(got: Get, server: Server, tmp_path: Path) -> None:
    server.manners = [half, status(503)]
    with pytest.raises(BadInput, match="503"):
        got()
    assert found(tmp_path) == []
    server.manners = [whole]
    got()
    assert server.ranges[-1] == f"bytes={len(server.body) // 2}-"


def test_another_file_under_the_same_address_is_begun_anew(got: Get, server: Server) -> None:
    server.manners = [half, status(503)]
    with pytest.raises(BadInput):
        got()
    server.body = zipped(FILES | {"README": b"new"})

    def changed(answer: Any) -> None:
        assert answer.headers["If-Range"] == '"one"'
        without_ranges(answer)

    server.manners = [changed]
    assert (got() / "README").read_bytes() == b"new"


@pytest.mark.slow
@pytest.mark.parametrize(
    ("manner", "message"),
    [
        (half, "cannot be fetched (it broke off after"),
        (stalling, "cannot be fetched (timed out); is there a network?"),
        (says(199_999), "cannot be fetched (it broke off after"),
        (says(10), "this is no whole zip file"),
        (says(5_000_000), "5000000 bytes, expected 200000 at most; it is not fetched"),
        (status(404), "the server answers 404 Not Found; no model was fetched"),
        (status(500), "the server answers 500"),
        (status(302, Location="ftp://127.0.0.1/x.zip"), "which is not as safe"),
        (status(302, Location="file:///etc/passwd"), "'file:///etc/passwd' is not allowed"),
        (status(302, Location="/again.zip"), "the server answers 302"),
        (status(416), "it does not go on with what is here"),
    ],
)
def test_what_cannot_be_had_is_one_clear_line(
    got: Get, server: Server, tmp_path: Path, manner: Manner, message: str
) -> None:
    server.manners = [manner]
    with pytest.raises(BadInput) as caught:
        got()
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)
    assert found(tmp_path) == []


def test_an_endless_answer_is_left(got: Get, server: Server, tmp_path: Path) -> None:
    server.body = b"x" * 200_001
    server.manners = [says(None)]
    with pytest.raises(BadInput, match="goes on beyond 200000 bytes"):
        got()
    assert not list((tmp_path / "models" / ".fetching").glob("*.part"))


def test_no_network_is_said_with_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"is there a network\?.*unpack it as .*models check"):
        get(OFFER, tmp_path, address="http://127.0.0.1:1/x.zip", progress=lambda *_: None, tell=print)


def test_only_web_addresses_are_fetched(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="expected an address that begins with https"):
        get(OFFER, tmp_path, address="file:///etc/passwd", progress=lambda *_: None, tell=print)


def test_a_safe_address_sends_to_no_unsafe_one() -> None:
    request, answer = urllib.request.Request("https://example.invalid/x.zip"), io.BytesIO()
    with pytest.raises(BadInput, match="not as safe"):
        _SameSafety().redirect_request(  # there is no https server here
            request, answer, 302, "", http.client.HTTPMessage(), "http://example.invalid/x.zip"
        )
    assert answer.closed


# ---- what came


def test_the_makers_checksum_is_demanded_where_it_is_known(got: Get, server: Server, tmp_path: Path) -> None:
    right = hashlib.sha256(server.body).hexdigest()
    with pytest.raises(BadInput, match=f"found sha256 {right}, expected {'0' * 64}"):
        got(replace(OFFER, sha256="0" * 64))
    assert found(tmp_path) == []
    got(replace(OFFER, sha256=right))
    assert got.told[-1].endswith("as its makers give it.")  # type: ignore[attr-defined]
    got(replace(OFFER, seen_sha256=right), replace=True)
    assert "; the same as a copy that others published." in got.told[-1]  # type: ignore[attr-defined]
    got(replace(OFFER, seen_sha256="0" * 64), replace=True)
    assert "; not the same as a copy that others published." in got.told[-1]  # type: ignore[attr-defined]


def linked(entry: zipfile.ZipInfo) -> None:
    entry.external_attr = (stat.S_IFLNK | 0o777) << 16


def damaged(body: bytes) -> bytes:
    """One byte of the weights is another."""
    at = body.index(b"final.mdl") + 40
    return body[:at] + bytes([body[at] ^ 255]) + body[at + 1 :]


@pytest.mark.parametrize(
    ("body", "message"),
    [
        (b"", "no whole zip file"),
        (b"<html>Not here</html>", "no whole zip file"),
        (zipped()[:-30], "no whole zip file"),
        (damaged(zipped()), "no whole zip file"),
        (zipped({"a": b"\0" * 400_001}), "would unpack to 400001 bytes, expected 400000 at most"),
        (zipped({str(n): b"" for n in range(21)}), "holds 21 entries, expected 20 at most"),
        (zipped({}), "is empty"),
        (zipped({"../../escaped": b"x"}), "leads outside its folder"),
        (zipped({"/escaped": b"x"}, top=""), "leads outside its folder"),
        (zipped({"C:/escaped": b"x"}, top=""), "leads outside its folder"),
        (zipped({"..\\escaped": b"x"}), "leads outside its folder"),
        (zipped({"a\nb": b"x"}), "leads outside its folder"),
        (zipped({"elsewhere/a": b"x"}, top=""), f"lies outside the folder {FOLDER}"),
        (zipped({"am/final.mdl": b"/etc/passwd"}, change=linked), "is a link or a device"),
        (zipped({"A": b"x", "a": b"y"}), "is there twice"),
        (zipped({"a": b"x", "a/b": b"y"}), "cannot be unpacked there"),
        (zipped({"README": b"x"}), "am/final.mdl, conf/mfcc.conf, graph/HCLr.fst, graph/Gr.fst missing"),
        (zipped(FILES | {"am/final.mdl": b""}), "am/final.mdl empty"),
        (zipped({"am/final.mdl": b"x", "graph/HCLG.fst": b"x"}), "has a fixed graph"),
    ],
)
def test_a_bad_zip_leaves_nothing_behind(got: Get, server: Server, tmp_path: Path, body: bytes, message: str) -> None:
    server.body = body
    with pytest.raises(BadInput) as caught:
        got()
    assert message in str(caught.value)
    assert found(tmp_path) == []
    left = {path.name for path in tmp_path.rglob("*")}
    assert left <= {"models", ".fetching", "lock"}


def test_an_encrypted_zip_is_refused(got: Get, server: Server, tmp_path: Path) -> None:
    body = bytearray(zipped({"a": b"x"}))
    for signature, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        body[body.index(signature) + at] |= 1
    server.body = bytes(body)
    with pytest.raises(BadInput, match="is encrypted"):
        got()
    assert found(tmp_path) == []


def test_a_zip_that_unpacks_to_more_than_it_says_is_refused(got: Get, server: Server, tmp_path: Path) -> None:
    body = bytearray(zipped({"a": b"\0" * 300_000}))
    for signature, at in ((b"PK\x03\x04", 22), (b"PK\x01\x02", 24)):
        start = body.index(signature) + at
        body[start : start + 4] = (10).to_bytes(4, "little")
    server.body = bytes(body)
    with pytest.raises(BadInput, match="no whole zip file"):
        got()
    assert found(tmp_path) == []


def test_what_is_there_is_kept_until_the_new_one_is_whole(got: Get, server: Server, tmp_path: Path) -> None:
    place = got()
    with pytest.raises(BadInput, match="is there already"):
        got()
    server.body = zipped({"README": b"x"})
    with pytest.raises(BadInput, match="missing"):
        got(replace=True)
    assert as_fetched(place) is True
    server.body = zipped(FILES | {"README": b"x"})
    got(replace=True)
    assert (place / "README").read_bytes() == b"x"
    assert found(tmp_path) == [FOLDER]


def test_one_fetch_at_a_time_and_a_killed_one_leaves_no_rubbish(got: Get, tmp_path: Path) -> None:
    left = tmp_path / "models" / ".fetching" / "unpacking-killed" / FOLDER
    left.mkdir(parents=True)
    with FileLock(tmp_path / "models" / ".fetching" / "lock"), pytest.raises(BadInput, match="another fetch"):
        got()
    got()
    assert not left.exists()


def test_a_folder_that_cannot_be_written_is_named(got: Get, tmp_path: Path) -> None:
    (tmp_path / "models").write_text("a file")
    with pytest.raises(BadInput, match="models: cannot be used"):
        got()


def test_a_disk_that_refuses_is_named(got: Get, monkeypatch: pytest.MonkeyPatch) -> None:
    usual = Path.open

    def refuse(path: Path, *arguments: Any, **options: Any) -> Any:
        if path.name.endswith(".part"):
            raise OSError(28, "No space left on device")
        return usual(path, *arguments, **options)

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(BadInput, match=r"cannot be written \(No space left on device\)"):
        got()


def test_a_file_that_changed_later_is_noticed(got: Get) -> None:
    place = got()
    (place / "graph" / "Gr.fst").write_bytes(b"other")
    assert as_fetched(place) is False
    (place / FETCHED_FILE).write_text("{")
    assert as_fetched(place) is False
    (place / FETCHED_FILE).unlink()
    assert as_fetched(place) is None


# ---- the data file


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[a", "a TOML file that can be read"),
        ("a = 1", "OFFERS.toml: a: found 1, expected a table"),
        ("[a]\nx = 1", "OFFERS.toml: a.x: found an unknown key"),
        ("[a]\ntitle = 1", "OFFERS.toml: a.title: found 1, expected a text"),
        ("[a]\nmost_bytes = 0", "OFFERS.toml: a.most_bytes: found 0, expected a whole number above 0"),
        ("[a]\nsha256 = 7", "OFFERS.toml: a.sha256: found 7, expected a text"),
    ],
)
def test_faults_in_the_offers_are_named(text: str, message: str) -> None:
    with pytest.raises(BadData) as caught:
        offers(text)
    assert message in str(caught.value)


def test_the_shipped_offer_is_from_a_safe_address_and_within_its_bounds() -> None:
    for offer in offers().values():
        assert offer.address.startswith("https://")
        assert offer.seen_bytes < offer.most_bytes


# ---- a folder


def placed(place: Path, files: dict[str, bytes]) -> Path:
    for name, content in files.items():
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        (place / name).write_bytes(content)
    return place


@pytest.mark.parametrize(
    ("conf", "fault"),
    [
        (b"", ""),
        (b"--sample-frequency=16000\n", ""),
        (b"--sample-frequency=8000 # telephone\n--allow-downsample=true\n", ""),
        (b"--sample-frequency=8000\n", "hears 8000 Hz and conf/mfcc.conf has no --allow-downsample=true"),
        (b"--sample-frequency=48000\n", "hears 48000 Hz and conf/mfcc.conf has no --allow-upsample=true"),
        (b"--sample-frequency=fast\n", "found --sample-frequency=fast, expected a rate in Hz"),
        (b"--sample-frequency=-1\n", "found --sample-frequency=-1, expected a rate in Hz"),
    ],
)
def test_the_sample_rate_is_judged(tmp_path: Path, conf: bytes, fault: str) -> None:
    place = placed(tmp_path, FILES | {"conf/mfcc.conf": conf})
    assert fault in vosk_folder.fault(place)
    assert bool(vosk_folder.fault(place)) == bool(fault)


# ---- the command


@pytest.mark.slow
def test_the_list_names_what_comes_with_the_program(run: Any) -> None:
    listed = [json.loads(line) for line in run("models", "list", "--json").out.splitlines()]
    assert [(each["kind"], each["files"], each["language"]) for each in listed[:3]] == [
        ("built-in", "as listed", "en"),
        ("letters", "as listed", "en"),
        ("tuned", "as listed", "en"),
    ]


@pytest.mark.slow
def test_the_list_shows_fetched_and_named_models_and_what_is_wrong_with_them(
    run: Any, got: Get, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = got()
    monkeypatch.setenv(MODEL_VARIABLE, str(tmp_path / "nowhere"))
    shown = run("models", "list", "--json", "--data", str(tmp_path / "models"))
    listed = {each["folder"]: each for each in map(json.loads, shown.out.splitlines())}
    assert listed[str(place)] | {"size_bytes": 0} == {
        "name": FOLDER,
        "kind": "vosk",
        "folder": str(place),
        "language": "en-us",
        "licence": "Apache-2.0",
        "size_bytes": 0,
        "files": "as listed",
        "run_time_grammar": True,
        "used": False,
        "trouble": "",
    }
    assert "no such folder" in listed[str(tmp_path / "nowhere")]["trouble"]
    (place / "graph" / "Gr.fst").write_bytes(b"other")
    plain = run("models", "list", "--data", str(tmp_path / "models"))
    (line,) = [line for line in plain.out.splitlines() if FOLDER in line]
    assert "changed" in line
    assert "its files are not those that were fetched" in plain.err


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("list", "x"), "list takes no name"),
        (("get", "x"), "'x': no model of that name can be fetched; there are small-english"),
        (("check",), "check needs a folder"),
        (("check", "/no/such/folder"), "/no/such/folder: no such folder; expected the folder of a Vosk model"),
    ],
)
def test_bad_arguments_are_one_line(run: Any, arguments: tuple[str, ...], message: str) -> None:
    done = run("models", *arguments)
    assert (done.status, done.out) == (2, "")
    assert done.err.count("\n") == 1
    assert message in done.err


@pytest.mark.slow
def test_progress_is_shown_on_a_terminal_alone(
    run: Any, server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # the weights are none, so the command ends in a refusal after the fetch
    arguments = ("models", "get", "--address", server.address, "--data", str(tmp_path / "models"), "--replace")
    plain = run(*arguments)
    assert plain.status == 2
    assert "%" not in plain.err
    assert "Vosk small English model 0.15, language en-us, licence Apache-2.0, from http" in plain.err
    assert "cannot be loaded" in plain.err
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    assert "\r100 % of 0.0 MB" in run(*arguments).err


class Strange:
    """Stands for a model of another language."""

    def __init__(self, _place: str) -> None:
        pass

    def vosk_model_find_word(self, _word: str) -> int:
        return -1


def test_a_model_without_our_words_is_refused(run: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("vosk.Model", Strange)
    done = run("models", "check", str(data.folder("models") / "numbers"), "--json")
    assert done.status == 2
    assert "knows none of our words; expected one for English" in done.err
    assert done.json["usable"] is False
    assert done.json["sample_rate_hz"] == 16000


@pytest.mark.slow
def test_a_folder_unpacked_by_hand_is_checked(run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "by-hand"
    shutil.copytree(data.folder("models") / "numbers", place)
    done = run("models", "check", str(place), "--json")
    assert done.status == 0
    assert (done.json["usable"], done.json["missing_words"]) == (True, [])
    real = vosk.Model.vosk_model_find_word
    monkeypatch.setattr(
        vosk.Model, "vosk_model_find_word", lambda self, word: -1 if word == "seven" else real(self, word)
    )
    done = run("models", "check", str(place), "--json")
    assert (done.status, done.json["usable"]) == (2, False)
    assert done.json["missing_words"] == ["seven"]
    assert "no word for digit 7, which every session needs; use another one" in done.err


@pytest.mark.slow
def test_a_shipped_model_that_was_changed_is_refused(run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.copytree(data.folder("models"), tmp_path / "models")
    (tmp_path / "models" / "numbers" / "conf" / "model.conf").write_text("--beam=1\n")
    monkeypatch.setattr(engines, "folder", lambda _: tmp_path / "models")
    monkeypatch.setattr(weights, "folder", lambda _: tmp_path / "models")
    done = run("models", "check", str(tmp_path / "models" / "numbers"))
    assert done.status == 2
    assert "model.conf" in done.err
