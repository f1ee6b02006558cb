"""Which recognizers are made for whom."""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pytest

from handsfree.engines.base import SAMPLE_RATE, Clip
from handsfree.engines.choose import ModelFolders, listeners, why_not
from handsfree.engines.together import Together
from handsfree.errors import EngineError
from handsfree.grammar import load

pytest.importorskip("pocketsphinx")


def test_a_horse_whose_name_no_dictionary_has_does_not_stop_the_listening():
    grammar = load(horse_names=["Copper", "Xqwzzle"])
    chosen, absent = listeners(grammar, ("pocketsphinx",), ModelFolders())
    assert [ear.name for ear in chosen] == ["pocketsphinx"]
    assert len(absent) == 1
    assert "Xqwzzle" in absent[0]
    assert "Copper" not in absent[0]


def test_two_listeners_hear_in_two_processes_and_end():
    if why_not("neural", ModelFolders()) is not None:
        pytest.skip("the neural listener is not installed")
    grammar = load()
    chosen, _ = listeners(grammar, ("pocketsphinx", "neural"), ModelFolders())
    ears = Together(chosen, grammar)
    hiss = np.random.default_rng(0).normal(0, 1e-3, SAMPLE_RATE).astype(np.float32)
    verdict = ears.hear(Clip(hiss, None, 0.0, 1.0))
    ears.close()
    assert verdict.engines == ("pocketsphinx", "neural")
    assert verdict.reading.meaning is None


def test_what_is_named_and_cannot_be_used_is_an_error(tmp_path: Path):
    with pytest.raises(EngineError, match="engine neural"):
        listeners(load(), ("neural",), ModelFolders(neural=tmp_path))
    with pytest.raises(EngineError, match="there is no engine 'ear'"):
        why_not("ear", ModelFolders())


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks for processes in /proc")
def test_a_listeners_process_ends_when_its_parent_is_killed():
    script = (
        "import time\n"
        "from handsfree.engines.apart import Apart\n"
        "from handsfree.engines.pocketsphinx import PocketSphinxListener\n"
        "from handsfree.grammar.acceptor import from_sentences\n"
        "if __name__ == '__main__':\n"
        "    ear = Apart('x', PocketSphinxListener, from_sentences([['left']]), {})\n"
        "    ear._loading.result()\n"
        "    print(*ear._pool._processes, flush=True)\n"
        "    time.sleep(60)\n"
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "parent.py"
        path.write_text(script)
        with subprocess.Popen([sys.executable, path], stdout=subprocess.PIPE, text=True) as parent:
            assert parent.stdout is not None
            child = Path("/proc") / parent.stdout.readline().strip()
            assert child.is_dir()
            parent.kill()
        for _ in range(100):
            if not child.is_dir():
                break
            time.sleep(0.1)
        assert not child.is_dir()
