"""Whisper in PyTorch, with small changes that can be learnt.

Architecture and variables as in handsfree/engines/whisper_decoder.py and in CTranslate2's
model.bin. Shapes: B sounds, T encoder frames of 20 ms, D channels, n tokens, V text tokens.
"""

from collections.abc import Iterator

import numpy as np
import torch
from torch import Tensor
from torch.nn import functional

from handsfree.engines.whisper_model import Weights

RANK = {"encoder/": 48, "decoder/": 24}
"""Of the change to a matrix (Hu et al. 2021, LoRA), by the half it is in."""

Tree = dict[str, Tensor]
"""Weights by variable. Changes: low-rank ones as NAME:up and NAME:down, whole ones as NAME."""

MATRICES = ("linear_0/weight", "linear_1/weight", "linear_2/weight", "conv2/weight")
WHOLE = ("conv1/weight", "bias", "gamma", "beta")


HALF = torch.bfloat16
"""What is multiplied in: processors with instructions for it do so several times faster."""


def frozen(weights: Weights) -> Tree:
    """Float32 of the encoder, to which changes are added; the decoder's in HALF."""
    return {
        name: torch.from_numpy(np.array(value, np.float32)).to(
            torch.float32 if name.startswith("encoder/") else HALF
        )
        for name, value in weights.items()
        if value.dtype.kind == "f" and value.ndim
    }


def fresh_changes(weights: Tree, seed: int, half: str = "encoder/") -> Tree:
    """Changes of nothing yet to one half: low-rank pairs for the large matrices, whole ones for
    the small. The words' own vectors stay as they are."""
    maker = torch.Generator().manual_seed(seed)
    rank = RANK[half]
    made: Tree = {}
    for name, value in weights.items():
        if not name.startswith(half):
            continue
        if name.endswith(MATRICES):
            inputs = value[0].numel()
            made[f"{name}:down"] = torch.randn(rank, inputs, generator=maker) / inputs**0.5
            made[f"{name}:up"] = torch.zeros(value.shape[0], rank)
        elif name.endswith(WHOLE):
            made[name] = torch.zeros(value.shape)
    return made


def gone_on(fresh: Tree, learnt: Tree) -> Tree:
    """`fresh` with what was learnt before of the same half in it, where that had no higher
    rank."""
    for name, value in learnt.items():
        if name not in fresh:
            continue
        part = name.partition(":")[2]
        rank = value.shape[1 if part == "up" else 0]
        if part == "up":
            fresh[name][:, :rank] = value
        elif part == "down":
            fresh[name][:rank] = value
        else:
            fresh[name] = value.reshape(fresh[name].shape).clone()
    return fresh


def changed(weights: Tree, changes: Tree) -> Tree:
    """The weights with the whole changes in them and the low-rank ones beside them, in HALF."""
    out = dict(weights)
    for name, change in changes.items():
        out[name] = change if ":" in name else weights[name] + change
    return {name: value.to(HALF) for name, value in out.items()}


def _norm(w: Tree, name: str, x: Tensor) -> Tensor:
    return functional.layer_norm(x, x.shape[-1:], w[f"{name}/gamma"], w[f"{name}/beta"], 1e-5)


def _linear(w: Tree, name: str, x: Tensor) -> Tensor:
    weight = f"{name}/weight"
    out = functional.linear(x, w[weight].flatten(1), w[f"{name}/bias"])
    if f"{weight}:up" in w:
        # Never made into one matrix: its slope would cost a third of all the time.
        out = out + functional.linear(functional.linear(x, w[f"{weight}:down"]), w[f"{weight}:up"])
    return out


def _conv(w: Tree, name: str, x: Tensor, step: int) -> Tensor:
    """Width 3, one zero at both ends; as one product over the three shifts."""
    n = x.shape[1]
    edged = functional.pad(x, (0, 0, 1, 1))
    shifts = torch.stack([edged[:, k : k + n : step] for k in range(3)], dim=-1)
    return _linear(w, name, shifts.flatten(2))


