"""Values that nothing can be made of, and a terminal that lacks signs: one line, never a crash."""

from pathlib import Path
from typing import Any

import pytest

from handsfree.log import Log, UtteranceRow

MANY = "9" * 25


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["find", "crack", "--since", "2026-02-30"], "--since '2026-02-30' is no day"),
        (["find", "crack", "--limit", MANY], f"'--limit': {MANY} is not in the range"),
        (["visits", "--limit", MANY], f"'--limit': {MANY} is not in the range"),
        (["find", "crack", "--sound-to", "circle"], "circle: is no folder to write to"),
        (["visits", "--log", "circle"], "log circle: leads nowhere"),
        (["merge", "circle"], "log circle: leads nowhere"),
        (["keep", "restore", "log.db", "--log", "circle"], "log circle: leads nowhere"),
        (["due", "--on", "0001-01-01"], "'0001-01-01' is not between 1900 and 2199"),
        (["find", "crack", "--on", "9999-12-31"], "'9999-12-31' is not between"),
        (["relisten", "--since", "0001-01-01"], "'0001-01-01' is not between"),
        (["keep", "take-in", "x.zip", "--most-gb", "nan"], "'nan' is no number"),
    ],
)
def test_an_odd_value_is_one_line(
    run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], says: str
) -> None:
    with Log.open(tmp_path / "log.db") as log:
        visit = log.start_visit("typed", log.add_horse("Bess").id)
        log.append(visit.id, UtteranceRow(heard="toe crack", status="unclear"))
    (tmp_path / "circle").symlink_to("circle")
    monkeypatch.chdir(tmp_path)
    done = run(*words)
    assert done.code in (1, 5)
    assert says in done.err
    assert len(done.err.splitlines()) == 1
    assert "--debug" not in done.err


def test_a_pipe_in_a_code_page_loses_a_sign_and_nothing_else(run: Any, tmp_path: Path) -> None:
    with Log.open(tmp_path / "log.db") as log:
        horse = log.add_horse("Łysek")
        visit = log.start_visit("typed", horse.id, started_at="2026-03-02T12:00:00.000+00:00")
        entry = {"kind": "remark", "limb": "LH", "text": "≥ 5 mm, więc"}
        log.append(visit.id, UtteranceRow(heard="≥ 5 mm, więc", status="recorded"), [entry])
    for words in (["horses"], ["show"], ["find", "mm"], ["export", "--csv"], ["brief", "łysek"]):
        done = run(*words, PYTHONIOENCODING="cp1252", PYTHONUTF8="0")
        assert (done.code, done.err) == (0, ""), words
    assert "? 5 mm, wi?c" in run("show", PYTHONIOENCODING="cp1252").out
