"""When to say what: tones at once, words when he does not speak."""

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field

from handsfree.answers.output import Output
from handsfree.answers.tones import sound_of
from handsfree.answers.voice import Speech
from handsfree.engines.base import Sound
from handsfree.visit.answer import Answer, Tone

LATEST_S = 20.0
"""Words that found no pause to be said in for so long are left out, unless urgent (no source)."""

REMEMBERED_S = 3.0
"""How long after words were spoken they still count as just said (no source)."""


@dataclass
class _Words:
    answer: Answer
    sound: "Future[Sound]"
    since_s: float


@dataclass
class Mouth:
    """Gives answers by way of an output; `speech` None: by tones alone.

    `told` is called with each tone and each piece of words as it goes out, and the time.
    With `wait`, words are ready the moment they may be said (a replay faster than life).
    """

    output: Output
    speech: Speech | None = None
    wait: bool = False
    told: Callable[[float, Tone | None, Sequence[str]], None] = lambda at_s, tone, say: None
    _queue: deque[_Words] = field(default_factory=deque, init=False)
    _speaking: Answer | None = field(default=None, init=False)
    _spoken: deque[tuple[float, Sequence[str]]] = field(default_factory=deque, init=False)
    _maker: ThreadPoolExecutor | None = field(default=None, init=False)

    def answer(self, answers: Iterable[Answer], now_s: float) -> None:
        """Sound the tones now and put the words in line, urgent ones first."""
        for each in answers:
            if each.tone is not None:
                self.output.play(sound_of(each.tone))
                self.told(now_s, each.tone, ())
            if each.say and self.speech is not None:
                self._put(each, now_s)

    def _put(self, answer: Answer, now_s: float) -> None:
        assert self.speech is not None
        if self._maker is None:
            self._maker = ThreadPoolExecutor(1, "speech")
        words = _Words(answer, self._maker.submit(self.speech.say, answer.say, answer.slow), now_s)
        self._queue = deque(w for w in self._queue if not w.answer.passing)
        if answer.urgent:
            ahead = sum(w.answer.urgent for w in self._queue)
            self._queue.insert(ahead, words)
        else:
            self._queue.append(words)

    def step(self, now_s: float, he_speaks: bool) -> None:
        """Go on with what waits. Call it every few hundredths of a second."""
        if not self.output.playing:
            if self._speaking is not None:
                self._spoken.append((now_s, self._speaking.say))
            self._speaking = None
        while self._spoken and now_s - self._spoken[0][0] > REMEMBERED_S:
            self._spoken.popleft()
        while self._queue and self._too_late(self._queue[0], now_s):
            self._queue.popleft()
        if he_speaks or not self._queue or self.output.playing:
            return
        words = self._queue[0]
        if not self.wait and not words.sound.done():
            return
        self._queue.popleft()
        self.output.play(words.sound.result())
        self._speaking = words.answer
        self.told(now_s, None, words.answer.say)

    def hush(self) -> None:
        """Stop speaking for him; what is urgent goes on."""
        if self._speaking is not None and not self._speaking.urgent:
            self.output.stop()

    @property
    def speaking(self) -> bool:
        """Whether words are being spoken (tones do not count)."""
        return self._speaking is not None

    @property
    def idle(self) -> bool:
        """Whether nothing is being played or waits to be said."""
        return not self._queue and not self.output.playing

    def just_said(self) -> list[str]:
        """The words that are being spoken or were within the last seconds."""
        spoken = [word for _, say in self._spoken for word in say]
        return spoken + (list(self._speaking.say) if self._speaking else [])

    def close(self) -> None:
        """Stop at once."""
        if self._maker is not None:
            self._maker.shutdown(cancel_futures=True)
        self.output.close()

    def _too_late(self, words: _Words, now_s: float) -> bool:
        return not words.answer.urgent and now_s - words.since_s > LATEST_S
