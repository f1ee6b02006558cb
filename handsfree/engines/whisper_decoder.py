"""Whisper's text decoder in NumPy, with cached keys and values, over CTranslate2 weights.

Architecture: Radford et al. 2022; pre-norm transformer of Vaswani et al. 2017. Shapes use
B rows (hypotheses), n new tokens, L past tokens, T encoder frames (20 ms each), H heads,
d = D / H channels a head, D model channels, V text tokens.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsfree.engines.whisper_model import EMBEDDINGS, Weights, dense
from handsfree.errors import EngineError

Floats = NDArray[np.float32]
Ints = NDArray[np.int64]

_EPSILON = np.float32(1e-5)
_GELU = 3
_UNPACKED = 100_000
"""Numbers unpacked at once: few enough to stay in the processor's cache."""


class Packed:
    """A matrix (outputs, inputs) as int16 with one scale a row: about as exact as float16.

    It takes half the memory of float32, and unpacking it part by part is quicker than reading
    float32 from memory (measured 9 against 15 ms for 50,257 × 384 by 5 rows).
    """

    def __init__(self, weights: Weights, name: str) -> None:
        """Pack the variable `name`. Raises EngineError when it is missing."""
        if name not in weights:
            raise EngineError(f"the Whisper model lacks the variable {name}")
        self._values = np.empty(weights[name].shape, np.int16)
        self._scale = np.empty(len(self._values), np.float32)
        self._step = max(16, _UNPACKED // self.width)
        for rows in self._parts(len(self._values)):
            part = dense(weights, name, rows)
            largest = np.abs(part).max(axis=1)
            self._scale[rows] = np.where(largest > 0, largest, 1) / np.float32(32767)
            self._values[rows] = np.rint(part / self._scale[rows, None])

    def __len__(self) -> int:
        return len(self._values)

    @property
    def width(self) -> int:
        """Inputs."""
        return int(self._values[:1].size)

    def __getitem__(self, rows: Ints) -> Floats:
        """The rows of these numbers."""
        return np.asarray(self._values[rows] * self._scale[rows][..., None])

    def only(self, rows: Ints) -> "Packed":
        """A matrix of these rows, in that order."""
        some = object.__new__(Packed)
        some._values, some._scale, some._step = self._values[rows], self._scale[rows], self._step
        return some

    def times(self, x: Floats, outputs: int | None = None) -> Floats:
        """The product with each of `x` (n, inputs), of the first `outputs` rows: (n, outputs)."""
        count = len(self._values) if outputs is None else outputs
        out = np.empty((count, len(x)), np.float32)
        unpacked = np.empty((self._step, self.width), np.float32)
        across = np.ascontiguousarray(x.T)
        for rows in self._parts(count):
            part = unpacked[: rows.stop - rows.start]
            np.copyto(part, self._values[rows], casting="unsafe")
            np.matmul(part, across, out=out[rows])
        out *= self._scale[:count, None]
        return np.ascontiguousarray(out.T)

    def _parts(self, count: int) -> Iterator[slice]:
        return (slice(at, min(at + self._step, count)) for at in range(0, count, self._step))


@dataclass(frozen=True)
class Linear:
    """y = weight · x + bias with `weight` (outputs, inputs)."""

    weight: Packed
    bias: Floats

    def __call__(self, x: Floats) -> Floats:
        """`x` (…, inputs) to (…, outputs)."""
        # One flat product: a stacked matmul would run as many small ones.
        out = self.weight.times(x.reshape(-1, x.shape[-1]))
        out += self.bias
        return out.reshape(*x.shape[:-1], -1)


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
        self._embeddings = Packed(weights, EMBEDDINGS)
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
        return self._embeddings.width

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
        x = self._embeddings[tokens] + self._positions[start:end]
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
        return self._embeddings.times(states, self.vocabulary)

    def head(self, tokens: Ints) -> Packed:
        """What scores these text tokens only."""
        return self._embeddings.only(tokens)


def _root(channels: int) -> np.float32:
    return np.float32(channels**-0.5)


def _norm(weights: Weights, name: str) -> Norm:
    return Norm(dense(weights, f"{name}/gamma"), dense(weights, f"{name}/beta"))


def _linear(weights: Weights, name: str) -> Linear:
    weight = Packed(weights, f"{name}/weight")
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


def log_norms(logits: Floats, mask: Floats | np.float32) -> Floats:
    """log Σ exp of each row of `logits` (B, V) after adding `mask` (V, or one); shape (B,)."""
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
