"""Plain review by typed lines, over a real log."""

import subprocess
import sys
import unicodedata
from collections.abc import Callable

import pytest

from handsfree.log import Log, UtteranceRow
from handsfree.review.desk import Desk
from handsfree.review.items import CONFIRMED, Item
from handsfree.review.keys import KEYS
from handsfree.review.plain import _WITH_ITEM, _WITHOUT_ITEM, Plain
from handsfree.review.plain_lines import TAKES_MORE, VERBS
from handsfree.review.plain_text import HELP, prompt

DUKE = 43
"""Utterances of the invented visit that are looked at."""


class Deaf:
    """A player; it notes what it was given and has no device."""

    def __init__(self) -> None:
        self.given: list[bytes] = []

    def play(self, flac: bytes) -> str | None:
        self.given.append(flac)
        return "there is no loudspeaker: plug one in or switch it on"


Session = Callable[..., list[str]]


@pytest.fixture
def session(visit40) -> Session:
    """Runs lines through plain review and gives what was printed."""

    def run(*lines: str, player: Deaf | None = None, visit: str = visit40.id) -> list[str]:
        out: list[str] = []
        script = iter([f"{line}\n" for line in lines])
        limbs = {f: w.id for w in visit40.grammar.table if w.slot == "limb" for f in w.forms}
        Plain(
            lambda it: Desk(visit40.log, visit40.grammar, it),
            visit,
            player,
            limbs,
            lambda: next(script, None),
            out.append,
        ).run()
        return out

    return run


def item(visit40, heard: str) -> Item:
    return next(i for i in visit40.desk().items if i.heard == heard)


def texts(visit40, heard: str) -> list[str]:
    return [f"{part.limb} {part.text} {part.status}" for part in item(visit40, heard).parts]


def place_of(visit40, heard: str) -> int:
    return [i.heard for i in visit40.desk().items].index(heard) + 1


def test_it_begins_with_the_visit_and_the_first_to_look_at(visit40, session: Session):
    out = session()
    assert out[0] == "Review of Duke, 2026-03-02."
    minded = [f"Mind: {notice}" for notice in visit40.desk().notices()]
    assert out[1 : 1 + len(minded)] == minded != []
    told = out.index(f"{DUKE} utterances: 3 not understood, 8 doubtful, 32 sure.")
    assert told == 1 + len(minded)
    shown = out[told + 1 : out.index(prompt())]
    assert shown == [
        "",
        f"1 of {DUKE}. Left hind, {shown[1].rpartition(' ')[2]}",
        "State: not understood: sounds like speech that is no note.",
        "Records: nothing.",
        "Heard: tow crack.",
        "Or 1: LH quarter crack.",
        "Or 2: LH toe crack.",
    ]


def test_the_end_of_the_input_leaves_and_says_what_is_open(session: Session):
    assert session()[-1] == session("leave")[-1] == session("q")[-1]
    assert session()[-1].startswith("Left; everything is kept. Still open: 3 not understood")


def test_nothing_drives_a_terminal_and_nothing_is_drawn(visit40, session: Session):
    """Top to bottom, one thing a line: no control signs, no boxes, nothing by its place alone."""
    visit40.log.append(
        visit40.id,
        UtteranceRow(heard="bell\a esc\x1b[2J\r\nrow\u202e", status="unclear", confidence=0.1),
    )
    out = session("list", "keys", "notes", "n", "n", "n", "history", "correct", "horse")
    assert any("bell" in line for line in out)
    for line in out:
        assert not [c for c in line if unicodedata.category(c)[0] == "C"]
        assert not [c for c in line if "\u2500" <= c <= "\u25ff" or c == "|"]
        assert "  " not in line


def test_every_verb_is_named_with_its_letter_on_the_screen_too(session: Session):
    out = "\n".join(session("keys"))
    for key in KEYS:
        if key.verb in ("up", "down"):
            continue
        assert HELP[key.verb] in out
        if key.verb != "number":
            assert VERBS[key.verb] == key.verb
            assert key.verb in {**_WITH_ITEM, **_WITHOUT_ITEM}
        if key.verb not in ("number", "onward"):
            assert VERBS[key.name] == key.verb
            assert f"{key.label} ({key.face.lower()}): " in out
    for verb in ("confirm", "correct", "strike", "later", "hear", "undo", "leave"):
        assert verb in prompt(), "requirement 3: always to be found"


@pytest.mark.parametrize("line", ["", "confirm", "accept", "enter", "ACCEPT"])
def test_accept_confirms_and_goes_on(visit40, session: Session, line: str):
    heard = "inside heel bruise"
    out = session(f"list {place_of(visit40, heard)}", line)
    assert texts(visit40, heard) == ["LH inside heel bruise confirmed"]
    assert "Confirmed: LH inside heel bruise." in out
    assert "Heard: seedy toe." in out[out.index("Confirmed: LH inside heel bruise.") :]


def test_accepting_what_was_not_understood_changes_nothing(visit40, session: Session):
    out = session("")
    assert any(line.startswith("Nothing to confirm") for line in out)
    assert visit40.desk().counts()[CONFIRMED] == 0


