"""What the review screen draws: sizes, odd logs, terminals that can show little."""

import asyncio
import os
import pty
import re
import select
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from rich.cells import cell_len

from handsfree.grammar import Grammar
from handsfree.log import Log, UtteranceRow
from handsfree.review.desk import Desk
from handsfree.screens.parts import cut, fold, glyphs
from handsfree.screens.review import Review

WORK = {"kind": "work", "limb": "LH", "action": "trimmed"}


def shown(app: Review) -> str:
    """What the terminal would hold, as text."""
    strips = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in strip).rstrip() for strip in strips)


def screens(
    factory: Callable[[], Desk],
    size: tuple[int, int],
    *keys: str,
    encoding: str = "utf-8",
    look: Callable[[Review], None] | None = None,
) -> list[str]:
    """The screen at first and after each key."""
    found: list[str] = []

    async def run() -> None:
        times = iter(range(10**6))
        app = Review(factory, None, clock=lambda: float(next(times)), encoding=encoding)
        async with app.run_test(size=size) as pilot:
            await app.workers.wait_for_complete()
            await pilot.pause()
            found.append(shown(app))
            for key in keys:
                await pilot.press(key)
                await pilot.pause()
                found.append(shown(app))
            if look is not None:
                look(app)

    asyncio.run(run())
    return found


@pytest.fixture
def factory(visit40: Any) -> Callable[[], Desk]:
    """Opens the log of forty entries in whatever thread asks."""
    return lambda: Desk(Log.open(visit40.path), visit40.grammar, visit40.id)


Made = Callable[..., Callable[[], Desk]]


@pytest.fixture
def made(tmp_path: Path, grammar: Grammar) -> Made:
    """A log of the given utterances on one horse."""

    def make(*heard: str, horse: str | None = "Duke", **row: Any) -> Callable[[], Desk]:
        path = tmp_path / "made.db"
        with Log.open(path) as log:
            known = log.add_horse(horse).id if horse else None
            visit = log.start_visit("microphone", known)
            about = {"status": "recorded", "limb": "LH"} | row
            for words in heard:
                bodies = [WORK] if about["status"] == "recorded" else []
                log.append(visit.id, UtteranceRow(heard=words, **about), bodies)
        return lambda: Desk(Log.open(path), grammar, visit.id)

    return make


ALL = ("c", "b", "m", "b", "t", "b", "l", "b", "k", "9", "b", "r", "b", "i", "b", "h", "b")


@pytest.mark.parametrize("size", [(60, 20), (76, 24), (80, 24), (200, 60)])
def test_nothing_is_wider_or_longer_than_the_window(
    factory: Callable[[], Desk], size: tuple[int, int]
):
    for text in screens(factory, size, "n", "n", "n", *ALL, "0", "escape", "a"):
        lines = text.splitlines()
        assert len(lines) <= size[1]
        assert max(map(cell_len, lines)) <= size[0]
        if "Enter take it" in text:  # a box to type in, where letters are letters
            assert "Esc back" in text
            continue
        for key in ("Enter confirm", "C correct", "X strike", "N later", "Space hear", "U undo"):
            assert key in text
        assert "Q leave" in text


@pytest.mark.parametrize("size", [(60, 20), (80, 24), (200, 60)])
def test_no_answer_of_a_list_is_left_out(factory: Callable[[], Desk], size: tuple[int, int]):
    """Turning the pages shows every foot and what it is asked about, numbered without a gap."""
    asked = screens(factory, size, "n", "n", "n", "n", "n", "c", "9")[-2:]
    if "page 1 of 1" in asked[0] or "9  more" not in asked[0]:
        asked = asked[:1]
    found = []
    for text in asked:
        numbers = re.findall(r"^(?:.*│)?[> ] ([1-8])  (.*)$", text, re.MULTILINE)
        assert [int(n) for n, _ in numbers] == list(range(1, len(numbers) + 1))
        found += [label for _, label in numbers]
    for label in ("foot", "place", "side", "what", "how much", "how old", "since last time"):
        assert any(each.startswith(label) for each in found), label


