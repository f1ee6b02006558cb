"""The visit's logic must load where no engine, sound, screen or log is."""

import subprocess
import sys

HEAVY = "vosk pocketsphinx ctranslate2 tokenizers numpy soundfile soxr sounddevice piper livekit \
textual rich click platformdirs sqlite3 sqlite_utils".split()


def test_it_imports_nothing_heavy():
    script = (
        "import sys\n"
        "from handsfree.grammar import load\n"
        "from handsfree.visit import cautions, nails, pace, runsheet, spoken\n"
        "spoken.Spoken(load()); cautions.due([]); runsheet.usual_sheet()\n"
        f"print([m for m in {HEAVY!r} if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
