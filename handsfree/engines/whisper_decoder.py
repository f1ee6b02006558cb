"""Whisper's text decoder in NumPy, with cached keys and values, over CTranslate2 weights.

Architecture: Radford et al. 2022; pre-norm transformer of Vaswani et al. 2017. Shapes use
B rows (hypotheses), n new tokens, L past tokens, T encoder frames (20 ms each), H heads,
d = D / H channels a head, D model channels, V text tokens.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsfree.engines.whisper_model import Weights, dense
from handsfree.errors import EngineError

Floats = NDArray[np.float32]
Ints = NDArray[np.int64]

_EPSILON = np.float32(1e-5)
_GELU = 3
_FEW, _PART = 16, 192
"""Up to so many rows are multiplied by so many outputs at a time (see `Linear._few`)."""
_BLOCK = 256
"""Rows unpacked at once: few enough to stay in the processor's cache (2048 took twice as long)."""


@dataclass(frozen=True)
class Linear:
    """y = weight · x + bias with `weight` (outputs, inputs)."""

    weight: Floats
    bias: Floats

    def __call__(self, x: Floats) -> Floats:
        """`x` (…, inputs) to (…, outputs)."""
        # One flat product: a stacked matmul would run as many small ones.
        flat = x.reshape(-1, x.shape[-1])
        out = self._few(flat) if len(flat) <= _FEW else flat @ self.weight.T
        out += self.bias
        return np.asarray(out).reshape(*x.shape[:-1], -1)

    def _few(self, flat: Floats) -> Floats:
        """The product by parts of `weight`, each small enough for OpenBLAS to use it as it lies
        in memory; it would copy the whole first, at up to three times the cost."""
        across = np.ascontiguousarray(flat.T)
        out = np.empty((len(self.weight), len(flat)), np.float32)
        for at in range(0, len(out), _PART):
            np.matmul(self.weight[at : at + _PART], across, out=out[at : at + _PART])
        return np.ascontiguousarray(out.T)


@dataclass(frozen=True)
class Norm:
    """Layer normalisation over the last axis (Ba et al. 2016)."""

    gain: Floats
    shift: Floats

    def __call__(self, x: Floats) -> Floats:
        """Normalise `x` over its last axis."""
        centred = x - x.mean(axis=-1, keepdims=True)
        spread = np.sqrt(np.square(centred).mean(axis=-1, keepdims=True) + _EPSILON)
        return np.asarray(centred / spread * self.gain + self.shift, dtype=np.float32)


@dataclass(frozen=True)
class Layer:
    """One decoder layer: self-attention, cross-attention, feed-forward, each normed first."""

    self_norm: Norm
    self_in: Linear
    self_out: Linear
    cross_norm: Norm
    cross_query: Linear
    cross_memory: Linear
    cross_out: Linear
    feed_norm: Norm
    feed_in: Linear
    feed_out: Linear


@dataclass(frozen=True)
class Memory:
    """What the decoder reads of one utterance: per layer keys (H, d, T), values (H, T, d)."""

    keys: tuple[Floats, ...]
    values: tuple[Floats, ...]

    @property
    def frames(self) -> int:
        """T, encoder frames of 20 ms."""
        return int(self.keys[0].shape[2])


@dataclass
class Cache:
    """Self-attention past: `keys` and `values` (layers, B, H, room, d), `used` of room."""

    keys: Floats
    values: Floats
    used: int

    def pick(self, rows: Ints, room: int) -> "Cache":
        """A copy of the past of `rows`, in that order, repeats allowed, for `room` more tokens.

        Copying what is used only keeps 32 rows of a long clip from taking 80 MB.
        """
        layers, _, heads, _, channels = self.keys.shape
        shape = (layers, len(rows), heads, self.used + room, channels)
        fresh = Cache(np.empty(shape, np.float32), np.empty(shape, np.float32), self.used)
        fresh.keys[:, :, :, : self.used] = self.keys[:, rows, :, : self.used]
        fresh.values[:, :, :, : self.used] = self.values[:, rows, :, : self.used]
        return fresh