@pytest.mark.parametrize("size", [(60, 20), (80, 24), (200, 60)])
def test_each_size_shows_what_is_needed_to_judge(
    factory: Callable[[], Desk], size: tuple[int, int]
):
    text = screens(factory, size, "n", "n", "n")[-1]
    words = " ".join(text.replace("│", " ").split())
    for part in ("4 of 43, 11 to look at", "DOUBTFUL 60%", "7 nails pulled", "pulled seven nails"):
        assert part in words
    assert "1  RF 8 nails pulled" in text
    assert all(limb in text for limb in ("LF", "RF", "LH", "RH"))
    assert "doubt" in text
    assert "miss" in text


@pytest.mark.parametrize("size", [(40, 10), (59, 20), (60, 19), (20, 5), (8, 3), (1, 1)])
def test_a_window_too_small_says_so_and_can_be_left(
    factory: Callable[[], Desk], size: tuple[int, int]
):
    first, _, last = screens(factory, size, "enter", "x")
    words = " ".join(first.split())
    assert first == last  # nothing is judged unseen
    if size[0] >= 40:
        assert "too small. 60 columns and 20 rows are needed" in words
        assert "Q leaves" in words


def test_it_comes_back_where_it_was_when_the_window_is_made_larger(factory: Callable[[], Desk]):
    async def run() -> None:
        app = Review(factory, None, encoding="utf-8")
        async with app.run_test(size=(80, 24)) as pilot:
            await app.workers.wait_for_complete()
            await pilot.press("n")
            before = shown(app)
            await pilot.resize_terminal(40, 10)
            await pilot.pause()
            assert "too small" in shown(app)
            await pilot.resize_terminal(80, 24)
            await pilot.pause()
            assert shown(app) == before

    asyncio.run(run())


def test_a_visit_in_which_nothing_was_heard(made: Made):
    first, *after = screens(made(), (80, 24), "enter", "x", "c", "space", "n", "b", "u", "t", "k")
    assert "Nothing was heard in this visit" in first
    assert "Set the foot down first" in first
    assert "nothing heard" in first.splitlines()[0]
    assert "A adds" in first
    assert all("nothing was heard here" in text for text in after[:6])
    assert "The keys" in after[-1]


def test_one_entry(made: Made):
    first, accepted, skipped = screens(made("trimmed"), (80, 24), "enter", "n")
    assert "1 of 1, none to look at, 1 sure" in first
    assert "= sure" in first
    assert "1 of 1, all confirmed" in accepted
    assert "+ confirmed" in accepted
    assert "1 of 1" in skipped


def test_a_thousand_entries(made: Made):
    start = made(*(f"trimmed {n}" for n in range(1000)))
    first, second, listed, turned = screens(start, (80, 24), "n", "l", "9")
    assert "1 of 1000" in first
    assert "2 of 1000" in second
    assert "page 1 of 125" in listed
    assert "page 2 of 125" in turned
    assert any("1000" in line.split("│")[0] for line in first.splitlines()[2:])


def test_long_words_are_folded_and_no_key_line_is_pushed_out(made: Made):
    word = "Donaudampfschifffahrt" * 12
    start = made(word, word, horse=word, status="unclear", doubt=f"heard {word} twice")
    for size in ((60, 20), (80, 24)):
        for text in screens(start, size, "l"):
            assert max(map(cell_len, text.splitlines())) <= size[0]
            assert "Q leave" in text
            assert "1 of 2" in text
    assert "Donau" in text


def test_wide_letters_are_counted_by_their_cells(made: Made):
    start = made("蹄鉄" * 40, horse="栗毛" * 30, status="unclear")
    for text in screens(start, (80, 24), "l"):
        assert max(map(cell_len, text.splitlines())) <= 80


def test_control_characters_and_markup_stay_text(made: Made):
    start = made(
        "\x1b[31mred\x07 [bold]loud[/] \u202eback", horse="Du\x1b]0;x\x07ke", status="unclear"
    )
    text, listed = screens(start, (80, 24), "l")
    for each in (text, listed):
        assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f\x9b\u202e]", each)
    assert "�[31mred�" in text
    assert "[bold]" in text


def test_a_terminal_without_such_letters_gets_ascii(factory: Callable[[], Desk], made: Made):
    for text in screens(factory, (80, 24), *ALL, encoding="ascii"):
        assert text.isascii()
    odd = made("Hufgeschwür 52° – “links” 蹄", horse="Höfling", status="unclear")
    text = screens(odd, (80, 24), encoding="ascii")[0]
    assert text.isascii()
    assert "Hofling" in text
    assert "52 deg" in text


