"""Every verb of the review against a real log."""

import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from handsfree.errors import LogError
from handsfree.grammar import Grammar
from handsfree.log import Log, UtteranceRow
from handsfree.records.entries import (
    Finding,
    Measurement,
    Nails,
    Plan,
    Remark,
    Shoe,
    Work,
    to_json,
)
from handsfree.records.limbs import LIMBS
from handsfree.review.desk import Desk
from handsfree.review.items import STATES, Item
from handsfree.review.writes import STALE

BRUISE = to_json(Finding(limb="LH", zone="heel", side="lateral", term="bruise"))
SAID = UtteranceRow(heard="outside heel bruise", status="recorded", confidence=0.97, limb="LH")


def item(desk: Desk, heard: str, limb: str | None = None) -> Item:
    return next(i for i in desk.items if i.heard == heard and limb in (None, i.limb))


def texts(item: Item) -> list[str]:
    return [f"{part.limb} {part.text}" for part in item.parts]


def stored(log: Log, visit_id: str) -> list[tuple[dict[str, Any], str]]:
    return [(entry.body, entry.status) for entry in log.entries(visit_id, in_force=True)]


def undo_all(desk: Desk) -> list[str]:
    said = []
    while (done := desk.undo()).changed:
        said.append(done.text)
    return said


# Looking


def test_forty_entries_what_is_unclear_first_and_every_mishearing_to_be_looked_at(
    desk: Desk, visit40: Any
) -> None:
    assert desk.counts() == {"unclear": 3, "doubtful": 8, "sure": 32, "confirmed": 0}
    assert sum(len(i.parts) for i in desk.items) == 40
    assert [STATES.index(i.state) for i in desk.items] == sorted(
        STATES.index(i.state) for i in desk.items
    )
    to_look_at = {i.heard for i in desk.items if i.state in ("unclear", "doubtful")}
    assert len(visit40.misheard) == 8
    assert {line.heard for line in visit40.misheard} <= to_look_at
    sure = [i.limb for i in desk.items if i.state == "sure"]
    assert sure == [*sorted((limb for limb in sure if limb), key=LIMBS.index), *[None] * 4]


def test_an_item_says_what_was_heard_how_surely_and_why_it_is_doubtful(desk: Desk) -> None:
    unclear, doubtful = item(desk, "tow crack"), item(desk, "pulled seven nails")
    assert (unclear.sureness, unclear.limb, unclear.parts) == ("not understood", "LH", ())
    assert unclear.why == "sounds like speech that is no note"
    assert (doubtful.sureness, doubtful.confidence) == ("doubtful", 0.6)
    assert doubtful.why == "pocketsphinx heard it differently"
    assert item(desk, "inside heel bruise").why == "not sure of the hearing"
    odd = item(desk, "toe length thirty two and a half inches")
    assert (odd.state, odd.sureness, odd.why) == ("doubtful", "sure", odd.parts[0].question)
    assert "32.5 in: is that right?" in str(odd.why)
    assert "listen to it" in str(item(desk, "remark").why)


def test_alternatives_say_what_they_would_record(desk: Desk) -> None:
    assert [a.text for a in item(desk, "tow crack").alternatives] == [
        "LH quarter crack",
        "LH toe crack",
    ]
    # What the engine heard besides is no sentence.
    assert item(desk, "seedy toe").alternatives == ()
    assert [a.text for a in item(desk, "pulled seven nails").alternatives] == ["RF 8 nails pulled"]


def test_a_closer_look_finds_the_nearest_sentences(log_with: Callable[..., Desk]) -> None:
    row = UtteranceRow(heard="mild flair outside quarter", status="unclear", limb="LH")
    far = UtteranceRow(heard="the weather is fine", status="unclear", limb="LH")
    desk = log_with([(row, []), (far, [])])
    before, nothing = desk.items
    assert before.alternatives == ()
    desk.warm_up()
    desk.look_closer()
    assert [a.words for a in desk.items[0].alternatives] == ["mild flare outside quarter"]
    assert desk.items == (before, nothing)  # the same utterances, so what is shown stays good
    assert desk.items[1].alternatives == ()
    assert desk.choose(desk.items[0], 1).text == "now: LH mild outside quarter flare"


def test_what_is_sure_has_its_alternatives_after_a_closer_look(
    log_with: Callable[..., Desk],
) -> None:
    other = {"engine": "neural", "text": "inside heel bruise", "score": 0.0}
    row = UtteranceRow(**vars(SAID) | {"alternatives": (other,)})
    desk = log_with([(row, [BRUISE])])
    assert desk.items[0].alternatives == ()
    desk.look_closer()
    assert [a.text for a in desk.items[0].alternatives] == ["LH inside heel bruise"]


def test_a_rival_that_says_a_thing_twice_is_that_thing_once_and_teaches_it_so(
    log_with: Callable[..., Desk],
) -> None:
    twice = "{0} and {0}".format
    others = [twice("outside heel bruise"), twice("inside heel bruise"), "inside heel bruise"]
    row = UtteranceRow(
        **vars(SAID)
        | {"alternatives": tuple({"engine": "neural", "text": text} for text in others)}
        | {"confidence": 0.7, "engines": ("neural",)}
    )
    desk = log_with([(row, [BRUISE])])
    assert [a.text for a in desk.items[0].alternatives] == ["LH inside heel bruise"]
    assert desk.choose(desk.items[0], 1).text == "now: LH inside heel bruise"
    assert [part.text for part in desk.items[0].parts] == ["inside heel bruise"]
    assert [lesson.meant for lesson in desk._log.lessons()] == ["inside heel bruise"]


