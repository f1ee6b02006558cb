"""Judges the evidence of noisy.py with the weighing as it is now, and prints tables."""

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, cast

import numpy as np
from noisy_evidence import ClipEvidence, Evidence, several
from noisy_material import HELD_OUT, MADE_CONDITIONS, TALK_CONDITIONS, TUNING, condition_name

from handsfree.engines.base import Clip, Hearing, Listener
from handsfree.engines.confidence import Confidence
from handsfree.engines.confidence import load as load_confidence
from handsfree.engines.together import Candidate, Room, Scores, Together, Verdict
from handsfree.grammar import Grammar
from handsfree.grammar.grammar import Reading
from handsfree.grammar.meaning import Meaning, Statement
from handsfree.grammar.words import plain_words
from handsfree.records.entries import Remark
from handsfree.records.sureness import unsure

SETS = (("pocketsphinx",), ("neural",), ("pocketsphinx", "neural"))
NO_CLIP = Clip(np.zeros(0, np.float32), None, 0.0, 0.0)


class Remembering:
    """A grammar that reads the same words only once."""

    def __init__(self, grammar: Grammar) -> None:
        self._grammar = grammar
        self._known: dict[tuple[object, ...], Reading] = {}

    def read(self, heard: Sequence[str], sureness: Sequence[float | None] = ()) -> Reading:
        key = (tuple(heard), tuple(sureness))
        if key not in self._known:
            self._known[key] = self._grammar.read(heard, sureness)
        return self._known[key]

    def __getattr__(self, name: str) -> Any:
        return getattr(self._grammar, name)


class PlainWords:
    """Stands for a grammar where people say bare words: each sentence means just its words."""

    def __init__(self, vocabulary: Iterable[str], single: bool) -> None:
        self._vocabulary, self._single = frozenset(vocabulary), single

    def read(self, heard: Sequence[str], sureness: Sequence[float | None] = ()) -> Reading:
        words = tuple(heard)
        allowed = bool(words) and self._vocabulary.issuperset(words)
        if not allowed or (self._single and len(words) > 1):
            return Reading(words)
        meant = Meaning((Statement(Remark(text=" ".join(words))),))
        return Reading(words, words, 0.0, meant)

    def lesson(self, heard: Sequence[str]) -> None:
        return None

    def twin(self, words: Sequence[str]) -> None:
        return None

    def after_call(self, said: Sequence[str]) -> tuple[str, ...]:
        return tuple(said)

    def is_called(self, said: Sequence[str]) -> bool:
        return False


class SphinxAgain:
    """Gives the hearing that is in the evidence."""

    name = "pocketsphinx"
    now: ClipEvidence

    def hear(self, clip: Clip) -> Hearing:
        return self.now.sphinx

    def score(self, clip: Clip, sentences: Sequence[str]) -> tuple[float, ...]:
        return tuple(self.now.sphinx_of.get(text, math.nan) for text in sentences)


class NeuralAgain:
    """Gives the hearings that are in the evidence, quick or patient."""

    name = "neural"
    now: ClipEvidence

    def hear(self, clip: Clip) -> Hearing:
        return self.now.patient or self.now.quick

    def hear_quickly(self, clip: Clip) -> Hearing:
        return self.now.quick

    def hear_patiently(self, clip: Clip, quick: Hearing) -> Hearing:
        return self.now.patient or quick

    def score(self, clip: Clip, sentences: Sequence[str]) -> tuple[float, ...]:
        return tuple(self.now.neural_of.get(text, math.nan) for text in sentences)


class Again(Together):
    """Weighs evidence as if it were heard now; `offered` are the answers to choose from."""

    now: ClipEvidence
    offered: list[Candidate]

    def verdict(self, evidence: ClipEvidence) -> Verdict:
        self.now, self.offered = evidence, []
        for listener in self.listeners:
            cast(SphinxAgain | NeuralAgain, listener).now = evidence
        return self.hear(NO_CLIP)

    def weigh(
        self, hearings: Sequence[Hearing], room: Room | None = None, scores: Scores | None = None
    ) -> Verdict:
        self.offered = self.candidates(hearings, room, scores)
        return super().weigh(hearings, room, scores)

    def _room(self, clip: Clip) -> Room:
        return room_of(self.now)


