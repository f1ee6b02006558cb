"""The rooms keep their order, and DEVELOPERS.md shows the order that is kept."""

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
CONTRACTS = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"][
    "importlinter"
]["contracts"]
(LAYERS,) = (c["layers"] for c in CONTRACTS if c["id"] == "rooms")
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_contracts_are_kept() -> None:
    pytest.importorskip("importlinter")
    done = subprocess.run(
        [Path(sys.executable).with_name("lint-imports"), "--no-cache"],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stdout


def test_the_guide_shows_the_order() -> None:
    shown = GUIDE.partition("<!-- rooms -->\n```\n")[2].partition("```\n<!-- end -->")[0]
    assert shown.splitlines() == LAYERS


def test_every_room_is_told_of() -> None:
    rooms = {room.strip() for layer in LAYERS for room in layer.split("|")}
    table = GUIDE.partition("| room | holds |")[2].partition("\n\n")[0]
    told = {
        cell.strip("`, ") for row in table.splitlines() for cell in row[1:].split("|")[0].split("`")
    }
    names = {name.removeprefix("handsfree/").removesuffix(".py") for name in told}
    assert rooms - names == set()