def test_at_most_eight_alternatives(log_with: Callable[..., Desk]) -> None:
    words = ("toe", "quarter", "heel", "bulb", "sole", "frog", "bar", "wall", "clip", "white line")
    others = tuple({"engine": "neural", "text": f"{w} crack", "score": 0.0} for w in words)
    row = UtteranceRow(heard="hm", status="unclear", limb="LH", alternatives=others)
    desk = log_with([(row, [])])
    assert [a.words for a in desk.items[0].alternatives] == [f"{w} crack" for w in words[:8]]


def test_feet_horse_and_notices(desk: Desk) -> None:
    feet = {foot.limb: foot for foot in desk.feet()}
    assert list(feet) == list(LIMBS)
    assert [f.recorded for f in feet.values()] == [10, 9, 10, 7]
    assert [f.doubtful for f in feet.values()] == [0, 4, 2, 2]
    assert [f.confirmed for f in feet.values()] == [0, 0, 0, 0]
    assert feet["LF"].left == ("shoe and wear",)
    assert desk.horse_entries() == (
        *("heart girth 230 cm", "weight 900 kg"),
        *("body condition 6", "come back in 6 weeks"),
    )
    assert desk.notices() == (
        "right fore: one of eight nails is not accounted for",
        "right hind: nine nails driven, is that right?",
    )
    desk.choose(item(desk, "pulled seven nails"), 1)
    desk.put(item(desk, "drove nine nails"), 0, "count", "8")
    assert desk.notices() == ()
    desk.add("nail prick inside toe", "RF")
    assert desk.notices()[0].startswith("RF: Stop. Call the vet. Nail prick.")


def test_when_is_the_time_of_day_or_the_place_in_a_recording(
    visit40: Any, log_with: Callable[..., Desk]
) -> None:
    at = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
    assert visit40.desk().items[-1].when == (
        (at + timedelta(seconds=20 * 44)).astimezone().strftime("%H:%M")
    )
    row = UtteranceRow(heard="x", status="unclear", start_s=83.4)
    assert log_with([(row, [])], source="x.flac").items[0].when == "1:23"


def test_sound_and_days_visits(desk: Desk, visit40: Any) -> None:
    assert str(desk.sound(desk.items[0]))[2:6] == "fLaC"
    assert [visit.id for visit in desk.visits()] == [visit40.id]
    assert desk.horses() == ("Bella", "Duke")


# Confirming


def test_accept_confirms_all_parts(desk: Desk, visit40: Any) -> None:
    heard = item(desk, "pulled seven nails")
    assert desk.accept(heard).text == "confirmed: RF 7 nails pulled"
    assert item(desk, "pulled seven nails").state == "confirmed"
    again = desk.accept(item(desk, "pulled seven nails"))
    assert (again.changed, again.text) == (False, "already confirmed")
    assert desk.undo().text == "undone: no longer confirmed: RF 7 nails pulled"
    assert item(desk, "pulled seven nails") == heard


def test_what_was_not_understood_cannot_be_accepted(desk: Desk) -> None:
    done = desk.accept(item(desk, "tow crack"))
    assert not done.changed
    assert "say what was meant" in done.text


def test_all_sure_ones_of_a_foot_and_of_the_visit(desk: Desk) -> None:
    assert desk.accept_sure("LF").text == "confirmed: all sure ones of LF, 10"
    assert [foot.confirmed for foot in desk.feet()] == [10, 0, 0, 0]
    assert not desk.accept_sure("LF").changed
    assert desk.accept_sure().text == "confirmed: all sure ones of the visit, 22"
    assert desk.counts() == {"unclear": 3, "doubtful": 8, "sure": 0, "confirmed": 32}
    assert undo_all(desk) == [
        "undone: no longer confirmed: 22 entries",
        "undone: no longer confirmed: 10 entries",
    ]


def test_of_both_fronts_only_the_foot_at_hand_is_confirmed(log_with: Callable[..., Desk]) -> None:
    bodies = [BRUISE | {"limb": limb} for limb in ("LF", "RF")]
    desk = log_with([(UtteranceRow(heard="both fronts heel bruise", status="recorded"), bodies)])
    desk.accept_sure("LF")
    assert [part.status for part in desk.items[0].parts] == ["confirmed", "heard"]
    assert (desk.items[0].limb, desk.items[0].state) == (None, "sure")


# Putting right


def test_choosing_puts_the_alternative_in_its_place_and_teaches(desk: Desk, visit40: Any) -> None:
    heard = item(desk, "pulled seven nails")
    assert desk.choose(heard, 1).text == "now: RF 8 nails pulled"
    now = item(desk, "pulled seven nails")
    assert (now.state, now.heard, texts(now)) == (
        *("confirmed", "pulled seven nails"),
        ["RF 8 nails pulled"],
    )
    assert [a.text for a in now.alternatives] == ["RF 7 nails pulled"]
    lessons = [(lesson.heard, lesson.meant) for lesson in visit40.log.lessons()]
    assert lessons == [("pulled seven nails", "pulled eight nails")]
    assert desk.undo().text == "undone: RF 7 nails pulled again, not RF 8 nails pulled"
    assert item(desk, "pulled seven nails") == heard
    assert visit40.log.lessons() == []


@pytest.mark.parametrize("number", [0, -1, 3, 99])
def test_a_number_that_is_not_offered(desk: Desk, number: int) -> None:
    assert desk.choose(item(desk, "tow crack"), number).text == f"there is no number {number}"


