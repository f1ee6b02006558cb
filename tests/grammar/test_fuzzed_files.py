"""Grammar files with anything at all done to them: read, or one GrammarError, nothing else."""

import shutil
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from handsfree.errors import GrammarError
from handsfree.grammar import folder, load
from handsfree.grammar.known import ids_of
from handsfree.grammar.words import read_table
from handsfree.sums import wear
from handsfree.visit import cautions, runsheet

GRAMMAR = (
    "words.csv",
    "numbers.jsgf",
    "smallwords.csv",
    "soundalikes.csv",
    "twins.csv",
    "respellings.csv",
)
RULES = ("cautions.toml", "runsheet.toml", "wear.toml")

FEW = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
SOME = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@st.composite
def damage(draw: st.DrawFn) -> tuple[float, int, bytes]:
    """Where (share of the file), how many bytes are taken out, and what is put in."""
    put_in = st.one_of(
        st.binary(max_size=12),
        st.text(alphabet='<>|[](){};,="\n\\#/*', max_size=12).map(str.encode),
        st.sampled_from([b"\x00", b"\xff\xfe", b"\r", b"," * 40, b"[[" * 20, b"(" * 400]),
    )
    return draw(st.floats(0, 1)), draw(st.integers(0, 60)), draw(put_in)


def damaged(text: bytes, how: tuple[float, int, bytes]) -> bytes:
    at = int(how[0] * len(text))
    return text[:at] + how[2] + text[at + how[1] :]


def refusal(read: Callable[[], object]) -> str | None:
    """The one line with which a file is refused; any other exception is a fault."""
    try:
        read()
    except GrammarError as error:
        return str(error)
    return None


@pytest.mark.parametrize("name", GRAMMAR)
@FEW
@given(how=damage())
def test_a_damaged_grammar_file_is_read_or_refused(
    tmp_path: Path, name: str, how: tuple[float, int, bytes]
) -> None:
    place = tmp_path / "grammar"
    if not place.exists():
        shutil.copytree(folder(), place)
    (place / name).write_bytes(damaged((folder() / name).read_bytes(), how))
    refused = refusal(lambda: load(place))
    assert refused is None or "\n" not in refused


@pytest.mark.parametrize("name", RULES)
@SOME
@given(how=damage())
def test_a_damaged_rules_file_is_read_or_refused(
    tmp_path: Path, name: str, how: tuple[float, int, bytes]
) -> None:
    file = tmp_path / name
    file.write_bytes(damaged((folder() / name).read_bytes(), how))
    ids = ids_of(read_table(folder() / "words.csv"))
    readers: dict[str, Callable[[], object]] = {
        "cautions.toml": lambda: cautions.read_rules(file, ids),
        "runsheet.toml": lambda: runsheet.read_sheet(file),
        "wear.toml": lambda: wear.read_rules(file, ids),
    }
    refused = refusal(readers[name])
    assert refused is None or "\n" not in refused


def test_the_rules_files_are_whole_as_they_come() -> None:
    for name in RULES:
        assert tomllib.loads((folder() / name).read_text(encoding="utf-8"))
