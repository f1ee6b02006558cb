"""The script of a visit by ear, typed: the dialogue must do all of it exactly.

The script was written by hand; nothing in it comes from a run of the program.
"""

import tomllib
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from handsfree import by_ear, demo
from handsfree.by_ear import Said, Script, Verdict
from handsfree.dialogue.dialogue import Dialogue
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn
from handsfree.grammar import Grammar, load
from handsfree.grammar.words import plain_words
from handsfree.recording import Heard, Line, Recorder
from handsfree.records.entries import to_json
from handsfree.visit.answer import Answer

FOLDER = demo.folder()


@pytest.fixture(scope="module")
def script() -> Script:
    return by_ear.read(FOLDER)


@pytest.fixture(scope="module")
def both_horses() -> Grammar:
    return load(horse_names=[name for name, _ in demo.horses(FOLDER)])


# The list of times and the recording


def test_the_list_of_times_mirrors_the_script(script: Script) -> None:
    written = tomllib.loads((FOLDER / "by_ear.toml").read_text("utf-8"))
    specs = [(v["horse"], u) for v in written["visit"] for u in v["utterance"] if u["said"]]
    assert len(script.utterances) == len(specs)
    for said, (horse, spec) in zip(script.utterances, specs, strict=True):
        assert (said.horse, said.said, said.status) == (horse, spec["said"], spec["status"])
        assert (said.command, said.limb) == (spec.get("command"), spec.get("limb"))
        given = [
            {k: v for k, v in e.items() if v is not None and v is not False} for e in said.entries
        ]
        assert given == spec.get("entries", [])
        for key, answers in (("answers", said.answers), ("later", said.later)):
            wanted = [(a["tone"], tuple(a.get("say", ()))) for a in spec.get(key, [])]
            assert [(str(a.tone), a.say) for a in answers] == wanted
        assert said.undone == spec.get("undone", False)


def test_the_recording_is_short_and_its_times_are_in_order(script: Script) -> None:
    import soundfile

    about = soundfile.info(script.recording)
    assert (about.samplerate, about.channels) == (16_000, 1)
    assert about.duration <= 240
    assert script.recording.stat().st_size < 5_000_000
    assert 45 <= len(script.utterances) <= 60
    assert script.utterances[-1].end_s < about.duration
    for before, after in pairwise(script.utterances):
        assert before.start_s < before.end_s <= after.start_s - 1.0


# Typed: the same script through the dialogue alone, which must do all of it exactly


@dataclass(frozen=True)
class Typed:
    said: Said
    turn: Turn | None
    later: tuple[Answer, ...]


@pytest.fixture(scope="module")
def typed(script: Script, both_horses: Grammar) -> list[Typed]:
    dialogue = Dialogue(both_horses, Session(restating=True), remind_after_s=script.remind_s)
    done = []
    nexts = [said.start_s for said in script.utterances[1:]] + [script.utterances[-1].end_s]
    for said, until_s in zip(script.utterances, nexts, strict=True):
        reading = both_horses.read(plain_words(said.said))
        turn = dialogue.hear(reading, 0.97, said.start_s, said.end_s)
        later: list[Answer] = []
        for now_s in np.arange(said.end_s, until_s, 0.03):
            later += dialogue.tick(float(now_s))
        done.append(Typed(said, turn, tuple(later)))
    return done


def test_typed_every_utterance_becomes_what_the_script_says(typed: list[Typed]) -> None:
    for one in typed:
        said, outcome = one.said, one.turn.outcome if one.turn else None
        if said.status == "none":
            assert outcome is None or outcome.status == "unclear", said
            continue
        assert outcome is not None, said
        entries = [demo.plain(to_json(entry)) for entry in outcome.entries]
        assert (outcome.status, outcome.command, outcome.limb) == (
            said.status,
            said.command,
            said.limb,
        ), said
        assert entries == list(said.entries), said