def test_a_lesson_puts_what_was_meant_first_another_time(desk: Desk, visit40: Any) -> None:
    desk.choose(item(desk, "tow crack"), 2)
    row = UtteranceRow(heard="tow crack", status="unclear", limb="RH")
    visit = visit40.log.start_visit("microphone")
    visit40.log.append(visit.id, row)
    other = Desk(visit40.log, visit40.grammar, visit.id)
    assert [a.text for a in other.items[0].alternatives] == ["RH toe crack"]


@pytest.mark.parametrize(
    ("words", "made"),
    [
        ("outside heel bruise", ["LH outside heel bruise"]),
        ("Outside heel, bruise.", ["LH outside heel bruise"]),
        ("right hind inside heel bruise", ["RH inside heel bruise"]),
        ("RH inside heel bruise", ["RH inside heel bruise"]),
        ("heel bruise and thrush in the frog", ["LH heel bruise", "LH frog thrush"]),
        ("both fronts trimmed", ["LF trimmed", "RF trimmed"]),
        ("toe length 3.25 in", ["LH toe length 3.25 in"]),
        ("toe length 3 1/4 in", ["LH toe length 3.25 in"]),
        ("sole depth 3/8 in", ["LH sole depth 0.375 in"]),
        ("pulled 7 nails", ["LH 7 nails pulled"]),
        ("outside heal bruise", ["LH outside heel bruise"]),
        ("wrong outside heel bruise", ["LH outside heel bruise"]),
        ("weight 900 kg", ["None weight 900 kg"]),
        ("remark he pulls back", ["LH remark: he pulls back"]),
    ],
)
def test_free_correction_in_the_trades_words(desk: Desk, words: str, made: list[str]) -> None:
    heard = item(desk, "inside heel bruise")
    assert desk.say(heard, words).changed
    now = item(desk, "inside heel bruise")
    assert (texts(now), now.state, now.heard) == (made, "confirmed", "inside heel bruise")
    assert desk.undo().changed
    assert item(desk, "inside heel bruise") == heard


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("", "nothing was said"),
        ("  \n ", "nothing was said"),
        ("xyzzy plugh", "no such sentence: 'xyzzy plugh'"),
        ("outside hele brwse", "nearest: '"),
        ("\x00\ud800 \u202e heel", "no such sentence"),
        ("foot up", "'foot up' is no note"),
        ("both fronts", "'both fronts' is no note"),
        ("bruise " * 300, "no such sentence"),
    ],
)
def test_words_that_are_no_note_change_nothing(desk: Desk, words: str, told: str) -> None:
    before = desk.items
    done = desk.say(item(desk, "inside heel bruise"), words)
    assert (done.changed, desk.items) == (False, before)
    assert told in done.text


def test_saying_a_foot_alone_moves_it(desk: Desk) -> None:
    assert desk.say(item(desk, "inside heel bruise"), "right hind").text == (
        "moved to RH: RH inside heel bruise"
    )


def test_a_remark_takes_any_text(desk: Desk, visit40: Any) -> None:
    text = "Pulls back from the pincers – \u017e\u00f3\u0142w \U0001f40e \ud800, left hind"
    assert desk.say(item(desk, "remark"), f"  {text}  ").changed
    (part,) = item(desk, "remark").parts
    assert isinstance(part.entry, Remark)
    assert part.entry.text == text.replace("\ud800", "\ufffd")
    assert not desk.say(item(desk, "remark"), " ").changed
    assert visit40.log.lessons() == []


@pytest.mark.parametrize(
    ("words", "lesson"),
    [
        # A foot that was not heard stays out of it: another time another one is in force.
        ("left hind outside heel bruise", "outside heel bruise"),
        ("outside heel bruise left hind", "outside heel bruise"),
        ("right hind outside heel bruise", "right hind outside heel bruise"),
        ("right hind inside heel bruise", None),
        ("inside heel bruise", None),
    ],
)
def test_what_a_correction_teaches(
    desk: Desk, visit40: Any, words: str, lesson: str | None
) -> None:
    desk.say(item(desk, "inside heel bruise"), words)
    found = [(each.heard, each.meant) for each in visit40.log.lessons()]
    assert found == ([("inside heel bruise", lesson)] if lesson else [])


def test_a_second_correction_takes_the_lesson_of_the_first_back(desk: Desk, visit40: Any) -> None:
    desk.choose(item(desk, "tow crack"), 1)
    desk.choose(item(desk, "tow crack"), 1)  # now "toe crack" stands first
    assert [lesson.meant for lesson in visit40.log.lessons()] == ["toe crack"]
    desk.move(item(desk, "tow crack"), "RH")
    assert [lesson.meant for lesson in visit40.log.lessons()] == ["toe crack"]
    desk.put(item(desk, "tow crack"), 0, "term", "seedy toe")
    assert visit40.log.lessons() == []


def test_typed_words_teach_nothing(log_with: Callable[..., Desk]) -> None:
    desk = log_with([(SAID, [BRUISE])], source="typed")
    desk.say(desk.items[0], "inside heel bruise")
    assert desk._log.lessons() == []


