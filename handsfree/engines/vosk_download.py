"""Downloading one file over HTTP so that an interrupted download can be taken up again."""

import http.client
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

from handsfree.errors import EngineError

BLOCK_BYTES = 1 << 16
MAX_BYTES = 2 << 30


def download(
    url: str,
    part: Path,
    by_hand: str,
    progress: Callable[[int, int | None], None] | None = None,
    timeout_s: float = 30.0,
) -> None:
    """Bring `part` to the whole content of `url`, going on from the bytes it has.

    A server that cannot go on from there sends all, and `part` is begun again. Raises
    EngineError when the server cannot be reached or the content ends early (the bytes got
    are kept); the line ends with `by_hand`, what else the user can do.
    """
    if urllib.parse.urlsplit(url).scheme not in ("http", "https"):
        raise EngineError(f"{url}: not a web address")
    host = urllib.parse.urlsplit(url).netloc
    have = part.stat().st_size if part.exists() else 0
    try:
        try:
            answer = _ask(url, have, timeout_s)
        except urllib.error.HTTPError as error:
            # 416: there is nothing after the bytes we have. Begin again, as they may
            # be the whole file or another one; the caller's checksum cannot tell which.
            if error.code != http.HTTPStatus.REQUESTED_RANGE_NOT_SATISFIABLE:
                raise
            if _complete_length(error.headers.get("Content-Range")) == have:
                return
            have = 0
            answer = _ask(url, have, timeout_s)
        with answer:
            _store(answer, part, have, progress)
    except urllib.error.HTTPError as error:
        error.close()
        raise EngineError(
            f"{host} answered {error.code} {error.reason}; try again later, {by_hand}"
        ) from error
    except _Short as error:
        raise EngineError(
            f"{host}: the download broke off at {error}; run this again to go on, {by_hand}"
        ) from error
    except (urllib.error.URLError, http.client.HTTPException) as error:
        reason = getattr(error, "reason", None) or error
        raise EngineError(
            f"{host} cannot be reached ({reason}); connect to the internet and try again, {by_hand}"
        ) from error


class _Short(Exception):
    """The content ended before its announced length."""


def _ask(url: str, have: int, timeout_s: float) -> Any:
    request = urllib.request.Request(url, headers={"User-Agent": "handsfree"})
    if have:
        request.add_header("Range", f"bytes={have}-")
    try:
        return urllib.request.urlopen(request, timeout=timeout_s)
    except urllib.error.URLError:
        raise
    except OSError as error:  # a broken connection, not to be taken for a disk error
        raise urllib.error.URLError(error) from error


def _complete_length(content_range: str | None) -> int | None:
    """The length after the slash in "bytes 0-9/20" or "bytes */20"."""
    length = (content_range or "").rpartition("/")[2]
    return int(length) if length.isdecimal() else None


def _store(
    answer: Any, part: Path, have: int, progress: Callable[[int, int | None], None] | None
) -> None:
    content_range = answer.headers.get("Content-Range")
    resumed = answer.status == http.HTTPStatus.PARTIAL_CONTENT and (content_range or "").startswith(
        f"bytes {have}-"
    )
    if resumed:
        total = _complete_length(content_range)
    else:
        have = 0
        announced = answer.headers.get("Content-Length") or ""
        total = int(announced) if announced.isdecimal() else None
    with part.open("ab" if resumed else "wb") as file:
        while True:
            if progress is not None:
                progress(have, total)
            try:
                block = answer.read(BLOCK_BYTES)
            except (OSError, http.client.HTTPException) as error:
                raise _Short(f"{have} bytes") from error
            if not block:
                break
            file.write(block)
            have += len(block)
            if have > MAX_BYTES:
                raise _Short(f"{have} bytes, more than any model here has")
    if total is not None and have < total:
        raise _Short(f"{have} of {total} bytes")
