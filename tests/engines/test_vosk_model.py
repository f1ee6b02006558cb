"""Finding the model's folder and telling whether it is one."""

import stat
import zipfile
from pathlib import Path

import platformdirs
import pytest

from handsfree.engines import vosk_model
from handsfree.engines.vosk_model import check_model, default_folder, find_model, unpack
from handsfree.errors import EngineError, ExitCode

NEEDED = ["am/final.mdl", "conf/model.conf", "conf/mfcc.conf"] + [
    f"graph/{name}" for name in ("HCLr.fst", "Gr.fst", "disambig_tid.int")
]


def make_model(folder: Path) -> Path:
    for name in NEEDED:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text("--endpoint.silence-phones=1:2\n")
    return folder


@pytest.fixture(autouse=True)
def data_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "data" / "handsfree" / "vosk"
    monkeypatch.delenv("HANDSFREE_VOSK_MODEL", raising=False)
    monkeypatch.setattr(platformdirs, "user_data_dir", lambda *_, **__: folder.parent)
    return folder


def test_the_order_of_places(
    tmp_path: Path, data_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert default_folder() == data_folder
    assert find_model() is None
    data_folder.mkdir(parents=True)
    assert find_model() is None
    make_model(data_folder)
    assert find_model() == data_folder
    monkeypatch.setenv("HANDSFREE_VOSK_MODEL", str(make_model(tmp_path / "env")))
    assert find_model() == tmp_path / "env"
    assert find_model(make_model(tmp_path / "named")) == tmp_path / "named"


def test_a_folder_asked_for_must_be_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(EngineError, match="there is no such folder") as caught:
        find_model(tmp_path / "none")
    assert caught.value.exit_code == ExitCode.ENGINE
    monkeypatch.setenv("HANDSFREE_VOSK_MODEL", str(tmp_path / "none"))
    with pytest.raises(EngineError, match="there is no such folder"):
        find_model()


def test_a_folder_in_the_folder(tmp_path: Path) -> None:
    inner = make_model(tmp_path / "outer" / "vosk-model-small-en-us-0.15")
    assert find_model(tmp_path / "outer") == inner
    make_model(tmp_path / "outer" / "other")
    assert find_model(tmp_path / "outer") == tmp_path / "outer"


@pytest.mark.parametrize("name", NEEDED)
def test_what_is_missing_or_empty_is_named(tmp_path: Path, name: str) -> None:
    check_model(make_model(tmp_path))
    (tmp_path / name).write_bytes(b"")
    with pytest.raises(EngineError, match=f"missing or empty: {name};"):
        check_model(tmp_path)
    (tmp_path / name).unlink()
    with pytest.raises(EngineError, match=f"missing or empty: {name};"):
        check_model(tmp_path)


def test_other_models_are_told(tmp_path: Path) -> None:
    make_model(tmp_path)
    (tmp_path / "conf/model.conf").write_text("--beam=10\n")
    with pytest.raises(EngineError, match="silence-phones"):
        check_model(tmp_path)
    (tmp_path / "graph/HCLG.fst").write_text("x")
    with pytest.raises(EngineError, match="takes no grammar"):
        check_model(tmp_path)
    with pytest.raises(EngineError, match="no such folder"):
        check_model(tmp_path / "none")
    make_model(tmp_path / "other")
    (tmp_path / "other/ivector").mkdir()
    with pytest.raises(EngineError, match=r"ivector/final\.ie, ivector/final\.mat"):
        check_model(tmp_path / "other")


def zip_of(path: Path, *names: str, mode: int = 0) -> Path:
    with zipfile.ZipFile(path, "w") as zipped:
        zipped.writestr("model/good.txt", "good")
        for name in names:
            member = zipfile.ZipInfo("x")
            member.filename = name  # the constructor would tidy it
            member.external_attr = mode << 16
            zipped.writestr(member, "/etc/passwd")
    return path


@pytest.mark.parametrize(
    "name", ["../evil", "model/../../evil", "/evil", "C:evil", "a\\..\\..\\evil", "."]
)
def test_a_name_that_leads_outside_is_refused(tmp_path: Path, name: str) -> None:
    archive = zip_of(tmp_path / "a.zip", name)
    with pytest.raises(EngineError, match="unsafe entry"):
        unpack(archive, tmp_path / "deep" / "into")
    assert list(tmp_path.iterdir()) == [archive]


@pytest.mark.parametrize("kind", [stat.S_IFLNK, stat.S_IFCHR, stat.S_IFIFO])
def test_links_and_devices_are_refused(tmp_path: Path, kind: int) -> None:
    archive = zip_of(tmp_path / "a.zip", "model/link", mode=kind | 0o777)
    with pytest.raises(EngineError, match="unsafe entry"):
        unpack(archive, tmp_path / "into")
    assert not (tmp_path / "into").exists()


def test_too_much_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = zip_of(tmp_path / "a.zip", "model/more.txt")
    monkeypatch.setattr(vosk_model, "MAX_UNPACKED_BYTES", 14)
    with pytest.raises(EngineError, match="too large"):
        unpack(archive, tmp_path / "into")
    monkeypatch.setattr(vosk_model, "MAX_UNPACKED_BYTES", 15)
    unpack(archive, tmp_path / "into")
    assert (tmp_path / "into/model/good.txt").read_text() == "good"
    monkeypatch.setattr(vosk_model, "MAX_FILES", 1)
    with pytest.raises(EngineError, match="too large"):
        unpack(archive, tmp_path / "again")


def test_a_size_declared_too_small_writes_no_more(tmp_path: Path) -> None:
    archive = tmp_path / "a.zip"
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as zipped:
        zipped.writestr("bomb", bytes(10_000_000))
    data = archive.read_bytes()
    size = (10_000_000).to_bytes(4, "little")
    archive.write_bytes(data.replace(size, (100).to_bytes(4, "little")))
    with pytest.raises(EngineError, match="not a readable zip file"):
        unpack(archive, tmp_path / "into")
    assert sum(each.stat().st_size for each in (tmp_path / "into").iterdir()) <= 100


def test_no_zip_at_all(tmp_path: Path) -> None:
    (tmp_path / "a.zip").write_text("<html>sign in to the network</html>")
    with pytest.raises(EngineError, match="not a readable zip file"):
        unpack(tmp_path / "a.zip", tmp_path / "into")