@pytest.mark.parametrize(
    ("heard", "slot", "value", "made"),
    [
        ("inside heel bruise", "side", "lateral", "LH outside heel bruise"),
        ("inside heel bruise", "side", "outside", "LH outside heel bruise"),
        ("inside heel bruise", "side", "", "LH heel bruise"),
        ("inside heel bruise", "zone", "quarter", "LH inside quarter bruise"),
        ("inside heel bruise", "term", "corn", "LH inside heel corn"),
        ("inside heel bruise", "term", "contracted heels", "LH inside contracted heels"),
        ("inside heel bruise", "term", "stumbling", "LH stumbling"),
        ("inside heel bruise", "grade", "mild", "LH mild inside heel bruise"),
        ("inside heel bruise", "limb", "RH", "RH inside heel bruise"),
        ("inside heel bruise", "limb", "right hind", "RH inside heel bruise"),
        ("inside heel bruise", "extent_mm", "1 in", "LH inside heel bruise, 25.4 mm long"),
        ("pulled seven nails", "count", "eight", "RF 8 nails pulled"),
        ("pulled seven nails", "count", "8", "RF 8 nails pulled"),
        ("pulled seven nails", "count", "", "RF nails pulled"),
        ("pulled seven nails", "action", "driven", "RF 7 nails driven"),
        ("toe length three and a half inches", "value", "3 1/4", "LF toe length 3.25 in"),
        ("toe length three and a half inches", "value", "9 cm", "LF toe length 9 cm"),
        ("toe length three and a half inches", "value", "3,25", "LF toe length 3.25 in"),
        (
            *("toe length three and a half inches", "value", "four and a quarter"),
            "LF toe length 4.25 in",
        ),
        ("toe length three and a half inches", "unit", "cm", "LF toe length 3.5 cm"),
        ("hoof angle fifty two degrees", "quantity", "heel_angle", "LF heel angle 52°"),
        ("hoof angle fifty two degrees", "quantity", "heart girth", "None heart girth 52 mm"),
        ("come back in six weeks", "weeks", "8", "None come back in 8 weeks"),
        ("body condition six", "value", "6.5", "None body condition 6.5"),
        ("body condition six", "scale", "laminitis", None),
        ("packed", "action", "rasped", "RH rasped"),
        ("remark", "text", "he pulls", "RF remark: he pulls"),
    ],
)
def test_one_slot_is_put_right(
    desk: Desk, heard: str, slot: str, value: str, made: str | None
) -> None:
    before = item(desk, heard)
    done = desk.put(before, 0, slot, value)
    assert done.changed is (made is not None), done.text
    if made:
        assert texts(item(desk, heard)) == [made]
        assert desk.undo().changed
    assert item(desk, heard) == before


@pytest.mark.parametrize(
    ("heard", "part", "slot", "value", "told"),
    [
        ("inside heel bruise", 0, "term", "unicorn", "what: there is no 'unicorn' here"),
        ("inside heel bruise", 0, "weeks", "6", "no such thing here"),
        ("inside heel bruise", 0, "side", "inside", "it is that already"),
        ("inside heel bruise", 1, "side", "outside", "there is no entry 2"),
        ("inside heel bruise", -1, "side", "outside", "there is no entry 0"),
        ("inside heel bruise", 0, "extent_mm", "3 kg", "is no length"),
        ("toe length three and a half inches", 0, "value", "long", "'long' is no number"),
        ("toe length three and a half inches", 0, "value", "", "'' is no number"),
        ("toe length three and a half inches", 0, "value", "3/0", "is no number"),
        ("toe length three and a half inches", 0, "value", "-3", "is no number"),
        ("toe length three and a half inches", 0, "value", "1e9", "is no number"),
        ("toe length three and a half inches", 0, "value", "99999", "too large"),
        ("toe length three and a half inches", 0, "value", "\u0663", "is no number"),
        ("toe length three and a half inches", 0, "value", "52 degrees", "is not in deg"),
        ("pulled seven nails", 0, "count", "7.5", "is no whole number"),
        ("pulled seven nails", 0, "count", "NaN", "is no whole number"),
        ("come back in six weeks", 0, "action", "next time", "there is no 'next time' here"),
        ("remark", 0, "text", "  ", "nothing was said"),
    ],
)
def test_a_value_that_cannot_be(
    desk: Desk, heard: str, part: int, slot: str, value: str, told: str
) -> None:
    before = desk.items
    done = desk.put(item(desk, heard), part, slot, value)
    assert (done.changed, desk.items) == (False, before)
    assert told in done.text


def test_an_unlikely_number_is_taken_and_asked_about(desk: Desk) -> None:
    done = desk.put(item(desk, "toe length three and a half inches"), 0, "value", "35")
    assert done.text.startswith("now: LF toe length 35 in (toe length 35 in: is that right?")
    now = item(desk, "toe length three and a half inches")
    assert (now.state, now.parts[0].status) == ("doubtful", "heard")
    assert now.parts[0].question == now.why
    desk.accept_sure()
    assert item(desk, "toe length three and a half inches").state == "doubtful"
    assert desk.accept(item(desk, "toe length three and a half inches")).changed
    now = item(desk, "toe length three and a half inches")
    assert (now.state, now.why) == ("confirmed", now.parts[0].question)


@pytest.mark.parametrize(
    ("slot", "value", "made"),
    [
        ("quantity", "body_length", "None body length 3.5 in"),
        ("unit", "mm", "LF toe length 3.5 mm"),
    ],
)
def test_what_makes_a_number_unlikely_is_asked_about_and_not_confirmed(
    desk: Desk, slot: str, value: str, made: str
) -> None:
    done = desk.put(item(desk, "toe length three and a half inches"), 0, slot, value)
    assert "is that right?" in done.text
    now = item(desk, "toe length three and a half inches")
    assert (texts(now), now.state) == ([made], "doubtful")


def test_an_unlikely_number_stays_open_on_another_foot_and_in_other_words(desk: Desk) -> None:
    heard = "toe length thirty two and a half inches"
    assert "is that right?" in desk.move(item(desk, heard), "LH").text
    assert item(desk, heard).state == "doubtful"
    assert "is that right?" in desk.say(item(desk, heard), "toe length thirty inches").text
    assert item(desk, heard).state == "doubtful"
    assert "is that right?" in desk.add("toe length thirty one inches", "LF").text
    assert item(desk, "toe length thirty one inches").state == "doubtful"
    assert desk.undo().text == "undone: out again: LF toe length 31 in"


