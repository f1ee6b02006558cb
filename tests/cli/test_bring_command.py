"""`handsfree bring`: each file is told of, a bad one stops nothing, and transcribe remembers."""

import json
import shutil
from pathlib import Path
from types import SimpleNamespace

import click
import pytest
import soundfile

from handsfree.cli import bring as command
from handsfree.cli.transcribe import transcribe
from handsfree.demo import folder
from handsfree.engines.confidence import Confidence, load
from handsfree.engines.speaker import NO_WARP, Speaker
from handsfree.engines.together import Verdict
from handsfree.errors import HandsfreeError
from handsfree.log import Log
from handsfree.voice.kept import Kept, versions, write
from handsfree.voice.use import confidence_for


class Ears:
    """Hears a bruise whatever is said."""

    def __init__(self, chosen: object, grammar, confidence: object = None) -> None:
        self._grammar = grammar

    def hear(self, clip) -> Verdict:
        words = "left hind outside heel bruise"
        return Verdict(self._grammar.read(words.split()), 0.97, words, ("told",))

    def close(self) -> None:
        pass


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A recording, a copy of it, a later one, and two bad ones."""
    told = lambda *_: ([SimpleNamespace(name="told")], ())  # noqa: E731
    for module in ("bring", "transcribe"):
        monkeypatch.setattr(f"handsfree.cli.{module}.listeners", told)
        monkeypatch.setattr(f"handsfree.cli.{module}.Together", Ears)
    monkeypatch.setenv("COLUMNS", "80")
    found = tmp_path / "recorder"
    found.mkdir()
    sound, rate = soundfile.read(folder() / "riding_horse.flac", frames=8 * 16000)
    soundfile.write(found / "2026-05-14_09-30.wav", sound, rate)
    shutil.copy(found / "2026-05-14_09-30.wav", found / "2026-05-14_09-30 (2).wav")
    soundfile.write(found / "2026-05-15_08-00\x1b[2J.flac", sound[:-16000], rate)
    (found / "note.m4a").write_bytes(b"x")
    (found / "bad.wav").write_bytes(b"RIFF")
    with Log.open(tmp_path / "log.db") as log:
        log.add_horse("Bramble")
    return found


def run(capsys, place: Path, *more: str) -> tuple[int, str, str]:
    log = str(place.parent / "log.db")
    code = command.bring.main([str(place), "--log", log, *more], standalone_mode=False)
    return (code, *capsys.readouterr())


def test_all_good_ones_are_taken_and_the_bad_named(place: Path, capsys) -> None:
    code, out, err = run(capsys, place, "--horse", "bramble")
    assert code == 2
    assert "2026-05-14 09:30, from the file's name" in out
    assert "taken before as 2026-05-14_09-30" in out
    assert out.splitlines()[-1] == "2 taken, 1 known before, 2 that cannot be"
    assert "bad.wav: is not a WAV, FLAC, MP3 or M4A" in err
    assert "note.m4a: is not a WAV, FLAC, MP3 or M4A" in err
    assert "\x1b" not in out + err
    with Log.open(place.parent / "log.db") as log:
        visits = log.visits(horse="Bramble")
        assert [v.started_at[:10] for v in visits] == ["2026-05-15", "2026-05-14"]
        assert all(v.entries for v in visits)
    code, out, _ = run(capsys, place)
    assert out.splitlines()[-1] == "0 taken, 3 known before, 2 that cannot be"


def test_a_damaged_one_does_not_count_as_taken(place: Path, capsys) -> None:
    for each in place.iterdir():
        each.unlink()
    sound, rate = soundfile.read(folder() / "riding_horse.flac", frames=8 * 16000)
    soundfile.write(place / "2026-05-14_09-30.flac", sound, rate)
    data = bytearray((place / "2026-05-14_09-30.flac").read_bytes())
    data[len(data) // 2] ^= 4
    (place / "2026-05-14_09-30.flac").write_bytes(data)
    for _ in range(2):
        code, out, err = run(capsys, place)
        assert code == 2
        assert out.splitlines()[-1] == "0 taken, 0 known before, 1 damaged, 0 that cannot be"
        assert "2026-05-14_09-30.flac: 0.3 s of it are lost" in err
    with Log.open(place.parent / "log.db") as log:
        assert len(log.visits()) == 1


def test_looking_takes_nothing(place: Path, capsys) -> None:
    _, out, _ = run(capsys, place, "--look")
    assert out.splitlines()[-1] == "3 would be taken, 0 known before, 2 that cannot be"
    with Log.open(place.parent / "log.db") as log:
        assert log.visits() == []


def test_json_is_one_object_a_file(place: Path, capsys) -> None:
    _, out, _ = run(capsys, place, "--json")
    rows = [json.loads(line) for line in out.splitlines()]
    assert [row["state"] for row in rows] == ["taken", "known", "taken"]
    assert rows[0]["visits"] == rows[1]["visits"]
    assert rows[0]["made"] | {"at": ""} == {"at": "", "by": "the file's name"}


def test_typed_words_and_unknown_horses_are_refused(place: Path, capsys) -> None:
    with pytest.raises(HandsfreeError, match="no horse 'Nobody'"):
        run(capsys, place, "--horse", "Nobody")
    with pytest.raises(click.UsageError, match="typed words"):
        run(capsys, place, "--engine", "text")


def test_it_listens_for_the_voice_that_was_fitted(
    place: Path, capsys, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The warp goes to the recognizers, the shift to how sure they may be; 'none' is nobody."""
    monkeypatch.setattr("handsfree.voice.kept.folder", lambda: tmp_path / "voices")
    voice = Speaker(warp=1.08, shift={next(iter(load().cases)): 0.5})
    write(Kept("duke", voice, "2026-11-01T09:00:00+00:00", engines=versions()))
    warps: list[float] = []
    sure: list[Confidence | None] = []

    def told(*given: object) -> tuple[list[SimpleNamespace], tuple[str, ...]]:
        warps.append(given[4] if len(given) > 4 else NO_WARP)
        return [SimpleNamespace(name="told")], ()

    def ears(chosen: object, grammar: object, confidence: Confidence | None = None) -> Ears:
        sure.append(confidence)
        return Ears(chosen, grammar)

    monkeypatch.setattr(command, "listeners", told)
    monkeypatch.setattr(command, "Together", ears)
    with pytest.raises(HandsfreeError, match="there is no voice 'groom'"):
        run(capsys, place, "--voice", "groom")
    assert "fitted to the voice of duke" in run(capsys, place, "--voice", "duke")[2]
    (place.parent / "log.db").unlink()
    assert "fitted" not in run(capsys, place, "--voice", "none")[2]
    assert warps == [1.08, NO_WARP]
    assert sure == [confidence_for(voice), confidence_for(Speaker())]
    assert sure[0] != sure[1]


