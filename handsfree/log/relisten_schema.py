"""Entries made by hearing a stored sound again: each carries how it was heard that time.

The utterance keeps how it was heard first; `hearing` is NULL for entries that are of it.
"""

COLUMN = """
ALTER TABLE entries ADD COLUMN hearing TEXT CHECK (hearing IS NULL OR json_valid(hearing));
"""

_OF_ITS_OWN = ("heard", "confidence", "doubt")


def own_hearing(views: str) -> str:
    """DDL that adds the column and puts views in the place of `views` that look into it.

    `views` is the text that made `entries_now` and `entries_in_force`. Whoever reads them
    sees a doubtful second hearing as doubtful, however sure the first one was.
    """
    for name in _OF_ITS_OWN:
        first = f"u.{name} AS {name}"
        assert views.count(first) == 1
        again = f"json_extract(e.hearing, '$.{name}')"
        views = views.replace(
            first, f"CASE WHEN e.hearing IS NULL THEN u.{name} ELSE {again} END AS {name}"
        )
    return f"{COLUMN}DROP VIEW entries_in_force;\nDROP VIEW entries_now;\n{views}"