def test_what_is_unlikely_of_the_horse_it_is_moved_to_is_asked_about(
    desk: Desk, visit40: Any
) -> None:
    """Nine hundred kilos are usual of the heavy Duke and not of Bella."""
    done = desk.move_to_horse(item(desk, "weight nine hundred kilos"), "Bella")
    assert "is that right?" in done.text
    [bella] = [visit for visit in desk.visits() if visit.horse == "Bella"]
    [moved] = visit40.log.entries(bella.id, in_force=True)
    assert moved.status == "heard"


def test_putting_a_slot_right_teaches_the_words_in_their_places(desk: Desk, visit40: Any) -> None:
    desk.put(item(desk, "drove nine nails"), 0, "count", "12")
    desk.put(item(desk, "drove nine nails"), 0, "count", "8")
    desk.put(item(desk, "mild flare outside quarter"), 0, "grade", "moderate")
    lessons = {(lesson.heard, lesson.meant) for lesson in visit40.log.lessons()}
    assert lessons == {
        ("drove nine nails", "drove eight nails"),
        ("mild flare outside quarter", "moderate flare outside quarter"),
    }


def test_strike_one_or_all(desk: Desk) -> None:
    desk.say(item(desk, "inside heel corn"), "inside heel bruise and corn at the seat of corn")
    assert desk.strike(item(desk, "inside heel corn"), 1).text == "struck: RH seat of corn corn"
    assert texts(item(desk, "inside heel corn")) == ["RH inside heel bruise"]
    assert desk.strike(item(desk, "inside heel corn")).changed
    assert not [i for i in desk.items if i.heard == "inside heel corn"]
    assert not desk.strike(item(desk, "seedy toe"), 1).changed
    assert undo_all(desk) == [
        "undone: no longer struck: RH inside heel bruise",
        "undone: no longer struck: RH seat of corn corn",
        "undone: RH inside heel corn again, not RH inside heel bruise; RH seat of corn corn",
    ]


def test_what_was_not_understood_is_passed_over_by_striking(desk: Desk) -> None:
    heard = item(desk, "stand still will you")
    assert desk.strike(heard).text == "passed over: 'stand still will you'"
    assert desk.counts()["unclear"] == 2
    assert desk.undo().text == "undone: no longer passed over: 'stand still will you'"
    assert heard in desk.items


def test_struck_after_it_was_put_right_an_unclear_one_does_not_come_back(desk: Desk) -> None:
    desk.choose(item(desk, "tow crack"), 2)
    desk.strike(item(desk, "tow crack"))
    assert not [i for i in desk.items if i.heard == "tow crack"]
    desk.undo()
    assert texts(item(desk, "tow crack")) == ["LH toe crack"]
    desk.undo()
    assert item(desk, "tow crack").state == "unclear"


def test_split_gives_one_more_to_be_put_right(desk: Desk) -> None:
    assert desk.split(item(desk, "white line separation"), 0).text == (
        "one more: LH white line separation; put it right"
    )
    now = item(desk, "white line separation")
    assert (now.state, texts(now)) == ("doubtful", ["LH white line separation"] * 2)
    assert "twice" in str(now.why)
    desk.put(now, 1, "term", "white_line_disease")
    assert texts(item(desk, "white line separation")) == [
        "LH white line separation",
        "LH white line disease",
    ]
    assert not desk.split(item(desk, "white line separation"), 2).changed
    assert undo_all(desk)[-1] == "undone: out again: LH white line separation"
    assert item(desk, "white line separation").state == "sure"


# Where it belongs


def test_move_to_another_foot(desk: Desk) -> None:
    assert desk.move(item(desk, "packed"), "LH").text == "moved to LH: LH packed"
    assert item(desk, "packed").limb == "LH"
    assert desk.move(item(desk, "packed"), "LH").text == "nothing here to move to LH"
    assert not desk.move(item(desk, "packed"), "XX").changed
    assert not desk.move(item(desk, "weight nine hundred kilos"), "LF").changed
    assert desk.undo().text == "undone: RH packed again, not LH packed"


def test_what_was_said_of_both_fronts_moves_to_one(log_with: Callable[..., Desk]) -> None:
    bodies = [BRUISE | {"limb": limb} for limb in ("LF", "RF")]
    desk = log_with([(UtteranceRow(heard="both fronts heel bruise", status="recorded"), bodies)])
    before = desk.items
    desk.move(desk.items[0], "RH")
    assert texts(desk.items[0]) == ["RH outside heel bruise"]
    desk.undo()
    assert desk.items == before


def test_move_to_another_horse_makes_its_visit_of_the_day_once(desk: Desk, visit40: Any) -> None:
    assert desk.move_to_horse(item(desk, "packed"), "bella").text == "moved to Bella: RH packed"
    desk.move_to_horse(item(desk, "seedy toe"), "Bella")
    duke, bella = desk.visits()
    assert (duke.horse, bella.horse) == ("Duke", "Bella")
    other = Desk(visit40.log, visit40.grammar, bella.id)
    assert {(i.heard, i.state) for i in other.items} == {
        ("packed", "confirmed"),
        ("seedy toe", "confirmed"),
    }
    assert other.sound(other.items[0]) is not None
    assert other.undo().text == "undone: moved to Bella; no longer here: LH seedy toe"
    assert item(desk, "inside heel corn")  # the first desk is told at the next look
    assert desk.undo().text == "undone: moved to Bella; here again: RH packed"
    assert desk.counts() == {"unclear": 3, "doubtful": 8, "sure": 32, "confirmed": 0}
    assert not desk.undo().changed


