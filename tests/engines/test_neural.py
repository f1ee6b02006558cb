"""The neural listener on real speech, and its decoder against CTranslate2's own."""

import ctypes
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from handsfree.engines import neural, whisper_loading
from handsfree.engines.base import SAMPLE_RATE, Clip, Sound
from handsfree.engines.neural import NeuralListener, available
from handsfree.engines.whisper_decoder import Decoder, Floats, Ints
from handsfree.engines.whisper_features import log_mel
from handsfree.engines.whisper_model import find_model
from handsfree.engines.whisper_search import search
from handsfree.engines.whisper_tree import TokenTree
from handsfree.errors import EngineError
from handsfree.grammar.acceptor import Acceptor, from_sentences

ctranslate2 = pytest.importorskip("ctranslate2", reason="ctranslate2 is not installed")
soundfile = pytest.importorskip("soundfile", reason="soundfile is not installed")
_reason = available()
pytestmark = pytest.mark.skipif(_reason is not None, reason=str(_reason))

PHRASES = [
    "left hind outside heel bruise",
    "severe thrush in the frog",
    "pulled seven nails",
    "toe length three and a quarter inches",
    "heat in the coronary band",
    "left hind",
    "right hind",
    "left front inside quarter crack",
    "pulled eleven nails",
    "confirm foot",
    "foot down",
    "take a break",
]
SMALL_NUMBERS = "one two three four five six seven eight nine ten".split()
SPOKEN = [PHRASES[index] for index in (0, 1, 2, 3, 4, 11)]


@pytest.fixture(scope="module")
def speech(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Sound]:
    if shutil.which("flite") is None:
        pytest.skip("flite is not installed")
    made = {}
    for index, phrase in enumerate(SPOKEN):
        file = tmp_path_factory.mktemp("speech") / f"{index}.wav"
        subprocess.run(["flite", "-voice", "slt", "-t", phrase, "-o", str(file)], check=True)
        sound, rate = soundfile.read(file, dtype="float32")
        assert rate == SAMPLE_RATE
        made[phrase] = sound
    return made


@pytest.fixture(scope="module")
def listener() -> NeuralListener:
    return NeuralListener(from_sentences(phrase.split() for phrase in PHRASES))


def clip(sound: Sound) -> Clip:
    return Clip(sound, None, 0.0, len(sound) / SAMPLE_RATE)


def noise(seconds: float, seed: int) -> Sound:
    random = np.random.default_rng(seed)
    return (0.1 * random.standard_normal(int(seconds * SAMPLE_RATE))).astype(np.float32)


def test_free_decoding_equals_ctranslate2(speech: dict[str, Sound]) -> None:
    """Of the model as it comes: the reference knows nothing of what the packaged one was taught."""
    model = whisper_loading.load(harden=False)
    reference = ctranslate2.models.Whisper(
        str(find_model().path), device="cpu", compute_type="float32", intra_threads=1
    )
    opening = model.tokens.opening(neural.DEFAULT_PROMPT, 224)
    tree = TokenTree(Acceptor(0, ({},), frozenset()), model.tokens)
    for phrase in SPOKEN[:4]:
        features = ctranslate2.StorageView.from_array(log_mel(speech[phrase], model.bands)[None])
        encoded = reference.encode(features)
        expected = reference.generate(
            encoded, [opening], beam_size=1, max_length=len(opening) + 12, return_scores=True
        )[0]
        memory = model.decoder.listen(np.asarray(encoded, dtype=np.float32)[0])
        ours = search(model.decoder, memory, opening, tree, model.masks, 1, 1, 12).free
        theirs = tuple(expected.sequences_ids[0])
        # Ours also stops at a repeat; up to there every token has to be the same.
        assert len(ours.tokens) >= min(4, len(theirs))
        assert ours.tokens == theirs[: len(ours.tokens)]
        if ours.tokens == theirs and len(ours.logs) > len(theirs):
            # CTranslate2 counts the end in the sum, but not in the length it divides by.
            total = expected.scores[0] * len(theirs)
            assert ours.total == pytest.approx(total, abs=0.02 * len(theirs))


