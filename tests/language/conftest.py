import pytest

from handsfree.grammar.grammar import folder
from handsfree.language.tables import Tables, read_tables


@pytest.fixture(scope="session")
def tables() -> Tables:
    return read_tables(folder() / "said")