def test_typed_every_tone_and_word_is_the_scripts(typed: list[Typed]) -> None:
    for one in typed:
        given = [(a.tone, a.say) for a in (one.turn.answers if one.turn else ())]
        assert given == [(a.tone, a.say) for a in one.said.answers], one.said
        assert [(a.tone, a.say) for a in one.later] == [(a.tone, a.say) for a in one.said.later], (
            one.said
        )


def test_typed_what_is_in_force_and_noticed_is_the_scripts(
    typed: list[Typed], script: Script
) -> None:
    kept: dict[tuple[int, int], tuple[str, Any]] = {}
    gone: dict[tuple[int, int], tuple[str, Any]] = {}
    for one in typed:
        if one.turn is None:
            continue
        turn = one.turn
        for key in (*turn.struck, *turn.replaced):
            gone[key] = kept.pop(key)
        for key in turn.restored:
            kept[key] = gone.pop(key)
        for at, entry in enumerate(turn.outcome.entries):
            kept[turn.number, at] = (one.said.horse, demo.plain(to_json(entry)))
        noticed = tuple((n.kind, n.code, n.limb) for n in (*turn.notices, *turn.parting))
        assert noticed == one.said.notices, one.said
        assert turn.settled == one.said.settles, one.said
    assert [kept[key] for key in sorted(kept)] == script.in_force


# The comparison itself, shown runs that went wrong


def lines_of(
    script: Script, grammar: Grammar, instead: dict[str, str | None], confidence: float = 0.97
) -> tuple[list[Line], list[by_ear.Told]]:
    """The script typed, with other words (None: nothing) for some of it, heard so surely."""
    recorder = Recorder("typed", None, Dialogue(grammar, Session(restating=True)))
    lines, told = [], []
    for said in script.utterances:
        words = instead.get(said.said, said.said)
        if words is None:
            continue
        reading = grammar.read(plain_words(words))
        sure = confidence if said.said in instead else 0.97
        heard = Heard(words, reading, sure, said.start_s, said.end_s, ("text",))
        if (line := recorder.take(heard)) is not None:
            lines.append(line)
            told += [by_ear.Told(said.end_s + 0.7, str(a.tone), a.say) for a in line.turn.answers]
    return lines, told


@pytest.mark.parametrize(
    ("instead", "confidence", "verdict"),
    [
        ({}, 0.97, Verdict.RIGHT),
        ({"trimmed": "rasped"}, 0.97, Verdict.WRONG),
        ({"trimmed": "near fore trimmed"}, 0.97, Verdict.WRONG),
        ({"trimmed": None}, 0.97, Verdict.MISSED),
        ({"trimmed": "mind your back"}, 0.97, Verdict.MISSED),
        ({"trimmed": "trimmed"}, 0.6, Verdict.DOUBTFUL),
        ({"trimmed": "rasped"}, 0.6, Verdict.WRONG),
    ],
)
def test_the_comparison_sees_what_went_wrong(
    script: Script,
    both_horses: Grammar,
    instead: dict[str, str | None],
    confidence: float,
    verdict: Verdict,
) -> None:
    compared, before = by_ear.compare(script, *lines_of(script, both_horses, instead, confidence))
    one = next(c for c in compared if c.expected.said == "trimmed")
    assert (one.verdict, one.sure, before) == (verdict, confidence > 0.8, [])
    if instead.get("trimmed", "trimmed") == "trimmed":
        # The reminder is not among them: nobody told this dialogue that time passes.
        assert [c.expected.said for c in compared if not c.tones_right] == ["pulled six nails"]
        assert all(c.words_right for c in compared if not c.expected.later)
    if instead.get("trimmed", "") is None:
        assert not one.tones_right


def test_the_comparison_sees_talk_taken_for_a_note(script: Script, both_horses: Grammar) -> None:
    talk = next(s.said for s in script.utterances if s.talk)
    given = lines_of(script, both_horses, {talk: "left hind bruise"})
    compared, _ = by_ear.compare(script, *given)
    one = next(c for c in compared if c.expected.said == talk)
    assert (one.verdict, one.sure, one.tones_right) == (Verdict.WRONG, True, False)
