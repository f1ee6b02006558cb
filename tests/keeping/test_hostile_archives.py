"""Archives that somebody made to do harm, or that a bad disk made: refused, named, no harm done."""

import gzip
import hashlib
import io
import json
import os
import resource
import stat
import tarfile
import tempfile
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.audio.speech import to_flac
from handsfree.errors import HandsfreeError
from handsfree.histories import history
from handsfree.keeping import archive, taking_in, unpacking
from handsfree.keeping.taking_in import Choices
from handsfree.keeping.unpacking import Limits
from handsfree.keeping.vouching import ArchiveRefused
from handsfree.log import Log, UtteranceRow

AT = datetime(2026, 11, 25, 8, 15, tzinfo=UTC)
Files = dict[str, bytes]
WAV = b"RIFF\x24\x00\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00\x01\x00"


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Files:
    """The files of a good archive, by their name in the bag."""
    folder = tmp_path_factory.mktemp("good")
    with Log.open(folder / "log.db") as log:
        visit = log.start_visit("typed", log.add_horse("Bess", "heavy").id)
        entry = {"kind": "finding", "limb": "LH", "term": "bruise"}
        row = UtteranceRow(heard="bruise", status="recorded", confidence=0.9)
        flac = to_flac(np.zeros(1600, np.float32))
        done = log.append(visit.id, row, [entry], flac)
        log.confirm(done.entry_ids, "review")
        archive.write(log, folder / "bag", AT)
    root = folder / "bag"
    return {p.relative_to(root).as_posix(): p.read_bytes() for p in root.rglob("*") if p.is_file()}


def vouched(files: Files) -> Files:
    """The files with manifests that fit them: whoever does harm can count, too."""
    kept = {n: d for n, d in files.items() if "manifest-" not in n}

    def lines(data: bool) -> bytes:
        return b"".join(
            f"{hashlib.sha256(d).hexdigest()}  {n}\n".encode()
            for n, d in kept.items()
            if n.startswith("data/") == data
        )

    kept["manifest-sha256.txt"] = lines(True)
    kept["tagmanifest-sha256.txt"] = lines(False)
    return kept


def zipped(files: Files, path: Path, top: str = "bag/") -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in files.items():
            packed.writestr(zipfile.ZipInfo(f"{top}{name}"), data, zipfile.ZIP_DEFLATED)
    return path


def tarred(files: Files, path: Path, *more: tarfile.TarInfo) -> Path:
    with tarfile.open(path, "w:gz" if path.suffix == ".gz" else "w") as packed:
        for name, data in files.items():
            info = tarfile.TarInfo(f"bag/{name}")
            info.size = len(data)
            packed.addfile(info, io.BytesIO(data))
        for each in more:
            packed.addfile(each, io.BytesIO(bytes(each.size)))
    return path


def take(source: Path, limits: Limits | None = None, choices: Choices | None = None) -> None:
    """Take it into a new log; whatever comes of it, the log is whole and nothing lies about."""
    with tempfile.TemporaryDirectory() as name:
        room = Path(name) / "room"
        room.mkdir()
        with Log.open(Path(name) / "log.db") as log:
            try:
                taking_in.take_in(log, unpacking.open_bag(source, room, limits), choices)
            except HandsfreeError:
                assert log.horse_names() == []
                assert log.visits() == []
                raise
            finally:
                assert log.check() == []
                # Only numbers of our own, whatever was in the archive.
                assert all(p.name.isdigit() and p.is_file() for p in room.iterdir())
                assert {p.name for p in Path(name).iterdir()} <= {
                    *("room", "log.db", "log.db-wal", "log.db-shm")
                }


def told(source: Path) -> str | None:
    """What is said where it is refused, None where it is taken."""
    try:
        take(source)
    except HandsfreeError as error:
        return str(error)
    return None


def refused(source: Path, text: str, limits: Limits | None = None) -> None:
    with pytest.raises(ArchiveRefused, match=text) as error:
        take(source, limits)
    assert "\n" not in str(error.value)
    assert str(source) in str(error.value)


def test_the_good_one_is_taken(good: Files, tmp_path: Path) -> None:
    take(zipped(good, tmp_path / "a.zip"))
    take(zipped(vouched(good), tmp_path / "b.zip"))
    take(tarred(good, tmp_path / "c.tar"))
    take(tarred(good, tmp_path / "d.tar.gz"))


