"""The core loads where no engine, sound, screen or log is (grammar, records, visit, sums …)."""

import subprocess
import sys

import pytest

HEAVY = [
    "vosk",
    "pocketsphinx",
    "ctranslate2",
    "tokenizers",
    "numpy",
    "soundfile",
    "soxr",
    "sounddevice",
    "textual",
    "rich",
    "click",
    "sqlite3",
    "sqlite_utils",
    "scipy",
    "matplotlib",
    "plotext",
]


@pytest.mark.parametrize(
    "module",
    [
        *("handsfree.grammar", "handsfree.records.entries", "handsfree.session"),
        *("handsfree.visit.dialogue", "handsfree.sums.brief", "handsfree.sums.weight"),
        *("handsfree.sums.marks", "handsfree.sums.helped", "handsfree.language.understand"),
        "handsfree.putting_right",
        "handsfree.language.known",
    ],
)
def test_core_imports_nothing_of_engines_sound_screen_or_database(module: str):
    script = (
        f"import sys, {module}\n"
        f"from handsfree.grammar import load\n"
        f"load().read('left hind outside heel bruise'.split())\n"
        f"print([m for m in {HEAVY!r} if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
