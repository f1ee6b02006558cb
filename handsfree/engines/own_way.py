"""What was said in his own way: the meaning that most of what may have been written shares.

The neural listener writes an utterance down in several ways (`dictation.py`); each is read as
natural speech, and those of the same entries are one answer, however they are worded: confidence
belongs to the meaning.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher

from handsfree.engines.base import Dictated, Hearing
from handsfree.grammar.grammar import Reading
from handsfree.grammar.meaning import Meaning
from handsfree.grammar.words import plain_words
from handsfree.records.entries import Plan, Remark

CASE = "written"
"""Of `confidence.toml`."""

SHARP = 8.0
"""What a natural log a token between two ways is worth in natural log of how likely they are. A way
has some ten tokens, whose logs say too much, as they are not independent."""

DOUBTED = 3.0
"""What the reader's being unsure of a way (0..1) takes off, in natural log of how likely it is:
what nobody would say was not said."""

SAID_AT_LEAST, WELL_SAID_AT_LEAST = -7.0, -5.75
"""Least natural log a word that words may be worth by themselves to be a note; the second where the
reader is unsure of anything in them. Chosen on the demo's talk and on natural.py's: it turns away
three stretches of talk of those and, of 102 notes rightly written, none."""

Read = Callable[[Sequence[str]], Reading]


@dataclass(frozen=True)
class Way:
    """One meaning: its likeliest wording as read, the share of all that was written (0..1), and
    what `confidence.py` goes by."""

    reading: Reading
    written: Dictated
    share: float
    known: Mapping[str, float | None]

    @property
    def is_said(self) -> bool:
        """Whether anybody speaks of the trade so: talk that is read as a note has odd words."""
        unsure = self.reading.bend > 0
        return self.written.said >= (WELL_SAID_AT_LEAST if unsure else SAID_AT_LEAST)


def ways(
    hearings: Sequence[Hearing],
    read: Read,
    seconds: float | None = None,
    snr_db: float | None = None,
) -> list[Way]:
    """What may have been said, the likeliest meaning first; empty where nothing has one."""
    written = [way for hearing in hearings for way in hearing.dictated]
    if not written:
        return []
    readings = [read(way.words) for way in written]
    best = max(way.score for way in written)
    weights = [
        math.exp(SHARP * (way.score - best) - DOUBTED * (reading.bend if reading.meaning else 0.0))
        for way, reading in zip(written, readings, strict=True)
    ]
    found: dict[Meaning, tuple[float, Reading, Dictated]] = {}
    shares: dict[Meaning, float] = {}
    for way, reading, weight in zip(written, readings, weights, strict=True):
        if reading.meaning is None or _is_free(reading.meaning):
            continue
        meant = entries_of(reading.meaning)
        if meant not in found or weight > found[meant][0]:
            found[meant] = (weight, reading, way)
        shares[meant] = shares.get(meant, 0.0) + weight / sum(weights)
    strict = [h.score for each in hearings if each.dictated for h in each.hypotheses[:1]]
    bound = [read(h.text.split()).meaning for each in hearings for h in each.hypotheses[:2]]
    heard = {entries_of(meaning) for meaning in bound if meaning is not None}
    free = next((plain_words(h.free_text) for h in hearings if h.dictated and h.free_text), None)
    return [
        Way(
            reading,
            way,
            shares[meaning],
            {
                "share": _odds(shares[meaning]),
                "fit_written": way.margin,
                "said": way.said,
                "bend": reading.bend,
                "over_strict": way.fit - max(strict) if strict else None,
                "echoed": float(meaning in heard),
                "freely": _in_common(way.words, free) if free else None,
                "snr_db": snr_db,
                "words": float(len(way.words)),
                "pace": len(way.words) / seconds if seconds else None,
            },
        )
        for meaning, (_, reading, way) in sorted(found.items(), key=lambda one: -shares[one[0]])
    ]


def entries_of(meaning: Meaning) -> Meaning:
    """The meaning without the words that are kept as they were said."""
    statements = (
        replace(each, entry=replace(each.entry, text=None))
        if isinstance(each.entry, Plan)
        else each
        for each in meaning.statements
    )
    return replace(meaning, statements=tuple(statements))


def _is_free(meaning: Meaning) -> bool:
    """Whether it is a free remark, which another part of the program writes."""
    return any(isinstance(statement.entry, Remark) for statement in meaning.statements)


def _in_common(words: Sequence[str], free: Sequence[str]) -> float:
    """The share of words that stand in the other words too, in the same order, 0..1."""
    same = sum(
        block.size for block in SequenceMatcher(None, words, free, False).get_matching_blocks()
    )
    return same / max(1, len(words))


def _odds(share: float) -> float:
    """Natural log of the odds, bounded to what a few ways can tell."""
    bounded = min(0.98, max(0.02, share))
    return math.log(bounded / (1 - bounded))
