"""Several listeners on one clip: what they agree on is sure, what they differ on is doubtful.

They fail differently (one searches phones after a denoiser, one is a neural network on the
sound as it is), so agreement of the two is the best evidence there is. The figures of this
module are simple steps taken from `tests/bench/hearing.py`, not a fitted calibration.
"""

from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace

from handsfree.engines.apart import Apart
from handsfree.engines.base import Clip, HeardWord, Hearing, Listener, PatientListener
from handsfree.grammar.grammar import Grammar, Reading
from handsfree.grammar.lessons import AS_CORRECTED, ONCE_CORRECTED
from handsfree.grammar.meaning import Meaning, Statement
from handsfree.grammar.words import plain_words
from handsfree.records.entries import Remark

AGREED = 0.97
AGREED_AFTER_BENDING = 0.9
ALONE = 0.85
LISTED_BY_THE_OTHER = 0.75
"""The best answer of one stands close behind the best of the other."""
CLOSE_SECOND = 0.9
"""How far behind that may be, in the listener's own score (natural log a token)."""
CONTESTED = 0.6
"""One accepted it, another heard no sentence or a different one."""

TRUSTED = "neural"
"""Whose answer is taken where they differ, and without whose acceptance none is: on real
people it is right more often, and it takes less talk for a note."""
WEAK_MARGIN = -1.9
"""Below this margin (natural log a token) the trusted listener gives way where they differ."""


LESSON = "lesson"
"""Where an alternative comes from that nobody heard but a person once taught."""

TALK_WORDS, TALK_KNOWN = 4, 0.5
"""So many words, and no larger share of them in the vocabulary, are talk (no source)."""

NO_WORDS = "of the remark only the sound is kept: listen to it"


@dataclass(frozen=True)
class Alternative:
    """Another way an utterance may have been meant, with the engine that heard it so."""

    engine: str
    text: str
    score: float


@dataclass(frozen=True)
class Verdict:
    """What all listeners together made of a clip.

    `reading.meaning` is None where nothing could be accepted. `confidence` is 0..1.
    `heard` are the words of the engine that was believed (or the freest guess at them).
    `speech` is false when no listener found any words: noise, of which nothing is kept.
    """

    reading: Reading
    confidence: float
    heard: str
    engines: tuple[str, ...]
    alternatives: tuple[Alternative, ...] = ()
    words: tuple[HeardWord, ...] = ()
    free_text: str | None = None
    doubt: str | None = None
    speech: bool = True

    @property
    def is_remark(self) -> bool:
        """Whether it is free speech, kept as it came."""
        return self.reading.meaning is not None and self.reading.meaning.command == "remark"


def _quickly(ear: Listener, clip: Clip) -> Hearing:
    return ear.hear_quickly(clip) if isinstance(ear, PatientListener) else ear.hear(clip)


def as_remark(verdict: Verdict) -> Verdict:
    """The verdict on a clip of which it is known that it is the rest of a remark."""
    said = ("remark", *plain_words(verdict.free_text or ""))
    statement = Statement(Remark(text=" ".join(said[1:])))
    reading = Reading(said, said, 0.0, Meaning((statement,), command="remark"))
    doubt = None if len(said) > 1 else NO_WORDS
    return replace(
        verdict, reading=reading, confidence=ALONE, heard=" ".join(said), doubt=doubt, speech=True
    )


@dataclass(frozen=True)
class _Vote:
    hearing: Hearing
    reading: Reading
    words: tuple[HeardWord, ...]
    accepted: bool

    @property
    def meaning(self) -> Meaning | None:
        return self.reading.meaning


