"""Rows of an archive read from its files: anybody may have written them."""

import base64
import binascii
import json
import math
from collections.abc import Mapping
from typing import Any

from sqlite_utils import Database

from handsfree.keeping.vouching import Bag
from handsfree.log import fit
from handsfree.log.reach import related
from handsfree.log.rows import storable

Row = dict[str, Any]

MOST_JSON_BYTES = 64 << 20
"""Of one file; a visit of a thousand utterances has about 2 MB."""

_NOT_TAKEN = ("sounds", "erasures")
"""Sounds come as files; a record of erasing is of the log it was made in."""


def columns(db: Database) -> dict[str, dict[str, str]]:
    """The tables that an archive may fill, each with its columns and their declared types."""
    return {t: fit.columns_of(db, t) for t in related(db) if t not in _NOT_TAKEN}


def parsed(bag: Bag, name: str) -> dict[str, Any]:
    """A JSON file of the bag, which must be an object."""
    try:
        data = json.loads(bag.read(name, MOST_JSON_BYTES), parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise bag.refused(f"{name} is no JSON: {error}") from error
    if not isinstance(data, dict):
        raise bag.refused(f"{name} is not what it should be")
    return data


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number")


def rows_of(
    bag: Bag, name: str, data: dict[str, Any], known: Mapping[str, Mapping[str, str]]
) -> dict[str, list[Row]]:
    """Table → rows of a file's "rows", each looked at. Raises ArchiveRefused naming the first
    that cannot be so.
    """
    given = data.get("rows")
    if not isinstance(given, dict):
        raise bag.refused(f"{name} has no rows")
    found: dict[str, list[Row]] = {}
    for table, rows in given.items():
        if table not in known:
            raise bag.refused(f"{name} has rows of a table that is not known: {table[:60]}")
        if not isinstance(rows, list):
            raise bag.refused(f"{name}: {table} is no list")
        try:
            found[table] = [_checked(table, known[table], row) for row in rows]
        except (ValueError, TypeError, RecursionError, binascii.Error) as error:
            raise bag.refused(f"{name}: a row of {table} cannot be so: {error}") from error
    return found


def _checked(table: str, columns: Mapping[str, str], given: Any) -> Row:
    if not isinstance(given, dict):
        raise TypeError("it is no object")
    row: Row = {}
    for key, value in given.items():
        if key != "_row" and key not in columns:
            raise ValueError(f"there is no column {key[:60]}")
        row[key] = _value(key, value)
    if not isinstance(row.get("_row", 0), int):
        raise ValueError("its order is no number")
    fit.check_row(table, columns, row)
    return row


def _value(key: str, value: Any) -> Any:
    match value:
        case None:
            return None
        case bool():
            raise ValueError(f"{key} is neither text nor number")
        case str():
            return storable(value)
        case int() if abs(value) < 1 << 63:
            return value
        case float() if math.isfinite(value):
            return value
        case {"base64": str(text)} if len(value) == 1:
            return base64.b64decode(text, validate=True)
    raise ValueError(f"{key} is neither text nor number")