def test_a_terminal_of_latin_letters_keeps_its_umlauts(made: Made):
    odd = made("Hufgeschwür 52°", horse="Höfling", status="unclear")
    text = screens(odd, (80, 24), encoding="latin-1")[0]
    text.encode("latin-1")
    assert "Höfling" in text
    assert "52°" in text


@pytest.mark.parametrize("encoding", [None, "no-such", "ascii", "latin-1", "utf-8"])
def test_signs_can_be_shown_in_the_encoding(encoding: str | None):
    signs = glyphs(encoding)
    for sign in (signs.rule, signs.bar, signs.cut):
        sign.encode(signs.encoding)


def test_cutting_keeps_both_ends_and_the_width():
    signs = glyphs("utf-8")
    assert cut("left hind outside heel bruise", 15, signs) == "left hi…bruise"
    for width in range(12):
        assert cell_len(cut("蹄鉄 left hind 蹄鉄", width, signs)) <= width
    assert fold("a bb ccc", 4) == ["a bb", "ccc"]
    assert fold("abcdef", 4) == ["abcd", "ef"]
    assert fold("", 4) == [""]


@pytest.mark.parametrize("no_color", [True, False])
def test_what_stands_out_does_so_without_colour(
    factory: Callable[[], Desk], monkeypatch: pytest.MonkeyPatch, no_color: bool
):
    monkeypatch.delenv("NO_COLOR", raising=False)
    if no_color:
        monkeypatch.setenv("NO_COLOR", "1")

    def look(app: Review) -> None:
        assert app.no_color is no_color
        bold = reverse = ""
        for strip in app.screen._compositor.render_strips():
            for segment in strip:
                style = segment.style
                assert style is not None
                # The terminal's own two colours, whatever they are: never black on black.
                assert style.color is None or style.color.is_default, segment
                assert style.bgcolor is None or style.bgcolor.is_default, segment
                bold += segment.text if style.bold else ""
                reverse += segment.text if style.reverse else ""
        assert "NOT UNDERSTOOD" in reverse
        assert "LH in hand" in reverse
        assert "Enter" in bold

    text = screens(factory, (80, 24), look=look)[0]
    assert "> records" in text
    assert ">LH in hand" in text
    screens(factory, (80, 24), "down", look=None)


_PROGRAM = """
import sys
from handsfree.grammar import load
from handsfree.log import Log
from handsfree.review.desk import Desk
from handsfree.screens.review import run_screen
run_screen(lambda: Desk(Log.open(sys.argv[1]), load(), sys.argv[2]), None)
heavy = ("soundfile", "sounddevice", "vosk", "pocketsphinx", "ctranslate2")
print("left", [m for m in heavy if m in sys.modules])
"""


@pytest.mark.skipif(sys.platform == "win32", reason="has no pseudo-terminals")
@pytest.mark.parametrize("no_color", [True, False])
def test_in_a_terminal_of_its_own_it_draws_leaves_and_loads_no_sound(visit40: Any, no_color: bool):
    env = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "COLORTERM")}
    env |= {"TERM": "xterm-256color", "COLUMNS": "80", "LINES": "24", "LC_ALL": "C.UTF-8"}
    env |= {"NO_COLOR": "1"} if no_color else {}
    ours, theirs = pty.openpty()
    try:
        program = subprocess.Popen(
            [sys.executable, "-c", textwrap.dedent(_PROGRAM), visit40.path, visit40.id],
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            env=env,
        )
        os.close(theirs)
        drawn = _until(ours, b"tow crack")
        os.write(ours, b"q")
        drawn += _until(ours, b"left [")
        assert program.wait(30) == 0
    finally:
        os.close(ours)
    assert b"left []" in drawn
    assert "NOT UNDERSTOOD" in drawn.decode(errors="replace")
    colours = {c for sgr in re.findall(rb"\x1b\[([\d;]*)m", drawn) for c in sgr.split(b";")}
    assert not colours & {b"38", b"48", *(b"%d" % n for n in (*range(30, 38), *range(40, 48)))}


def _until(fd: int, wanted: bytes, seconds: float = 60) -> bytes:
    found, end = b"", time.monotonic() + seconds
    while wanted not in found:
        ready, _, _ = select.select([fd], [], [], end - time.monotonic())
        assert ready, f"{wanted!r} did not come: {found[-500:]!r}"
        try:
            found += os.read(fd, 65536)
        except OSError:  # the other end has closed
            break
    return found