@dataclass
class Together:
    """Asks every listener and weighs the answers. Close it to end its threads.

    `live`: somebody waits for the answer, so nobody is asked twice about what sounds like talk
    to all of them, and nobody is waited for where the trusted one hears nothing but talk.
    """

    listeners: Sequence[Listener]
    grammar: Grammar
    live: bool = False
    _pool: ThreadPoolExecutor | None = field(default=None, init=False, repr=False)

    def hear(self, clip: Clip) -> Verdict:
        """Recognise one clip with every listener, at the same time where there are several.

        Who can answer quickly is given more time only where the quick answers do not agree.
        """
        if len(self.listeners) == 1:
            return self.weigh([self.listeners[0].hear(clip)])
        if self._pool is None:
            self._pool = ThreadPoolExecutor(len(self.listeners))
        asked = [self._pool.submit(_quickly, ear, clip) for ear in self.listeners]
        hearings = self._only_talk(asked) if self.live else None
        if hearings is not None:
            return self.weigh(hearings)
        hearings = [each.result() for each in asked]
        verdict = self.weigh(hearings)
        if verdict.confidence >= AGREED_AFTER_BENDING or verdict.is_remark:
            return verdict
        if not any(hearing.again for hearing in hearings):
            return verdict
        if self.live and not any(hearing.accepted for hearing in hearings):
            return verdict
        return self.weigh(
            [
                ear.hear_patiently(clip, quick)
                if quick.again and isinstance(ear, PatientListener)
                else quick
                for ear, quick in zip(self.listeners, hearings, strict=True)
            ]
        )

    def _only_talk(self, asked: "Sequence[Future[Hearing]]") -> list[Hearing] | None:
        """The hearings to go by where the trusted listener is sure that it is only talk.

        That is: what it would write freely has words enough, most of which no sentence has.
        The other listeners take longest over just such clips.
        """
        names = [ear.name for ear in self.listeners]
        if TRUSTED not in names:
            return None
        trusted = asked[names.index(TRUSTED)].result()
        words = plain_words(trusted.free_text or "")
        known = sum(word in self.grammar.acceptor.vocabulary for word in words)
        if trusted.accepted or len(words) < TALK_WORDS or known > TALK_KNOWN * len(words):
            return None
        return [
            trusted if name == TRUSTED else Hearing(name, (), float("-inf"), False)
            for name in names
        ]

    def close(self) -> None:
        """End the threads, and the processes of listeners that have one."""
        if self._pool is not None:
            self._pool.shutdown()
        for listener in self.listeners:
            if isinstance(listener, Apart):
                listener.close()

    def weigh(self, hearings: Sequence[Hearing]) -> Verdict:
        """Decide from what each listener heard, and from what corrections taught of it."""
        return self._taught(self._decided(hearings), hearings)

    def _decided(self, hearings: Sequence[Hearing]) -> Verdict:
        engines = tuple(h.engine for h in hearings)
        free = next((h.free_text for h in hearings if h.free_text), None)
        votes = [vote for h in hearings if (vote := self._vote(h)) is not None]
        remark = self._remark(hearings, votes)
        if remark is not None:
            words = tuple(HeardWord(w) for w in remark.heard)
            heard = " ".join(remark.heard)
            doubt = None if len(remark.heard) > 1 else NO_WORDS
            return Verdict(remark, ALONE, heard, engines, (), words, free, doubt)
        if not votes and not free:
            return Verdict(Reading(()), 0.0, "", engines, speech=False)
        winner, confidence, doubt = self._decide(votes, len(hearings))
        alternatives = self._alternatives(hearings, winner)
        if winner is None:
            best = max(votes, key=lambda v: v.accepted, default=None)
            heard = free or (" ".join(w.text for w in best.words) if best else "")
            return Verdict(
                Reading(tuple(heard.split())), 0.1, heard, engines, alternatives, (), free, doubt
            )
        heard = " ".join(w.text for w in winner.words)
        return Verdict(
            winner.reading, confidence, heard, engines, alternatives, winner.words, free, doubt
        )

    def _taught(self, verdict: Verdict, hearings: Sequence[Hearing]) -> Verdict:
        """The verdict with the lessons in it: never sure, and no sentence loses its meaning."""
        reading = verdict.reading
        if not verdict.speech or verdict.is_remark:
            return verdict
        if reading.meaning is None:
            texts = [h.free_text for h in hearings if h.free_text]
            texts += [hypothesis.text for h in hearings for hypothesis in h.hypotheses]
            said = [words for text in texts if self.grammar.lesson(words := plain_words(text))]
            readings = [self.grammar.read(words) for words in said]
            taught = next((r for r in readings if r.by_lesson), None)
            if taught is not None:
                confidence = max(0.0, CONTESTED - taught.bend)
                return replace(verdict, reading=taught, confidence=confidence, doubt=AS_CORRECTED)
            reading = next((r for r in readings if r.taught), reading)
        if not reading.taught:
            return verdict
        confidence = min(CONTESTED, verdict.confidence)
        if reading.by_lesson:
            return replace(verdict, confidence=confidence, doubt=AS_CORRECTED)
        meant = Alternative(LESSON, " ".join(reading.taught), 0.0)
        others = tuple(a for a in verdict.alternatives if a.text != meant.text)
        doubt = f"{verdict.doubt}; {ONCE_CORRECTED}" if verdict.doubt else ONCE_CORRECTED
        return replace(verdict, confidence=confidence, alternatives=(meant, *others), doubt=doubt)

    def _vote(self, hearing: Hearing) -> _Vote | None:
        """The best hypothesis that the grammar can read, else the best one as it is."""
        first: _Vote | None = None
        for hypothesis in hearing.hypotheses:
            words = hypothesis.words
            reading = self.grammar.read([w.text for w in words], [w.sureness for w in words])
            if reading.meaning is not None:
                return _Vote(
                    hearing, reading, words, hearing.accepted or self._free_too(hearing, reading)
                )
            first = first or _Vote(hearing, reading, words, hearing.accepted)
        return first

    def _free_too(self, hearing: Hearing, reading: Reading) -> bool:
        """Whether decoding free of the grammar came to the same meaning by itself."""
        free = self.grammar.read(plain_words(hearing.free_text or ""))
        if free.by_lesson:
            return False
        return free.meaning is not None and free.meaning == reading.meaning

    def _decide(
        self, votes: Sequence[_Vote], listeners: int
    ) -> tuple[_Vote | None, float, str | None]:
        read = [v for v in votes if v.meaning is not None]
        accepted = [v for v in read if v.accepted]
        for vote in accepted:
            if any(v is not vote and v.meaning == vote.meaning for v in read):
                bent = vote.reading.bend > 0
                return vote, AGREED_AFTER_BENDING if bent else AGREED, None
        trusted = next((v for v in votes if v.hearing.engine == TRUSTED), None)
        if not accepted or (trusted is not None and trusted not in accepted):
            return None, 0.0, "sounds like speech that is no note"
        if listeners == 1:
            return self._alone(accepted[0])
        others = [v for v in accepted if v is not trusted]
        best, confidence = trusted or others[0], CONTESTED
        if trusted is not None and others:
            listed = next((v for v in others if self._lists(trusted, v.meaning)), None)
            if listed is not None:
                best, confidence = listed, LISTED_BY_THE_OTHER
            elif trusted.hearing.margin < WEAK_MARGIN:
                best = others[0]
        apart = " and ".join(v.hearing.engine for v in votes if v is not best)
        return best, confidence, f"{apart or 'the other'} heard it differently"

    def _alone(self, vote: _Vote) -> tuple[_Vote, float, str | None]:
        weak = vote.hearing.engine == TRUSTED and vote.hearing.margin < WEAK_MARGIN
        confidence = (CONTESTED if weak else ALONE) - min(0.35, vote.reading.bend)
        return vote, confidence, "heard weakly by one listener" if weak else None

    def _lists(self, vote: _Vote, meaning: Meaning | None) -> bool:
        """Whether a listener has this meaning close behind its own best answer."""
        best, *rest = vote.hearing.hypotheses
        close = (h for h in rest if best.score - h.score <= CLOSE_SECOND)
        return any(self.grammar.read(h.text.split()).meaning == meaning for h in close)

    def _alternatives(
        self, hearings: Sequence[Hearing], winner: _Vote | None
    ) -> tuple[Alternative, ...]:
        seen = {" ".join(w.text for w in winner.words)} if winner else set()
        result: list[Alternative] = []
        for hearing in hearings:
            for hypothesis in hearing.hypotheses[:3]:
                if hypothesis.text and hypothesis.text not in seen:
                    seen.add(hypothesis.text)
                    result.append(
                        Alternative(hearing.engine, hypothesis.text, round(hypothesis.score, 4))
                    )
        return tuple(result)

    def _remark(self, hearings: Sequence[Hearing], votes: Sequence[_Vote]) -> Reading | None:
        """ "Remark" opens free speech, so the free decoding is believed for what follows."""
        for hearing in hearings:
            spoken = plain_words(hearing.free_text or "")
            if spoken and spoken[0] == "remark":
                return self.grammar.read(spoken)
        opened = [v for v in votes if v.meaning and v.meaning.command == "remark"]
        if opened and any(v.accepted for v in opened):
            return self.grammar.read(["remark"])
        return None
