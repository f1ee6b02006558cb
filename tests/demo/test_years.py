"""The invented two years: each utterance is a sentence, and becomes what it means.

What is expected here was written by hand from the words of years.toml; none of it is the
output of a run.
"""

from collections.abc import Iterator
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from handsfree import demo, histories
from handsfree.errors import LogError
from handsfree.grammar import Grammar, load
from handsfree.log import Log
from handsfree.records.entries import (
    Entry,
    Finding,
    Measurement,
    Nails,
    Plan,
    Remark,
    ScaleGrade,
    Shoe,
    Work,
)
from handsfree.records.units import Length
from handsfree.sums.history import Age, History, Stage, measures
from handsfree.years import read, tell

NOTHING_SAID = """
[[horse]]
name = "juniper"
[[visit]]
horse = "juniper"
on = 2025-01-01
"""


@pytest.fixture(scope="module")
def both() -> Grammar:
    return load(horse_names=["juniper", "lantern"])


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory, both: Grammar) -> Iterator[Log]:
    with Log.open(tmp_path_factory.mktemp("years") / "log.db") as log:
        tell(log, both)
        yield log


def of(log: Log, name: str) -> History:
    return histories.history(log, histories.named(log, name))


def entries_of(log: Log, name: str, day: str, limb: str | None = None) -> list[Entry]:
    [visit] = [v for v in of(log, name).visits if v.on == date.fromisoformat(day)]
    return [e for e in visit.entries if limb is None or e.limb == limb]


# What the file tells


def test_it_says_at_its_head_that_it_is_invented() -> None:
    head = (demo.folder() / "years.toml").read_text(encoding="utf-8").split("[[horse]]")[0]
    assert "INVENTED" in head


def test_one_horse_is_heavy_and_one_is_ridden() -> None:
    assert [horse.kind for horse in read().horses] == ["heavy", "riding"]


def test_visits_are_weeks_apart_and_one_of_each_horse_is_long_overdue() -> None:
    for name, least, most in (("juniper", 6, 8), ("lantern", 5, 7)):
        days = [visit.on for visit in read().visits if visit.horse == name]
        assert 15 <= len(days) <= 18
        assert (days[0].year, days[0].month) == (2024, 11)
        gaps = sorted((b - a).days / 7 for a, b in pairwise(days))
        assert all(least <= gap <= most for gap in gaps[:-1])
        assert gaps[-1] >= 10


def test_every_utterance_is_kept_as_a_sentence_of_the_grammar(told: Log, both: Grammar) -> None:
    utterances = [u for visit in told.visits() for u in told.utterances(visit.id)]
    said = [text for v in read().visits for text in (*v.said, *v.put_into_last)]
    assert sorted(u.heard for u in utterances) == sorted(said)
    assert len(utterances) > 700
    assert {u.status for u in utterances} == {"recorded", "command"}
    assert {u.doubt for u in utterances} == {None}
    for text in set(said):
        assert both.read(text.split()).bend == 0


def test_visits_begin_at_nine_by_the_clock_of_this_place(told: Log) -> None:
    for visit in told.visits():
        [same] = told.visits_on(visit.day)
        assert same.id == visit.id
        assert (visit.source, visit.started_at[14:16]) == ("typed", "00")
        for utterance in told.utterances(visit.id):
            assert utterance.recorded_at == visit.started_at


def test_facts_of_the_horses_reach_the_history(told: Log) -> None:
    juniper, lantern = of(told, "juniper").horse, of(told, "lantern").horse
    assert (juniper.kind, juniper.breed, juniper.born) == (
        *("heavy", "draught cross"),
        date(2014, 1, 1),
    )
    assert (lantern.kind, lantern.breed, lantern.born) == (
        *("riding", "anglo-arab"),
        date(2017, 4, 12),
    )
    assert (juniper.born_exactly, lantern.born_exactly) == (False, True)
    assert juniper.age(date(2024, 11, 20)) is Age.ADULT


