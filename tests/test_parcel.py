"""Sessions taken to another machine: everything arrives, nothing is overwritten, and what is not sound is refused as a whole."""

import contextlib
import datetime as dt
import hashlib
import io
import json
import shutil
import stat
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from depth import examples
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from records_cases import AT, ELECTRONICS, LEFT, SOUND, session

from assistant.errors import BadInput
from assistant.journal import FILE
from assistant.records import parcel
from assistant.records.marks import Marks, read_marks, write_marks
from assistant.records.parcel import LIST_FILE, Unpacked, pack, unpack
from assistant.records.story import story


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two sessions, one with a sound and a mark."""
    data = tmp_path_factory.mktemp("shop")
    first = session(data, *SOUND, label="pump")
    (first / "001.wav").write_bytes(b"RIFF" + bytes(2000))
    write_marks(first, Marks("coil A", known_good=True))
    session(data, *LEFT, label="saw", at=AT + dt.timedelta(days=1))
    return data


@pytest.fixture
def shop(kept: Path, tmp_path: Path) -> Path:
    """The same two, to do with as one likes."""
    return Path(shutil.copytree(kept, tmp_path / "shop"))


@pytest.fixture
def packed(shop: Path, tmp_path: Path) -> Path:
    """Both in a parcel."""
    pack(sorted(shop.iterdir()), tmp_path / "a.zip")
    return tmp_path / "a.zip"


def tree(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def belonging(found: dict[str, bytes]) -> dict[str, bytes]:
    return {name: content for name, content in found.items() if not name.endswith(".lock")}


# ---- there and back


def test_everything_arrives_on_another_machine(shop: Path, packed: Path, tmp_path: Path) -> None:
    done = unpack(packed, tmp_path / "other" / "jobs")
    assert done.added == tuple(sorted(folder.name for folder in shop.iterdir()))
    assert belonging(tree(shop)) == tree(tmp_path / "other" / "jobs")
    first = tmp_path / "other" / "jobs" / done.added[0]
    assert story(first).state.complete
    assert read_marks(first) == Marks("coil A", known_good=True)


def test_the_same_sessions_make_the_same_parcel(shop: Path, packed: Path, tmp_path: Path) -> None:
    pack(sorted(shop.iterdir()), tmp_path / "b.zip")
    assert (tmp_path / "b.zip").read_bytes() == packed.read_bytes()


def test_what_is_there_already_stays_as_it_is(shop: Path, packed: Path) -> None:
    first = min(shop.iterdir())
    write_marks(first, Marks("renamed since"))
    before = tree(shop)
    done = unpack(packed, shop)
    assert done == Unpacked((), tuple(sorted(folder.name for folder in shop.iterdir())), ())
    assert tree(shop) == before


@pytest.mark.slow
def test_another_session_of_one_name_comes_in_beside_it(shop: Path, packed: Path, tmp_path: Path) -> None:
    data = tmp_path / "other"
    there = session(data, *ELECTRONICS, label="pump")
    before = tree(there)
    done = unpack(packed, data)
    assert done.renamed == ((there.name, f"{there.name}-2"),)
    assert tree(there) == before
    assert (data / f"{there.name}-2" / FILE).read_bytes() == (shop / there.name / FILE).read_bytes()
    assert unpack(packed, data).already == tuple(sorted(folder.name for folder in shop.iterdir()))


def test_the_commands_do_it(run: Any, shop: Path, tmp_path: Path) -> None:
    file = str(tmp_path / "b.zip")
    assert run("export", "--all", "--to", file, "--data", str(shop)).json["jobs"] == sorted(
        p.name for p in shop.iterdir()
    )
    data = str(tmp_path / "other")
    assert len(run("import", file, "--data", data).json["added"]) == 2
    assert len(run("import", file, "--data", data).json["already"]) == 2
    assert run("jobs", "--json", "--data", data).out.count("\n") == 2
    session(tmp_path / "third", *ELECTRONICS, label="pump")
    result = run("import", file, "--data", str(tmp_path / "third"))
    assert len(result.json["renamed"]) == 1
    assert "taken in as" in result.err


@pytest.mark.slow
def test_a_damaged_record_is_left_out_with_a_word(run: Any, shop: Path, tmp_path: Path) -> None:
    first, second = sorted(shop.iterdir())
    (first / FILE).write_bytes((first / FILE).read_bytes().replace(b"ready", b"reedy"))
    second.rename(second.with_name("my saw"))
    result = run("export", "--all", "--to", str(tmp_path / "b.zip"), "--data", str(shop))
    assert result.status == 2
    assert "nothing to export" in result.err
    second.with_name("my saw").rename(second)
    result = run("export", "--all", "--to", str(tmp_path / "b.zip"), "--data", str(shop))
    assert result.json["jobs"] == [second.name]
    assert "Left out" in result.err


@pytest.mark.slow
@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (("export", "--to", "b.zip"), "expected either jobs, or --all"),
        (("export", "pump", "--all", "--to", "b.zip"), "expected either jobs, or --all"),
        (("export", "pump"), "required: --to"),
        (("export", "nobody", "--to", "b.zip"), "no record of that label"),
        (("export", "pump", "--to", "a.zip"), "a.zip: is there already"),
        (("export", "pump", "--to", "no/where.zip"), "no/where.zip: cannot be written"),
        (("import", "nowhere.zip"), "nowhere.zip: cannot be taken in"),
        (("import", "text.zip"), "text.zip: no zip file"),
    ],
)
def test_what_cannot_be_done_gets_one_line(run: Any, packed: Path, arguments: tuple[str, ...], line: str) -> None:
    shop, before = packed.parent / "shop", packed.read_bytes()
    (packed.parent / "text.zip").write_text("this is no zip", encoding="utf-8")
    with contextlib.chdir(packed.parent):
        result = run(*arguments, "--data", str(shop))
    assert result.status == 2
    assert line in result.err
    assert result.err.count("\n") == 1
    assert packed.read_bytes() == before


@pytest.mark.slow
def test_nothing_to_export_and_nowhere_to_import(run: Any, tmp_path: Path, packed: Path) -> None:
    assert "no records there" in run("export", "--all", "--to", "x.zip", "--data", str(tmp_path / "none")).err
    (tmp_path / "file").write_bytes(b"")
    assert "cannot be used for records" in run("import", str(packed), "--data", str(tmp_path / "file")).err


def test_one_session_by_two_paths_is_no_parcel(shop: Path, tmp_path: Path) -> None:
    folder = min(shop.iterdir())
    with pytest.raises(BadInput, match="one folder name"):
        pack([folder, folder.parent / "x" / ".." / folder.name], tmp_path / "b.zip")


# ---- parcels that nobody should take in


def listing(files: dict[str, bytes]) -> dict[str, Any]:
    jobs: dict[str, Any] = {}
    for name, content in files.items():
        folder, _, file = name.rpartition("/")
        jobs.setdefault(folder, {})[file] = {"bytes": len(content), "sha256": hashlib.sha256(content).hexdigest()}
    return {"parcel": 1, "jobs": jobs}


def zipped(files: dict[str, bytes], listed: Any = None) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
        archive.writestr(LIST_FILE, json.dumps(listing(files) if listed is None else listed))
    return out.getvalue()


Forge = Callable[[dict[str, bytes]], bytes]


def with_name(name: str) -> Forge:
    return lambda files: zipped({**files, name: b"x"})


def relisted(change: Callable[[dict[str, Any]], Any]) -> Forge:
    def forge(files: dict[str, bytes]) -> bytes:
        listed = listing(files)
        return zipped(files, change(listed) or listed)

    return forge


def wrong_sum(listed: dict[str, Any]) -> None:
    next(iter(listed["jobs"].values()))[FILE]["sha256"] = "0" * 64


def wrong_length(by: int) -> Callable[[dict[str, Any]], None]:
    def change(listed: dict[str, Any]) -> None:
        next(iter(listed["jobs"].values()))[FILE]["bytes"] += by

    return change


def encrypted(files: dict[str, bytes]) -> bytes:
    whole = bytearray(zipped(files))
    for mark, place in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = whole.find(mark)
        while at >= 0:
            whole[at + place] |= 1
            at = whole.find(mark, at + 4)
    return bytes(whole)


def doubled(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO(zipped(files))
    with pytest.warns(UserWarning, match="Duplicate"), zipfile.ZipFile(out, "a") as archive:
        archive.writestr(next(iter(files)), b"other")
    return out.getvalue()


def altered(files: dict[str, bytes]) -> bytes:
    return zipped(
        {
            name: content.replace(b"ready", b"reedy") if name.endswith(FILE) else content
            for name, content in files.items()
        }
    )


def broken_inside(files: dict[str, bytes]) -> bytes:
    whole = bytearray(zipped(files))
    whole[200:220] = bytes(20)
    return bytes(whole)


def linked(files: dict[str, bytes]) -> bytes:
    info = zipfile.ZipInfo(f"{next(iter(files)).split('/')[0]}/link.wav")
    info.external_attr = (stat.S_IFLNK | 0o777) << 16
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in files.items():
            archive.writestr(name, content)
        archive.writestr(info, "/etc/passwd")
        archive.writestr(LIST_FILE, json.dumps(listing(files)))
    return out.getvalue()


def without_list(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return out.getvalue()


FORGED: dict[str, tuple[Forge, str]] = {
    "no list": (without_list, "no list of sessions"),
    "list of another kind": (relisted(lambda _listed: [1]), "no list of sessions"),
    "list without jobs": (relisted(lambda _listed: {"parcel": 1}), "no list of sessions"),
    "jobs of another kind": (relisted(lambda _listed: {"parcel": 1, "jobs": {"a": [3]}}), "no list of sessions"),
    "length of another kind": (relisted(lambda _l: {"parcel": 1, "jobs": {"a": {FILE: {"bytes": []}}}}), "no list of"),
    "another version": (relisted(lambda listed: listed | {"parcel": 2}), "format version 2"),
    "a path upwards": (with_name("../evil/journal.jsonl"), "'../evil'"),
    "a path from the root": (with_name("/evil/journal.jsonl"), "'/evil'"),
    "a deeper path": (with_name("a/b/journal.jsonl"), "'a/b'"),
    "a backslash": (with_name("a\\b/journal.jsonl"), "which is no session"),
    "a hidden folder": (with_name(".hidden/journal.jsonl"), "'.hidden'"),
    "a drive": (with_name("C:/journal.jsonl"), "'C:'"),
    "a page that could run": (with_name("pump/report.html"), "'report.html'"),
    "a program": (with_name("pump/run.sh"), "'run.sh'"),
    "a dotted name": (with_name("pump/..wav"), "'..wav'"),
    "a session without a journal": (with_name("pump/a.wav"), "'pump'"),
    "a wrong sum": (relisted(wrong_sum), "contents are not those"),
    "more than listed": (relisted(wrong_length(-1)), "contents are not those"),
    "far more than listed": (relisted(wrong_length(-10_000)), "contents are not those"),
    "less than listed": (relisted(wrong_length(1)), "contents are not those"),
    "less than nothing": (relisted(wrong_length(-(10**9))), "contents are not those"),
    "more than any record has": (relisted(wrong_length(2**40)), "more than a parcel may hold"),
    "an altered journal": (altered, "line"),
    "encrypted": (encrypted, "encrypted or packed in another way"),
    "two of one name": (doubled, "two files of one name"),
    "a link": (linked, "does not name what is in it"),
    "broken inside": (broken_inside, "nothing was taken in"),
    "a file that the list does not name": (
        lambda files: zipped({**files, "x.txt": b""}, listing(files)),
        "does not name what is in it: 'x.txt'",
    ),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", FORGED)
def test_a_forged_parcel_is_refused_as_a_whole(shop: Path, tmp_path: Path, name: str) -> None:
    forge, why = FORGED[name]
    files = {file: content for file, content in tree(shop).items() if not file.endswith(".lock")}
    file = tmp_path / "forged.zip"
    file.write_bytes(forge(files))
    data = tmp_path / "data"
    there = session(data, *ELECTRONICS, label="mine")
    before = tree(tmp_path)
    with pytest.raises(BadInput, match=r"(?i)nothing was taken in") as refused:
        unpack(file, data)
    assert why in str(refused.value)
    assert "\n" not in str(refused.value)
    assert tree(tmp_path) == before
    assert [path.name for path in data.iterdir()] == [there.name]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("bound", "most", "why"),
    [
        ("FILES_MOST", 3, "files"),
        ("TOTAL_MOST_BYTES", 1000, "bytes"),
        ("FILE_MOST_BYTES", 1000, "bytes"),
        ("LIST_MOST_BYTES", 10, "no list"),
    ],
)
def test_bounds_hold_for_number_and_size(
    packed: Path, monkeypatch: pytest.MonkeyPatch, bound: str, most: int, why: str
) -> None:
    data = packed.parent / "data"
    monkeypatch.setattr(parcel, bound, most)
    with pytest.raises(BadInput, match=why):
        unpack(packed, data)
    assert list(data.iterdir()) == []
    monkeypatch.undo()
    assert len(unpack(packed, data).added) == 2


@pytest.mark.no_cover
@settings(max_examples=examples(150), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_any_damage_to_a_parcel_is_refused_or_harmless(packed: Path, tmp_path: Path, data: st.DataObject) -> None:
    whole = bytearray(packed.read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    (tmp_path / "hurt.zip").write_bytes(bytes(whole[: data.draw(st.integers(len(whole) // 2, len(whole)))]))
    jobs = tmp_path / "hurt"
    try:
        done = unpack(tmp_path / "hurt.zip", jobs)
    except BadInput:
        assert not [path for path in jobs.iterdir() if path.name not in _TAKEN_IN]
    else:
        _TAKEN_IN.update(done.added)
        for name in done.added:
            assert story(jobs / name).bench


_TAKEN_IN: set[str] = set()


def test_the_text_of_a_check_beside_the_coil_test_goes_along(shop: Path, tmp_path: Path) -> None:
    folder = next(path.parent for path in sorted(shop.glob("*/journal.jsonl")))
    (folder / "check-kill_switch.txt").write_text("what was found\n", encoding="utf-8")
    (folder / "check-KILL.txt").write_text("no file of ours\n", encoding="utf-8")
    pack([folder], tmp_path / "one.zip")
    unpack(tmp_path / "one.zip", tmp_path / "there")
    arrived = {path.name for path in (tmp_path / "there" / folder.name).iterdir()}
    assert "check-kill_switch.txt" in arrived
    assert "check-KILL.txt" not in arrived
