"""A whole visit by ear: the recording of demo_audio/by_ear.toml through the live loop.

The recognizers and the voice are the real ones. Nothing in the script comes from a run:
it was written by hand.
"""

import sqlite3
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from handsfree import by_ear, demo
from handsfree.answers import voice
from handsfree.answers.tones import sound_of
from handsfree.by_ear import Compared, Script, Verdict
from handsfree.engines.base import Sound
from handsfree.engines.choose import ModelFolders, listeners
from handsfree.engines.together import Together
from handsfree.grammar import Grammar, load
from handsfree.log import Log
from handsfree.visit.answer import Tone

FOLDER = demo.folder()
MOST_NOT_HEARD = 2
"""Utterances of 55 that may be missed, or be wrong but marked doubtful."""


@pytest.fixture(scope="module")
def script() -> Script:
    return by_ear.read(FOLDER)


@pytest.fixture(scope="module")
def both_horses() -> Grammar:
    return load(horse_names=[name for name, _ in demo.horses(FOLDER)])


@dataclass(frozen=True)
class Run:
    played: by_ear.Played
    compared: list[Compared]
    before: list[by_ear.Told]
    log: Log
    speech: voice.Speech

    def of(self, verdict: Verdict) -> list[str]:
        return [
            f"{c.expected.said!r}, heard {c.line.heard.text if c.line else None!r}"
            for c in self.compared
            if c.verdict is verdict
        ]


@pytest.fixture(scope="module")
def run(
    script: Script, both_horses: Grammar, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Run]:
    missing = voice.unavailable()
    if missing is not None:
        pytest.skip(missing)
    chosen, absent = listeners(both_horses, (), ModelFolders(), live=True)
    if len(chosen) < 2:
        pytest.skip(f"needs both listeners; {'; '.join(absent)}")
    ears, speech = Together(chosen, both_horses, live=True), voice.PiperSpeech()
    with Log.open(tmp_path_factory.mktemp("by_ear") / "log.db") as log:
        for name, kind in demo.horses(FOLDER):
            log.add_horse(name, kind)
        try:
            played = by_ear.play(script, log, ears, both_horses, speech)
        finally:
            ears.close()
        yield Run(played, *by_ear.compare(script, played.lines, played.told), log, speech)


def test_spoken_every_utterance_becomes_what_the_script_says(run: Run) -> None:
    in_doubt = [c for c in run.compared if c.verdict is Verdict.WRONG and not c.sure]
    surely_wrong = [c for c in run.compared if c.verdict is Verdict.WRONG and c.sure]
    report = {str(verdict): run.of(verdict) for verdict in Verdict if verdict is not Verdict.RIGHT}
    assert not surely_wrong, report
    assert len(in_doubt) + len(run.of(Verdict.MISSED)) <= MOST_NOT_HEARD, report
    commands = [c for c in run.compared if c.expected.status == "command"]
    assert all(c.verdict in (Verdict.RIGHT, Verdict.DOUBTFUL) for c in commands), report
    # Every line of the run was said in the script.
    found = {id(c.line) for c in run.compared}
    assert [line.heard.text for line in run.played.lines if id(line) not in found] == []


def _without_remarks_words(entries: list[tuple[str, Any]]) -> list[tuple[str, Any]]:
    """A remark is heard freely, so its words may differ a little."""
    return [
        (horse, entry | {"text": bool(entry["text"])} if entry["kind"] == "remark" else entry)
        for horse, entry in entries
    ]


def test_spoken_the_log_holds_what_the_script_says(run: Run, script: Script) -> None:
    kept = _without_remarks_words(by_ear.in_force(run.log))
    wanted = _without_remarks_words(script.in_force)
    not_heard = [c for c in run.compared if c.verdict in (Verdict.WRONG, Verdict.MISSED)]
    if not not_heard:
        assert kept == wanted
    else:
        lacking = [each for each in wanted if each not in kept]
        assert len(lacking) <= sum(len(c.expected.entries) for c in not_heard)
    assert [v.horse for v in run.log.visits()] == ["lantern", "juniper"]


def test_spoken_tones_and_words_are_the_scripts(run: Run) -> None:
    assert [(told.tone, told.say) for told in run.before] == [("ready", ())]
    for one in run.compared:
        if one.verdict in (Verdict.RIGHT, Verdict.DOUBTFUL):
            assert one.tones_right, (one.expected, one.told)
            assert one.words_right, (one.expected, one.told)


