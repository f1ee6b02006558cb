import pytest

from handsfree.grammar import Grammar, load
from handsfree.visit.spoken import Spoken


@pytest.fixture(scope="session")
def grammar() -> Grammar:
    return load(horse_names=["Bramble"])


@pytest.fixture(scope="session")
def spoken(grammar: Grammar) -> Spoken:
    return Spoken(grammar)