def test_a_digit_takes_that_reading(visit40, session: Session):
    session("2")
    assert texts(visit40, "tow crack") == ["LH toe crack confirmed"]
    assert "There is no number 9." in session("9")


@pytest.mark.parametrize(
    "line", ["heel bruise and thrush in the frog", "0 heel bruise and thrush in the frog"]
)
def test_words_of_the_trade_are_taken_for_what_was_said(visit40, session: Session, line: str):
    session(line)
    assert texts(visit40, "tow crack") == ["LH heel bruise confirmed", "LH frog thrush confirmed"]
    assert item(visit40, "tow crack").heard == "tow crack"


def test_words_that_are_no_sentence_change_nothing(visit40, session: Session):
    before = visit40.desk().items
    out = session("so ein Pferd", "0", "acept")
    assert [line for line in out if line.startswith("No such sentence")] == [
        "No such sentence: 'so ein Pferd'.",
        "No such sentence: 'acept'.",
    ]
    assert visit40.desk().items == before


def test_a_sentence_that_begins_like_a_verb_is_a_sentence(visit40, session: Session):
    session("foot clear")
    assert texts(visit40, "tow crack") == ["LH clear confirmed"]


@pytest.mark.parametrize(
    ("line", "becomes"),
    [
        ("correct side outside", "LH outside heel bruise"),
        ("c side outside", "LH outside heel bruise"),
        ("correct place toe", "LH inside toe bruise"),
        ("correct what corn", "LH inside heel corn"),
        ("correct zone toe", "LH inside toe bruise"),
        ("correct foot RF", "RF inside heel bruise"),
        ("correct 1 side not said", "LH heel bruise"),
        ("correct part 1 side outside", "LH outside heel bruise"),
        ("move RH", "RH inside heel bruise"),
        ("move to near fore", "LF inside heel bruise"),
        ("m rh", "RH inside heel bruise"),
    ],
)
def test_one_thing_is_put_right(visit40, session: Session, line: str, becomes: str):
    heard = "inside heel bruise"
    session(f"list {place_of(visit40, heard)}", line)
    assert texts(visit40, heard) == [f"{becomes} confirmed"]


def test_a_choice_may_be_named_by_its_number(visit40, session: Session):
    heard = "inside heel bruise"
    desk = visit40.desk()
    side = next(s for s in desk.slots(item(visit40, heard), 0) if s.name == "side")
    wanted = [c.id for c in side.choices].index("lateral") + 1
    out = session(f"list {place_of(visit40, heard)}", "correct side", f"correct side {wanted}")
    assert f"{wanted}: outside." in out
    assert texts(visit40, heard) == ["LH outside heel bruise confirmed"]


def test_a_number_is_typed_and_an_unlikely_one_is_asked_about(visit40, session: Session):
    heard = "toe length thirty two and a half inches"
    where = f"list {place_of(visit40, heard)}"
    session(where, "correct how much 3.25")
    assert texts(visit40, heard) == ["RF toe length 3.25 in confirmed"]
    out = session("u", "correct how much 99")
    assert texts(visit40, heard) == ["RF toe length 99 in heard"]
    assert any("99 in: is that right" in line for line in out)


@pytest.mark.parametrize(
    "line", ["correct", "correct wings 3", "correct side sideways", "c 7 foot"]
)
def test_a_correction_that_says_nothing_shows_what_there_is(visit40, session: Session, line: str):
    before = visit40.desk().items
    out = session(f"list {place_of(visit40, 'inside heel bruise')}", line)
    told = out[-4] + out[-3]
    assert "correct" in told or "It may be" in "".join(out) or "one part only" in told
    assert visit40.desk().items == before


def test_a_split_makes_two_and_the_second_is_corrected(visit40, session: Session):
    heard = "inside heel corn"
    where = f"list {place_of(visit40, heard)}"
    out = session(where, "split", "correct what corn", "correct 2 what bruise")
    assert any(line.startswith("Which part, 1 to 2?") for line in out)
    assert sorted(texts(visit40, heard)) == [
        "RH inside heel bruise confirmed",
        "RH inside heel corn heard",
    ]


def test_strike_takes_all_or_one_part(visit40, session: Session):
    session("heel bruise and thrush in the frog")
    where = f"list {place_of(visit40, 'tow crack')}"
    out = session(where, "strike 3", "strike 1")
    assert any(line.startswith("Which part") for line in out)
    assert texts(visit40, "tow crack") == ["LH frog thrush confirmed"]
    session(f"list {place_of(visit40, 'seedy toe')}", "strike that")
    assert "seedy toe" not in [i.heard for i in visit40.desk().items]


def test_undo_takes_back_step_by_step_and_after_a_restart(visit40, session: Session):
    before = visit40.desk().items
    session("2", "strike", "sure LF", "add left hind heel bruise")
    assert visit40.desk().items != before
    out = session("u", "undo", "u", "u", "u")
    assert len([line for line in out if line.startswith("Undone")]) == 4
    assert "Nothing left to undo." in out
    assert visit40.desk().items == before


