"""The screen and the plain mode are two faces of one desk: the same script, the same log."""

import asyncio
import itertools
import re
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot

from handsfree.grammar import Grammar
from handsfree.log import Log
from handsfree.review.desk import Desk
from handsfree.review.plain import Plain
from handsfree.screens.review import Review

Judged = dict[str, Any]


@dataclass(frozen=True)
class Step:
    """A line of plain review and the keys that do the same.

    A key of several letters is Textual's name of one; "type:" types the rest, "pick:" presses
    the digit beside a line that begins with the rest.
    """

    line: str
    keys: tuple[str, ...]


SCRIPT = (
    Step("2", ("2",)),
    Step("undo", ("u",)),
    Step("2", ("2",)),
    Step("mild flare outside quarter", ("0", "type:mild flare outside quarter", "enter")),
    Step("no sentence at all", ("0", "type:no sentence at all", "enter", "escape")),
    Step("strike", ("x",)),
    Step("1", ("1",)),
    Step("skip", ("n",)),
    Step("", ("enter",)),
    Step("she pulls back", ("0", "type:she pulls back", "enter")),
    Step("correct side outside", ("c", "pick:side", "pick:outside")),
    Step("undo", ("u",)),
    Step("c side outside", ("c", "pick:side", "pick:outside")),
    Step("n", ("n",)),
    Step(
        "seedy toe and thrush in the frog", ("0", "type:seedy toe and thrush in the frog", "enter")
    ),
    Step("back", ("b",)),
    Step("strike 2", ("x", "pick:frog thrush")),
    Step("foot", ("f",)),
    Step("move RH", ("m", "pick:RH")),
    Step("split", ("p", "b")),
    Step("strike 1", ("x", "2")),
    Step("add left hind heel bruise", ("a", "type:left hind heel bruise", "enter")),
    Step("sure", ("t", "pick:all")),
    Step("undo", ("u",)),
    Step("undo", ("u",)),
    Step("undo", ("u",)),
    Step("sure", ("t", "pick:all")),
    Step("list", ("l", "b")),
    Step("history", ("i", "b")),
    Step("move to Bella", ("m", "pick:another horse", "pick:Bella")),
    Step("accept", ("enter",)),
    Step("next", ("right",)),
    Step("horse", ("h", "b")),
    Step("leave", ("q",)),
)


@pytest.fixture
def two(path: Path, tmp_path: Path) -> tuple[Path, Path]:
    """Two copies of the log that holds the visit."""
    shutil.copy(path, tmp_path / "other.db")
    return path, tmp_path / "other.db"


def plainly(
    path: Path, grammar: Grammar, visit: str, steps: Sequence[Step]
) -> tuple[list[str], list[Judged]]:
    """Type the lines; returns what was printed, and the log before each and at the end."""
    out: list[str] = []
    logs: list[Judged] = []

    def lines() -> Iterator[str]:
        for step in steps:
            logs.append(judged(path))
            yield f"{step.line}\n"

    script = lines()
    with Log.open(path) as log:
        Plain(
            lambda it: Desk(log, grammar, it),
            visit,
            None,
            {},
            lambda: next(script, None),
            out.append,
        ).run()
    return out, [*logs, judged(path)]


def on_screen(
    path: Path, grammar: Grammar, visit: str, steps: Sequence[Step]
) -> tuple[list[str], list[Judged]]:
    """Press the keys; returns what was told after each step, and the log as in `plainly`."""
    ticks = itertools.count()
    told: list[str] = []
    logs: list[Judged] = []

    async def run() -> None:
        app = Review(
            lambda: Desk(Log.open(path), grammar, visit),
            None,
            clock=lambda: float(next(ticks)),
            encoding="utf-8",
        )
        async with app.run_test(size=(80, 24)) as pilot:
            await app.workers.wait_for_complete()
            await pilot.pause()
            for step in steps:
                logs.append(judged(path))
                for key in step.keys:
                    await press(app, pilot, key)
                told.append(app._said)

    asyncio.run(run())
    return told, [*logs, judged(path)]


async def press(app: Review, pilot: Pilot[None], key: str) -> None:
    kind, _, rest = key.partition(":")
    if kind == "type":
        await pilot.press(*("space" if c == " " else c for c in rest))
    elif kind == "pick":
        for _ in range(9):
            number = number_of(app, rest)
            await pilot.press(number or "9")
            if number:
                break
        else:
            raise AssertionError(f"no {rest!r} to pick")
    else:
        await pilot.press(key)
    await pilot.pause()


def number_of(app: Review, label: str) -> str | None:
    strips = app.screen._compositor.render_strips()
    rows = ["".join(segment.text for segment in strip) for strip in strips]
    found = re.search(rf"[> ] (\d)  {re.escape(label)}", "\n".join(rows))
    return found[1] if found else None


def judged(path: Path) -> Judged:
    """All that a review writes, without the ids and times that differ from run to run."""
    with Log.open(path) as log:
        visits = log.visits()
        return {
            "visits": [(v.horse, v.source, v.started_at, v.entries, v.confirmed) for v in visits],
            "heard": [(u.heard, u.limb, u.status) for v in visits for u in log.utterances(v.id)],
            "entries": [
                (e.heard, e.seq, e.limb, e.body, e.status, e.origin, e.replaces is not None)
                for v in visits
                for e in log.entries(v.id)
            ],
            "marks": [
                [(m.status, m.by, m.reason, m.undoes is not None) for m in log.history(e.id)]
                for v in visits
                for e in log.entries(v.id)
            ],
            "lessons": sorted((each.heard, each.meant, each.times) for each in log.lessons()),
            "notices": [(n.kind, n.code, n.text) for v in visits for n in log.notices(v.id)],
            "passed": [len(log.passed(v.id)) for v in visits],
        }


def test_the_same_script_leaves_the_same_log(
    two: tuple[Path, Path], grammar: Grammar, visit40: Any
) -> None:
    out, plain = plainly(two[0], grammar, visit40.id, SCRIPT)
    told, screen = on_screen(two[1], grammar, visit40.id, SCRIPT)
    assert out[-1].startswith("Left; "), "every line was taken"
    for number, (one, other) in enumerate(zip(plain, screen, strict=True)):
        for table, rows in one.items():
            assert rows == other[table], (table, SCRIPT[number - 1], told[number - 1])
    # The script did what it is for, or the comparison shows nothing.
    changed = {table for table in plain[0] if plain[-1][table] != plain[0][table]}
    assert changed >= {"visits", "heard", "entries", "marks", "lessons", "passed"}
    assert {m[0] for marks in plain[-1]["marks"] for m in marks} == {
        *("heard", "confirmed", "corrected", "struck")
    }
    unchanged = [s.line for n, s in enumerate(SCRIPT) if plain[n] == plain[n + 1]]
    expected = "no sentence at all,skip,n,back,foot,list,history,accept,next,horse,leave"
    assert ",".join(unchanged) == expected
