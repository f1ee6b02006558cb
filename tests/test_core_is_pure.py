"""Every module of the core loads where no engine, sound, screen or database is."""

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


CORE = ["dialogue", "grammar", "language", "records", "sums", "visit"]


@pytest.mark.parametrize("room", CORE)
def test_core_imports_nothing_of_engines_sound_screen_or_database(room: str) -> None:
    script = f"""
import importlib, pkgutil, sys
package = importlib.import_module("handsfree.{room}")
modules = [m.name for m in pkgutil.walk_packages(package.__path__, package.__name__ + ".")]
for module in modules:
    importlib.import_module(module)
from handsfree.grammar import load
load().read("left hind outside heel bruise".split())
print(len(modules), [m for m in {HEAVY!r} if m in sys.modules])
"""
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    count, _, heavy = done.stdout.strip().partition(" ")
    assert int(count) >= 3
    assert heavy == "[]"