def _attend(query: Tensor, key: Tensor, value: Tensor, heads: int, seen: Tensor) -> Tensor:
    """`seen` is true where a query may look at a key."""

    def parted(x: Tensor) -> Tensor:
        return x.reshape(*x.shape[:2], heads, -1).transpose(1, 2)

    # Written out: the slope of torch's own attention costs twice as much on a processor.
    keyed = parted(query * (query.shape[-1] // heads) ** -0.5) @ parted(key).transpose(-1, -2)
    share = keyed.masked_fill(~seen, float("-inf")).softmax(-1)
    return (share @ parted(value)).transpose(1, 2).reshape(query.shape)


def _layers(w: Tree, part: str) -> Iterator[str]:
    at = 0
    while f"{part}/layer_{at}/ffn/linear_0/weight" in w:
        yield f"{part}/layer_{at}"
        at += 1


def _feed(w: Tree, name: str, x: Tensor) -> Tensor:
    inner = functional.gelu(_linear(w, f"{name}/linear_0", _norm(w, f"{name}/layer_norm", x)))
    return _linear(w, f"{name}/linear_1", inner)


def encode(w: Tree, mel: Tensor, frames: Tensor, heads: int) -> Tensor:
    """`mel` (B, 2T, bands) of which 2·`frames` (B,) count, to (B, T, D)."""
    steps = mel.shape[1]
    inside = torch.arange(steps)[None] < 2 * frames[:, None]
    x = functional.gelu(_conv(w, "encoder/conv1", mel.to(HALF), 1)) * inside[..., None]
    x = functional.gelu(_conv(w, "encoder/conv2", x, 2))
    x = x + w["encoder/position_encodings/encodings"][: steps // 2]
    seen = inside[:, None, None, ::2]
    for layer in _layers(w, "encoder"):
        own = f"{layer}/self_attention"
        q, k, v = _linear(w, f"{own}/linear_0", _norm(w, f"{own}/layer_norm", x)).chunk(3, -1)
        x = x + _linear(w, f"{own}/linear_1", _attend(q, k, v, heads, seen))
        x = x + _feed(w, f"{layer}/ffn", x)
    return _norm(w, "encoder/layer_norm", x)


def decode(w: Tree, tokens: Tensor, encoded: Tensor, frames: Tensor, heads: int) -> Tensor:
    """What the decoder knows after each of `tokens` (B·k, n), as (B·k, n, D) for `log_chances`.

    k sentences of each of the B sounds, those of one sound together.
    """
    rows, n = tokens.shape
    sounds = len(encoded)
    x = w["decoder/embeddings/weight"][tokens] + w["decoder/position_encodings/encodings"][:n]
    before = torch.tril(torch.ones(n, n, dtype=torch.bool))[None, None]
    inside = (torch.arange(encoded.shape[1])[None] < frames[:, None])[:, None, None]
    for layer in _layers(w, "decoder"):
        own, across = f"{layer}/self_attention", f"{layer}/attention"
        q, k, v = _linear(w, f"{own}/linear_0", _norm(w, f"{own}/layer_norm", x)).chunk(3, -1)
        x = x + _linear(w, f"{own}/linear_1", _attend(q, k, v, heads, before))
        q = _linear(w, f"{across}/linear_0", _norm(w, f"{across}/layer_norm", x))
        k, v = _linear(w, f"{across}/linear_1", encoded).chunk(2, -1)
        # The sentences of one sound as one: they look at the same keys, not at each other.
        seen = _attend(q.reshape(sounds, rows // sounds * n, -1), k, v, heads, inside)
        x = x + _linear(w, f"{across}/linear_2", seen.reshape(rows, n, -1))
        x = x + _feed(w, f"{layer}/ffn", x)
    return _norm(w, "decoder/layer_norm", x)


def logits(w: Tree, states: Tensor) -> Tensor:
    """Score of each text token after `states` (N, D), as (N, V)."""
    return functional.linear(states, w["decoder/embeddings/weight"]).float()


def log_chances(w: Tree, states: Tensor) -> Tensor:
    """Natural log probability of each text token after `states` (..., D), as (..., V)."""
    flat = functional.log_softmax(logits(w, states.flatten(0, -2)), dim=-1)
    return flat.unflatten(0, states.shape[:-1])