def test_transcribing_twice_makes_one_visit_and_the_same_output(place: Path, capsys) -> None:
    file = place / "2026-05-14_09-30.wav"
    arguments = [str(file), "--json", "--log", str(place.parent / "log.db")]

    def heard(*more: str) -> tuple[list, str]:
        assert transcribe.main([*arguments, *more], standalone_mode=False) == 0
        out, err = capsys.readouterr()
        return [json.loads(line) for line in out.splitlines()], err

    def visits() -> list[str]:
        with Log.open(place.parent / "log.db") as log:
            return [visit.id for visit in log.visits()]

    first, quiet = heard()
    assert first
    assert "taken before" not in quiet
    (visit,) = visits()
    again, told = heard()
    assert again == first
    assert f"{file.name}: was taken before, visit {visit[:8]} of" in told
    assert "--again" in told
    assert visits() == [visit]
    assert "taken before, " in run(capsys, place)[1]
    anew, quiet = heard("--again")
    assert [row | {"utterance_id": None} for row in anew] == [
        row | {"utterance_id": None} for row in first
    ]
    assert "taken before" not in quiet
    with Log.open(place.parent / "log.db") as log:
        assert len([v for v in log.visits() if v.source == str(file)]) == 2
    assert len(heard()[0]) == len(first)


def test_a_transcription_that_was_broken_off_goes_on_in_its_visit(
    place: Path, capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = place / "2026-05-14_09-30.wav"
    arguments = [str(file), "--json", "--log", str(place.parent / "log.db")]
    calm = [str(file), "--json", "--log", str(place.parent / "calm.db")]
    assert transcribe.main(calm, standalone_mode=False) == 0
    whole = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert len(whole) > 2
    hear, count = Ears.hear, 0

    def tired(self, clip) -> Verdict:
        nonlocal count
        count += 1
        if count == 2:
            raise KeyboardInterrupt
        return hear(self, clip)

    monkeypatch.setattr(Ears, "hear", tired)
    with pytest.raises((KeyboardInterrupt, click.Abort)):
        transcribe.main(arguments, standalone_mode=False)
    assert len(capsys.readouterr().out.splitlines()) == 1
    assert transcribe.main(arguments, standalone_mode=False) == 0
    out, err = capsys.readouterr()
    rows = [json.loads(line) | {"utterance_id": None} for line in out.splitlines()]
    assert rows == [row | {"utterance_id": None} for row in whole]
    assert "gone on with" in err
    assert count == len(whole) + 1
    with Log.open(place.parent / "log.db") as log:
        (visit,) = log.visits()
        assert visit.utterances == len(whole)
