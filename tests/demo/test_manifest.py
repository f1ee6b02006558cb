"""The demo's manifest keeps to the description of the records and to its own sound files."""

import json
import subprocess
import sys
import tomllib
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

soundfile = pytest.importorskip("soundfile")

FOLDER = Path(__file__).parents[2] / "demo_audio"
LINES: list[dict[str, Any]] = [
    json.loads(line) for line in (FOLDER / "manifest.jsonl").read_text("utf-8").splitlines()
]
PHRASES = tomllib.loads((FOLDER / "phrases.toml").read_text("utf-8"))
SPECS: list[dict[str, Any]] = [
    {"file": recording["file"], "horse": recording.get("horse")} | utterance
    for recording in PHRASES["recording"]
    for utterance in recording["utterance"]
]
FILES = sorted({line["file"] for line in LINES})

# The ids and keys of the record description, written out again so that a slip in the demo
# cannot hide behind the program's own tables.
KEYS = {
    "finding": "limb zone side term grade age trend below_hairline_mm extent_mm scale_grade denied",
    "measurement": "limb side quantity value unit unit_inferred",
    "nails": "limb action count side",
    "shoe": "limb item detail",
    "work": "limb action",
    "plan": "action weeks text limb",
    "remark": "limb text",
}
IDS = {
    "limb": "LF RF LH RH",
    "side": "medial lateral",
    "zone": "toe quarter heel bulb sole frog bar seat_of_corn white_line wall coronary_band "
    "central_sulcus collateral_sulcus clip pastern fetlock cannon hock knee",
    "grade": "slight mild moderate severe",
    "age": "old fresh",
    "trend": "better same worse",
    "term": "bruise corn thrush canker crack flare dish chip separation seedy_toe "
    "white_line_disease abscess puncture nail_prick nail_bind heat raised_pulse "
    "bounding_pulse tender swelling cut thin_sole flat_sole long_toe low_heel underrun_heels "
    "contracted_heels sheared_heels growth_ring loose_clinch risen_clinch sprung_shoe "
    "shifted_shoe lost_shoe missing_nail wear brushing forging overreach stumbling lameness "
    "base_narrow base_wide toed_in toed_out",
    "quantity": "toe_length hoof_angle heel_angle pastern_angle heel_height heel_length "
    "hoof_width hoof_length coronary_circumference sole_depth wall_thickness frog_width "
    "frog_length heart_girth body_length height neck_girth weight",
    "unit": "mm cm in deg kg lb",
    "item": "size section clips studs pads crease bar_shoe rolled_toe fit inside_rounded wedge",
}
ACTIONS = {
    "nails": "pulled driven left_in lost",
    "work": "shoe_pulled trimmed shoe_reset new_shoe rasped clinched packed barefoot",
    "plan": "return call_vet watch next_time",
}
COMMANDS = [
    *("foot_up", "foot_down", "strike", "read_back", "whats_left", "break", "confirm"),
    *("ears_off", "ears_on", "next_horse", "horse", "horse_done", "remark"),
]
OF_THE_HORSE = ["heart_girth", "body_length", "height", "neck_girth", "weight"]
SCALES = {"lameness": (0, 5, 1), "body_condition": (1, 9, 0.5), "laminitis": (1, 4, 1)}


def entries() -> list[dict[str, Any]]:
    return [entry for line in LINES for entry in line["expected"]["entries"]]


def sound_of(name: str) -> tuple[NDArray[np.float64], int]:
    samples, rate = soundfile.read(FOLDER / name, dtype="float64", always_2d=True)
    assert samples.shape[1] == 1, f"{name} is not mono"
    return samples[:, 0], rate


def lines_of(name: str) -> list[dict[str, Any]]:
    return [line for line in LINES if line["file"] == name]


def test_every_line_has_the_same_keys() -> None:
    wanted = ["file", "horse", "start_s", "end_s", "voice", "noise", "snr_db", "said", "talk"]
    for line in LINES:
        assert list(line) == [*wanted, "expected"]
        assert list(line["expected"]) == ["status", "command", "limb", "entries"]


def test_every_entry_has_exactly_the_keys_of_its_kind_and_known_ids() -> None:
    for entry in entries():
        kind = entry["kind"]
        assert set(entry) == {"kind", *KEYS[kind].split()}, entry
        for key, ids in IDS.items():
            assert entry.get(key) is None or entry[key] in ids.split(), entry
        if kind in ACTIONS:
            assert entry["action"] in ACTIONS[kind].split(), entry


