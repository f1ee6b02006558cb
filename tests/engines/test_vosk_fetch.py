"""Fetching a model from a real server on this machine that fails in every way."""

import hashlib
import io
import re
import socket
import threading
import zipfile
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from handsfree.engines.vosk_model import check_model, fetch
from handsfree.errors import EngineError

SETTINGS = "--endpoint.silence-phones=1:2\n"
NAMES = ["am/final.mdl", "conf/model.conf", "conf/mfcc.conf"] + [
    f"graph/{name}" for name in ("HCLr.fst", "Gr.fst", "disambig_tid.int")
]


def make_zip(*names: str) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as zipped:
        for name in names:
            zipped.writestr(name, SETTINGS * 20_000)  # several blocks of the download
    return file.getvalue()


GOOD = make_zip(*(f"vosk-model/{name}" for name in NAMES))


class Server(ThreadingHTTPServer):
    """Serves `content`; `cut` is how many bytes it sends before it hangs up."""

    content = GOOD
    cut: int | None = None
    ranges = True
    status: int | None = None

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Handler)
        self.asked: list[str | None] = []

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_port}/model.zip"


class Handler(BaseHTTPRequestHandler):
    server: Server

    def do_GET(self) -> None:
        asked = self.headers.get("Range")
        self.server.asked.append(asked)
        content, start = self.server.content, 0
        if self.server.status is not None:
            self.send_error(self.server.status)
            return
        if asked and self.server.ranges:
            start = int(re.fullmatch(r"bytes=(\d+)-", asked).group(1))  # type: ignore[union-attr]
            if start >= len(content):
                self.send_response(416)
                self.send_header("Content-Range", f"bytes */{len(content)}")
                self.end_headers()
                return
            self.send_response(206)
            self.send_header("Content-Range", f"bytes {start}-{len(content) - 1}/{len(content)}")
        else:
            self.send_response(200)
        body = content[start:]
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body[: self.server.cut])

    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[Server]:
    monkeypatch.setenv("no_proxy", "127.0.0.1")
    with Server() as made:
        thread = threading.Thread(target=made.serve_forever, args=(0.01,))
        thread.start()
        yield made
        made.shutdown()
        thread.join()


@pytest.fixture
def dest(tmp_path: Path) -> Path:
    return tmp_path / "new" / "vosk"


def sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def get(server: Server, dest: Path, **options: object) -> Path:
    options = {"sha256": sha256(server.content), "timeout_s": 5.0} | options
    return fetch(dest, server.url, **options)  # type: ignore[arg-type]


def part(dest: Path) -> Path:
    return dest.with_name("vosk.zip.part")


def only(dest: Path) -> bool:
    """Whether nothing but the model is left in the folder above it."""
    return list(dest.parent.iterdir()) == [dest]


def test_a_good_model_arrives(server: Server, dest: Path) -> None:
    seen: list[tuple[int, int | None]] = []
    assert get(server, dest, progress=lambda done, total: seen.append((done, total))) == dest
    check_model(dest)
    assert only(dest)
    assert seen[0] == (0, len(GOOD))
    assert seen[-1] == (len(GOOD), len(GOOD))
    assert len(seen) > 3
    assert seen == sorted(seen)


def test_a_whole_model_is_not_fetched_again(server: Server, dest: Path) -> None:
    get(server, dest)
    assert get(server, dest) == dest
    assert server.asked == [None]


def test_it_goes_on_where_it_broke_off(server: Server, dest: Path) -> None:
    server.cut = 100_000
    with pytest.raises(EngineError, match=r"broke off at 100000 of \d+ bytes; run this again"):
        get(server, dest)
    assert not dest.exists()
    assert part(dest).read_bytes() == GOOD[:100_000]
    server.cut = None
    seen: list[int] = []
    get(server, dest, progress=lambda done, _: seen.append(done))
    assert server.asked == [None, "bytes=100000-"]
    assert seen[0] == 100_000
    check_model(dest)
    assert only(dest)