class Decoder:
    """The decoder half of one model. Safe to share between threads: nothing is written.

    `vocabulary` V counts the text tokens and end-of-text, which is the last row; special
    and timestamp tokens after it are never scored. Raises EngineError when a variable is
    missing or the model is of a build this decoder does not know.
    """

    def __init__(self, weights: Weights, vocabulary: int) -> None:
        activation = int(weights.get("decoder/activation", np.int8(_GELU)))
        if activation != _GELU or not int(weights.get("decoder/pre_norm", np.int8(1))):
            raise EngineError("the Whisper model's decoder is not the usual pre-norm GELU one")
        self.heads = int(weights.get("decoder/num_heads", np.int16(0)))
        self._embeddings, self._scale = _packed(weights, "decoder/embeddings/weight")
        self.vocabulary = min(vocabulary, len(self._embeddings))
        self._positions = dense(weights, "decoder/position_encodings/encodings")
        self._norm = _norm(weights, "decoder/layer_norm")
        self.layers = tuple(_layers(weights))
        if not self.layers or not self.heads:
            raise EngineError("the Whisper model's decoder has no layers or no heads")

    @property
    def positions(self) -> int:
        """Longest sequence of tokens, prompt included."""
        return len(self._positions)

    @property
    def width(self) -> int:
        """D, channels of the model."""
        return int(self._embeddings.shape[1])

    def listen(self, encoded: Floats) -> Memory:
        """Project encoder output (T, D) once for all later steps."""
        frames = len(encoded)
        keys, values = [], []
        for layer in self.layers:
            both = layer.cross_memory(encoded).reshape(frames, 2, self.heads, -1)
            keys.append(np.ascontiguousarray(both[:, 0].transpose(1, 2, 0)))
            values.append(np.ascontiguousarray(both[:, 1].transpose(1, 0, 2)))
        return Memory(tuple(keys), tuple(values))

    def new_cache(self, rows: int, room: int) -> Cache:
        """An empty past for `rows` hypotheses of up to `room` tokens."""
        shape = (len(self.layers), rows, self.heads, room, self.width // self.heads)
        return Cache(np.zeros(shape, np.float32), np.zeros(shape, np.float32), 0)

    def advance(
        self, tokens: Ints, memory: Memory, cache: Cache, looks: list[Floats] | None = None
    ) -> Floats:
        """Feed `tokens` (B, n) after the cached past; gives the last hidden states (B, n, D).

        Writes keys and values into `cache`, which must have room. `looks`, when given,
        receives one array (H, B·n, T) a layer: the cross-attention weights.
        """
        _rows, new = tokens.shape
        start, end = cache.used, cache.used + new
        x: Floats = self._embeddings[tokens] * self._scale[tokens][..., None]
        x += self._positions[start:end]
        # A token sees the past and itself; with one new token nothing needs hiding.
        hidden = np.triu(np.full((new, end), -np.inf, np.float32), start + 1) if new > 1 else None
        for index, layer in enumerate(self.layers):
            past = (cache.keys[index][:, :, :end], cache.values[index][:, :, :end])
            x = x + self._self_attention(layer, x, past, start, hidden)
            x = x + self._cross_attention(layer, x, memory.keys[index], memory.values[index], looks)
            x = x + layer.feed_out(gelu(layer.feed_in(layer.feed_norm(x))))
        cache.used = end
        return self._norm(x)

    def _self_attention(
        self,
        layer: Layer,
        x: Floats,
        past: tuple[Floats, Floats],
        start: int,
        hidden: Floats | None,
    ) -> Floats:
        rows, new, width = x.shape
        mixed = layer.self_in(layer.self_norm(x)).reshape(rows, new, 3, self.heads, -1)
        query, key, value = mixed.transpose(2, 0, 3, 1, 4)  # each (B, H, n, d)
        past[0][:, :, start:] = key
        past[1][:, :, start:] = value
        scores = (query * _root(query.shape[-1])) @ past[0].swapaxes(2, 3)
        if hidden is not None:
            scores += hidden
        seen = softmax(scores) @ past[1]
        return layer.self_out(seen.transpose(0, 2, 1, 3).reshape(rows, new, width))

    def _cross_attention(
        self, layer: Layer, x: Floats, keys: Floats, values: Floats, looks: list[Floats] | None
    ) -> Floats:
        rows, new, width = x.shape
        query = layer.cross_query(layer.cross_norm(x)).reshape(rows * new, self.heads, -1)
        # All rows hear the same sound: heads are the batch, rows one matrix (H, B·n, d).
        scaled = query.transpose(1, 0, 2) * _root(query.shape[-1])
        heard: Floats = np.asarray(scaled @ keys, np.float32)
        look = softmax(heard)
        if looks is not None:
            looks.append(look)
        seen = (look @ values).transpose(1, 0, 2).reshape(rows, new, width)
        return layer.cross_out(seen)

    def logits(self, states: Floats) -> Floats:
        """Scores of every text token after `states` (B, D), shape (B, V)."""
        out = np.empty((self.vocabulary, len(states)), np.float32)
        block = np.empty((_BLOCK, self.width), np.float32)
        across = np.ascontiguousarray(states.T)
        for at in range(0, self.vocabulary, _BLOCK):
            rows = slice(at, min(at + _BLOCK, self.vocabulary))
            part = block[: rows.stop - at]
            np.copyto(part, self._embeddings[rows], casting="unsafe")
            np.matmul(part, across, out=out[rows])
        out *= self._scale[: self.vocabulary, None]
        return np.ascontiguousarray(out.T)


def _packed(weights: Weights, name: str) -> tuple[NDArray[np.int16], Floats]:
    """A matrix as int16 with one scale a row: about as exact as the float16 in the file.

    It takes half the memory of float32, and casting it block by block is quicker than
    reading float32 from memory (measured 9 against 15 ms for 50,257 × 384 by 5 rows).
    """
    if name not in weights:
        raise EngineError(f"the Whisper model lacks the variable {name}")
    packed = np.empty(weights[name].shape, np.int16)
    scale = np.empty(len(packed), np.float32)
    for at in range(0, len(packed), _BLOCK):
        rows = slice(at, at + _BLOCK)
        part = dense(weights, name, rows)
        largest = np.abs(part).max(axis=1)
        scale[rows] = np.where(largest > 0, largest, 1) / np.float32(32767)
        packed[rows] = np.rint(part / scale[rows, None])
    return packed, scale


def _root(channels: int) -> np.float32:
    return np.float32(channels**-0.5)


def _norm(weights: Weights, name: str) -> Norm:
    return Norm(dense(weights, f"{name}/gamma"), dense(weights, f"{name}/beta"))


def _linear(weights: Weights, name: str) -> Linear:
    weight = np.ascontiguousarray(dense(weights, f"{name}/weight"))
    bias = f"{name}/bias"
    shift = dense(weights, bias) if bias in weights else np.zeros(len(weight), np.float32)
    return Linear(weight, shift)


def _layers(weights: Weights) -> list[Layer]:
    layers: list[Layer] = []
    while f"decoder/layer_{len(layers)}/layer_norm/gamma" in weights or (
        f"decoder/layer_{len(layers)}/ffn/layer_norm/gamma" in weights
    ):
        at = f"decoder/layer_{len(layers)}"
        layers.append(
            Layer(
                _norm(weights, f"{at}/self_attention/layer_norm"),
                _linear(weights, f"{at}/self_attention/linear_0"),
                _linear(weights, f"{at}/self_attention/linear_1"),
                _norm(weights, f"{at}/attention/layer_norm"),
                _linear(weights, f"{at}/attention/linear_0"),
                _linear(weights, f"{at}/attention/linear_1"),
                _linear(weights, f"{at}/attention/linear_2"),
                _norm(weights, f"{at}/ffn/layer_norm"),
                _linear(weights, f"{at}/ffn/linear_0"),
                _linear(weights, f"{at}/ffn/linear_1"),
            )
        )
    return layers


def log_norms(logits: Floats, mask: Floats) -> Floats:
    """log Σ exp of each row of `logits` (B, V) after adding `mask` (V,); shape (B,)."""
    norms = np.empty(len(logits), np.float32)
    for row, values in enumerate(logits):  # row by row, to need no second array of this size
        masked = values + mask
        top = masked.max()
        masked -= top
        norms[row] = top + np.log(np.exp(masked, out=masked).sum())
    return norms


def softmax(x: Floats) -> Floats:
    """Softmax over the last axis."""
    powers = np.exp(x - x.max(axis=-1, keepdims=True))
    return np.asarray(powers / powers.sum(axis=-1, keepdims=True), dtype=np.float32)


def gelu(x: Floats) -> Floats:
    """x · Φ(x) (Hendrycks & Gimpel 2016).

    Φ by Abramowitz & Stegun 1964, formula 7.1.26 (error of erf below 1.5e-7).
    """
    z = np.abs(x) * np.float32(2**-0.5)
    t = 1 / (1 + np.float32(0.3275911) * z)
    poly: Floats = np.full_like(t, 1.061405429)
    for factor in (-1.453152027, 1.421413741, -0.284496736, 0.254829592):
        poly = np.asarray(poly * t + np.float32(factor), np.float32)
    upper = np.float32(0.5) * poly * t * np.exp(-z * z)  # 1 − Φ(|x|)
    return np.asarray(x * np.where(x >= 0, 1 - upper, upper), dtype=np.float32)