def test_every_value_has_its_type_and_range() -> None:
    for entry in entries():
        for key in ("value", "below_hairline_mm", "extent_mm"):
            number = entry.get(key)
            assert number is None or (type(number) in (int, float) and 0 < number < 1000), entry
        for key in ("count", "weeks"):
            assert entry.get(key) is None or type(entry[key]) is int, entry
        for key in ("denied", "unit_inferred"):
            assert type(entry.get(key, False)) is bool, entry
        for key in ("detail", "text"):
            assert entry.get(key) is None or (type(entry[key]) is str and entry[key]), entry
        if scale := entry.get("scale_grade"):
            low, high, step = SCALES[scale["scale"]]
            assert set(scale) == {"scale", "value"}
            assert low <= scale["value"] <= high, entry
            assert scale["value"] % step == 0, entry


def test_each_kind_says_what_it_must() -> None:
    for entry in entries():
        match entry["kind"]:
            case "finding":
                assert entry["term"] or entry["scale_grade"], entry
            case "measurement":
                assert None not in (entry["quantity"], entry["value"], entry["unit"]), entry
                whole_horse = entry["quantity"] in OF_THE_HORSE
                assert (entry["limb"] is None) == whole_horse, entry
            case "shoe":
                assert entry["item"], entry
            case "plan":
                assert (entry["weeks"] is not None) == (entry["action"] == "return"), entry
                assert (entry["text"] is not None) == (entry["action"] == "next_time"), entry
            case "remark":
                assert entry["text"], entry


def test_status_command_and_entries_belong_together() -> None:
    for line in LINES:
        wanted = line["expected"]
        assert wanted["command"] is None or wanted["command"] in COMMANDS, line
        assert (wanted["status"] == "recorded") == bool(wanted["entries"]), line
        assert (wanted["status"] == "none") == line["talk"], line
        if wanted["status"] == "none":
            assert wanted["command"] is None, line
        if wanted["status"] == "command" and wanted["command"] is None:
            assert wanted["limb"] is not None, f"neither a command nor a limb: {line}"


@pytest.mark.parametrize("name", FILES)
def test_limb_stays_in_force_until_another_is_named(name: str) -> None:
    fronts, hinds = {"front": "F", "fore": "F"}, {"hind": "H"}
    sides = {"left": "L", "near": "L", "right": "R", "off": "R"}
    ends = fronts | hinds
    limb = None
    for line in lines_of(name):
        if not line["talk"]:
            words = line["said"].replace(",", "").split()
            for first, second in pairwise(words):
                if first in sides and second in ends:
                    limb = sides[first] + ends[second]
        assert line["expected"]["limb"] == limb, line


@pytest.mark.parametrize("name", FILES)
def test_times_are_ordered_with_pauses_inside_the_file(name: str) -> None:
    samples, rate = sound_of(name)
    assert rate == 16_000
    lines = lines_of(name)
    assert lines[0]["start_s"] >= 0.5
    assert lines[-1]["end_s"] <= len(samples) / rate - 0.5
    for line in lines:
        assert 0.3 <= line["end_s"] - line["start_s"] <= 8.0, line
    for before, after in pairwise(lines):
        assert 0.9 <= after["start_s"] - before["end_s"] <= 2.0, (before, after)


def test_lines_are_grouped_by_file() -> None:
    order = [line["file"] for line in LINES]
    assert sum(a != b for a, b in pairwise(order)) == len(FILES) - 1


def test_counts() -> None:
    spoken = [line for line in LINES if line["said"]]
    assert sum(line["expected"]["status"] == "recorded" for line in spoken) >= 70
    assert sum(line["talk"] for line in spoken) >= 10
    assert len({line["voice"] for line in spoken}) >= 3
    assert len({line["horse"] for line in spoken} - {None}) == 2 == len(PHRASES["horse"])
    said = {horse["name"] for horse in PHRASES["horse"]}
    assert {
        line["said"].split()[1] for line in spoken if line["expected"]["command"] == "horse"
    } == said