def test_the_same_file_tells_the_same(told: Log, both: Grammar, tmp_path: Path) -> None:
    def all_of(log: Log) -> list[Any]:
        return [
            (v.horse, v.started_at, u.seq, u.heard, u.recorded_at, u.limb, u.command)
            for v in log.visits()
            for u in log.utterances(v.id)
        ] + [(v.started_at, e.body, e.status) for v in log.visits() for e in log.entries(v.id)]

    with Log.open(tmp_path / "again.db") as again:
        assert tell(again, both) == len([row for row in all_of(told) if len(row) == 7])
        assert all_of(again) == all_of(told)


# Single facts, entry by entry


@pytest.mark.parametrize(
    ("name", "day", "entry"),
    [
        (
            *("juniper", "2024-11-20"),
            Measurement(limb="LF", quantity="hoof_width", value=6.875, unit="in"),
        ),
        ("juniper", "2024-11-20", Finding(limb="RH", zone="toe", term="wear", grade="moderate")),
        ("juniper", "2024-11-20", Shoe(limb="RH", item="size", detail="7")),
        ("juniper", "2024-11-20", Finding(limb="RF", term="toed_out")),
        ("juniper", "2024-11-20", Nails(limb="LF", action="driven", count=4, side="lateral")),
        (
            *("juniper", "2025-01-08"),
            Finding(limb="RF", zone="white_line", term="separation", grade="severe", trend="worse"),
        ),
        ("juniper", "2025-02-26", Plan(action="next_time", limb="LF", text="quarter clips")),
        ("juniper", "2025-04-09", Shoe(limb="LF", item="clips", detail="quarter")),
        ("juniper", "2025-04-09", Measurement(quantity="weight", value=780, unit="kg")),
        (
            *("juniper", "2025-05-28"),
            Finding(
                limb="RF",
                zone="heel",
                side="medial",
                term="crack",
                age="old",
                below_hairline_mm=pytest.approx(14.29, abs=0.011),
            ),
        ),
        ("juniper", "2025-05-28", Finding(limb="RF", side="medial", term="corn", grade="moderate")),
        (
            *("juniper", "2025-07-16"),
            Finding(limb="LF", zone="toe", term="crack", extent_mm=12.7, trend="better"),
        ),
        ("juniper", "2025-09-03", Shoe(limb="RH", item="rolled_toe")),
        ("juniper", "2026-02-18", Plan(action="next_time", limb="RF", text="wedge pads")),
        ("juniper", "2026-04-08", Shoe(limb="LF", item="wedge")),
        (
            *("juniper", "2026-04-08"),
            Finding(limb="LH", term="lameness", scale_grade=ScaleGrade("lameness", 2)),
        ),
        ("juniper", "2026-04-08", Plan(action="call_vet", limb="LH")),
        ("juniper", "2026-07-08", Plan(action="next_time", limb="LF", text="egg bar shoe")),
        ("juniper", "2026-10-07", Plan(action="return", weeks=7)),
        (
            *("lantern", "2024-11-12"),
            Measurement(limb="RF", side="medial", quantity="heel_length", value=38, unit="mm"),
        ),
        (
            *("lantern", "2024-11-12"),
            Measurement(limb="LF", quantity="heel_angle", value=41, unit="deg"),
        ),
        ("lantern", "2024-11-12", Nails(limb="LF", action="driven", count=3, side="lateral")),
        (
            *("lantern", "2025-05-27"),
            Finding(limb="LF", zone="quarter", side="medial", term="nail_bind"),
        ),
        ("lantern", "2025-05-27", Work(limb="RH", action="barefoot")),
        (
            *("lantern", "2025-09-30"),
            Finding(limb="RF", term="growth_ring", below_hairline_mm=8),
        ),
        ("lantern", "2025-09-30", Remark(text="moved to new grass at the end of august")),
        (
            "lantern",
            "2025-12-16",
            Finding(limb="RF", term="lameness", scale_grade=ScaleGrade("lameness", 2)),
        ),
        (
            *("lantern", "2026-02-03"),
            Finding(limb="RF", zone="quarter", side="lateral", term="clear"),
        ),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_it_was_noted_on_that_day(told: Log, name: str, day: str, entry: Entry) -> None:
    assert entries_of(told, name, day).count(entry) == 1


def test_a_whole_foot_in_the_order_it_was_said(told: Log) -> None:
    toe = [
        m.value
        for m in measures(of(told, "juniper"), "toe_length", "RF")
        if m.on == date(2025, 4, 9)
    ]
    assert entries_of(told, "juniper", "2025-04-09", "RF") == [
        Work(limb="RF", action="shoe_pulled"),
        Nails(limb="RF", action="pulled", count=7),
        Finding(limb="RF", zone="heel", side="medial", term="overreach"),
        Finding(limb="RF", zone="heel", side="medial", term="cut", age="fresh"),
        Finding(limb="RF", zone="white_line", term="separation", grade="mild", trend="better"),
        Measurement(limb="RF", quantity="toe_length", value=toe[0].to("in"), unit="in"),
        Work(limb="RF", action="trimmed"),
        Measurement(limb="RF", quantity="toe_length", value=toe[1].to("in"), unit="in"),
        Work(limb="RF", action="new_shoe"),
        Shoe(limb="RF", item="size", detail="8"),
        Nails(limb="RF", action="driven", count=7),
        Shoe(limb="RF", item="clips", detail="quarter"),
    ]


def test_what_was_taken_back_does_not_count(told: Log) -> None:
    corrected = entries_of(told, "juniper", "2025-05-28", "RF")
    assert Finding(limb="RF", side="medial", term="corn", grade="severe") not in corrected
    struck = entries_of(told, "juniper", "2026-10-07", "RF")
    assert [e.term for e in struck if isinstance(e, Finding)] == ["separation"]


def test_the_crack_that_an_overreach_left_grows_down(told: Log) -> None:
    # 9/16, 1 1/8 and 1 11/16 inches, to a hundredth of a millimetre
    seen = [
        entry.below_hairline_mm
        for visit in of(told, "juniper").visits
        for entry in visit.entries
        if isinstance(entry, Finding) and (entry.limb, entry.term) == ("RF", "crack")
    ]
    assert seen == pytest.approx([14.29, 28.58, 42.86], abs=0.011)


def test_the_worn_toe_before_and_after_the_toe_was_rolled(told: Log) -> None:
    worn = [
        (entry.grade, entry.trend)
        for visit in of(told, "juniper").visits
        for entry in visit.entries
        if isinstance(entry, Finding) and (entry.limb, entry.term) == ("RH", "wear")
    ]
    before = [
        *(("moderate", None), ("moderate", "same"), ("severe", "worse"), ("severe", None)),
        *(("severe", "same"), ("severe", "same")),
    ]
    after = [
        *(("moderate", "better"), ("mild", "better"), ("moderate", "worse"), ("mild", "better")),
        *(("mild", None), ("slight", "better"), ("slight", "same")),
    ]
    assert worn == before + after


# What the dialogue keeps beside the entries


def test_the_missing_nail_is_asked_about_and_settled_once_it_was_found(told: Log) -> None:
    [visit] = told.visits_on(date(2025, 9, 3))
    [asked] = told.notices(visit.id, settled=True)
    assert (asked.kind, asked.limb) == ("nails", "RH")
    assert asked.text == "right hind: one of six nails is not accounted for"
    assert told.notices(visit.id) == []
    [found] = [e for e in told.entries(visit.id) if e.body.get("action") == "lost"]
    assert (found.limb, found.status, found.status_by) == ("RH", "confirmed", "review")


def test_one_nail_is_open_at_the_last_visit_and_no_other(told: Log) -> None:
    open_ = [
        (visit.started_at[:10], notice.kind, notice.limb)
        for visit in told.visits()
        for notice in told.notices(visit.id)
    ]
    assert sorted(open_) == [("2025-05-27", "caution", "LF"), ("2026-10-07", "nails", "LF")]


def test_nails_are_known_from_visit_to_visit(told: Log) -> None:
    # The close nail was drawn again, so five were in that shoe; nobody says so, and nothing
    # is asked when five come out.
    [visit] = told.visits_on(date(2025, 7, 8))
    assert Nails(limb="LF", action="pulled", count=5) in entries_of(told, "lantern", "2025-07-08")
    assert told.notices(visit.id, settled=True) == []


# The stories hold together


@pytest.mark.parametrize(("name", "middle"), [("juniper", 2.0), ("lantern", 2.1)])
def test_shod_feet_grow_by_the_rate_the_file_was_written_with(
    told: Log, name: str, middle: float
) -> None:
    rates: list[float] = []
    for limb in ("LF", "RF"):
        toes = measures(of(told, name), "toe_length", limb)
        visits = [visit.on for visit in of(told, name).visits]
        for one, other in pairwise(toes):
            if (one.stage, other.stage) == (Stage.AFTER, Stage.BEFORE):
                if other.on != visits[visits.index(one.on) + 1]:
                    continue  # the foot was trimmed in between, and nobody measured it
                assert isinstance(one.value, Length)
                assert isinstance(other.value, Length)
                rates.append((other.value - one.value).mm / ((other.on - one.on).days / 7))
    assert len(rates) >= 25
    assert sorted(rates)[len(rates) // 2] == pytest.approx(middle, abs=0.12)
    # Two readings of a rule in sixteenths over six weeks: about half a millimetre a week.
    assert all(middle - 0.5 < rate < middle + 0.5 for rate in rates)


def test_the_front_feet_are_unlike_and_become_more_alike(told: Log) -> None:
    def last_angle(limb: str, until: date) -> float:
        return measures(of(told, "lantern").until(until), "hoof_angle", limb)[-1].value.amount

    first, last = date(2024, 11, 12), date(2026, 9, 22)
    assert last_angle("RF", first) - last_angle("LF", first) == 55 - 49
    assert last_angle("RF", last) - last_angle("LF", last) == 54 - 52


def test_lantern_is_long_past_the_five_weeks_that_were_asked_for(told: Log) -> None:
    last = of(told, "lantern").last
    assert last is not None
    assert [e.weeks for e in last.entries if isinstance(e, Plan) and e.weeks] == [5]
    assert last.on + timedelta(weeks=5) == date(2026, 10, 27)


# What is wrong is said, and nothing is written


def file(tmp_path: Path, more: str) -> Path:
    path = tmp_path / "other.toml"
    path.write_text(NOTHING_SAID + more, encoding="utf-8")
    return path


def test_an_utterance_that_is_no_sentence_names_its_line(both: Grammar, tmp_path: Path) -> None:
    path = file(tmp_path, 'said = [\n    "near fore",\n    "outside heel banana",\n]\n')
    with Log.open(tmp_path / "log.db") as log:
        with pytest.raises(ValueError, match=r"^other\.toml:9: not understood: 'outside heel ban"):
            tell(log, both, path)
        assert (log.horses(), log.visits()) == ([], [])


def test_a_visit_without_a_horse_of_the_file_or_without_a_day_is_refused(tmp_path: Path) -> None:
    for more in (
        '[[visit]]\nhorse = "nobody"\non = 2025-01-02\n',
        '[[visit]]\nhorse = "juniper"\n',
    ):
        with pytest.raises(ValueError, match=r"^other\.toml: lacks '(nobody|on)'$"):
            read(file(tmp_path, more))


def test_something_put_into_a_visit_before_the_first_is_refused(
    both: Grammar, tmp_path: Path
) -> None:
    path = file(tmp_path, 'put_into_last = ["near fore lost one nail"]\n')
    with Log.open(tmp_path / "log.db") as log:
        with pytest.raises(ValueError, match=r"2025-01-01: juniper has no visit before it"):
            tell(log, both, path)
        assert log.visits() == []


def test_a_horse_of_ones_own_of_that_name_is_left_alone(both: Grammar, tmp_path: Path) -> None:
    with Log.open(tmp_path / "log.db") as log:
        log.start_visit("typed", log.add_horse("Lantern").id)
        with pytest.raises(LogError, match="has visits to Lantern already"):
            tell(log, both)
        assert (len(log.visits()), len(log.horses())) == (1, 1)
