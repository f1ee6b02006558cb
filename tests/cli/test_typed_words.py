"""The whole program driven by typed words: the contract's output, the log, the errors."""

import json
from pathlib import Path

import pytest

from handsfree.dialogue.dialogue import Dialogue
from handsfree.dialogue.session import Session
from handsfree.grammar.grammar import load
from handsfree.log import Log
from handsfree.recording import Recorder
from handsfree.transcribe import typed_lines

KEYS = {
    "finding": "limb zone side term grade age trend below_hairline_mm extent_mm scale_grade denied",
    "measurement": "limb side quantity value unit unit_inferred",
    "nails": "limb action count side",
    "shoe": "limb item detail",
    "work": "limb action",
    "plan": "action weeks text limb",
    "remark": "limb text",
}


def typed(run, *lines: str, options: tuple[str, ...] = ()):
    done = run(
        "transcribe", "--engine", "text", "--json", *options, "-", stdin="\n".join(lines) + "\n"
    )
    assert done.code == 0, done.err
    return done.objects


def test_the_contracts_example(run):
    (line,) = typed(run, "left hind outside heel bruise")
    assert line["file"] == "-"
    assert line["heard"] == "left hind outside heel bruise"
    assert line["status"] == "recorded"
    assert line["command"] is None
    assert line["limb"] == "LH"
    assert 0 <= line["confidence"] <= 1
    (entry,) = line["entries"]
    assert entry == {
        "kind": "finding",
        "limb": "LH",
        "zone": "heel",
        "side": "lateral",
        "term": "bruise",
        "grade": None,
        "age": None,
        "trend": None,
        "below_hairline_mm": None,
        "extent_mm": None,
        "scale_grade": None,
        "denied": False,
    }


def test_every_kind_has_its_keys(run):
    lines = typed(
        run,
        "left hind outside heel bruise three quarters of an inch below the hairline",
        "toe length three and a quarter inches",
        "left hind, pulled seven nails",
        "quarter clips",
        "trimmed",
        "come back in six weeks",
        "remark she is good today",
    )
    entries = [e for line in lines for e in line["entries"]]
    assert [e["kind"] for e in entries] == list(KEYS)
    for entry in entries:
        assert set(entry) == {"kind", *KEYS[entry["kind"]].split()}
    assert entries[0]["below_hairline_mm"] == pytest.approx(0.75 * 25.4, abs=0.01)


def test_unclear_command_and_bare_limb(run):
    statuses = [
        (li["status"], li["command"], li["limb"])
        for li in typed(run, "off fore", "foot up", "stand still will you")
    ]
    assert statuses == [
        ("command", None, "RF"),
        ("command", "foot_up", "RF"),
        ("unclear", None, "RF"),
    ]


def test_limb_option_and_nothing_but_json_on_standard_output(run):
    (line,) = typed(run, "bruise", options=("--limb", "RH"))
    assert line["entries"][0]["limb"] == "RH"


def test_log_holds_it_before_and_after_a_strike(run):
    typed(
        run,
        "left hind canker",
        "strike that",
        "thrush in the frog",
        "wrong, mild thrush in the frog",
    )
    shown = [json.loads(line) for line in run("show", "--json").out.splitlines()]
    assert [(e["term"], e["grade"], e["status"]) for e in shown] == [("thrush", "mild", "heard")]


def test_a_caution_begins_with_its_order_on_the_screen(run):
    typed(run, "left fore", "puncture in the frog")
    (line,) = [each for each in run("show").out.splitlines() if "CAUTION" in each]
    assert line.startswith("! CAUTION LF: Stop. Call the vet. Puncture in the frog")
    assert "Do not walk the horse." in line


@pytest.mark.parametrize(
    ("said", "foot", "order"),
    [
        ("he's stood on a nail near hind", "LH", "Stop. Call the vet."),
        ("deep cut at the coronet off fore", "RF", "Stop. Call the vet."),
        ("reckon that's lami coming in front", "LF", "Stop. Call the vet."),
    ],
)
def test_transcribe_tells_a_caution_at_once_the_order_first(run, tmp_path, said, foot, order):
    notes = tmp_path / "notes.txt"
    notes.write_text(f"{said}\nleft hind trimmed\n", encoding="utf-8")
    lines = run("transcribe", "--engine", "text", notes).out.splitlines()
    told = [at for at, line in enumerate(lines) if "CAUTION" in line]
    assert told[0] == 2
    assert lines[2].startswith(f"! CAUTION {foot}: {order}")