def test_breadth() -> None:
    assert {line["expected"]["command"] for line in LINES} >= set(COMMANDS)
    assert {entry["kind"] for entry in entries()} == set(KEYS)
    assert {entry["limb"] for entry in entries()} >= {"LF", "RF", "LH", "RH"}
    for kind in ("nails", "plan"):
        actions = {entry["action"] for entry in entries() if entry["kind"] == kind}
        assert actions == set(ACTIONS[kind].split())
    words = {word for line in LINES for word in line["said"].replace(",", "").split()}
    pairs = [("fore", "front"), ("near", "left"), ("off", "right"), ("clench", "clinch")]
    for british, american in [*pairs, ("brushing", "interfering"), ("coronet", "hairline")]:
        assert {british, american} <= words


def test_noise_shares() -> None:
    levels = [line["snr_db"] for line in LINES]
    assert 0.4 <= sum(level >= 25 for level in levels) / len(levels) <= 0.6
    assert sum(level <= 10 for level in levels) / len(levels) >= 0.12
    assert {line["noise"] for line in LINES} >= {"room", "fan", "wind", "rasp", "hammer", "murmur"}
    assert any(not line["said"] for line in LINES), "no noise alone"


def as_written(entry: dict[str, Any]) -> dict[str, Any]:
    """Without what phrases.toml leaves out."""
    return {k: v for k, v in entry.items() if v is not None and v is not False}


def test_manifest_mirrors_the_phrases() -> None:
    assert len(LINES) == len(SPECS)
    for line, spec in zip(LINES, SPECS, strict=True):
        voice, noise, snr_db = spec["sound"]
        assert (line["file"], line["horse"]) == (spec["file"], spec["horse"])
        assert (line["said"], line["talk"]) == (spec["said"], spec.get("talk", False))
        assert (line["voice"], line["noise"], line["snr_db"]) == (voice or None, noise, snr_db)
        wanted = line["expected"]
        assert wanted["status"] == spec["status"]
        assert (wanted["command"], wanted["limb"]) == (spec.get("command"), spec.get("limb"))
        assert [as_written(entry) for entry in wanted["entries"]] == spec.get("entries", [])


@pytest.mark.parametrize("name", FILES)
def test_loudness_is_sane(name: str) -> None:
    samples, rate = sound_of(name)
    assert np.abs(samples).max() < 0.9
    assert abs(samples.mean()) < 1e-3
    for line in lines_of(name):
        if line["said"]:
            part = samples[int(line["start_s"] * rate) : int(line["end_s"] * rate)]
            level_db = 10 * np.log10(np.mean(part**2))
            assert -36 < level_db < -18, (line, level_db)


def band_power(samples: NDArray[np.float64], rate: int) -> float:
    """Mean power between 130 and 6800 Hz, by Parseval's theorem."""
    power = np.abs(np.fft.rfft(samples)) ** 2
    hz = np.fft.rfftfreq(len(samples), 1 / rate)
    return float(2 * power[(hz >= 130) & (hz <= 6800)].sum() / len(samples) ** 2)


@pytest.mark.parametrize("name", FILES)
def test_steady_noise_is_as_loud_as_stated(name: str) -> None:
    """Measured in the pause just before: fan and room hardly change within a second."""
    samples, rate = sound_of(name)
    for line in lines_of(name):
        if line["noise"] not in ("room", "fan") or not line["said"]:
            continue
        first, last = int(line["start_s"] * rate), int(line["end_s"] * rate)
        noise = band_power(samples[first - int(0.38 * rate) : first - int(0.02 * rate)], rate)
        step = rate // 50
        frames = samples[first : first + (last - first) // step * step].reshape(-1, step)
        level = np.mean(frames**2, axis=1)
        spoken = band_power(frames[level > level.max() * 1e-3].ravel(), rate) - noise
        assert 10 * np.log10(spoken / noise) == pytest.approx(line["snr_db"], abs=2.5), line


def test_folder_is_small() -> None:
    names = [path for path in FOLDER.iterdir() if path.is_file()]
    assert sum(path.stat().st_size for path in names) < 12_000_000


def test_the_script_names_missing_packages_in_one_line() -> None:
    script = str(FOLDER / "make_demo.py")
    run = subprocess.run([sys.executable, "-S", script], capture_output=True, text=True)
    assert run.returncode == 1
    assert run.stderr.count("\n") == 1
    assert "hibari-tts" in run.stderr
