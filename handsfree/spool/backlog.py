"""Sound that the disk has not taken yet, in memory, with a bound."""

from collections import deque

from handsfree.spool.layout import SAMPLE_BYTES


class Backlog:
    """A queue of PCM that forgets its oldest sound when it holds more than `most` samples.

    `start` is the number of its first sample in the run, `end` one past its last.
    """

    def __init__(self, most: int) -> None:
        self.start = self.end = 0
        self._most = most
        self._blocks: deque[bytes] = deque()

    def __len__(self) -> int:
        """How many samples are in it."""
        return self.end - self.start

    def add(self, data: bytes) -> int:
        """Put PCM behind the rest; returns how many of the oldest samples were forgotten."""
        if data:
            self._blocks.append(data)
            self.end += len(data) // SAMPLE_BYTES
        lost = max(0, len(self) - self._most)
        self.drop(lost)
        return lost

    def first(self) -> bytes:
        """The oldest block, empty where nothing is left."""
        return self._blocks[0] if self._blocks else b""

    def drop(self, samples: int) -> None:
        """Take this many samples off the front."""
        left = min(samples, len(self)) * SAMPLE_BYTES
        self.start += left // SAMPLE_BYTES
        while left:
            block = self._blocks.popleft()
            if len(block) > left:
                self._blocks.appendleft(block[left:])
            left -= min(left, len(block))
