"""Words of one's own as a user meets them: added, listed, used, removed; a file that is damaged."""

import os
from pathlib import Path

import pytest

SEVERE = {"kind": "finding", "term": "lameness", "grade": "severe", "limb": "LF"}


@pytest.fixture
def settings(tmp_path: Path) -> dict[str, str]:
    return {"XDG_CONFIG_HOME": str(tmp_path / "settings")}


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "settings" / "handsfree" / "own_words.toml"


def typed(run, *lines: str, options: tuple[str, ...] = (), **environment: str):
    text = "\n".join(lines) + "\n"
    return run("transcribe", "--engine", "text", "--json", *options, "-", stdin=text, **environment)


def entries(done) -> list[dict]:
    assert done.code == 0, done.err
    kept = [e for line in done.objects for e in line["entries"]]
    return [{k: v for k, v in e.items() if v not in (None, False)} for e in kept]


def test_added_used_listed_removed(run, settings: dict[str, str], file: Path, tmp_path: Path):
    assert run("words", "own", **settings).out.startswith("no words of your own yet")
    added = run("words", "add", "Pritchel lame", "--means", "dead lame", **settings)
    assert (added.code, added.out, added.err) == (
        0,
        "'pritchel lame' means 'dead lame': severe lameness\n",
        "",
    )
    assert '"pritchel lame" = "dead lame"' in file.read_text(encoding="utf-8")
    if os.name == "posix":
        assert file.stat().st_mode & 0o077 == 0
    assert not (tmp_path / "log.db").exists()

    done = typed(run, "left fore pritchel lame", "remark pritchel lame", **settings)
    assert entries(done) == [
        SEVERE,
        {"kind": "remark", "limb": "LF", "text": "pritchel lame"},
    ]
    assert done.objects[0]["heard"] == "left fore pritchel lame"
    assert done.objects[0]["doubt"] is None

    assert run("words", "own", **settings).out == "pritchel lame: dead lame\n"
    (listed,) = run("words", "own", "--json", **settings).objects
    assert listed == {"phrase": "pritchel lame", "means": "dead lame", "in_use": True}

    removed = run("words", "remove", "pritchel", "lame", **settings)
    assert removed.out == "removed: 'pritchel lame', which meant 'dead lame'\n"
    assert entries(typed(run, "left fore pritchel lame", **settings)) != [SEVERE]
    again = run("words", "remove", "pritchel lame", **settings)
    assert again.code == 1
    assert "is no word of your own" in again.err


def test_another_file_by_option_and_by_environment(run, settings: dict[str, str], tmp_path: Path):
    here, there = str(tmp_path / "here.toml"), str(tmp_path / "new" / "there.toml")
    run("words", "add", "dumpy", "--means", "severe lameness", "--own-words", here, **settings)
    run("words", "add", "lumpy", "--means", "mild bruise", HANDSFREE_OWN_WORDS=there, **settings)
    assert entries(typed(run, "left fore dumpy", options=("--own-words", here))) == [SEVERE]
    (bruise,) = entries(typed(run, "left fore lumpy", HANDSFREE_OWN_WORDS=there))
    assert bruise["term"] == "bruise"
    assert run("words", "own", **settings).out.startswith("no words of your own yet")


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (("heel", "--means", "toe"), "'heel' means something already: heel"),
        (("dumpy", "--means", "wibble"), "'wibble' says nothing"),
        (("", "--means", "lame"), "the phrase is empty"),
        (("dumpy", "--means", ""), "the meaning is empty"),
        (("dumpy",), "Missing option '--means'"),
        ((), "Missing argument"),
        (("bramble", "--means", "left hind"), "'bramble' is the name of a horse"),
    ],
)
def test_a_refusal_is_one_line(run, settings, file: Path, arguments: tuple[str, ...], why: str):
    run("horses", "add", "Bramble", **settings)
    done = run("words", "add", *arguments, **settings)
    assert done.code == 1
    assert why in done.err
    assert len(done.err.splitlines()) == 1
    assert not file.exists()


def test_a_damaged_file_is_one_line_and_stops_nothing(run, settings, file: Path):
    file.parent.mkdir(parents=True)
    for bad in (b"[means", b"\xff\xfe", b"lame = 1"):
        file.write_bytes(bad)
        done = typed(run, "left fore severe lameness", **settings)
        assert entries(done) == [SEVERE]
        (line,) = done.err.splitlines()
        assert str(file) in line
        assert line.endswith("going on without your own words")
        for command in (("own",), ("add", "dumpy", "--means", "lame"), ("remove", "dumpy")):
            refused = run("words", *command, **settings)
            assert refused.code == 1
            assert len(refused.err.splitlines()) == 1
        assert file.read_bytes() == bad


def test_what_is_wrong_in_a_file_is_told_and_the_rest_used(run, settings, file: Path):
    file.parent.mkdir(parents=True)
    file.write_text('[means]\nheel = "toe"\ndumpy = "severe lameness"\n', encoding="utf-8")
    done = typed(run, "left fore dumpy", "left fore heel bruise", **settings)
    first, second = entries(done)
    assert first == SEVERE
    assert second["zone"] == "heel"
    assert "'heel' means something already: heel; not used" in done.err
    listed = run("words", "own", **settings).out.splitlines()
    assert listed == [
        "heel: toe (not used: 'heel' means something already: heel)",
        "dumpy: severe lameness",
    ]


def test_what_the_listeners_cannot_hear_is_said(run, settings):
    done = run("words", "add", "dumpy", "--means", "it was worse and better", **settings)
    assert done.code in (0, 1)
    heard = run("words", "add", "lumpy", "--means", "outside heel", **settings)
    assert "cannot hear" not in heard.out


def test_text_is_still_looked_for(run):
    assert "heel" in run("words", "heel").out
    help_text = " ".join(run("words", "--help").out.split())
    for command in ("words add", "words own", "words remove"):
        assert f"handsfree {command}" in help_text


def test_review_reads_words_of_ones_own(run, settings):
    run("words", "add", "dumpy", "--means", "severe lameness", **settings)
    typed(run, "left fore bruise", **settings)
    run("review", "--plain", stdin="0\nleft fore dumpy\nq\n", **settings)
    assert "severe lameness" in run("show", **settings).out