def test_a_caution_goes_with_what_is_moved(desk: Desk, visit40: Any) -> None:
    desk.add("nail prick inside toe", "RF")
    assert [n.code for n in visit40.log.notices(visit40.id)] == ["nail_prick"]
    desk.move_to_horse(item(desk, "nail prick inside toe"), "Bella")
    bella = desk.visits()[1]
    assert visit40.log.notices(visit40.id) == []
    assert [n.code for n in visit40.log.notices(bella.id)] == ["nail_prick"]


@pytest.mark.parametrize(
    ("heard", "horse", "told"),
    [
        ("packed", "Nobody", "there is no horse 'Nobody'"),
        ("packed", "DUKE", "it is Duke's already"),
        ("tow crack", "Bella", "say what was meant first"),
    ],
)
def test_horses_it_cannot_go_to(desk: Desk, heard: str, horse: str, told: str) -> None:
    done = desk.move_to_horse(item(desk, heard), horse)
    assert not done.changed
    assert told in done.text
    assert len(desk.visits()) == 1


def test_add_what_was_never_heard(desk: Desk, visit40: Any) -> None:
    assert desk.add("mild thrush in the frog", "RH").text == "added: RH mild frog thrush"
    added = item(desk, "mild thrush in the frog")
    assert (added.state, added.confidence, added.has_sound) == ("confirmed", None, False)
    assert desk.add("left fore packed", "RH").text == "added: LF packed"
    # Whoever goes on recording has the same foot in force as before.
    assert visit40.log.utterances(visit40.id)[-1].limb == "RH"
    assert undo_all(desk) == [
        "undone: out again: LF packed",
        "undone: out again: RH mild frog thrush",
    ]
    for words in ("", "nothing like it", "left hind", "strike that"):
        assert not desk.add(words, "RH").changed


# Undo


def test_every_verb_is_undone_after_the_log_was_opened_again(
    visit40: Any, grammar: Grammar
) -> None:
    desk = visit40.desk()
    first = desk.items, stored(visit40.log, visit40.id)
    states = [first]
    verbs: list[Callable[[], Any]] = [
        lambda: desk.accept(item(desk, "packed")),
        lambda: desk.choose(item(desk, "tow crack"), 2),
        lambda: desk.say(item(desk, "inside heel corn"), "heel bruise and thrush in the frog"),
        lambda: desk.put(item(desk, "drove nine nails"), 0, "count", "8"),
        lambda: desk.strike(item(desk, "seedy toe")),
        lambda: desk.strike(item(desk, "stand still will you")),
        lambda: desk.split(item(desk, "white line separation"), 0),
        lambda: desk.move(item(desk, "packed"), "LH"),
        lambda: desk.move_to_horse(item(desk, "clinched"), "Bella"),
        lambda: desk.add("trimmed", "LF"),
        lambda: desk.accept_sure(),
    ]
    for verb in verbs:
        assert verb().changed
        states.append((desk.items, stored(visit40.log, visit40.id)))
    for before in reversed(states[:-1]):
        with Log.open(visit40.path) as log:
            again = Desk(log, grammar, visit40.id)
            assert again.undo().text.startswith("undone: ")
            assert (again.items, stored(log, visit40.id)) == before
    assert desk.refresh()
    assert desk.items == first[0]
    assert not desk.undo().changed


def test_undo_leaves_alone_what_others_did(desk: Desk, visit40: Any) -> None:
    packed = item(desk, "packed")
    visit40.log.confirm([packed.parts[0].entry_id], "voice")
    assert desk.undo().text == "nothing left to undo"
    desk.refresh()
    assert item(desk, "clinched")


def test_a_nail_question_is_settled_by_a_correction_and_asked_again_after_undo(
    desk: Desk, visit40: Any
) -> None:
    from handsfree.log import NoticeRow

    text = "right fore: one of eight nails is not accounted for"
    visit40.log.notice(visit40.id, NoticeRow(kind="nails", code="count", text=text, limb="RF"))
    desk.choose(item(desk, "pulled seven nails"), 1)
    assert visit40.log.notices(visit40.id) == []
    desk.undo()
    assert [notice.text for notice in visit40.log.notices(visit40.id)] == [text]


# Others write meanwhile


def test_what_another_process_wrote_is_seen(desk: Desk, visit40: Any) -> None:
    assert not desk.refresh()
    script = (
        "import sys; from handsfree.log import Log, UtteranceRow\n"
        "with Log.open(sys.argv[1]) as log:\n"
        "    log.append(sys.argv[2], UtteranceRow(heard='late', status='unclear'))"
    )
    subprocess.run([sys.executable, "-c", script, visit40.path, visit40.id], check=True)
    assert desk.refresh()
    assert item(desk, "late").state == "unclear"
    assert not desk.refresh()


def test_a_write_elsewhere_in_the_log_changes_nothing_here(desk: Desk, visit40: Any) -> None:
    with Log.open(visit40.path) as other:
        other.start_visit("microphone")
    assert not desk.refresh()


STALE_VERBS: dict[str, Callable[[Desk, Item], Any]] = {
    "accept": lambda desk, old: desk.accept(old),
    "choose": lambda desk, old: desk.choose(old, 1),
    "say": lambda desk, old: desk.say(old, "heel bruise"),
    "put": lambda desk, old: desk.put(old, 0, "count", "6"),
    "strike": lambda desk, old: desk.strike(old),
    "split": lambda desk, old: desk.split(old, 0),
    "move": lambda desk, old: desk.move(old, "LH"),
    "move_to_horse": lambda desk, old: desk.move_to_horse(old, "Bella"),
}