def test_spoken_cautions_and_nails_are_in_the_log(run: Run) -> None:
    heavy = next(v for v in run.log.visits() if v.horse == "juniper")
    still_open = [(n.kind, n.code, n.limb) for n in run.log.notices(heavy.id)]
    assert still_open == [
        ("caution", "puncture", "LF"),
        ("caution", "hot_foot_with_pulse", "RH"),
    ]
    with sqlite3.connect(f"file:{run.log.path}?mode=ro", uri=True) as raw:
        settled = raw.execute(
            """SELECT n.kind, n.limb, u.heard FROM notices AS n
            JOIN notices_settled AS s ON s.notice_id = n.id
            JOIN utterances AS u ON u.id = s.utterance_id"""
        ).fetchall()
        (every,) = raw.execute("SELECT count(*) FROM notices").fetchone()
    assert settled == [("nails", "LH", "lost one nail")]
    assert every == len(still_open) + len(settled)


def test_spoken_nothing_said_with_the_ears_off_is_kept(run: Run, script: Script) -> None:
    said = script.utterances
    off = next(s for s in said if s.command == "ears_off")
    on = next(s for s in said if s.command == "ears_on")
    for visit in run.log.visits():
        for each in run.log.utterances(visit.id):
            assert each.start_s is not None
            assert not off.end_s + 0.5 < each.start_s < on.start_s - 0.5, each.heard
    between = [c for c in run.compared if off.end_s < c.expected.start_s < on.start_s]
    assert len(between) == 2
    assert all(c.line is None and not c.told for c in between)


def test_spoken_the_sound_of_the_remark_is_kept_with_its_words(run: Run) -> None:
    heavy = next(v for v in run.log.visits() if v.horse == "juniper")
    (remark,) = [u for u in run.log.utterances(heavy.id) if u.command == "remark"]
    assert remark.has_sound
    assert run.log.sound(remark.id)
    (entry,) = [e for e in run.log.entries(heavy.id) if e.kind == "remark"]
    assert len(entry.body["text"].split()) >= 5


def test_spoken_a_foot_held_long_is_reminded_of(run: Run, script: Script) -> None:
    reminder = "Set the foot down when you can."
    given = [told.at_s for told in run.played.told if told.say == (reminder,)]
    up = [s for s in script.utterances if s.command == "foot_up"][-1]
    assert len(given) == 1
    # Its bell comes first; the clip of "foot up" ends up to 0.3 s after the words.
    assert up.end_s + script.remind_s < given[0] < up.end_s + script.remind_s + 1.5


def test_the_tape_holds_the_scripts_tones_and_words(run: Run, script: Script) -> None:
    """What was recorded, sample for sample, and not what the loop says of it."""
    names: list[tuple[str | tuple[str, ...], Sound]] = [(str(t), sound_of(t)) for t in Tone]
    for say in dict.fromkeys(words for c in run.compared for words in c.words):
        names += [(say, run.speech.say(say, slow)) for slow in (False, True)]
    ends = [said.end_s for said in script.utterances]
    heard: list[list[str | tuple[str, ...]]] = [[] for _ in range(len(ends) + 1)]
    for start_s, sound in run.played.tape.played:
        name = next((n for n, known in names if np.array_equal(sound, known)), "unknown")
        heard[bisect_right(ends, start_s)].append(name)
    assert heard[0] == ["ready"]
    checked = 0
    for one, given in zip(run.compared, heard[1:], strict=True):
        sums_up_doubt = one.after_doubt and one.expected.command in by_ear.SUMS_UP
        if one.verdict is not Verdict.RIGHT or not one.sure or sums_up_doubt:
            continue
        wanted: list[str | tuple[str, ...]] = []
        for answers in (one.expected.answers, one.expected.later):
            wanted += [str(a.tone) for a in answers]
            wanted += [a.say for a in answers if a.say]
        assert given == wanted or (one.expected.talk and not given), one.expected
        checked += 1
    assert checked >= len(script.utterances) - 3 * MOST_NOT_HEARD


def test_it_stopped_speaking_for_him_and_never_else(run: Run, script: Script) -> None:
    (at_s,) = run.played.tape.stops
    trimmed = next(s for s in script.utterances if s.said == "trimmed")
    assert trimmed.start_s < at_s < trimmed.end_s + 0.3