def room_of(evidence: ClipEvidence) -> Room:
    snr_db = evidence.room.get("snr_db")
    return Room(evidence.seconds, None if snr_db is None else min(40.0, max(-20.0, snr_db)))


def grammars(evidence: Sequence[Evidence], grammar: Grammar) -> dict[str, Any]:
    """What reads the words of each kind of job."""
    whole = Remembering(grammar)
    found: dict[str, Any] = dict.fromkeys(("made", "talk", "noise"), whole)
    for kind in ("numbers", "words"):
        said = {word for e in several(evidence, kind=kind) for word in e.said}
        found[kind] = PlainWords(said, kind == "words")
    return found


def again(names: Sequence[str], reader: Any, by: Confidence | None = None) -> Again:
    """Listeners that give the evidence, weighed by another confidence than the usual if given."""
    ears: dict[str, Listener] = {"pocketsphinx": SphinxAgain(), "neural": NeuralAgain()}
    return Again(
        [ears[name] for name in names],
        reader,
        confidence=by or load_confidence(),
        natural=not isinstance(reader, PlainWords),
    )


@dataclass(frozen=True)
class Judged:
    """A job and its outcome: right, right but doubtful, wrong but doubtful, wrong and sure,
    missed; for talk the numbers of false records."""

    evidence: Evidence
    outcome: str
    sure: int = 0
    doubtful: int = 0
    texts: tuple[str, ...] = ()


def judge(
    evidence: Iterable[Evidence],
    names: Sequence[str],
    readers: dict[str, Any],
    by: Confidence | None = None,
) -> list[Judged]:
    """What becomes of each job with these listeners."""
    ears = {kind: again(names, reader, by) for kind, reader in readers.items()}
    judged = []
    for each in evidence:
        verdicts = [ears[each.kind].verdict(clip) for clip in each.clips]
        judged.append(_judged(each, verdicts, readers[each.kind]))
    for one in ears.values():
        one.close()
    return judged


def is_sure(verdict: Verdict) -> bool:
    return not unsure(verdict.confidence, verdict.doubt)


def _judged(evidence: Evidence, verdicts: Sequence[Verdict], reader: Any) -> Judged:
    taken = [v for v in verdicts if v.reading.meaning is not None]
    texts = tuple(f"{v.confidence:.2f} {' '.join(v.reading.words)}" for v in taken)
    if not evidence.said:
        sure = sum(map(is_sure, taken))
        return Judged(evidence, "talk", sure, len(taken) - sure, texts)
    meant = reader.read(evidence.said).meaning
    wrong = [v for v in taken if v.reading.meaning != meant]
    if any(map(is_sure, wrong)):
        return Judged(evidence, "sure and wrong", texts=texts)
    if not taken:
        return Judged(evidence, "missed")
    if wrong or len(taken) > 1:
        return Judged(evidence, "wrong, doubtful", texts=texts)
    return Judged(evidence, "right" if is_sure(taken[0]) else "right, doubtful", texts=texts)


def print_all(evidence: Sequence[Evidence], grammar: Grammar) -> None:
    readers = grammars(evidence, grammar)
    judged: dict[tuple[str, ...], list[Judged]] = {
        names: judge(evidence, names, readers) for names in SETS
    }
    for part in (HELD_OUT, TUNING):
        print(f"\n== made speech, {part} voices")
        for noise, snr_db in MADE_CONDITIONS:
            name = condition_name(noise, snr_db)
            for names in SETS:
                _row(name, names, part, "made", judged[names])
        print(f"\n== real people, {part} half of the speakers")
        for kind in ("numbers", "words"):
            for name in dict.fromkeys(e.condition for e in several(evidence, kind=kind)):
                for names in SETS:
                    _row(name, names, part, kind, judged[names])
    _print_talk(judged)
    _print_baselines(evidence, readers["made"])
    _print_times(evidence)
    print("\n== sure and wrong, both listeners")
    for one in judged[SETS[-1]]:
        if one.outcome == "sure and wrong" or one.sure:
            e = one.evidence
            print(f"   {e.part} {e.kind} {e.condition} {e.voice}: '{' '.join(e.said)}' {one.texts}")


