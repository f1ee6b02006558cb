"""Rows of an archive looked at before they go into the log: anybody may have written them."""

import base64
import binascii
import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlite_utils import Database

from handsfree.keeping.vouching import Bag
from handsfree.log import fit
from handsfree.log.reach import Link, links, quoted, related
from handsfree.log.rows import storable

Row = dict[str, Any]

MOST_JSON_BYTES = 64 << 20
"""Of one file; a visit of a thousand utterances has about 2 MB."""

_ID = re.compile(r"[0-9A-Za-z_-]{1,64}")
_NOT_TAKEN = ("sounds", "erasures")
"""Sounds come as files; a record of erasing is of the log it was made in."""


@dataclass(frozen=True)
class Shape:
    """A table as the log has it. `keys`: what tells two rows apart, wherever they were made."""

    name: str
    columns: Mapping[str, str]
    keys: tuple[str, ...]
    number: str | None
    """The column that only counts rows of this one file, None where there is none."""
    links: tuple[Link, ...]


def shapes(db: Database) -> dict[str, Shape]:
    """The tables that an archive may fill, in the order they were made."""
    all_links = links(db)
    found: dict[str, Shape] = {}
    for table in related(db):
        if table in _NOT_TAKEN:
            continue
        info = list(db.query(f"PRAGMA table_info({quoted(table)})"))
        columns = {c["name"]: str(c["type"]).upper() for c in info}
        keys = tuple(c["name"] for c in info if c["pk"])
        number = keys[0] if len(keys) == 1 and columns[keys[0]] == "INTEGER" else None
        if number or not keys:
            keys = tuple(name for name in columns if name != number)
        own = tuple(link for link in all_links if link.table == table)
        found[table] = Shape(table, columns, keys, number, own)
    return found


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


def rows_of(bag: Bag, name: str, data: dict[str, Any], known: Mapping[str, Shape]) -> Any:
    """Table → rows of a file's "rows", each looked at. Raises ArchiveRefused naming the first
    that cannot be so.
    """
    given = data.get("rows")
    if not isinstance(given, dict):
        raise bag.refused(f"{name} has no rows")
    found: dict[str, list[Row]] = {}
    for table, rows in given.items():
        shape = known.get(table)
        if shape is None:
            raise bag.refused(f"{name} has rows of a table that is not known: {table[:60]}")
        if not isinstance(rows, list):
            raise bag.refused(f"{name}: {table} is no list")
        try:
            found[table] = [_checked(shape, row) for row in rows]
        except (ValueError, TypeError, AttributeError, RecursionError, binascii.Error) as error:
            raise bag.refused(f"{name}: a row of {table} cannot be so: {error}") from error
    return found


def _checked(shape: Shape, given: Any) -> Row:
    if not isinstance(given, dict):
        raise TypeError("it is no object")
    row: Row = {}
    for key, value in given.items():
        if key != "_row" and key not in shape.columns:
            raise ValueError(f"there is no column {key[:60]}")
        row[key] = _value(key, value)
    missing = [key for key in shape.keys if key not in row]
    if missing:
        raise ValueError(f"it has no {missing[0]}")
    if not isinstance(row.setdefault("_row", 0), int):
        raise ValueError("its order is no number")
    references = {link.column for link in shape.links} | {"id", "change", "undoes"}
    for key in references & row.keys():
        if row[key] is not None and not (isinstance(row[key], str) and _ID.fullmatch(row[key])):
            raise ValueError(f"its {key} is no id")
    fit.check_row(shape.name, shape.columns, row)
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
