"""Word times from cross-attention: where in the sound each token of a path looked."""

import itertools
from typing import Any

import numpy as np

from handsfree.engines.whisper_decoder import Decoder, Floats, Ints, Memory
from handsfree.engines.whisper_search import Path

FRAME_S = 0.02
"""Seconds per encoder frame."""

Heads = tuple[tuple[int, int], ...]
"""(layer, head) pairs whose attention follows the sound."""


def alignment_heads(config: dict[str, Any], layers: int, heads: int) -> Heads:
    """The pairs config.json lists, else every head of the upper half of the layers."""
    listed = config.get("alignment_heads")
    if isinstance(listed, list):
        pairs = tuple((int(layer), int(head)) for layer, head in listed)
        if pairs and all(layer < layers and head < heads for layer, head in pairs):
            return pairs
    return tuple((layer, head) for layer in range(layers // 2, layers) for head in range(heads))


def word_times(
    decoder: Decoder, memory: Memory, opening: list[int], path: Path, heads: Heads, frames: int
) -> list[tuple[float, float]]:
    """Start and end of each word of `path`, seconds from the start of the sound.

    The path is decoded once more as one batch; tokens are laid over the first `frames`
    encoder frames (those with sound) by a monotone alignment of the listed heads'
    attention, as Whisper's own word times are (Radford et al. 2022, released code:
    attention scaled by its mean and deviation over tokens, then dynamic time warping).
    """
    frames = min(frames, memory.frames)
    if not path.tokens or frames < len(path.tokens):
        return []
    sequence = np.array([[*opening, *path.tokens]], dtype=np.int64)
    looks: list[Floats] = []
    decoder.advance(sequence, memory, decoder.new_cache(1, sequence.shape[1]), looks)
    # The state that predicts a token attends to that token's sound: one place earlier.
    first = len(opening) - 1
    chosen = np.stack(
        [looks[layer][head, first : first + len(path.tokens), :frames] for layer, head in heads]
    )
    spread = chosen.std(axis=1, keepdims=True)
    scaled = (chosen - chosen.mean(axis=1, keepdims=True)) / np.maximum(spread, 1e-6)
    owners = monotone(scaled.mean(axis=0).astype(np.float32))
    begins = np.searchsorted(owners, np.arange(len(path.tokens)))
    bounds = [float(begins[start]) * FRAME_S for start in path.starts] + [frames * FRAME_S]
    return list(itertools.pairwise(bounds))


def monotone(gains: Floats) -> Ints:
    """The token each frame belongs to, (frames,), for `gains` (tokens, frames).

    Never decreasing, from token 0 to the last one, every token owning a frame at least,
    with the greatest sum of gains (dynamic programming). Needs frames >= tokens.
    """
    tokens, frames = gains.shape
    best = np.full(tokens, -np.inf)
    best[0] = gains[0, 0]
    stepped = np.zeros((frames, tokens), dtype=bool)
    for frame in range(1, frames):
        before = np.concatenate([[-np.inf], best[:-1]])
        stepped[frame] = before > best
        best = np.maximum(best, before) + gains[:, frame]
    owners = np.empty(frames, dtype=np.int64)
    token = tokens - 1
    for frame in range(frames - 1, -1, -1):
        owners[frame] = token
        token -= int(stepped[frame, token])
    return owners