def test_spoken_horse_begins_a_visit_of_its_own(run):
    run("horses", "add", "Bramble", "--kind", "heavy")
    typed(run, "left hind bruise", "horse bramble", "left hind canker")
    visits = run("visits").out
    assert "Bramble" in visits
    assert "(not named)" in visits
    assert "canker" in run("show").out
    assert "bruise" not in run("show").out


def test_missing_file_is_named_and_the_others_are_done(run, tmp_path: Path):
    good = tmp_path / "good.txt"
    good.write_text("left hind canker\n")
    done = run("transcribe", "--engine", "text", "--json", tmp_path / "none.txt", good)
    assert done.code == 2
    assert [o["status"] for o in done.objects] == ["recorded"]
    assert "none.txt" in done.err
    assert len(done.err.strip().splitlines()) == 1


def test_bytes_that_are_no_text(run, tmp_path: Path):
    bad = tmp_path / "bad.txt"
    bad.write_bytes(b"\xff\xfe\x00left")
    done = run("transcribe", "--engine", "text", "--json", bad)
    assert (done.code, done.out) == (2, "")
    assert "bad.txt" in done.err


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (["transcribe"], 1, "FILE"),
        (["transcribe", "--engine", "nonesuch", "x.wav"], 4, "nonesuch"),
        (["transcribe", "--engine", "vosk", "--model", "/nowhere", "x.wav"], 4, "/nowhere"),
        (["transcribe", "--engine", "text", "--engine", "neural", "x"], 1, "text"),
        (["transcribe", "--horse", "Nobody", "--engine", "text", "x"], 1, "Nobody"),
        (["show"], 5, "no visits"),
        (["show", "abc"], 5, "abc"),
        (["visits", "--horse", "Nobody"], 5, "Nobody"),
        (["nonsense"], 1, "nonsense"),
    ],
)
def test_errors_are_one_line_with_their_exit_code(
    run, arguments: list[str], code: int, says: str, tmp_path: Path
):
    Log.open(tmp_path / "log.db").close()
    done = run(*arguments)
    assert done.code == code, done.err
    assert says in done.err
    assert len(done.err.strip().splitlines()) == 1
    assert "Traceback" not in done.err


def test_debug_shows_the_traceback(run):
    assert "Traceback" in run("--debug", "show").err


def test_log_that_is_no_database(run, tmp_path: Path):
    (tmp_path / "log.db").write_text("this is no database, it is a shopping list " * 40)
    done = run("transcribe", "--engine", "text", "-", stdin="left hind canker\n")
    assert done.code == 5
    assert "log.db" in done.err
    assert len(done.err.strip().splitlines()) == 1


def test_no_log_keeps_nothing(run, tmp_path: Path):
    done = run("transcribe", "--engine", "text", "--no-log", "-", stdin="left hind canker\n")
    assert "canker" in done.out
    assert not (tmp_path / "log.db").exists()


def test_readable_lines_name_several_limbs_and_corrections(run):
    said = "left hind bruise\nboth fronts toed in\nwrong, both hinds toed in\n"
    lines = run("transcribe", "--engine", "text", "-", stdin=said).out.splitlines()
    assert lines[2].split() == ["LH", "LF", "RF:", "toed", "in"]
    assert lines[3].endswith("LH RH: toed in (in place of the last)")


def test_control_characters_never_reach_the_terminal(run):
    run("horses", "add", "Ev\x1b[2Jil")
    assert "\x1b" not in run("horses").out
    assert "\x07" not in run("transcribe", "--engine", "text", "-", stdin="rem\x07ark\n").out


def test_what_the_log_would_refuse_is_not_told_as_recorded(tmp_path: Path, monkeypatch) -> None:
    def refuse(body: dict[str, object]) -> None:
        if body.get("term") == "thrush":
            raise ValueError("its term is not known")

    monkeypatch.setattr("handsfree.log.writing.check_body", refuse)
    words = tmp_path / "said.txt"
    words.write_text("left hind\nbruise\nthrush\nstrike that\n")
    grammar = load()
    with Log.open(tmp_path / "log.db") as log:
        recorder = Recorder("said.txt", log, Dialogue(grammar, Session(None)))
        lines = list(typed_lines(str(words), grammar, recorder))
        told = [(line.outcome.status, len(line.outcome.entries), line.doubt) for line in lines[1:3]]
        why = "an entry cannot be written to the log: its term is not known"
        assert told == [("recorded", 1, None), ("unclear", 0, why)]
        assert recorder.visit_id is not None
        kept = log.utterances(recorder.visit_id)
        assert [line.outcome.status for line in lines] == [each.status for each in kept]
        assert [line.as_json()["doubt"] for line in lines] == [each.doubt for each in kept]
        # Nothing but the words is there to be struck.
        assert [e.body["term"] for e in log.entries(recorder.visit_id)] == ["bruise"]
