"""Names of horses that are spoken: what begins one, and which name of the log it is like."""

from collections.abc import Collection, Iterable, Sequence

from rapidfuzz import fuzz, process

BEFORE_A_NAME = (("next", "horse"), ("horse",))
"""What a horse's name follows."""

MOST_WORDS = 4
"""Longer than this it is talk about a horse and no name (common practice, no source)."""

LEAST_LIKE = 60
"""Likeness of spelling in percent from which a name brings another one up."""


def begins_a_name(said: Sequence[str]) -> bool:
    """Whether a horse's name may follow the first words."""
    return any(tuple(said[: len(before)]) == before for before in BEFORE_A_NAME)


def name_said(
    said: Sequence[str],
    names: Iterable[Sequence[str]],
    known: Collection[str],
    within: Collection[str],
) -> tuple[str, ...] | None:
    """The words of a name where a horse is plainly being named; None where it is not plain.

    Empty: the name itself was not heard. `names` are those of the log, `known` words that are
    said otherwise than in a name, `within` those that a longer name may have among its own.
    """
    for before in BEFORE_A_NAME:
        if tuple(said[: len(before)]) == before:
            name = tuple(said[len(before) :])
            if any(each and name[: len(each)] == tuple(each) for each in names):
                return name
            of_its_own = [word for word in name if word not in within]
            # "Horse chip" is a name, though a chip is a finding; "horse left hind" is none.
            plain = len(name) <= 1 or (
                bool(of_its_own) and not any(word in known for word in of_its_own)
            )
            return name if plain and len(name) <= MOST_WORDS else None
    return None


def like(said: str, names: Iterable[str]) -> str | None:
    """The name nearest to what was said, None where none is near."""
    near = process.extractOne(
        said, tuple(names), scorer=fuzz.ratio, processor=str.casefold, score_cutoff=LEAST_LIKE
    )
    return None if near is None else str(near[0])