def test_all_sure_ones_of_a_foot_and_of_all(visit40, session: Session):
    of_foot = sum(i.state == "sure" and i.limb == "RH" for i in visit40.desk().items)
    session("sure rh")
    assert visit40.desk().counts()[CONFIRMED] == of_foot > 0
    assert any(line == "There is no foot 'wing'." for line in session("sure wing"))
    session("all", "t")
    assert visit40.desk().counts()["sure"] == 0


def test_when_all_is_confirmed_it_says_so(visit40, session: Session):
    session("sure")
    desk = visit40.desk()
    while (first := desk.items[0]).state != CONFIRMED:
        assert (desk.accept(first) if first.parts else desk.strike(first)).changed
    out = session()
    assert out[-1] == "Left; everything is kept. All is done."
    assert "All is confirmed." in session("add left hind heel bruise")


def test_adding_where_nothing_was_heard(visit40, session: Session):
    empty = visit40.log.start_visit("microphone").id
    out = session("", "1", "hear", "add left hind heel bruise", visit=empty)
    assert out[:2] == [f"Review of a horse not named, {out[0][-11:-1]}.", "Nothing was heard."]
    assert len([line for line in out if line.startswith("Nothing was heard here")]) == 3
    assert any(line.startswith("1 of 1.") for line in out)
    assert len(visit40.log.entries(empty, in_force=True)) == 1


def test_moving_to_another_horse_and_going_there(visit40, session: Session):
    heard = "inside heel bruise"
    out = session(f"list {place_of(visit40, heard)}", "move to Bella", "horse", "h bella")
    assert heard not in [i.heard for i in visit40.desk().items]
    assert "1: Duke, this one." in out
    assert any(line.startswith("Review of Bella") for line in out)
    assert any(line == f"Heard: {heard}." for line in out[-6:])
    assert "No visit of that day is of 'Nobody'." in session("horse Nobody")


def test_hearing_it_again_without_a_loudspeaker_is_a_line(visit40, session: Session):
    player = Deaf()
    for line in ("hear", " ", "space"):
        out = session(line, player=player)
        assert out[-3].startswith("It cannot be heard: there is no loudspeaker")
    assert player.given == [visit40.log.sound(item(visit40, "tow crack").id)] * 3
    assert any("no sound can be played" in line.lower() for line in session("hear"))
    session("add left hind heel bruise")
    added = f"list {place_of(visit40, 'left hind heel bruise')}"
    assert "No sound was kept of this one." in session(added, "hear", player=player)


def test_going_about(visit40, session: Session):
    def seen(*lines: str) -> list[str]:
        return [line.partition(" ")[0] for line in session(*lines) if f" of {DUKE}. " in line]

    assert seen("n", "b", "b", "next", "list 12", "list 99") == ["1", "2", "1", "43", "1", "12"]
    feet = [line for line in session("f", "f", "f", "f") if f" of {DUKE}. " in line]
    assert [line.split(". ")[1].split(",")[0] for line in feet] == [
        *("Left hind", "Right hind", "Left front", "Right front", "Left hind")
    ]


def test_history_and_notes_are_read(visit40, session: Session):
    out = session("2", f"list {place_of(visit40, 'tow crack')}", "notes")
    assert "Of the horse: heart girth 230 cm." in out
    where = f"list {place_of(visit40, 'tow crack')}"
    assert any("review" in line for line in session(where, "history"))


def test_what_another_process_adds_is_said_and_what_it_changes_is_shown_again(visit40):
    """What is judged is what was shown: a change underneath is never confirmed unseen."""
    out: list[str] = []
    heard = "inside heel bruise"
    with Log.open(visit40.path) as other:

        def lines():
            yield f"list {place_of(visit40, heard)}\n"
            other.strike([item(visit40, heard).parts[0].entry_id], "voice")
            other.append(visit40.id, UtteranceRow(heard="halt", status="unclear"))
            yield "accept\n"

        script = lines()
        Plain(
            lambda it: visit40.desk(), visit40.id, None, {}, lambda: next(script, None), out.append
        ).run()
    assert "It has changed meanwhile; look again." in out
    assert "1 more heard meanwhile." in out
    assert visit40.desk().counts()[CONFIRMED] == 0


def test_every_verb_that_takes_more_is_one():
    assert set(VERBS.values()) >= TAKES_MORE


def test_it_loads_no_screen_no_recognizer_and_no_sound():
    script = (
        "import sys, handsfree.review.plain, handsfree.review.player, handsfree.cli.review\n"
        "heavy = ('textual', 'rich', 'soundfile', 'soxr', 'sounddevice', 'ctranslate2', 'piper',\n"
        "         'pocketsphinx', 'vosk', 'tokenizers', 'onnxruntime')\n"
        "print([m for m in heavy if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_a_visit_without_a_horse_is_named(visit40, session: Session):
    unnamed = visit40.log.start_visit("microphone", horse_said="clover").id
    out = session("horse", "horse name Clover", visit=unnamed)
    assert out[0].startswith("Review of a horse not named, heard 'clover', ")
    assert "1: not named, heard 'clover', this one." in out
    assert "This is Clover's visit." in out
    assert visit40.log.visit(unnamed).horse == "Clover"
