"""Whisper in JAX, with small changes to the encoder that can be learnt.

Architecture and variables as in handsfree/engines/whisper_decoder.py and in CTranslate2's
model.bin. Shapes: B sounds, T encoder frames of 20 ms, D channels, n tokens, V text tokens.
"""

from typing import Any

import jax
import jax.numpy as jnp
import numpy as np

from handsfree.engines.whisper_model import Weights

RANK = 16
"""Of the change to a matrix (Hu et al. 2021, LoRA)."""

Tree = dict[str, Any]

MATRICES = ("linear_0/weight", "linear_1/weight", "conv2/weight")
WHOLE = ("conv1/weight", "bias", "gamma", "beta")


def frozen(weights: Weights, prefix: str) -> Tree:
    return {
        name: jnp.asarray(np.asarray(value, np.float32))
        for name, value in weights.items()
        if name.startswith(prefix) and value.dtype.kind == "f" and value.ndim
    }


def fresh_changes(weights: Tree, seed: int) -> Tree:
    """Changes of nothing yet: low-rank pairs for the large matrices, whole for the small."""
    rng = np.random.default_rng(seed)
    made: Tree = {}
    for name, value in weights.items():
        if name.endswith(MATRICES):
            inputs = int(np.prod(value.shape[1:]))
            down = rng.standard_normal((RANK, inputs)).astype(np.float32) / np.sqrt(inputs)
            made[name] = {"down": down, "up": np.zeros((value.shape[0], RANK), np.float32)}
        elif name.endswith(WHOLE):
            made[name] = np.zeros(value.shape, np.float32)
    return jax.tree.map(jnp.asarray, made)


def changed(weights: Tree, changes: Tree) -> Tree:
    """The weights with the changes in them."""
    out = dict(weights)
    for name, change in changes.items():
        if isinstance(change, dict):
            change = (change["up"] @ change["down"]).reshape(weights[name].shape)
        out[name] = weights[name] + change
    return out


def _norm(w: Tree, name: str, x: jax.Array) -> jax.Array:
    centred = x - x.mean(-1, keepdims=True)
    spread = jnp.sqrt(jnp.square(centred).mean(-1, keepdims=True) + 1e-5)
    return centred / spread * w[f"{name}/gamma"] + w[f"{name}/beta"]


def _linear(w: Tree, name: str, x: jax.Array) -> jax.Array:
    return x @ w[f"{name}/weight"].T + w[f"{name}/bias"]


def _gelu(x: jax.Array) -> jax.Array:
    return jax.nn.gelu(x, approximate=False)


def _conv(w: Tree, name: str, x: jax.Array, step: int) -> jax.Array:
    """Width 3, one zero at both ends; as one product over the three shifts."""
    edged = jnp.pad(x, ((0, 0), (1, 1), (0, 0)))
    n = x.shape[1]
    shifts = jnp.stack([edged[:, k : k + n : step] for k in range(3)], axis=-1)
    weight = w[f"{name}/weight"]
    flat = shifts.reshape(*shifts.shape[:2], -1)
    return flat @ weight.reshape(len(weight), -1).T + w[f"{name}/bias"]


def _attend(
    query: jax.Array, key: jax.Array, value: jax.Array, heads: int, hidden: jax.Array
) -> jax.Array:
    def parted(x: jax.Array) -> jax.Array:
        return x.reshape(*x.shape[:2], heads, -1).transpose(0, 2, 1, 3)

    q, k, v = parted(query), parted(key), parted(value)
    scores = q @ k.swapaxes(2, 3) * q.shape[-1] ** -0.5 + hidden
    seen = (jax.nn.softmax(scores, axis=-1) @ v).transpose(0, 2, 1, 3)
    return seen.reshape(query.shape)


def encode(w: Tree, mel: jax.Array, frames: jax.Array, heads: int) -> jax.Array:
    """`mel` (B, 2T, bands) of which 2·`frames` (B,) count, to (B, T, D)."""
    steps = mel.shape[1]
    inside = jnp.arange(steps)[None] < 2 * frames[:, None]
    x = _gelu(_conv(w, "encoder/conv1", mel, 1)) * inside[..., None]
    x = _gelu(_conv(w, "encoder/conv2", x, 2))
    x = x + w["encoder/position_encodings/encodings"][: steps // 2]
    hidden = jnp.where(inside[:, ::2], 0.0, -1e9)[:, None, None]
    at = 0
    while f"encoder/layer_{at}/ffn/linear_0/weight" in w:
        own, feed = f"encoder/layer_{at}/self_attention", f"encoder/layer_{at}/ffn"
        q, k, v = jnp.split(_linear(w, f"{own}/linear_0", _norm(w, f"{own}/layer_norm", x)), 3, -1)
        x = x + _linear(w, f"{own}/linear_1", _attend(q, k, v, heads, hidden))
        inner = _gelu(_linear(w, f"{feed}/linear_0", _norm(w, f"{feed}/layer_norm", x)))
        x = x + _linear(w, f"{feed}/linear_1", inner)
        at += 1
    return _norm(w, "encoder/layer_norm", x)


def decode(
    w: Tree, tokens: jax.Array, encoded: jax.Array, frames: jax.Array, heads: int, first: int
) -> jax.Array:
    """Natural log probabilities after `tokens` (B, n) from place `first` on, (B, n − first, V)."""
    n = tokens.shape[1]
    embedded = w["decoder/embeddings/weight"]
    x = embedded[tokens] + w["decoder/position_encodings/encodings"][:n]
    later = jnp.where(jnp.tril(jnp.ones((n, n), bool)), 0.0, -1e9)[None, None]
    beyond = jnp.arange(encoded.shape[1])[None] >= frames[:, None]
    hidden = jnp.where(beyond, -1e9, 0.0)[:, None, None]
    at = 0
    while f"decoder/layer_{at}/ffn/linear_0/weight" in w:
        own, across, feed = (
            f"decoder/layer_{at}/{part}" for part in ("self_attention", "attention", "ffn")
        )
        q, k, v = jnp.split(_linear(w, f"{own}/linear_0", _norm(w, f"{own}/layer_norm", x)), 3, -1)
        x = x + _linear(w, f"{own}/linear_1", _attend(q, k, v, heads, later))
        q = _linear(w, f"{across}/linear_0", _norm(w, f"{across}/layer_norm", x))
        k, v = jnp.split(_linear(w, f"{across}/linear_1", encoded), 2, -1)
        x = x + _linear(w, f"{across}/linear_2", _attend(q, k, v, heads, hidden))
        inner = _gelu(_linear(w, f"{feed}/linear_0", _norm(w, f"{feed}/layer_norm", x)))
        x = x + _linear(w, f"{feed}/linear_1", inner)
        at += 1
    states = _norm(w, "decoder/layer_norm", x)[:, first:]
    return jax.nn.log_softmax(states @ embedded.T, axis=-1)