@pytest.mark.parametrize(
    "name",
    [
        *("../evil", "../../../../tmp/evil", "data/../../evil", "./evil", "data//evil", "a/./b"),
        *("..\\evil", "data\\..\\evil", "C:evil", "C:/evil", "a\x1b[2Jb", "a\nb", "x" * 2000),
    ],
)
def test_names_that_lead_elsewhere(good: Files, tmp_path: Path, name: str) -> None:
    for top in ("bag/", ""):
        source = zipped(good | {f"{top}{name}": b"x"}, tmp_path / f"{len(top)}.zip", "")
        refused(source, "leads elsewhere|is no bag")
    refused(zipped(good | {name: b"x"}, tmp_path / "c.zip"), "leads elsewhere")
    info = tarfile.TarInfo(f"bag/{name}")
    refused(tarred(good, tmp_path / "d.tar", info), "leads elsewhere")


@pytest.mark.parametrize("name", ["/etc/evil", "//evil", "/"])
def test_absolute_names(good: Files, tmp_path: Path, name: str) -> None:
    refused(zipped({name: b"x"} | good, tmp_path / "a.zip", ""), "leads elsewhere")
    source = tmp_path / "b.tar"
    with tarfile.open(source, "w") as packed:
        packed.addfile(tarfile.TarInfo("x"))
    data = bytearray(source.read_bytes())
    data[: len(name)] = name.encode()
    head = data[:148] + b" " * 8 + data[156:512]
    data[148:156] = f"{sum(head):06o}\0 ".encode()
    source.write_bytes(data)
    with pytest.raises(ArchiveRefused):
        take(source)


def test_a_name_cut_off_by_a_zero_byte(good: Files, tmp_path: Path) -> None:
    source = zipped(good | {"data/evilXtxt": b"x"}, tmp_path / "a.zip")
    source.write_bytes(source.read_bytes().replace(b"evilXtxt", b"evil\0txt"))
    with pytest.raises(ArchiveRefused):
        take(source)


@pytest.mark.parametrize(
    "kind", [tarfile.SYMTYPE, tarfile.LNKTYPE, tarfile.CHRTYPE, tarfile.BLKTYPE, tarfile.FIFOTYPE]
)
def test_links_and_devices_in_a_tar(good: Files, tmp_path: Path, kind: bytes) -> None:
    info = tarfile.TarInfo("bag/data/evil")
    info.type, info.linkname = kind, "../../../etc/passwd"
    refused(tarred(good, tmp_path / "a.tar", info), "has a link or device in it")


def test_links_in_a_zip_and_in_a_folder(good: Files, tmp_path: Path) -> None:
    source = zipped(good, tmp_path / "a.zip")
    with zipfile.ZipFile(source, "a") as packed:
        info = zipfile.ZipInfo("bag/data/evil")
        info.external_attr = (stat.S_IFLNK | 0o777) << 16
        packed.writestr(info, "/etc/passwd")
    refused(source, "has a link or device in it")
    folder = tmp_path / "bag"
    for name, data in good.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)
    take(folder)
    (folder / "data/evil").symlink_to("/etc/passwd")
    refused(folder, "has a link or device in it")
    (folder / "data/evil").unlink()
    (folder / "data/evil").symlink_to("/etc", target_is_directory=True)
    refused(folder, "has a link or device in it")
    (folder / "data/evil").unlink()
    os.mkfifo(folder / "data/evil")
    refused(folder, "has a link or device in it")


def test_two_files_of_one_name(good: Files, tmp_path: Path) -> None:
    source = zipped(good, tmp_path / "a.zip")
    with zipfile.ZipFile(source, "a") as packed:
        packed.writestr("bag/data/Index.HTML", "other")
    refused(source, "has two files of the name")