def test_cached_steps_equal_one_long_run() -> None:
    model = whisper_loading.load()
    decoder = model.decoder
    memory = decoder.listen(model.encode(noise(1.0, 0)))
    tokens = np.random.default_rng(0).integers(0, 50_000, (2, 9))
    at_once = decoder.advance(tokens, memory, decoder.new_cache(2, 9))
    cache = decoder.new_cache(2, 9)
    parts = [decoder.advance(tokens[:, :5], memory, cache)]
    cache, swapped = cache.pick(np.array([1, 0]), 4), tokens[::-1]
    parts += [decoder.advance(swapped[:, at : at + 1], memory, cache)[::-1] for at in range(5, 9)]
    np.testing.assert_allclose(np.concatenate(parts, axis=1), at_once, atol=2e-3)


def test_phrases_are_heard_accepted_and_timed(
    listener: NeuralListener, speech: dict[str, Sound]
) -> None:
    for phrase, sound in speech.items():
        hearing = listener.hear(clip(sound))
        best = hearing.hypotheses[0]
        assert best.text == phrase
        assert hearing.accepted, (phrase, hearing.margin)
        assert hearing.free_text
        starts = [word.start_s for word in best.words]
        assert None not in starts
        assert starts == sorted(starts)
        last = best.words[-1].end_s
        assert last is not None
        assert last <= len(sound) / SAMPLE_RATE + 0.02
        assert all(0 < (word.sureness or 0) <= 1 for word in best.words)
        scores = [hypothesis.score for hypothesis in hearing.hypotheses]
        assert scores == sorted(scores, reverse=True)


def test_speech_outside_the_grammar_is_not_accepted(speech: dict[str, Sound]) -> None:
    other = NeuralListener(from_sentences([["confirm", "foot"], ["next", "horse"]]))
    for sound in speech.values():
        assert not other.hear(clip(sound)).accepted


def test_what_cannot_come_near_the_free_decoding_is_given_up(
    speech: dict[str, Sound], monkeypatch: pytest.MonkeyPatch
) -> None:
    model = whisper_loading.load()
    opening = model.tokens.opening(neural.DEFAULT_PROMPT, 224)
    steps = []
    advance = Decoder.advance

    def counted(self: Decoder, tokens: Ints, *rest: Any) -> Floats:
        steps.append(len(tokens))
        return advance(self, tokens, *rest)

    monkeypatch.setattr(Decoder, "advance", counted)
    inside = from_sentences(phrase.split() for phrase in PHRASES)
    outside = from_sentences(f"{n} wagons of coal for the mayor".split() for n in SMALL_NUMBERS)
    for phrase, sound in speech.items():
        memory = model.decoder.listen(model.encode(sound))
        for acceptor in (inside, outside):
            rows, found = [], []
            for worst in (-np.inf, neural.TAUGHT_MARGIN):
                steps.clear()
                tree = TokenTree(acceptor, model.tokens)
                result = search(model.decoder, memory, opening, tree, model.masks, 8, 6, 24, worst)
                rows.append(sum(steps))
                found.append(result)
            assert found[0].free.tokens == found[1].free.tokens
            if acceptor is inside:
                assert " ".join(found[1].inside[0].words) == phrase
            else:
                assert rows[1] < 0.6 * rows[0], phrase


def test_another_grammar_is_taken_at_once(speech: dict[str, Sound]) -> None:
    other = NeuralListener(from_sentences([["next", "horse"]]))
    other.set_acceptor(from_sentences([SPOKEN[2].split(), ["pulled", "nine", "nails"]]))
    assert other.hear(clip(speech[SPOKEN[2]])).hypotheses[0].text == SPOKEN[2]


