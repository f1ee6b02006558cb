"""Whatever the words, they come back as they were."""

import json
import sqlite3
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from handsfree.log import Log, UtteranceRow, writing

ODD = [
    'it\'s "lame"',
    "🐴🔨",
    "שמאל \u202eright\u202c",
    "a\x00b\x1b[31m\u2028",
    "O'Brien; DROP",
    "",
]

# Every character but surrogates, which no UTF-8 file can hold (tested apart below).
texts = st.text(st.characters(exclude_categories=["Cs"])) | st.sampled_from(ODD)
numbers = st.integers(-(2**70), 2**70) | st.floats(allow_nan=False, allow_infinity=False)
values = st.recursive(
    st.none() | st.booleans() | numbers | texts,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3),
    max_leaves=8,
)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("odd") / "log.db"
    Log.open(path).close()
    return path


@settings(max_examples=50, deadline=None)
@given(text=texts, extra=st.dictionaries(texts, values, max_size=5))
@example(text=ODD[3], extra={"text": ODD[2], "term": ODD[0], ODD[1]: [ODD[4], None]})
def test_entries_and_words_come_back(kept: Path, text: str, extra: dict[str, Any]) -> None:
    body = extra | {"kind": "remark", "limb": None, "text": text}
    row = UtteranceRow(heard=text, status="recorded", alternatives=(extra,), doubt=text)
    with Log.open(kept) as log:
        visit = log.start_visit(source=text)
        with mock.patch.object(writing, "check_bodies"):  # as another version wrote it
            log.append(visit.id, row, [body])
    with Log.open(kept, read_only=True) as log:
        (entry,) = log.entries(visit.id)
        (said,) = log.utterances(visit.id)
        assert json.dumps(entry.body) == json.dumps(body)
        assert (said.heard, said.doubt, said.alternatives) == (text, text, (extra,))
        assert log.visit(visit.id).source == text


def test_text_is_readable_in_other_tools(log: Log, path: Path) -> None:
    log.append(
        log.start_visit("typed").id,
        UtteranceRow(heard="x", status="recorded"),
        [{"kind": "remark", "limb": None, "text": "naïve 🐴"}],
    )
    other = sqlite3.connect(path)
    ((body, text),) = other.execute("SELECT body, text FROM entries_now")
    other.close()
    assert "naïve 🐴" in body
    assert text == "naïve 🐴"


def test_what_utf8_cannot_hold_is_replaced_and_nothing_lost(log: Log) -> None:
    name = b"caf\xe9.wav".decode("utf-8", "surrogateescape")
    visit = log.start_visit(name)
    body = {"kind": "remark", "limb": None, "text": f"{name} \ud83d\udc34 \ud83d"}
    log.append(visit.id, UtteranceRow(heard=name, status="recorded"), [body])
    assert visit.source == "caf\ufffd.wav"
    assert log.utterances(visit.id)[0].heard == "caf\ufffd.wav"
    assert log.entries(visit.id)[0].body["text"] == "caf\ufffd.wav 🐴 \ufffd"
