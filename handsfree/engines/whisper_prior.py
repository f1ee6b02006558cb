"""How likely the decoder finds a sentence without hearing it."""

import threading

import numpy as np

from handsfree.engines.whisper_decoder import Decoder, Floats, Memory, log_norms

_MOST_KNOWN = 20_000
_BATCH = 16


class Prior:
    """Log probabilities of token sequences after `opening` over a sound with no speech.

    Everyday phrases ("what's left") are likely before anything is heard, trade words are
    not, and in noise that difference decides. Taking a part of it away is the estimate of
    an internal language model by its output without acoustic evidence (Variani et al. 2020,
    Hybrid Autoregressive Transducer). Figures once computed are kept, as sentences
    of one grammar share their beginnings.
    """

    def __init__(self, decoder: Decoder, memory: Memory, opening: list[int], mask: Floats) -> None:
        self._decoder, self._memory, self._mask = decoder, memory, mask
        self._opened = decoder.new_cache(1, len(opening))
        tokens = np.array([opening], dtype=np.int64)
        self._first = decoder.advance(tokens, memory, self._opened)[:, -1:]
        self._known: dict[tuple[int, ...], float] = {}
        self._lock = threading.Lock()

    def totals(self, sequences: list[tuple[int, ...]]) -> list[float]:
        """Summed natural log probability of each sequence's tokens, in the same order."""
        with self._lock:
            if len(self._known) > _MOST_KNOWN:
                self._known.clear()
            unknown = [s for s in sequences if s and not self._knows(s)]
            if unknown:
                self._learn(unknown)
            return [sum(self._known[s[: n + 1]] for n in range(len(s))) for s in sequences]

    def _knows(self, sequence: tuple[int, ...]) -> bool:
        return all(sequence[: n + 1] in self._known for n in range(len(sequence)))

    def _learn(self, sequences: list[tuple[int, ...]]) -> None:
        longest = max(map(len, sequences))
        # Short ones are filled up with any token: nothing looks ahead to the filling.
        tokens = np.zeros((len(sequences), longest), np.int64)
        for row, sequence in enumerate(sequences):
            tokens[row, : len(sequence)] = sequence
        cache = self._opened.pick(np.zeros(len(sequences), np.int64), longest)
        states = np.repeat(self._first, len(sequences), axis=0)
        if longest > 1:
            later = self._decoder.advance(tokens[:, :-1], self._memory, cache)
            states = np.concatenate([states, later], axis=1)
        places: dict[tuple[int, ...], tuple[int, int]] = {}
        for row, sequence in enumerate(sequences):
            for n in range(len(sequence)):
                if sequence[: n + 1] not in self._known:
                    places.setdefault(sequence[:n], (row, n))
        rows, columns = np.array(list(places.values())).T
        wanted = states[rows, columns]
        following: dict[tuple[int, ...], set[int]] = {}
        for sequence in sequences:
            for n, token in enumerate(sequence):
                following.setdefault(sequence[:n], set()).add(token)
        prefixes = list(places)
        for at in range(0, len(prefixes), _BATCH):
            logits = self._decoder.logits(wanted[at : at + _BATCH])
            norms = log_norms(logits, self._mask)
            for prefix, row, norm in zip(prefixes[at:], logits, norms, strict=False):
                for token in following[prefix]:
                    self._known[(*prefix, token)] = float(row[token] - norm)
