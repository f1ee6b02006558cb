"""`handsfree visits`: a visit whose horse was not known is named later."""

from typing import Any


def said(run: Any, *lines: str) -> Any:
    done = run("transcribe", "--engine", "text", "--json", "-", stdin="\n".join(lines) + "\n")
    assert done.code == 0, done.err
    return done.objects


def id_of(run: Any, name: str) -> str:
    """The beginning of the id of the visit that is listed with this name."""
    rows = run("visits", COLUMNS="160").out.splitlines()
    return str(next(row.split()[1] for row in rows if name in row))


def test_a_visit_of_an_unknown_horse_is_shown_as_such_and_named_later(run: Any) -> None:
    run("horses", "add", "Rosie")
    *_, last = said(run, "horse rosie", "left hind bruise", "horse duke", "left hind canker")
    assert (last["horse"], last["horse_said"], last["doubt"]) == (None, "duke", None)
    table = " ".join(run("visits", COLUMNS="160").out.split())
    assert "(not named, heard 'duke')" in table
    visit = id_of(run, "duke")
    shown = " ".join(run("show", visit).out.split())
    assert shown.startswith("horse not named, heard 'duke', 20")
    named = run("visits", "name", visit, "Duke")
    assert (named.code, named.out) == (0, f"visit {visit} is Duke's; Duke is new in the log\n")
    assert "canker" in run("show", visit).out
    assert "Duke" in run("show", visit).out
    again = run("visits", "name", visit, "rosie")
    assert again.out == f"visit {visit} is Rosie's (was Duke's)\n"


def test_a_new_name_that_is_nearly_one_of_the_log_is_said(run: Any) -> None:
    run("horses", "add", "Rosie")
    said(run, "horse duke", "left hind canker")
    visit = id_of(run, "duke")
    assert "did you mean Rosie?" in run("visits", "name", visit, "Rosy").out


def test_what_cannot_be_named_is_one_line(run: Any) -> None:
    said(run, "left hind canker")
    none = run("visits", "name", "ffffffff", "Duke")
    assert (none.code, none.err.count("\n")) == (5, 1)
    assert "has no visit ffffffff" in none.err
