"""Plain words as a question."""

from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.errors import HandsfreeError
from handsfree.finding import ask, understand
from handsfree.finding.numbers import Numbers, split
from handsfree.grammar.grammar import Grammar, load
from handsfree.log import Log
from handsfree.records.units import Angle, Length, Weight

TODAY = date(2026, 11, 25)


@pytest.fixture
def talked(log, say, visit) -> Log:
    """A log in which a few things were said."""
    first = visit("Thistle", "2025-05-14")
    say(first, "brushing", "LH")
    say(first, "remark mind the off hind he kicks when the flies are about")
    second = visit("Big Tom", "2026-10-14")
    say(second, "interfering", "LH")
    visit("Heat", "2026-01-01")
    return log


@pytest.mark.parametrize(
    ("text", "understood"),
    [
        ("brushing near hind since spring", "LH; brushing or interfering; since 2026-03-01"),
        ("interfering left hind", "LH; interfering or brushing"),
        ("LH swollen", "LH; swollen or swelling"),
        ("bruise last 6 weeks", "bruise or bruising; since 2026-10-14"),
        ("toe length over 3 1/2 inches", "toe length over 3.5 in"),
        ("toe length over three and a half inches", "toe length over 3.5 in"),
        ("toe length > 3½″", "toe length over 3.5 in"),
        ("toe length at least 85mm", "toe length at least 85 mm"),
        ("toe over 8.5 cm", "toe length over 8.5 cm"),
        ("sole depth under half an inch", "sole depth under 0.5 in"),
        ("toe length between 84 and 82 mm", "toe length 82 mm to 84 mm"),
        ("hoof angle under 50", "hoof angle under 50°"),
        ("weight over 2000 lb", "weight over 2000 lb"),
        ("weight over two thousand pounds", "weight over 2000 lb"),
        ("thistle thrush worse", "Thistle; thrush; worse"),
        ("THISTLE's thrush", "Thistle; thrush"),
        ("big tom", "Big Tom"),
        ("horse heat", "Heat"),
        ("doubtful since june", "since 2026-06-01; doubtful"),
        ("struck", "struck"),
        ("not confirmed", "unconfirmed"),
        ("nail bind 2025", "nail bind or close nail; 2025-01-01 to 2025-12-31"),
        ("between march and june 2025 crack", "crack; 2025-03-01 to 2025-06-30"),
        ("seat of corn", "seat of corn"),
        ("both hinds flare", "LH or RH; flare"),
        ("hinds flare", "LH or RH; flare"),
        ("off fronts corn", "RF; corn"),
        ("bruise or crack", "bruise or bruising or crack"),
        ("heal flair", "heel; flare"),
        ("abscesses", "abscess"),
        ("more than seven nails pulled", "pulled; nails over 7"),
        ("8 nails", "nails 8"),
        ("lameness grade 3", "lameness grade 3"),
        ("lameness over 2", "lameness grade over 2"),
        ("body condition under 5", "body condition under 5"),
        ("abscess over 1 inch below the hairline", "abscess; below the hairline over 1 in"),
        ("crack over 2 inches long", "crack; long over 2 in"),
        ("size 7", "size 7"),
        ("kicks", "'kicks'"),
        ("kick", "'kick'"),
        ("thrush last 3 visits", "thrush; the last 3 visits"),
        ("", ""),
        ("the of", ""),
    ],
)
def test_understood(text: str, understood: str, grammar: Grammar, talked: Log):
    found = understand(text, grammar, talked, TODAY)
    assert found.question.line() == understood
    assert found.notes == ()


def test_measures_are_typed(grammar: Grammar, talked: Log):
    def bound(text: str):
        amount = understand(text, grammar, talked, TODAY).question.amount
        assert amount is not None
        return amount.least

    assert bound("toe length over 3 1/2 inches") == Length(3.5 * 25.4)
    assert bound("hoof angle over 50 degrees") == Angle(50)
    assert bound("weight over 1000 lb") == Weight(1000 * 0.45359237)
    assert bound("over 7 nails") == 7


def test_words_taken_for_others_are_told(grammar: Grammar, talked: Log):
    found = understand("thistel brushng xyzzyq", grammar, talked, TODAY)
    assert found.question.line() == "Thistle; brushing or interfering"
    assert found.notes == (
        "'thistel' taken for 'Thistle'",
        "'brushng' taken for 'brushing'",
        "not used: 'xyzzyq': nobody said so, and it is no word of the trade",
    )
    assert understand("big tam", grammar, talked, TODAY).question.horse == "Big Tom"
    assert understand("fliess", grammar, talked, TODAY).notes == ("'fliess' taken for 'flies'",)