OUTCOMES = ("right", "right, doubtful", "wrong, doubtful", "sure and wrong", "missed")


def _row(name: str, names: Sequence[str], part: str, kind: str, judged: Sequence[Judged]) -> None:
    found = Counter(
        one.outcome
        for one in judged
        if (one.evidence.part, one.evidence.kind, one.evidence.condition) == (part, kind, name)
    )
    count = sum(found.values())
    if not count:
        return
    right = (found["right"] + found["right, doubtful"]) / count
    print(
        f"{kind:8}{name:14} {'+'.join(n[:6] for n in names):14} n {count:3}  right {right:6.1%} "
        f"(doubtful {found['right, doubtful']:2})  wrong, doubtful {found['wrong, doubtful']:2}  "
        f"sure and wrong {found['sure and wrong']:2} ({found['sure and wrong'] / count:.1%})  "
        f"missed {found['missed']:2}"
    )


def _print_talk(judged: dict[tuple[str, ...], list[Judged]]) -> None:
    print("\n== talk of real people: false notes and commands an hour")
    for part in (HELD_OUT, TUNING):
        for noise, snr_db in TALK_CONDITIONS:
            for names in SETS:
                name = condition_name(noise, snr_db)
                here = [
                    one
                    for one in judged[names]
                    if (one.evidence.kind, one.evidence.part, one.evidence.condition)
                    == ("talk", part, name)
                ]
                _talk_row(f"{part} {name}", names, here)
    for names in SETS:
        talk = [one for one in judged[names] if one.evidence.kind == "talk"]
        _talk_row("all of it", names, talk)
        alone = [one for one in judged[names] if one.evidence.kind == "noise"]
        _talk_row("noise alone", names, alone)


def _talk_row(name: str, names: Sequence[str], here: Sequence[Judged]) -> None:
    hours = sum(one.evidence.seconds for one in here) / 3600
    if not hours:
        return
    sure, doubtful = sum(one.sure for one in here), sum(one.doubtful for one in here)
    print(
        f"{name:22} {'+'.join(n[:6] for n in names):14} {hours:.2f} h  sure {sure} "
        f"({sure / hours:.1f} an hour)  doubtful {doubtful} ({doubtful / hours:.1f} an hour)"
    )


def _print_baselines(evidence: Sequence[Evidence], reader: Any) -> None:
    asked = [e for e in evidence if e.bare is not None]
    if not asked:
        return
    print("\n== baselines, held-out voices (everything they answer counts as sure)")
    for name in dict.fromkeys(e.condition for e in asked):
        here = [e for e in asked if e.condition == name]
        parts = []
        for title, field in (("bare PocketSphinx", "bare"), ("Whisper, free", "free")):
            found = Counter(_plain_outcome(e, getattr(e, field) or "", reader) for e in here)
            parts.append(
                f"{title}: right {found['right'] / len(here):.0%}, "
                f"wrong {found['wrong'] / len(here):.0%}, missed {found['missed'] / len(here):.0%}"
            )
        print(f"{name:14} n {len(here)}  " + ";  ".join(parts))


def _plain_outcome(evidence: Evidence, text: str, reader: Any) -> str:
    meaning = reader.read(plain_words(text)).meaning
    if meaning is None:
        return "missed"
    return "right" if meaning == reader.read(evidence.said).meaning else "wrong"


def _print_times(evidence: Sequence[Evidence]) -> None:
    print("\n== seconds an utterance (made speech; of talk, a clip)")
    for kind in ("made", "talk"):
        here = several(evidence, kind=kind)
        clips = sum(len(e.clips) for e in here)
        if not clips:
            continue
        took: Counter[str] = Counter()
        heard: Counter[str] = Counter()
        for e in here:
            for name, seconds in e.took.items():
                took[name] += seconds  # type: ignore[assignment]
                heard[name] += len(e.clips) if name in ("pocketsphinx", "neural", "cross") else 1
        print(f"{kind}: " + ", ".join(f"{n} {took[n] / max(1, heard[n]):.2f}" for n in took))
