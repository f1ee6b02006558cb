"""Holding feet. The back is bent for 75% of the time (Löfqvist and Pinzke 2012, Work 41:5308)."""

import pytest

from handsfree.visit.pace import FootEvent, Pace, events_of, fold, reminder_due


def up(at: float, limb: str | None = "LH") -> FootEvent:
    return FootEvent(at, "foot_up", limb)


def down(at: float, limb: str | None = None) -> FootEvent:
    return FootEvent(at, "foot_down", limb)


def test_a_worked_visit():
    pace = fold(
        [
            up(10, "LF"),
            down(100, "LF"),
            FootEvent(100, "break"),
            up(200, "LH"),
            down(260),
            up(300, "LF"),
            down(330, "LF"),
        ]
    )
    assert pace == Pace({"LF": 120, "LH": 60}, {"LF": 2, "LH": 1}, 90, "LF", 1)
    assert pace.up_for_s(400) is None


def test_a_foot_that_is_up():
    pace = fold([up(10, "LF"), down(20), up(50, "RH")])
    assert (pace.up_since_s, pace.up_limb) == (50, "RH")
    assert pace.up_for_s(80) == 30
    assert pace.up_for_s(40) == 0
    assert "RH" not in pace.up_s


def test_a_foot_that_goes_up_while_one_is_up_ends_it():
    pace = fold([up(0, "LF"), up(30, "RF"), down(40)])
    assert pace.up_s == {"LF": 30, "RF": 10}
    assert pace.times_up == {"LF": 1, "RF": 1}


def test_a_break_ends_the_hold():
    pace = fold([up(0), FootEvent(70, "break")])
    assert pace.up_s == {"LH": 70}
    assert pace.breaks == 1
    assert pace.up_since_s is None


def test_a_foot_without_a_name():
    assert fold([up(0, None), down(5)]).up_s == {"unnamed": 5}
    assert fold([up(0, None)]).up_limb == "unnamed"
    # He lifts it first and names it while he holds it.
    assert fold([up(0, None), down(5, "RF")]).up_s == {"RF": 5}
    # Named when it went up: that name stands.
    assert fold([up(0, "LF"), down(5, "RF")]).up_s == {"LF": 5}
    # The next foot's name is not that of the last.
    assert fold([up(0, None), up(5, "RF")]).up_s == {"unnamed": 5}


def test_odd_events():
    assert fold([]) == Pace()
    assert fold([down(3), down(4)]) == Pace()
    assert fold([up(10), down(5)]).up_s == {"LH": 0}
    with pytest.raises(ValueError, match="foot_sideways"):
        fold([FootEvent(0, "foot_sideways")])


def test_a_reminder_comes_once_each_while_the_foot_is_up():
    pace = fold([up(100)])
    reminded, given = None, []
    for now in range(100, 800, 10):
        if reminder_due(pace, now, 180, reminded):
            reminded = now
            given.append(now)
    assert given == [280, 460, 640]


def test_no_reminder_while_no_foot_is_up_or_none_is_wanted():
    assert not reminder_due(fold([up(0), down(500)]), 600, 180, None)
    assert not reminder_due(Pace(), 1e9, 180, None)
    assert not reminder_due(fold([up(0)]), 1e9, 0, None)
    # The reminder of an earlier hold does not hasten or delay this one.
    later = fold([up(0), down(200), up(300)])
    assert not reminder_due(later, 479, 180, 190)
    assert reminder_due(later, 480, 180, 190)


def test_the_holds_of_a_visit_follow_from_what_was_said():
    """Common practice, no source: one foot is held at a time."""
    said = [
        (5.0, None, "LH"),
        (10.0, "foot_up", "LH"),
        (40.0, None, "LH"),
        (70.0, None, "RH"),  # another limb is named: that foot is up now
        (100.0, "foot_down", "RH"),
        (110.0, None, "LF"),
        (120.0, "break", "LF"),
        (130.0, "foot_up", None),
        (150.0, None, "LF"),  # the foot taken up before it was named
        (160.0, "foot_down", "LF"),
    ]
    held = fold(events_of(said))
    assert held.up_s == {"LH": 60.0, "RH": 30.0, "LF": 30.0}
    assert held.times_up == {"LH": 1, "RH": 1, "LF": 1}
    assert held.breaks == 1