@pytest.mark.parametrize("seed", range(4))
def test_output_is_always_a_sentence_of_the_grammar(listener: NeuralListener, seed: int) -> None:
    random = np.random.default_rng(seed)
    words = ["heel", "heels", "what's", "sulcus", "19.5", "LEFT", "naïve", "toe-clip"]
    arcs: list[dict[str, int]] = [
        {str(w): int(random.integers(0, 5)) for w in random.choice(words, 3, replace=False)}
        for _ in range(5)
    ]
    arcs[0]["toe"] = 4  # so that there is a sentence
    acceptor = Acceptor(0, tuple(arcs), frozenset({4}))
    listener = NeuralListener(acceptor)
    for sound in (noise(0.7, seed), noise(2.0, seed + 10)):
        hearing = listener.hear(clip(sound))
        assert hearing.hypotheses
        for hypothesis in hearing.hypotheses:
            assert acceptor.accepts(word.text for word in hypothesis.words)


@pytest.mark.parametrize(
    "sound",
    [
        np.zeros(0, np.float32),
        np.ones(100, np.float32),
        np.zeros(16_000, np.float32),
        np.full(16_000, np.nan, np.float32),
    ],
    ids=["empty", "too short", "silent", "not numbers"],
)
def test_no_sound_gives_no_hypothesis(listener: NeuralListener, sound: Sound) -> None:
    hearing = listener.hear(clip(sound))
    assert hearing.hypotheses == ()
    assert not hearing.accepted


def test_clipped_and_overlong_sound_is_survived(listener: NeuralListener) -> None:
    assert not listener.hear(clip(noise(0.5, 1) * 1e6)).accepted
    short = NeuralListener(from_sentences([["left"]]), beam=1, nbest=1)
    assert short.hear(clip(noise(31.0, 2))).hypotheses[0].text == "left"


@pytest.mark.parametrize("seed", range(3))
def test_noise_alone_is_not_accepted(listener: NeuralListener, seed: int) -> None:
    assert not listener.hear(clip(noise(0.5 + seed, seed))).accepted


def test_weights_are_shared(listener: NeuralListener) -> None:
    assert whisper_loading.load() is whisper_loading.load()
    named = find_model().path
    assert whisper_loading.load(named) is whisper_loading.load(named, harden=False)


LENGTHS = """
import ctypes, sys
import numpy as np
from handsfree.engines import whisper_loading

class Held(ctypes.Structure):
    _fields_ = [(name, ctypes.c_size_t) for name in "abcdefghij"]

libc = ctypes.CDLL(None)
libc.mallinfo2.restype = Held
model = whisper_loading.load()
def grown(lengths):
    for length in lengths:
        model.encode(np.full(length, 0.01, np.float32))
    return libc.mallinfo2().h  # bytes in use, mallinfo(3)
before = grown([64_000, *range(16_000, 32_000, 640)])  # the longest takes most
print(grown(range(32_000, 64_000, 640)) - before)
"""


@pytest.mark.skipif(
    sys.platform != "linux" or not hasattr(ctypes.CDLL(None), "mallinfo2"),
    reason="the C library does not tell what is in use",
)
def test_memory_does_not_grow_with_every_length_of_sound() -> None:
    """50 lengths more took 31 MB while something was kept for each of them."""
    done = subprocess.run([sys.executable, "-c", LENGTHS], capture_output=True, text=True)
    assert int(done.stdout) < 10e6, done.stderr


def test_unusable_folders_are_told_in_one_line(tmp_path: Path) -> None:
    reason = available(tmp_path)
    assert reason is not None
    assert "model.bin" in reason
    assert "\n" not in reason
    for name in ("model.bin", "config.json", "tokenizer.json"):
        (tmp_path / name).write_text("{}")
    with pytest.raises(EngineError, match=r"^[^\n]+$"):
        NeuralListener(from_sentences([["left"]]), tmp_path)