def test_it_begins_again_where_the_server_cannot_go_on(server: Server, dest: Path) -> None:
    dest.parent.mkdir()
    part(dest).write_bytes(b"other bytes")
    server.ranges = False
    get(server, dest)
    check_model(dest)


@pytest.mark.parametrize("left", [GOOD, GOOD + b"more"], ids=["whole", "too long"])
def test_what_is_left_is_not_shorter_than_the_file(server: Server, dest: Path, left: bytes) -> None:
    dest.parent.mkdir()
    part(dest).write_bytes(left)
    get(server, dest)
    check_model(dest)
    assert len(server.asked) == (1 if left == GOOD else 2)


def test_a_wrong_sum_is_discarded(server: Server, dest: Path) -> None:
    with pytest.raises(EngineError, match="not the expected file") as caught:
        get(server, dest, sha256="0" * 64)
    assert sha256(GOOD) in str(caught.value)
    assert list(dest.parent.iterdir()) == []


def test_remains_of_another_file_are_discarded(server: Server, dest: Path) -> None:
    dest.parent.mkdir()
    part(dest).write_bytes(b"\x00" * 1000)
    with pytest.raises(EngineError, match="not the expected file"):
        get(server, dest)
    get(server, dest)
    check_model(dest)


@pytest.mark.parametrize(
    ("names", "message"),
    [
        (["../../evil", *NAMES], "unsafe entry"),
        (["vosk-model/readme"], "missing or empty: am/final.mdl"),
        ([], "missing or empty"),
    ],
)
def test_a_bad_archive_leaves_nothing(
    server: Server, dest: Path, names: list[str], message: str
) -> None:
    server.content = make_zip(*names)
    with pytest.raises(EngineError, match=message):
        get(server, dest)
    assert list(dest.parent.iterdir()) == []
    assert list(dest.parent.parent.iterdir()) == [dest.parent]


def test_a_broken_model_is_replaced(server: Server, dest: Path) -> None:
    get(server, dest)
    (dest / "graph/HCLr.fst").write_bytes(b"")
    get(server, dest)
    check_model(dest)
    assert only(dest)


def test_a_folder_with_other_things_is_left_alone(server: Server, dest: Path) -> None:
    dest.mkdir(parents=True)
    get(server, dest)
    other = dest.with_name("own")
    other.mkdir()
    (other / "photo.jpg").write_text("x")
    with pytest.raises(EngineError, match="holds other things"):
        get(server, other)
    assert (other / "photo.jpg").exists()


def test_an_error_of_the_server(server: Server, dest: Path) -> None:
    server.status = 404
    with pytest.raises(EngineError, match=r"127\.0\.0\.1:\d+ answered 404 Not Found"):
        get(server, dest)


def test_offline_says_what_to_do_by_hand(dest: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("no_proxy", "127.0.0.1")
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        url = f"http://127.0.0.1:{unused.getsockname()[1]}/model.zip"
    with pytest.raises(EngineError) as caught:
        fetch(dest, url, timeout_s=2.0)
    text = str(caught.value)
    assert "\n" not in text
    assert "cannot be reached" in text
    assert f"or download {url} elsewhere, unpack it and put the folder at {dest}" in text


def test_a_server_that_says_nothing(dest: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("no_proxy", "127.0.0.1")
    with socket.create_server(("127.0.0.1", 0)) as silent:
        url = f"http://127.0.0.1:{silent.getsockname()[1]}/model.zip"
        with pytest.raises(EngineError, match="cannot be reached"):
            fetch(dest, url, timeout_s=0.3)


def test_only_web_addresses(dest: Path, tmp_path: Path) -> None:
    with pytest.raises(EngineError, match="not a web address"):
        fetch(dest, (tmp_path / "x.zip").as_uri())


def test_a_place_that_cannot_hold_it(server: Server, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(EngineError, match="cannot be stored"):
        get(server, tmp_path / "file" / "vosk")
