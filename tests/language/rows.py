"""The rows of tests/language/tables: what is said, and what a careful note taker writes.

A row: `text`; `says`, its entries as "LIMB ID slot=value …" ("-" for no limb, "no" for a finding
that is denied); or `limb` (a foot alone), `command`, `nothing` (talk); `after`, what was said
before it; `limb_in_force`; `corrects`, that it takes the place of the last; `alarm`, that a person
or a horse may be in danger; `expected_fail`, why it is not read so yet.
"""

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsfree.dialogue.session import Outcome, Session
from handsfree.grammar import load
from handsfree.language.understand import Understanding
from handsfree.records.entries import to_json
from handsfree.records.sureness import unsure

TABLES = Path(__file__).parent / "tables"
GRAMMAR = load(horse_names=["Bramble"])
UNDERSTANDING = Understanding(GRAMMAR)
SLOT = {
    "finding": "term",
    "measurement": "quantity",
    "nails": "action",
    "shoe": "item",
    "work": "action",
    "plan": "action",
}
QUANTITIES = frozenset(
    """toe_length hoof_angle heel_angle pastern_angle heel_height heel_length hoof_width hoof_length
    coronary_circumference sole_depth wall_thickness frog_width frog_length heart_girth body_length
    height neck_girth weight""".split()
)
NAILS = frozenset("pulled driven left_in lost in_shoe".split())
WORK = frozenset(
    """shoe_pulled trimmed shoe_reset new_shoe rasped clinched packed barefoot flare_dressed
    toe_dressed hot_fitted drilled_tapped abscess_opened corn_pared poulticed resected
    treated""".split()
)
SHOE = frozenset(
    "size section clips studs pads crease bar_shoe rolled_toe fit inside_rounded wedge".split()
)
PLANS = frozenset("return call_vet watch next_time tell_owner xray".split())
KIND = {
    **dict.fromkeys(QUANTITIES, "measurement"),
    **dict.fromkeys(NAILS, "nails"),
    **dict.fromkeys(WORK, "work"),
    **dict.fromkeys(SHOE, "shoe"),
    **dict.fromkeys(PLANS, "plan"),
}
NOT_COMPARED = ("text", "detail", "unit_inferred")
"""Free words; `detail` only where a row gives it."""


@dataclass(frozen=True)
class Said:
    """One row of a table."""

    theme: str
    row: dict[str, Any]

    @property
    def text(self) -> str:
        return str(self.row["text"]).lower()

    @property
    def wanted(self) -> list[dict[str, Any]]:
        return [entry_of(each) for each in self.row.get("says", ())]


@dataclass(frozen=True)
class Read:
    """What became of an utterance, and whether it was surely read."""

    outcome: Outcome
    sure: bool
    doubt: str | None

    @property
    def entries(self) -> list[dict[str, Any]]:
        bodies = [to_json(entry) for entry in self.outcome.entries]
        return [{k: v for k, v in b.items() if v is not None and v is not False} for b in bodies]


def rows(theme: str | None = None) -> list[Said]:
    """All rows, or those of one table."""
    files = sorted(TABLES.glob(f"{theme or '*'}.toml"))
    return [
        Said(file.stem, row)
        for file in files
        for row in tomllib.loads(file.read_text(encoding="utf-8"))["said"]
    ]


def entry_of(text: str) -> dict[str, Any]:
    """An entry from its short form."""
    limb, id, *slots = text.split()
    if "=" in id:
        id, slots = "", [id, *slots]
    kind = KIND.get(id, "finding")
    found: dict[str, Any] = {"kind": kind}
    if limb != "-":
        found["limb"] = limb
    if id:
        found[SLOT[kind]] = id
    scale: dict[str, Any] = {}
    for slot in slots:
        key, _, value = slot.partition("=")
        if key == "no":
            found["denied"] = True
        elif key.startswith("scale"):
            scale["scale" if key == "scale" else "value"] = value
        elif key in ("value", "count", "weeks", "below_hairline_mm", "extent_mm"):
            found[key] = float(value)
        else:
            found[key] = value
    if scale:
        found["scale_grade"] = {"scale": scale["scale"], "value": float(scale["value"])}
    return found


def same(wanted: dict[str, Any], got: dict[str, Any]) -> bool:
    """Whether an entry says what is wanted, no more and no less."""
    free = [key for key in NOT_COMPARED if key not in wanted]
    return wanted == {k: v for k, v in got.items() if k not in free}


def all_there(wanted: list[dict[str, Any]], got: list[dict[str, Any]]) -> bool:
    """Whether the entries are the same, in any order."""
    left = list(got)
    for each in wanted:
        fitting = next((g for g in left if same(each, g)), None)
        if fitting is None:
            return False
        left.remove(fitting)
    return not left


def read(text: str, before: list[str] | tuple[str, ...] = (), limb: str | None = None) -> Read:
    """What becomes of an utterance, after others."""
    session = Session(limb)
    for each in before:
        _take(session, each)
    return _take(session, text)


def _take(session: Session, text: str) -> Read:
    reading = UNDERSTANDING.read(text.lower().split())
    confidence = max(0.0, 1.0 - reading.bend) if reading.meaning else 0.1
    outcome = session.take(reading, confidence)
    assert outcome is not None
    doubt = outcome.doubt or reading.doubt
    return Read(outcome, not unsure(confidence, doubt), doubt)


def read_row(said: Said) -> Read:
    """What becomes of a row."""
    return read(said.text, said.row.get("after", ()), said.row.get("limb_in_force"))


def problem(said: Said) -> str | None:
    """What is not as the row says, None where all is."""
    row, got = said.row, read_row(said)
    outcome = got.outcome
    if "command" in row:
        right = (outcome.command, outcome.horse) == (row["command"], row.get("horse"))
        return None if right and not got.entries else f"{outcome.command} {got.entries}"
    if "limb" in row:
        right = (outcome.status, outcome.command, outcome.limb) == ("command", None, row["limb"])
        return None if right else f"{outcome.status} {outcome.limb} {got.entries}"
    if row.get("nothing"):
        noted = (got.entries and got.sure) or outcome.command
        return f"noted: {outcome.command} {got.entries}" if noted else None
    if not all_there(said.wanted, got.entries):
        return f"{got.entries} ({got.doubt})"
    if row.get("corrects") and not outcome.replaces:
        return "it replaces nothing"
    return None
