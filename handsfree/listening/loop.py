"""Sound in, notes kept, answers given: the loop that runs while he works."""

from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np

from handsfree.audio.activity import Follower, follower
from handsfree.audio.echo import OWN_SHARE_LIMIT, EchoGuard
from handsfree.audio.live import Source, Trouble
from handsfree.audio.speech import Cutter
from handsfree.dialogue.turn import Notice
from handsfree.engines.base import SAMPLE_RATE, Clip, Sound
from handsfree.engines.together import Together, Verdict
from handsfree.errors import EngineError, LogError
from handsfree.grammar.grammar import Reading
from handsfree.listening.memory import give_back
from handsfree.listening.mouth import Mouth
from handsfree.recording import Line, Recorder
from handsfree.spool import Spool
from handsfree.transcribe import heard_in
from handsfree.visit.answer import Answer, Tone

SPOKEN_TROUBLES = {
    "overflow": "some sound was lost",
    "gone": "the microphone is gone",
    "back": "the microphone is back",
    "zeros": "the microphone is silent",
}

HUSH_S = 0.3
"""Speech this long over the program's own words makes it stop speaking (no source)."""

OWN_LOOK_S, OWN_NOW = 1.0, 0.5
"""With this much of the last second its own voice, nobody speaks over it."""

IDLE_S = 0.15
"""While nobody speaks, sound is looked at in stretches so long: a network that is woken seldom
takes half of the processor's time. An utterance's beginning is heard all the same, a little later;
from then on every block is looked at when it comes."""

SETTLE_S = 1.0
"""How often the spool is told how far the sound has been dealt with."""

GIVE_BACK_S = 30.0
"""How often memory is given back, at most, and only when something was heard since (s)."""

WORDS_OF_MINE_SHARE = 0.3
"""With this much of a clip the program's own voice, words that it has just said are its own."""

FAILED = "a recognizer failed while this was heard"


class Screen(Protocol):
    """What shows the session to anyone near; all of it may be ignored."""

    def line(self, line: Line) -> None:
        """An utterance was taken."""
        ...

    def trouble(self, text: str) -> None:
        """Something went wrong, or is right again."""
        ...

    def block(self, sound: Sound, at_s: float) -> None:
        """Sound came in; `at_s` is the session's clock."""
        ...


