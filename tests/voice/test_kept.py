"""A speaker's file: written and read back, and what becomes of one that is not as it should be."""

import os
import tomllib
from pathlib import Path

import platformdirs
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from handsfree.engines.speaker import Speaker
from handsfree.errors import HandsfreeError
from handsfree.voice.kept import (
    DamagedVoice,
    Kept,
    Taught,
    as_toml,
    folder,
    path_of,
    plain_name,
    read,
    versions,
    write,
)
from handsfree.voice.use import speaker_named

KEPT = Kept(
    "me",
    Speaker(1.08, {"agree": -0.412, "alone-neural": 0.2}),
    "2026-11-29T12:00:00+00:00",
    (Taught("thresh in the fog", "thrush in the frog"),),
    {"right": 12, "right but doubtful": 3, "wrong": 4, "sure but wrong": 1},
    {"right": 13, "right but doubtful": 3, "wrong": 3, "sure but wrong": 1},
    versions(),
)


@pytest.fixture(autouse=True)
def settings_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(platformdirs, "user_config_dir", lambda *a, **k: str(tmp_path))
    return tmp_path / "voices"


def test_what_is_written_is_read_back(settings_folder: Path) -> None:
    assert read("me") is None
    path = write(KEPT)
    assert path == settings_folder / "me.toml" == path_of("ME")
    assert read("me") == KEPT
    assert [each.name for each in settings_folder.iterdir()] == ["me.toml"]
    text = path.read_text(encoding="utf-8")
    assert text.startswith("# Fitted to this speaker")
    assert "--forget" in text


texts = st.text(st.characters(codec="utf-8"), min_size=1, max_size=12)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.floats(0.5, 2),
    st.dictionaries(texts, st.floats(-10, 10), max_size=3),
    st.lists(st.builds(Taught, texts, texts), max_size=2),
    texts,
)
def test_whatever_is_in_it(
    warp: float, shift: dict[str, float], lessons: list[Taught], made_at: str
) -> None:
    kept = Kept("a-1", Speaker(warp, shift), made_at, tuple(lessons))
    assert tomllib.loads(as_toml(kept))["warp"] == warp
    write(kept)
    assert read("a-1") == kept


def test_a_write_that_fails_leaves_the_old_one(
    settings_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(KEPT)

    def refuse(*paths: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(HandsfreeError, match=r"me\.toml: cannot be written: No space"):
        write(Kept("me", Speaker(), "later"))
    assert read("me") == KEPT
    assert len(list(settings_folder.iterdir())) == 1


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ("warp = 1.08", "", "no speaker's file"),
        ("warp = 1.08", "warp = nan", "no speaker's file"),
        ("warp = 1.08", "warp = 90.0", "no speaker's file"),
        ("warp = 1.08", "warp = true", "no speaker's file"),
        ("warp = 1.08", 'warp = "1"', "no speaker's file"),
        ("made_at = ", "made = ", "no speaker's file"),
        ('"agree" = -0.412', '"agree" = inf', "a shift is no number"),
        ('"agree" = -0.412', '"agree" = 11', "a shift is no number"),
        ("[shift]", "[shift", "is damaged"),
        ("[before]", "[[before]]", "'before' is no table"),
        ("[[lesson]]", "[lesson]", "'lesson' is no list"),
        ('"heard" = ', '"her" = ', "a lesson needs"),
    ],
)
def test_a_damaged_file_is_one_line_and_left_out(before: str, after: str, says: str) -> None:
    path = write(KEPT)
    text = path.read_text(encoding="utf-8")
    assert before in text
    path.write_text(text.replace(before, after), encoding="utf-8")
    with pytest.raises(DamagedVoice, match=says):
        read("me")
    for name in (None, "me"):
        told: list[str] = []
        assert speaker_named(name, told.append) == Speaker()
        (line,) = told
        assert str(path) in line
        assert "listening without it" in line
        assert "\n" not in line


@pytest.mark.parametrize("data", [b"\xff\xfe\x00", b"[" * 20_000, b"{}", b"\x00"])
def test_what_is_no_toml_at_all(settings_folder: Path, data: bytes) -> None:
    settings_folder.mkdir()
    (settings_folder / "me.toml").write_bytes(data)
    told: list[str] = []
    assert speaker_named(None, told.append) == Speaker()
    assert len(told) == 1


def test_a_folder_in_its_place(settings_folder: Path) -> None:
    (settings_folder / "me.toml").mkdir(parents=True)
    with pytest.raises(DamagedVoice, match="cannot be read"):
        read("me")


@pytest.mark.parametrize("name", ["", "none", "NONE", "../me", "a b", "a.b", "é", "-a", "x" * 41])
def test_names_that_are_none(name: str) -> None:
    with pytest.raises(HandsfreeError, match="cannot be a speaker's name"):
        plain_name(name)


def test_who_is_listened_for() -> None:
    told: list[str] = []
    assert speaker_named(None, told.append) == Speaker()
    assert told == []
    with pytest.raises(HandsfreeError, match=r"no voice 'me'.*makes one"):
        speaker_named("me", told.append)
    write(KEPT)
    assert speaker_named(None, told.append) == KEPT.speaker
    assert speaker_named("Me", told.append) == KEPT.speaker
    assert told == ["fitted to the voice of me"] * 2
    assert speaker_named("none", told.append) == Speaker()
    assert len(told) == 2


@pytest.mark.parametrize(
    ("other", "left", "says"),
    [
        ("pocketsphinx", Speaker(1.0, KEPT.speaker.shift), "another PocketSphinx"),
        ("confidence", Speaker(1.08, {}), "other weights"),
    ],
)
def test_what_was_measured_with_something_else_is_not_used(
    other: str, left: Speaker, says: str
) -> None:
    engines = {**KEPT.engines, other: "0"}
    write(Kept("me", KEPT.speaker, KEPT.made_at, engines=engines))
    told: list[str] = []
    assert speaker_named(None, told.append) == left
    assert says in told[0]
    assert folder().name in told[0]