def test_a_horse_called_like_a_word_of_the_trade(grammar: Grammar, talked: Log):
    found = understand("heat", grammar, talked, TODAY)
    assert found.question.horse is None
    assert "'horse heat' is the horse" in found.notes[0]


def test_options_say_the_same(grammar: Grammar, talked: Log):
    said = understand("big tom brushing near hind since spring doubtful", grammar, talked, TODAY)
    given_ = understand(
        "brushing",
        grammar,
        talked,
        TODAY,
        horse="BIG  TOM",
        limbs=["LH"],
        since="spring",
        status="doubtful",
    )
    assert said == given_
    near = understand("brushing", grammar, talked, TODAY, horse="Bg Tom")
    assert near.notes == ("there is no horse 'Bg Tom'; taken for Big Tom",)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"since": "2026-02-30"}, "--since '2026-02-30' is no day; say it as 2026-03-01"),
        ({"since": "the flood"}, "--since 'the flood' is no day"),
        ({"since": ""}, "--since '' is no day"),
        ({"until": "spring crack"}, "--until 'spring crack' is no day"),
        ({"horse": "Xyzzyq"}, "there is no horse 'Xyzzyq' in the log"),
    ],
)
def test_an_option_that_says_nothing_is_refused(
    options: dict[str, str], says: str, grammar: Grammar, talked: Log
):
    with pytest.raises(HandsfreeError, match=says):
        understand("brushing", grammar, talked, TODAY, **options)


@pytest.mark.parametrize(
    ("text", "question"),
    [
        ("toe length over 80", "say mm, cm or inches"),
        ("weight under 900", "say kg or lb"),
        ("over 80", "name a measure"),
        ("grade 3", "name a measure"),
        ("hoof angle over 3 inches", "is in degrees, not in inches"),
        ("toe length under 50 degrees", "is in mm, cm or inches, not in degrees"),
        ("between 3 inches and 40 degrees", "in one unit"),
        ("body condition over 5 mm", "has no unit"),
    ],
)
def test_what_cannot_be_known_is_asked(text: str, question: str, grammar: Grammar, talked: Log):
    with pytest.raises(HandsfreeError, match=question):
        understand(text, grammar, talked, TODAY)


def test_a_since_without_a_day_is_named(grammar: Grammar, talked: Log):
    found = understand("since christmas kicks", grammar, talked, TODAY)
    assert found.question.line() == "'kicks'"
    assert "'since' not used" in found.notes[0]
    assert "'christmas'" in found.notes[1]


@pytest.mark.parametrize(
    ("text", "value", "length"),
    [
        ("3 1/2", 3.5, 2),
        ("3½", 3.5, 2),
        ("3.25", 3.25, 1),
        ("3,25", 3.25, 1),
        ("-3", -3.0, 1),
        ("three and a half", 3.5, 4),
        ("five and three eighths", 5.375, 4),
        ("two hundred and six", 206.0, 4),
        ("three point two five", 3.25, 4),
        ("7 and a half", 7.5, 4),
        ("1/0", None, 0),
        ("thrush", None, 0),
        ("quarter", None, 0),
    ],
)
def test_numbers(text: str, value: float | None, length: int, grammar: Grammar):
    found = Numbers(grammar).read(split(text), 0)
    assert found == (None if value is None else (value, length))


GRAMMAR = load()
FORMS = [form for word in GRAMMAR.table for form in word.forms]


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.sampled_from(FORMS),
            st.text(max_size=8),
            st.sampled_from(
                'over under between and 3 1/2 inches mm since until last weeks 2025 - " * OR NOT '
                "NEAR( ' %s \x00 \ud800 \x1b[2J nails 8 grade size thistle".split(" ")
            ),
        ),
        max_size=8,
    )
)
def test_whatever_is_typed_is_answered_or_asked_about(parts: list[str]):
    log = _log_of_its_own()
    try:
        understood = understand(" ".join(parts), GRAMMAR, log, TODAY)
    except HandsfreeError:
        return  # a question to the user
    ask(log, understood.question)


_OPEN: list[Log] = []


def _log_of_its_own() -> Log:
    """One small log for all examples."""
    if not _OPEN:
        import tempfile

        log = Log.open(Path(tempfile.mkdtemp(prefix="handsfree-find-")) / "log.db")
        log.add_horse("Thistle")
        _OPEN.append(log)
    return _OPEN[0]