@dataclass
class Listening:
    """One session. `run` returns when the source ends or `stop` was called.

    `pass_time` moves the clock of a recording output. `ahead_s` is where the session's clock
    starts: the end of the session that this one goes on with. Afterwards `ended` says that
    the source ended by itself, and `unwritten` how many writes the log never took.
    """

    source: Source
    ears: Together
    recorder: Recorder
    mouth: Mouth
    screen: Screen
    spool: Spool | None = None
    guard: EchoGuard = field(default_factory=EchoGuard)
    pass_time: Callable[[float], None] = lambda seconds: None
    ahead_s: float = 0.0
    ended: bool = field(default=False, init=False)
    unwritten: int = field(default=0, init=False)
    _cutter: Cutter = field(default_factory=Cutter, init=False)
    _held: Sound = field(default_factory=lambda: np.zeros(0, np.float32), init=False)
    _samples: int = field(default=0, init=False)
    _early: tuple[Clip, "Future[Verdict]"] | None = field(default=None, init=False)
    _pending: "deque[tuple[Clip, Future[Verdict]]]" = field(default_factory=deque, init=False)
    _unwritten: list[tuple[float, Line]] = field(default_factory=list, init=False)
    _last: Line | None = field(default=None, init=False)
    _noted: dict[str, object] = field(default_factory=dict, init=False)
    _settled_s: float = field(default=0.0, init=False)
    _used_memory: bool = field(default=False, init=False)
    _gave_back_s: float = field(default=0.0, init=False)
    _next_look_s: float = field(default=0.0, init=False)
    _stopping: bool = field(default=False, init=False)
    _finished: bool = field(default=False, init=False)

    @property
    def now_s(self) -> float:
        """The session's clock, s."""
        return self.ahead_s + self._samples / SAMPLE_RATE

    def stop(self) -> None:
        """End soon: what was said so far is still dealt with. Safe in a signal handler."""
        self._stopping = True

    def run(self) -> None:
        """Listen until the end. All that was heard is in the log or the spool afterwards."""
        self._note()
        with closing(follower()) as stream, ThreadPoolExecutor(1, "hearing") as self._hearing:
            try:
                while not self._stopping:
                    part = self.source.read()
                    if part is None:
                        self.ended = True
                        break
                    if isinstance(part, Trouble):
                        self._on_trouble(part, stream)
                    else:
                        self._on_sound(part, stream)
                    self._between()
                self._finish(stream)
            finally:
                self._leave()

    # Sound

    def _on_sound(self, block: Sound, stream: Follower) -> None:
        seconds = len(block) / SAMPLE_RATE
        self.pass_time(seconds)
        reference = self.mouth.output.reference(len(block))
        self._samples += len(block)
        self.screen.block(block, self.now_s)
        self._listen(self.guard.feed(block, reference), stream)

    def _listen(self, sound: Sound, stream: Follower) -> None:
        if self.spool is not None:
            self.spool.write(sound)
        self._held = np.concatenate([self._held, sound])
        if self.source.live and self._cutter.idle and len(self._held) < IDLE_S * SAMPLE_RATE:
            return
        sound, self._held = self._held, np.zeros(0, np.float32)
        for clip in self._cutter.feed(stream.feed(sound)):
            self._submit(clip)
        early = self._cutter.early
        if self.source.live and early is not None and not self._same(early):
            self._forget_early()
            self._early = (early, self._hearing.submit(self.ears.hear, early))

    def _same(self, clip: Clip) -> bool:
        """Whether this very stretch is being heard already."""
        if self._early is None:
            return False
        early = self._early[0]
        return (early.start_s, early.end_s) == (clip.start_s, clip.end_s)

    def _forget_early(self) -> None:
        if self._early is not None:
            self._early[1].cancel()
            self._early = None

    def _submit(self, clip: Clip) -> None:
        if self._early is not None and self._same(clip):
            verdict = self._early[1]
            self._early = None
        else:
            self._forget_early()
            verdict = self._hearing.submit(self.ears.hear, clip)
        self._pending.append((clip, verdict))

    def _between(self) -> None:
        """What is done after each block: answers, time, the log, the spool."""
        while self._pending and (self._pending[0][1].done() or not self.source.live):
            self._decided(*self._pending.popleft())
        now = self.now_s
        self.mouth.answer(self.recorder.dialogue.tick(now), now)
        if self.mouth.speaking and self._cutter.voice_s >= HUSH_S and self._is_he():
            self.mouth.hush()
        self.mouth.step(now, self._cutter.speaking)
        self.recorder.waiting.retry(now)
        self._tell_troubles()
        if now - self._settled_s >= SETTLE_S:
            self._settle()
            self._give_back()

    def _give_back(self) -> None:
        """Between utterances, when nobody waits for anything."""
        busy = self._pending or not self._cutter.idle or not self.mouth.idle
        if busy or not self._used_memory or self.now_s - self._gave_back_s < GIVE_BACK_S:
            return
        give_back()
        self._used_memory, self._gave_back_s = False, self.now_s

    def _finish(self, stream: Follower) -> None:
        rest = self.guard.flush()
        if len(rest):
            self._listen(rest, stream)
        for part in (stream.feed(self._held), stream.finish()):
            for clip in self._cutter.feed(part):
                self._submit(clip)
        for clip in self._cutter.finish():
            self._submit(clip)
        while self._pending:
            self._decided(*self._pending.popleft())
        self._finished = True
        self._unsaid()

    def _unsaid(self) -> None:
        """Let a recording output say what still waits; nobody listens to a live one any more."""
        if self._stopping or self.source.live:
            return
        step_s, left_s = 0.1, 60.0
        while left_s > 0 and not self.mouth.idle:
            self.pass_time(step_s)
            self._samples += round(step_s * SAMPLE_RATE)
            self.mouth.step(self.now_s, False)
            left_s -= step_s

    def _leave(self) -> None:
        self._forget_early()
        self.recorder.waiting.retry(np.inf)
        self._tell_troubles()
        self.unwritten = len(self.recorder.waiting)
        if self.spool is not None:
            self._settle()
            self.spool.close(clean=self._finished and not self.unwritten)
        if self.unwritten:
            kept = "is not kept"
            if self.spool is not None and self.spool.healthy:
                kept = (
                    f"is kept in {self.spool.folder} and is heard again when 'listen' next starts"
                )
            notes = "1 note" if self.unwritten == 1 else f"{self.unwritten} notes"
            self.screen.trouble(f"{notes} could not be written to the log; the sound {kept}")
        self.mouth.close()
        self.source.close()

    # Utterances

    def _decided(self, clip: Clip, future: "Future[Verdict]") -> None:
        self._used_memory = True
        try:
            verdict = future.result()
        except EngineError as error:
            self._warn(str(error), "a recognizer failed")
            verdict = Verdict(Reading(()), 0.0, "", (), doubt=FAILED)
        if not verdict.speech or self._own_voice(clip, verdict):
            self._last = None
            return
        offset = self.ahead_s
        timed = replace(clip, start_s=clip.start_s + offset, end_s=clip.end_s + offset)
        try:
            line = self.recorder.take(heard_in(timed, verdict, self._last))
        except LogError as error:
            self._warn(str(error), "the log refused a note")
            return
        self._last = line
        if line is None:
            return
        answers: Sequence[Answer] = line.turn.answers
        if line.written is not None and not line.written.done():
            # Taken, but not safe in the log: he must not hear the tone that says it is.
            self._unwritten.append((clip.start_s, line))
            answers = (Answer(Tone.TROUBLE), *(a for a in answers if a.urgent))
        self.screen.line(line)
        self.mouth.answer(answers, self.now_s)
        self._note()

    def _is_he(self) -> bool:
        """Whether the voice of this moment is his, and not an answer from the loudspeaker."""
        now_s = self._samples / SAMPLE_RATE
        if now_s < self._next_look_s:
            return False
        self._next_look_s = now_s + OWN_LOOK_S / 4
        return self.guard.own_share(now_s - OWN_LOOK_S, now_s) < OWN_NOW

    def _own_voice(self, clip: Clip, verdict: Verdict) -> bool:
        share = self.guard.own_share(clip.start_s, clip.end_s)
        if share >= OWN_SHARE_LIMIT:
            return True
        if share < WORDS_OF_MINE_SHARE:
            return False
        mine = " ".join(self.mouth.just_said())
        return bool(verdict.heard) and f" {verdict.heard} " in f" {mine.replace(',', '')} "

    # Troubles

    def _on_trouble(self, trouble: Trouble, stream: Follower) -> None:
        if trouble.kind == "gone":
            # Sound stopped in the middle of whatever was said: what there is of it ends here.
            quiet = np.zeros(SAMPLE_RATE, np.float32)
            self._samples += len(quiet)
            self._listen(self.guard.feed(quiet, quiet), stream)
        self.ahead_s += trouble.gap_s
        self._warn(trouble.line, SPOKEN_TROUBLES.get(trouble.kind, "look at the screen later"))
        self.recorder.notice(Notice("device", trouble.kind, trouble.line))
        self._note()

    def _warn(self, line: str, spoken: str) -> None:
        self.screen.trouble(line)
        self.mouth.answer([Answer(Tone.TROUBLE, (spoken,), urgent=True)], self.now_s)

    def _tell_troubles(self) -> None:
        spool = self.spool.trouble() if self.spool is not None else None
        if spool:
            self._warn(
                spool, "the disk is in trouble" if "again" not in spool else "the disk works"
            )
        while (waiting := self.recorder.waiting.trouble()) is not None:
            fine = not len(self.recorder.waiting)
            self._warn(waiting, "the log works again" if fine else "the log cannot be written")
        output = self.mouth.output.trouble()
        if output:
            self.screen.trouble(output)

    # The spool

    def _settle(self) -> None:
        """Tell the spool which sound nobody needs any more."""
        self._unwritten = [(s, li) for s, li in self._unwritten if not _is_written(li)]
        done_s = min(
            self._cutter.done_before_s,
            *(clip.start_s for clip, _ in self._pending),
            *(start_s for start_s, _ in self._unwritten),
            self._samples / SAMPLE_RATE,
        )
        self._settled_s = self.now_s
        if self.spool is not None:
            self.spool.done_before(done_s)

    def _note(self) -> None:
        """Keep beside the sound what a recovery must know."""
        dialogue = self.recorder.dialogue
        state = dialogue.state
        about: dict[str, object] = {
            "visit": self.recorder.visit_id,
            "source": self.recorder.source,
            "recording": self.recorder.recording,
            "horse": state.horse,
            "limb": state.limb,
            "ears_on": state.ears_on,
            "attention": dialogue.attention,
            "attention_s": dialogue.session.attention_s,
            "awake_until_s": state.awake_until_s,
            "ahead_s": self.ahead_s,
        }
        if self.spool is not None and about != self._noted:
            self._noted = about
            self.spool.note(about)


def _is_written(line: Line) -> bool:
    return line.written is None or line.written.done()
