"""Results are on the disk as they come, and whatever is in their file is survived."""

import json
import os
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from handsfree.errors import LogError
from handsfree.relisten.results import Results, results_file
from handsfree.relisten.tasks import Again, from_json, to_json

WORDS = st.text(st.characters(codec="utf-8"), max_size=20)
AGAIN = st.builds(
    Again,
    utterance_id=st.sampled_from(["a", "b", "c", "d"]),
    heard=WORDS,
    sentence=st.none() | st.lists(WORDS, max_size=4).map(tuple),
    bend=st.floats(0, 10),
    confidence=st.floats(0, 1),
    speech=st.booleans(),
    engines=st.lists(WORDS, max_size=3).map(tuple),
    alternatives=st.lists(
        st.fixed_dictionaries({"engine": WORDS, "text": WORDS, "score": st.floats(-9, 9)}),
        max_size=2,
    ).map(tuple),
    free_text=st.none() | WORDS,
    doubt=st.none() | WORDS,
    worker=WORDS,
)
QUICK = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@given(AGAIN)
def test_a_result_is_the_same_after_json(again: Again):
    assert from_json(json.loads(json.dumps(to_json(again)))) == again


@QUICK
@given(results=st.lists(AGAIN, max_size=6), junk=st.binary(max_size=60), cut=st.integers(0, 400))
def test_whole_results_are_found_again_whatever_else_is_in_the_file(
    tmp_path: Path, results: list[Again], junk: bytes, cut: int
):
    path = tmp_path / "r.jsonl"
    path.unlink(missing_ok=True)
    with Results(path, "m", "abcd") as kept:
        first = {r.utterance_id: r for r in reversed(results)}
        taken = [kept.add(each) for each in results]
        assert sum(taken) == len(first)  # the first result of an utterance stands
    whole = path.read_bytes()
    path.write_bytes(whole + junk + b"\n" + whole[: min(cut, max(0, len(whole) - 1))])
    with Results(path, "m", "abcd") as kept:
        assert {id: kept.get(id) for id in "abcd" if id in kept} == first
    assert path.read_bytes() == whole  # tidied


@pytest.mark.parametrize(
    "line",
    [b"[]", b"{}", b'{"with": "m"}', b'{"with": "m", "again": []}', b"[" * 5000, b"\xff", b"null"],
)
def test_odd_lines_are_left_out(tmp_path: Path, line: bytes):
    path = tmp_path / "r.jsonl"
    path.write_bytes(line + b"\n")
    with Results(path, "m", "a") as kept:
        assert "a" not in kept


def test_odd_values_are_refused():
    good = to_json(Again("a"))
    odd = {"confidence": 2, "heard": None, "sentence": "x", "speech": 1, "bend": "0", "doubt": 3}
    for key, value in odd.items():
        with pytest.raises(ValueError, match=r"result|words|confidence"):
            from_json(json.loads(json.dumps(good | {key: value})))


def test_other_setups_other_utterances_and_failures_are_forgotten(tmp_path: Path):
    path = tmp_path / "r.jsonl"
    with Results(path, "old", "abc") as kept:
        kept.add(Again("a"))
    with Results(path, "new", "abc") as kept:
        assert "a" not in kept
        kept.add(Again("a", heard="now"))
        kept.add(Again("b"))
        kept.add(Again("c", failed="the process died"))
    with Results(path, "new", "ac") as kept:
        assert [id for id in "abc" if id in kept] == ["a"]
        assert kept.get("a") == Again("a", heard="now")
        kept.add(Again("c"))
        assert kept.get("a") == Again("a", heard="now")


def test_the_file_is_its_owners_alone_and_one_process_at_a_time(tmp_path: Path):
    path = results_file(tmp_path / "log.db")
    with Results(path, "m", "a"):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        with pytest.raises(LogError, match="another 'handsfree relisten' is at work"):
            Results(path, "m", "a")
    Results(path, "m", "a").close()


def test_a_folder_that_cannot_be_written_is_one_line(tmp_path: Path):
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(LogError, match=r"results .*r\.jsonl"):
        Results(tmp_path / "file" / "r.jsonl", "m", "a")


WRITER = """
import sys
from pathlib import Path
from handsfree.relisten.results import Results
from handsfree.relisten.tasks import Again
with Results(Path(sys.argv[1]), "m", [str(n) for n in range(100000)]) as kept:
    for n in range(100000):
        kept.add(Again(str(n), heard="words " * 50))
        print(n, flush=True)
"""


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL")
def test_kill_loses_nothing_that_was_acknowledged(tmp_path: Path):
    path = tmp_path / "r.jsonl"
    for after_s in (0.03, 0.1, 0.17):
        path.unlink(missing_ok=True)
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, text=True
        )
        assert writer.stdout is not None
        told = [writer.stdout.readline()]
        time.sleep(after_s)
        writer.send_signal(signal.SIGKILL)
        told += writer.stdout.read().split("\n")[:-1]
        writer.wait()
        with Results(path, "m", [str(n) for n in range(100000)]) as kept:
            assert all(line.strip() in kept for line in told)
