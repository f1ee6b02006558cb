"""What README shows as output is what the commands print today.

`python tests/test_readme.py` writes it anew.
"""

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

README = Path(__file__).parents[1] / "README.md"
BLOCK = re.compile(
    r"<!-- output: handsfree (?P<command>.+?)(?: \| first (?P<first>\d+))? -->\n"
    r"```text\n(?P<shown>.*?)```\n",
    re.DOTALL,
)


def blocks() -> list[re.Match[str]]:
    return list(BLOCK.finditer(README.read_text(encoding="utf-8")))


def printed(block: re.Match[str], log: Path) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "handsfree", *shlex.split(block["command"])],
        env=os.environ | {"HANDSFREE_LOG": str(log), "COLUMNS": "80"},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=True,
    )
    lines = [line.rstrip() for line in done.stdout.splitlines()]
    return "".join(f"{line}\n" for line in lines[: int(block["first"] or len(lines))])


def tell_years(log: Path) -> None:
    from handsfree import years
    from handsfree.log import Log

    with Log.open(log) as opened:
        years.tell(opened)


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("readme") / "years.db"
    tell_years(path)
    return path


@pytest.mark.parametrize("block", blocks(), ids=lambda block: str(block["command"]))
def test_readme_shows_what_is_printed(block: re.Match[str], log: Path) -> None:
    assert block["shown"] == printed(block, log)


def test_there_are_outputs_in_the_readme() -> None:
    assert len(blocks()) >= 6


def write(log: Path) -> None:
    tell_years(log)
    text = README.read_text(encoding="utf-8")
    for block in blocks():
        whole = block[0].replace(
            f"```text\n{block['shown']}```", f"```text\n{printed(block, log)}```"
        )
        text = text.replace(block[0], whole)
    README.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        write(Path(folder) / "years.db")
