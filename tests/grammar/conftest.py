import pytest

from handsfree.grammar import Grammar, load


@pytest.fixture(scope="session")
def grammar() -> Grammar:
    return load(horse_names=["Bramble", "Old Copper"])