def test_bombs_are_stopped_while_they_come(good: Files, tmp_path: Path) -> None:
    bomb = vouched(good | {"data/zeros": bytes(50 << 20)})
    small = Limits(bytes=10 << 20)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for source in (
        zipped(bomb, tmp_path / "a.zip"),
        tarred(bomb, tmp_path / "b.tar.gz"),
    ):
        assert source.stat().st_size < 1 << 20
        refused(source, "holds more than")  # by what comes out of so little
        refused(source, "holds more than 10,485,760 bytes|holds more than 22", small)
    refused(tarred(bomb, tmp_path / "c.tar"), "holds more than", small)
    refused(zipped(good, tmp_path / "d.zip"), "has more than 5 files", Limits(files=5))
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 200 << 10  # kB


def test_a_header_that_lies_about_the_size(good: Files, tmp_path: Path) -> None:
    source = zipped(good | {"data/zeros": bytes(5 << 20)}, tmp_path / "a.zip")
    data = source.read_bytes()
    size = (5 << 20).to_bytes(4, "little")
    assert data.count(size) == 2
    source.write_bytes(data.replace(size, (10).to_bytes(4, "little")))
    with pytest.raises(ArchiveRefused):
        take(source)


def test_a_tar_header_of_a_gigabyte_is_not_read_into_memory(tmp_path: Path) -> None:
    info = tarfile.TarInfo("bag/x")
    info.type, info.size = tarfile.XHDTYPE, 1 << 30
    source = tmp_path / "a.tar.gz"
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with gzip.open(source, "wb", 1) as file:
        file.write(info.tobuf(tarfile.USTAR_FORMAT))
        for _ in range(300):
            file.write(bytes(1 << 20))
    refused(source, "a header is too long")
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 100 << 10


@pytest.mark.parametrize(
    ("change", "text"),
    [
        (lambda f: f.pop("data/index.html"), "data/index.html is missing"),
        (lambda f: f.update({"data/index.html": b"other"}), "data/index.html is not what its"),
        (lambda f: f.update({"data/extra": b"x"}), "data/extra is not in manifest-sha256.txt"),
        (lambda f: f.pop("manifest-sha256.txt"), "has no manifest"),
        (lambda f: f.pop("tagmanifest-sha256.txt"), "has no tagmanifest"),
        (lambda f: f.pop("bagit.txt"), "lacks bagit.txt"),
        (lambda f: f.pop("bag-info.txt"), "bag-info.txt is missing"),
        (lambda f: f.update({"bag-info.txt": b"x: y\n"}), "bag-info.txt is not what its checksum"),
        (lambda f: f.update({"bagit.txt": b"BagIt-Version: 9.9\n"}), "no bag of a known version"),
        (lambda f: f.update({"fetch.txt": b"http://x 1 data/x\n"}), "would have to be fetched"),
        (lambda f: f.update({"manifest-sha256.txt": b"what is this\n"}), "a line that is none"),
        (lambda f: f.update({"manifest-sha256.txt": b"\xff\xfe"}), "is not in UTF-8"),
        (
            lambda f: f.update({"manifest-sha256.txt": f["manifest-sha256.txt"] * 2}),
            "names data/.* twice",
        ),
    ],
)
def test_bags_that_are_not_whole(
    good: Files, tmp_path: Path, change: Callable[[Files], Any], text: str
) -> None:
    files = dict(good)
    change(files)
    refused(zipped(files, tmp_path / "a.zip"), text)


def test_a_bag_with_only_a_weak_checksum(good: Files, tmp_path: Path) -> None:
    files = dict(good)
    md5 = "".join(
        f"{hashlib.md5(d).hexdigest()}  {n}\n" for n, d in files.items() if n.startswith("data/")
    )
    del files["manifest-sha256.txt"], files["tagmanifest-sha256.txt"]
    files["manifest-md5.txt"] = md5.encode()
    refused(zipped(files, tmp_path / "a.zip"), "no manifest made with sha256")


def _edit(files: Files, end: str, change: Callable[[Any], Any]) -> Files:
    (name,) = [n for n in files if n.endswith(end)]
    data = json.loads(files[name])
    changed = change(data)
    return vouched(files | {name: json.dumps(data if changed is None else changed).encode()})