@pytest.mark.parametrize("verb", STALE_VERBS)
@pytest.mark.parametrize("what", ["struck", "confirmed"])
def test_an_item_that_changed_meanwhile_is_left_alone(
    desk: Desk, visit40: Any, verb: str, what: str
) -> None:
    old = item(desk, "pulled seven nails")
    with Log.open(visit40.path) as other:
        ids = [part.entry_id for part in old.parts]
        (other.strike if what == "struck" else other.confirm)(ids, "voice")
        before = other.entries(visit40.id)
    done = STALE_VERBS[verb](desk, old)
    assert (done.changed, done.text) == (False, STALE)
    assert visit40.log.entries(visit40.id) == before
    assert [i.state for i in desk.items if i.id == old.id] == (
        [] if what == "struck" else ["confirmed"]
    )


@pytest.mark.parametrize("verb", STALE_VERBS)
def test_a_change_between_the_look_and_the_write_is_noticed(
    desk: Desk, visit40: Any, verb: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = item(desk, "pulled seven nails")
    monkeypatch.setattr(desk, "refresh", lambda: False)
    with Log.open(visit40.path) as other:
        other.strike([part.entry_id for part in old.parts], "voice")
        before = other.entries(visit40.id)
    assert STALE_VERBS[verb](desk, old).text == STALE
    assert visit40.log.entries(visit40.id) == before


def test_two_that_put_the_same_unclear_one_right_do_not_both(
    desk: Desk, visit40: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = item(desk, "tow crack")
    monkeypatch.setattr(desk, "refresh", lambda: False)
    with Log.open(visit40.path) as other:
        other.correct(old.id, [BRUISE], "someone")
    assert desk.choose(old, 2).text == STALE
    assert texts(item(desk, "tow crack")) == ["LH outside heel bruise"]


# Odd visits


def test_an_empty_visit(log_with: Callable[..., Desk]) -> None:
    desk = log_with([])
    assert (desk.items, desk.notices(), desk.horse_entries()) == ((), (), ())
    assert desk.counts() == dict.fromkeys(STATES, 0)
    assert [foot.recorded for foot in desk.feet()] == [0] * 4
    assert not desk.undo().changed
    assert not desk.accept_sure().changed
    assert desk.add("left fore trimmed", None).text == "added: LF trimmed"


def test_commands_are_no_items(log_with: Callable[..., Desk]) -> None:
    row = UtteranceRow(heard="foot up", status="command", command="foot_up", limb="LH")
    assert log_with([(row, [])]).items == ()


def test_a_visit_that_is_not_there(visit40: Any) -> None:
    with pytest.raises(LogError, match="no visit"):
        Desk(visit40.log, visit40.grammar, "f" * 32)


def test_a_thousand_entries(log_with: Callable[..., Desk]) -> None:
    bodies = [BRUISE | {"limb": limb} for limb in LIMBS] * 25
    desk = log_with([(SAID, bodies)] * 10)
    assert [foot.recorded for foot in desk.feet()] == [250] * 4
    assert desk.strike(desk.items[0]).text == "struck: LF RF LH RH outside heel bruise"
    assert desk.undo().text == "undone: no longer struck: 100 entries"


@pytest.mark.parametrize(
    "heard", ["", "\x1b[31m\x00", "\U0001f40e" * 400, "a\u0300" * 50, "left" * 300, "\u202eheel"]
)
def test_odd_text_heard(log_with: Callable[..., Desk], heard: str) -> None:
    row = UtteranceRow(
        heard=heard,
        status="unclear",
        engines=("x",),
        alternatives=("heel", {"engine": 1, "text": None}, {"text": heard}, 7),
        free_text=heard,
        doubt=heard or None,
        limb="LH",
    )
    desk = log_with([(row, [])])
    desk.look_closer()
    assert desk.say(desk.items[0], "heel bruise").changed
    assert desk.history(desk.items[0])
    assert undo_all(desk) == ["undone: out again: LH heel bruise"]


def test_unclear_without_a_limb(log_with: Callable[..., Desk]) -> None:
    desk = log_with([(UtteranceRow(heard="hm", status="unclear"), [])])
    desk.say(desk.items[0], "heel bruise")
    assert texts(desk.items[0]) == ["None heel bruise"]
    assert desk.put(desk.items[0], 0, "limb", "LF").text == "now: LF heel bruise"


# History


def test_history_says_who_changed_what(desk: Desk) -> None:
    desk.choose(item(desk, "pulled seven nails"), 1)
    desk.move(item(desk, "pulled seven nails"), "LF")
    desk.undo()
    desk.accept(item(desk, "packed"))
    lines = [line.split(" ", 2)[2] for line in desk.history(item(desk, "pulled seven nails"))]
    assert lines == [
        "voice: heard RF 7 nails pulled",
        "review: RF 8 nails pulled, not RF 7 nails pulled",
        "review: LF 8 nails pulled, not RF 8 nails pulled (moved to LF)",
        "review: took back a change: RF 8 nails pulled",
    ]
    assert desk.history(item(desk, "packed"))[-1].endswith("review: confirmed RH packed")
    assert desk.history(item(desk, "tow crack")) == ()


def test_history_of_what_was_passed_over(desk: Desk) -> None:
    talk = item(desk, "stand still will you")
    desk.strike(talk)
    desk.undo()
    lines = [line.split(" ", 2)[2] for line in desk.history(talk)]
    assert lines == ["review: passed over", "review: to be looked at again"]


# Start


def test_no_recognizer_and_no_sound_is_loaded() -> None:
    heavy = "vosk pocketsphinx ctranslate2 tokenizers soundfile soxr sounddevice piper textual rich"
    script = (
        "import sys\nfrom handsfree.review.desk import Desk\n"
        f"print([m for m in {heavy.split()!r} if m in sys.modules])\n"
        "print([m for m in sys.modules if m.startswith(('handsfree.engines', 'handsfree.audio'))])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.split("\n")[:2] == ["[]", "[]"]


@pytest.fixture
def log_with(tmp_path: Path, grammar: Grammar) -> Any:
    """A desk on a visit of these utterances, each with its entries."""
    logs: list[Log] = []

    def made(
        lines: list[tuple[UtteranceRow, list[dict[str, Any]]]], source: str = "microphone"
    ) -> Desk:
        log = Log.open(tmp_path / f"odd{len(logs)}.db")
        logs.append(log)
        visit = log.start_visit(source)
        for row, bodies in lines:
            log.append(visit.id, row, bodies)
        return Desk(log, grammar, visit.id)

    yield made
    for log in logs:
        log.close()


def test_a_visit_without_a_horse_is_given_one(visit40: Any, grammar: Grammar) -> None:
    visit = visit40.log.start_visit("microphone", horse_said="clover")
    desk = Desk(visit40.log, grammar, visit.id)
    assert desk.visit.whose == "horse not named, heard 'clover'"
    assert not desk.name("  ").changed
    assert desk.name("Clover").text == "this is Clover's visit"
    assert (desk.visit.horse, visit40.log.horse("clover").name) == ("Clover", "Clover")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("clinches are up on the outside", "risen clinch"),
        ("heels badly run under", "underrun heels"),
        ("touch of thrush down the middle cleft", "slight central sulcus thrush"),
    ],
)
def test_a_correction_is_taken_in_his_own_words(desk: Desk, words: str, told: str) -> None:
    done = desk.say(item(desk, "inside heel bruise"), words)
    assert done.changed
    assert told in done.text


def test_words_that_are_only_half_understood_correct_nothing(desk: Desk) -> None:
    before = desk.items
    done = desk.say(item(desk, "inside heel bruise"), "zork bruise at the flange")
    assert (done.changed, desk.items) == (False, before)


# What only natural speech says

NATURAL = (
    Finding(limb="LH", term="laminitis"),
    Finding(limb="LH", term="thrush", zone="frog", denied=True),
    Finding(limb="LH", term="tender", zone="shoulder"),
    Finding(limb="LH", term="high_side", side="lateral"),
    Measurement(quantity="height", value=16.1, unit="hands"),
    Measurement(limb="LH", quantity="toe_length", value=85, unit="mm", unit_inferred=True),
    Nails(limb="LH", action="in_shoe", count=7),
    Work(limb="LH", action="resected"),
    Shoe(limb="LH", item="wedge", detail="three degree wedge"),
    Shoe(limb="LH", item="size", detail="00"),
    Plan(action="tell_owner", text="keep it dry"),
    Plan(limb="LH", action="xray"),
    Plan(limb="LH", action="watch", text="that crack"),
)


@pytest.fixture
def natural(visit40: Any) -> Desk:
    """A visit that says what the grammar has no sentence for, one utterance each."""
    visit = visit40.log.start_visit("microphone", visit40.log.horse("Bella").id)
    for at, entry in enumerate(NATURAL):
        row = UtteranceRow(
            heard=f"in his own words {at}", status="recorded", confidence=0.97, limb="LH",
            engines=("neural",),
        )  # fmt: skip
        visit40.log.append(visit.id, row, [to_json(entry)])
    return Desk(visit40.log, visit40.grammar, visit.id)


def test_what_no_sentence_says_is_shown_confirmed_struck_and_undone(
    natural: Desk, visit40: Any
) -> None:
    shown = [part.text for each in natural.items for part in each.parts]
    assert sorted(shown) == sorted(
        [
            *("laminitis", "no thrush in the frog", "shoulder tender", "outside higher"),
            *("height 16.1 hands", "toe length 85 mm (unit not said)", "nail count 7"),
            *("resected", "three degree wedge", "size 00", "tell the owner: keep it dry"),
            *("x-ray", "watch: that crack"),
        ]
    )
    assert natural.counts()["sure"] == len(NATURAL)
    [caution] = [n for n in natural.notices() if "vet" in n]
    assert caution.startswith("LH: Stop. Call the vet. Laminitis suspected.")
    for at, _ in enumerate(NATURAL):
        each = item(natural, f"in his own words {at}")
        for slot in natural.slots(each, 0):
            assert slot.shown is not None
        done = natural.strike(each) if at % 2 else natural.accept(each)
        assert done.changed, done.text
    assert natural.counts() == {"unclear": 0, "doubtful": 0, "sure": 0, "confirmed": 7}
    assert len(undo_all(natural)) == len(NATURAL)
    assert natural.counts()["sure"] == len(NATURAL)


def test_what_no_sentence_says_is_put_right(natural: Desk) -> None:
    def put(at: int, slot: str, value: str) -> list[str]:
        done = natural.put(item(natural, f"in his own words {at}"), 0, slot, value)
        assert done.changed, done.text
        return texts(item(natural, f"in his own words {at}"))

    assert put(0, "limb", "RH") == ["RH laminitis"]
    assert put(1, "denied", "there") == ["LH frog thrush"]
    assert put(2, "zone", "back") == ["LH back tender"]
    assert put(4, "value", "16.2 hands") == ["None height 16.2 hands"]
    assert put(5, "unit", "cm") == ["LH toe length 85 cm"]
    assert put(6, "count", "8") == ["LH nail count 8"]
    assert put(7, "action", "treated") == ["LH treated"]
    assert put(10, "text", "soak it") == ["None tell the owner: soak it"]
