"""A broken grammar file gives file, line and reason, whatever is wrong with it."""

import shutil
from pathlib import Path

import pytest

from handsfree.errors import GrammarError
from handsfree.grammar import folder, load


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    return Path(shutil.copytree(folder(), tmp_path / "grammar"))


def line_of(path: Path, text: str) -> int:
    return next(n for n, line in enumerate(path.read_text().splitlines(), 1) if text in line)


@pytest.mark.parametrize(
    ("file", "old", "new", "reason"),
    [
        ("sentences.jsgf", "<command> | <correction>", "<comand> | <correction>", "<comand>"),
        ("sentences.jsgf", "<plan> = [come]", "<plan> = [come", "cannot read"),
        ("sentences.jsgf", "<stock> = ", "<stock> = <shoe-words> ", "made of itself"),
        ("sentences.jsgf", "import <numbers.*>", "import <nombres.*>", "no grammar 'nombres'"),
        ("sentences.jsgf", "{!whats_left}", "{!whistle}", "no command 'whistle'"),
        ("numbers.jsgf", "<tens> = twenty", "<teen> = twenty", "already on line"),
        ("words.csv", "zone,hoof,toe,toe,", "zone,hoof,toe,,", "no spoken form"),
        ("words.csv", "zone,hoof,toe,toe,", "zone,hoof,toe,Toe!,", "lower-case"),
        ("words.csv", "zone,hoof,frog,frog,", "zone,hoof,frog,sole,", "already on line"),
        ("words.csv", "zone,hoof,frog,frog,", "zone,hoof,frog,frog", "columns"),
        ("words.csv", "slot,class", "slot;class", "first line"),
        ("pronunciations.dict", "sulcus S AH L", "sulcus S UX L", "no such phone: UX"),
        ("soundalikes.csv", "heal,heel,0.05", "heal,heel,much", "'much'"),
        ("twins.csv", "all four,off fore", "all four,", "both columns"),
        ("smallwords.csv", "\nthe,0.05", "\nthe,little", "numbers"),
    ],
)
def test_broken_file_is_named_with_line_and_reason(
    copy: Path, file: str, old: str, new: str, reason: str
):
    path = copy / file
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(GrammarError) as caught:
        load(copy)
    assert caught.value.file == file
    assert caught.value.line
    assert reason in caught.value.reason
    assert str(caught.value).startswith(f"{file}:{caught.value.line}: ")
    assert "\n" not in str(caught.value)


def test_missing_file_is_named(copy: Path):
    (copy / "words.csv").unlink()
    with pytest.raises(GrammarError, match=r"lacks words\.csv"):
        load(copy)


def test_bytes_that_are_no_text(copy: Path):
    (copy / "words.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(GrammarError, match=r"words\.csv: cannot be read"):
        load(copy)