@pytest.mark.parametrize(
    ("end", "change", "text"),
    [
        ("archive.json", lambda d: d.update(version=2), "has the format 2, this program knows 1"),
        ("archive.json", lambda d: d.update(version="1"), "has the format '1'"),
        ("archive.json", lambda d: d.update(log_version=999), "is of a log of format 999"),
        ("archive.json", lambda d: d.update(format="x"), "no archive of this program"),
        ("archive.json", lambda d: [], "is not what it should be"),
        ("visit.json", lambda d: d.pop("rows"), "has no rows"),
        ("visit.json", lambda d: d["rows"].update(sqlite_master=[]), "table that is not known"),
        ("visit.json", lambda d: d["rows"].update(findable=[]), "table that is not known"),
        ("visit.json", lambda d: d["rows"].update(erasures=[]), "table that is not known"),
        ("visit.json", lambda d: d["rows"].update(marks={}), "marks is no list"),
        ("visit.json", lambda d: d["rows"]["marks"].append(3), "it is no object"),
        ("visit.json", lambda d: d["rows"]["marks"][0].update({'x") --': 1}), "no column"),
        ("visit.json", lambda d: d["rows"]["visits"][0].update(id="a b"), "its id is no id"),
        ("visit.json", lambda d: d["rows"]["visits"][0].update(id=7), "id is no id"),
        ("visit.json", lambda d: d["rows"]["visits"][0].pop("id"), "it has no id"),
        ("visit.json", lambda d: d["rows"]["visits"][0].update(started_at="noon"), "noon"),
        (
            "visit.json",
            lambda d: d["rows"]["visits"][0].update(started_at="0001-01-01T00:00:00"),
            "out of all bounds",
        ),
        (
            "visit.json",
            lambda d: d["rows"]["utterances"][0].update(start_s="x"),
            "is no real",
        ),
        ("visit.json", lambda d: d["rows"]["utterances"][0].update(heard={"a": 1}), "neither"),
        ("visit.json", lambda d: d["rows"]["utterances"][0].update(seq=1 << 70), "neither"),
        ("visit.json", lambda d: d["rows"]["utterances"][0].update(seq=True), "neither"),
        ("visit.json", lambda d: d["rows"]["utterances"][0].update(engines="{}"), "is no list"),
        ("visit.json", lambda d: d["rows"]["entries"][0].update(body="{"), "cannot be so"),
        ("visit.json", lambda d: d["rows"]["entries"][0].update(body="[]"), "cannot be so"),
        (
            "visit.json",
            lambda d: d["rows"]["entries"][0].update(body='{"kind": "x"}'),
            "unknown kind",
        ),
        (
            "visit.json",
            lambda d: d["rows"]["entries"][0].update(
                body='{"kind": "finding", "limb": "LH", "term": 5}'
            ),
            "its term is of the wrong type",
        ),
        ("visit.json", lambda d: d["rows"]["entries"][0].update(limb="RF"), "another kind or limb"),
        ("visit.json", lambda d: d.update(sounds={"x": "../../../bagit.txt"}), "lacks a sound"),
        ("visit.json", lambda d: d.update(sounds=[1]), "its sounds are no list"),
        ("horse.json", lambda d: d["rows"]["horses"][0].update(name=" "), "it has no name"),
        ("archive.json", lambda d: d.update(horses=5), "its horses are no list"),
    ],
)
def test_rows_that_cannot_be_so(
    good: Files, tmp_path: Path, end: str, change: Callable[[Any], Any], text: str
) -> None:
    def keep(data: Any) -> Any:
        changed = change(data)
        return changed if isinstance(changed, list) else None

    refused(zipped(_edit(good, end, keep), tmp_path / "a.zip"), text)


@pytest.mark.parametrize(
    "text", [b"{" * 100_000, b"[" * 100_000, b'{"rows": NaN}', b"\xff", b"", b"1" * 5000]
)
def test_json_that_is_none(good: Files, tmp_path: Path, text: bytes) -> None:
    (name,) = [n for n in good if n.endswith("visit.json")]
    refused(zipped(vouched(good | {name: text}), tmp_path / "a.zip"), "visit.json")


@pytest.mark.parametrize("content", [b"", b"fLaC", WAV, b"<script>", b"fLaC" + bytes(200)])
def test_sounds_that_are_none(good: Files, tmp_path: Path, content: bytes) -> None:
    (name,) = [n for n in good if n.endswith(".flac")]
    files = vouched(good | {name: content})
    refused(zipped(files, tmp_path / "a.zip"), "is no sound|is neither FLAC nor WAV")


