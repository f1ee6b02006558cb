import io
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from handsfree.log import Log, NoticeRow, UtteranceRow

Make = Callable[..., Log]


def sound(seed: int = 0, seconds: float = 0.1) -> bytes:
    """A short FLAC file, another for each seed."""
    file = io.BytesIO()
    noise = np.random.default_rng(seed).integers(-3000, 3000, round(16000 * seconds), np.int16)
    soundfile.write(file, noise, 16000, format="FLAC", subtype="PCM_16")
    return file.getvalue()


def note(term: str, limb: str = "LH", **more: object) -> dict[str, object]:
    return {"kind": "finding", "limb": limb, "term": term, **more}


def fill(log: Log) -> None:
    """Two horses with all that a log can hold: strikes, corrections, moves, lessons, notices."""
    bess = log.add_horse("Bess", "heavy", "Shire", "2015")
    duke = log.add_horse("Duke O'Brien", "riding")
    for number, horse in enumerate((bess, duke, bess)):
        visit = log.start_visit(
            "microphone", horse.id, f"yard {number}", f"2025-0{number + 3}-14T09:00:00.000+00:00"
        )
        log.append(visit.id, UtteranceRow(heard=f"horse {horse.name}", status="command"))
        one = log.append(
            visit.id,
            UtteranceRow(heard="heel bruise", status="recorded", limb="LH", confidence=0.95),
            [note("bruise", zone="heel"), note("heat")],
            sound(number * 10),
            notices=[NoticeRow(kind="caution", code="heat", text="heat: mind", entry=1)],
        )
        two = log.append(
            visit.id,
            UtteranceRow(
                heard="thrush", status="recorded", limb="LH", confidence=0.5, doubt="two engines"
            ),
            [note("thrush")],
            sound(number * 10 + 1),
            replaces=one.entry_ids[:1],
        )
        log.append(
            visit.id,
            UtteranceRow(heard="mumble", status="unclear", alternatives=({"text": "bumble"},)),
            (),
            sound(number * 10 + 2),
        )
        remark = {"kind": "remark", "limb": "LH", "text": ""}
        log.append(
            visit.id,
            UtteranceRow(heard="remark", status="recorded", confidence=0.9),
            [remark],
            sound(number * 10 + 3),
        )
        log.correct(
            two.utterance_id,
            [note("canker")],
            "review",
            two.entry_ids,
            taught=(f"frush {number}", "canker"),
        )
        log.confirm(one.entry_ids[1:], "review")
        other = log.start_visit("typed", duke.id if horse is bess else bess.id)
        if number == 1:
            three = log.append(
                visit.id, UtteranceRow(heard="wronghorse", status="recorded"), [note("corn")]
            )
            log.move(three.entry_ids, other.id, "review", "it was the other horse")
    log.forget_lesson("frush 0", "canker")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.db"


@pytest.fixture
def log(path: Path) -> Iterator[Log]:
    with Log.open(path) as opened:
        fill(opened)
        yield opened
