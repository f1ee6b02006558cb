"""What is misheard alike twice becomes a lesson of the log, and can be forgotten like any."""

from pathlib import Path

import pytest

from handsfree.log import Log
from handsfree.voice.kept import Taught
from handsfree.voice.lessons import may_teach, teach, unteach
from handsfree.voice.measure import Heard
from handsfree.voice.setup import Setup

from .prepared import GRAMMAR, PHRASES, Prepared, alone, talk

NONSENSE = "thresh insane truck tell circus"
MEANT = PHRASES[4].text


def setup(heard: dict[int, Heard], again: Heard | None) -> tuple[Setup, dict[int, object]]:
    """Twenty readings with these for some of them, and a second reading of phrase 5."""
    given = {phrase.number: talk(phrase.text) for phrase in PHRASES} | heard
    measure = Prepared({1.0: given | ({105: again} if again else {})})
    clips = measure.clips([phrase.number for phrase in PHRASES])
    second = {5: measure.clips([105])[105]} if again else {}
    measure.hear = lambda clip: measure.hear_warped([clip], 1.0)[0]  # type: ignore[method-assign]
    return Setup(measure, PHRASES, clips), second


def test_words_misheard_alike_twice_are_proposed() -> None:
    made, again = setup({5: talk(NONSENSE)}, talk(NONSENSE))
    assert MEANT in [phrase.text for phrase in made.worth_again()]
    proposed, refused = made.lessons(again)  # type: ignore[arg-type]
    assert proposed == [Taught(NONSENSE, MEANT)]
    assert refused == []


@pytest.mark.parametrize(
    ("heard", "again", "why"),
    [
        ({5: talk(NONSENSE)}, talk("something else again"), "read again it was heard as"),
        ({5: talk(NONSENSE), 9: talk(NONSENSE)}, talk(NONSENSE), "another phrase"),
    ],
)
def test_what_would_mislead_is_refused(heard: dict[int, Heard], again: Heard, why: str) -> None:
    made, second = setup(heard, again)
    proposed, refused = made.lessons(second)  # type: ignore[arg-type]
    assert proposed == []
    assert len(refused) == 1
    assert why in refused[0]


def test_two_phrases_heard_alike_teach_neither() -> None:
    made, second = setup({5: talk(NONSENSE), 9: talk(NONSENSE)}, talk(NONSENSE))
    second |= {9: second[5]}
    proposed, refused = made.lessons(second)  # type: ignore[arg-type]
    assert proposed == []
    assert [why.endswith("another phrase was heard so as well") for why in refused] == [True, True]


def test_without_a_second_reading_nothing_is_proposed() -> None:
    made, again = setup({5: talk(NONSENSE)}, None)
    assert made.lessons(again) == ([], [])  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("number", "heard"),
    [
        (5, talk("all four thrush in the central sulcus")),  # a sentence: it keeps its meaning
        (5, talk("remark in the central circus")),  # free speech teaches nothing
        (5, alone("", -9)),  # nothing was heard
        (19, talk("rike bat hat")),  # a command is never learnt
        (17, talk("gong fender bat jole")),  # nor a correction
    ],
)
def test_what_teaches_nothing(number: int, heard: Heard) -> None:
    made, _ = setup({number: heard}, None)
    outcome = made.adaptation.before[number - 1]
    assert not outcome.caught
    assert not may_teach(GRAMMAR, PHRASES[number - 1], outcome)


def test_in_the_log_and_out_again(tmp_path: Path) -> None:
    lesson, other = Taught(NONSENSE, MEANT), Taught("hill bat", "left hind trimmed")
    with Log.open(tmp_path / "log.db") as log:
        teach(log, "me", [], ("neural",))
        assert log.visits() == []
        teach(log, "me", [lesson, other], ("neural",))
        assert {(each.heard, each.meant) for each in log.lessons()} == {
            (each.heard, each.meant) for each in (lesson, other)
        }
        (visit,) = log.visits()
        assert (visit.source, visit.horse, visit.entries) == ("voice set-up of me", None, 0)
        assert len(log.passed(visit.id)) == 2, "the review has nothing to ask"
        taught = GRAMMAR.with_lessons(log.lessons())
        assert taught.read(NONSENSE.split()).words == tuple(MEANT.split())
        assert unteach(log, [lesson]) == ([lesson], [])
        assert [each.heard for each in log.lessons()] == [other.heard]
        assert unteach(log, [lesson]) == ([], [])


def test_what_corrections_taught_as_well_stays(tmp_path: Path) -> None:
    lesson = Taught(NONSENSE, MEANT)
    with Log.open(tmp_path / "log.db") as log:
        teach(log, "me", [lesson], ("neural",))
        teach(log, "you", [lesson], ("neural",))
        assert unteach(log, [lesson]) == ([], [lesson])
        assert len(log.lessons()) == 1