def test_hours_of_silence_in_a_small_sound(good: Files, tmp_path: Path) -> None:
    (name,) = [n for n in good if n.endswith(".flac")]
    file = io.BytesIO()
    soundfile.write(file, np.zeros(16000 * 1000, np.int16), 16000, format="FLAC")
    refused(zipped(vouched(good | {name: file.getvalue()}), tmp_path / "a.zip"), "longer than 900")


def test_a_row_that_belongs_to_nothing_is_left_out_and_named(good: Files, tmp_path: Path) -> None:
    files = _edit(
        good, "visit.json", lambda d: d["rows"]["entries"][0].update(utterance_id="nobody")
    )
    with Log.open(tmp_path / "log.db") as log, tempfile.TemporaryDirectory() as room:
        bag = unpacking.open_bag(zipped(files, tmp_path / "a.zip"), Path(room))
        done = taking_in.take_in(log, bag)
        assert {c.table for c in done.conflicts} == {"entries", "marks"}
        assert log.check() == []


def test_what_is_no_archive(tmp_path: Path) -> None:
    for number, content in enumerate((b"", b"text", bytes(2000), b"PK\x03\x04", b"\x1f\x8b\x08")):
        source = tmp_path / f"{number}.zip"
        source.write_bytes(content)
        with pytest.raises(ArchiveRefused):
            take(source)
    with pytest.raises(ArchiveRefused, match="cannot be read"):
        take(tmp_path / "missing.zip")
    (tmp_path / "empty").mkdir()
    with pytest.raises(ArchiveRefused, match=r"lacks bagit\.txt"):
        take(tmp_path / "empty")


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_any_damage_to_an_archive_is_one_clean_error_or_none(good: Files, data: Any) -> None:
    with tempfile.TemporaryDirectory() as name:
        ending = data.draw(st.sampled_from(["zip", "tar", "tar.gz"]))
        source = Path(name) / f"a.{ending}"
        (zipped if ending == "zip" else tarred)(good, source)
        content = bytearray(source.read_bytes())
        for _ in range(data.draw(st.integers(1, 4))):
            if not content:
                break
            at = data.draw(st.integers(0, len(content) - 1))
            match data.draw(st.sampled_from(["flip", "cut", "fill", "double"])):
                case "flip":
                    content[at] ^= 1 << data.draw(st.integers(0, 7))
                case "cut":
                    del content[at + 1 :]
                case "fill":
                    content[at : at + 20] = data.draw(st.binary(max_size=30))
                case "double":
                    content[at:at] = content[at : at + 100]
        source.write_bytes(content)
        assert "\n" not in (told(source) or "")


values = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(),
        st.floats(),
        st.text(max_size=20),
        st.sampled_from(["LH", "recorded", "2026-01-01T00:00:00+00:00", "[]", "{}", "1" * 30]),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=6,
)


@given(st.data())
@settings(max_examples=80, deadline=None)
def test_any_value_in_any_row_is_taken_or_refused_cleanly(good: Files, data: Any) -> None:
    (name,) = [n for n in good if n.endswith("visit.json")]
    visit = json.loads(good[name])
    table = data.draw(st.sampled_from(sorted(visit["rows"])))
    row = data.draw(st.sampled_from(visit["rows"][table]))
    for _ in range(data.draw(st.integers(1, 2))):
        row[data.draw(st.sampled_from(sorted(row)))] = data.draw(values)
    files = vouched(good | {name: json.dumps(visit).encode()})
    with tempfile.TemporaryDirectory() as folder:
        source = zipped(files, Path(folder) / "a.zip")
        error = told(source)
        if error is not None:
            assert "\n" not in error
            return
        # What was taken can be read by all the rest of the program.
        with Log.open(Path(folder) / "log.db") as log, tempfile.TemporaryDirectory() as room:
            taking_in.take_in(log, unpacking.open_bag(source, Path(room)))
            for each in log.visits():
                assert log.utterances(each.id) or not log.entries(each.id) + log.notices(each.id)
            for horse in log.horses():
                history(log, horse)
            archive.write(log, Path(folder) / "again.zip", AT)
