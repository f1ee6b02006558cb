"""Several listeners on one clip: what they agree on is sure, what they differ on is doubtful.

They fail differently (one searches phones after a denoiser, one is a neural network on the
sound as it is), so agreement of the two is the best evidence there is. Where they differ, each
says how well the other's sentences fit, which often shows one that its own search had lost. How
sure a verdict is comes from `confidence.py`, fitted on sounds made for that by
`tests/bench/fit_confidence.py`.
"""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from threading import Thread

import numpy as np

from handsfree.engines.apart import Apart
from handsfree.engines.base import (
    SAMPLE_RATE,
    Clip,
    HeardWord,
    Hearing,
    Hypothesis,
    Listener,
    PatientListener,
    ScoringListener,
)
from handsfree.engines.confidence import Confidence, load
from handsfree.engines.own_way import CASE, Way, entries_of, ways
from handsfree.grammar.grammar import Grammar, Reading
from handsfree.grammar.lessons import AS_CORRECTED, ONCE_CORRECTED
from handsfree.grammar.limbs import NO_LIMB, NamedLimbs
from handsfree.grammar.meaning import Meaning, Statement
from handsfree.grammar.words import plain_words
from handsfree.language.understand import Understanding
from handsfree.records.entries import Remark
from handsfree.records.sureness import DOUBTFUL_BELOW, unsure

ALONE = 0.85
"""Of a free remark, and of what only a listener said for which nothing was ever fitted."""
CONTESTED = 0.6
"""At most this where a correction taught otherwise, or listeners differ and did not score each
other's sentences."""

NEURAL, SPHINX = "neural", "pocketsphinx"
"""The listeners whose figures confidence is fitted to."""

TAKEN_FROM = 0.2
"""An answer less likely than this to be right is not taken. On the tuning part of noisy.py 0.1
took 1% more rightly and 1% more wrongly (all doubtful), 0.3 2% fewer of either."""

WRITTEN_FROM = 0.3
"""The same for what was written freely."""

DIFFERED_AT_MOST = DOUBTFUL_BELOW - 0.01
"""What listeners differ on is never sure, whatever the figures say: a note is right or marked
doubtful, and nothing is erased on such a hearing."""

AGREE, DIFFER, LONE = "agree", "differ", "alone"
"""The cases of `confidence.toml`; the last with the listener's name after it."""

SCORED = {NEURAL: 3, SPHINX: 2}
"""So many best sentences of each listener are scored by the other where they differ."""

NOT_LISTED = 3.0
"""The lead over nothing, in natural log a token or a frame (real ones are below it)."""

Scores = Mapping[str, Mapping[str, float]]
"""By listener and sentence, how well it fits."""

LESSON = "lesson"
"""Where an alternative comes from that nobody heard but a person once taught."""

TWIN = "twin"
"""Where an alternative comes from that sounds the same as what was heard."""

CLEARER, AS_CLEAR = 1.1, 0.3
"""What was written freely is believed over a sentence of the grammar if it fits so much better
(natural log a token, by the sound alone), also where that one was sure; if it fits better by the
second and means something else, the sentence is doubtful. Of 190 natural utterances of natural.py
180 fitted better by 1.2 or more; of 28 noisy sentences one by more than 0.7 (1.07)."""

TALK_WORDS, TALK_KNOWN = 4, 0.5
"""So many words, and no larger share of them in the vocabulary, are talk (no source)."""

REMEMBERED = 128
"""Readings kept: more than the hypotheses of one clip, which are weighed several times."""

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


def _patiently(ear: Listener, clip: Clip, quick: Hearing) -> Hearing:
    if quick.again and isinstance(ear, PatientListener):
        return ear.hear_patiently(clip, quick)
    return quick


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
class Room:
    """What is known of the sound itself: its length (s), and speech over noise (dB) as the
    denoiser parts them (None without one)."""

    seconds: float
    snr_db: float | None


def room_of(clip: Clip) -> Room:
    """Measure a clip. The figure is bounded to -20..40 dB, beyond which nothing changes."""
    seconds = len(clip.raw) / SAMPLE_RATE
    if clip.clean is None or not len(clip.raw):
        return Room(seconds, None)
    kept = float(np.mean(np.square(clip.clean, dtype=np.float64)))
    taken = float(np.mean(np.square(clip.raw - clip.clean, dtype=np.float64)))
    snr_db = 10 * math.log10((kept + 1e-12) / (taken + 1e-12))
    return Room(seconds, min(40.0, max(-20.0, snr_db)))


@dataclass(frozen=True)
class _Vote:
    hearing: Hearing
    reading: Reading
    words: tuple[HeardWord, ...]
    accepted: bool

    @property
    def meaning(self) -> Meaning | None:
        return self.reading.meaning


@dataclass(frozen=True)
class Candidate:
    """An answer that may be taken: its case and features as `confidence.py` knows them."""

    vote: _Vote
    case: str
    known: Mapping[str, float | None]


@dataclass
class Together:
    """Asks every listener and weighs the answers. Close it to end its threads.

    `live`: somebody waits for the answer, so nobody is asked twice about what sounds like talk
    to all of them, nobody is waited for where the trusted one hears nothing but talk, and they
    are not asked to score each other's sentences: what they differ on is doubtful either way.
    `natural`: what is no sentence of the grammar is read as natural speech.
    """

    listeners: Sequence[Listener]
    grammar: Grammar
    live: bool = False
    confidence: Confidence = field(default_factory=load, repr=False)
    natural: bool = True
    _pool: ThreadPoolExecutor | None = field(default=None, init=False, repr=False)

    def __post_init__(self) -> None:
        self._remembered = lru_cache(REMEMBERED)(self.grammar.read)
        if self.live and self.natural and self.listeners:
            # Read before it is needed: it takes a quarter of a second.
            Thread(target=lambda: self._understanding, daemon=True).start()

    @cached_property
    def _understanding(self) -> Understanding:
        return Understanding(self.grammar)

    def _read(self, words: Sequence[str], sureness: Sequence[float | None] = ()) -> Reading:
        """`Grammar.read`, once for each run of words in a clip."""
        known = any(sure is not None for sure in sureness)
        return self._remembered(tuple(words), tuple(sureness) if known else ())

    def _reading(self, hypothesis: Hypothesis) -> Reading:
        words = hypothesis.words
        return self._read([w.text for w in words], [w.sureness for w in words])

    def hear(self, clip: Clip) -> Verdict:
        """Recognise one clip with every listener, at the same time where there are several.

        Who can answer quickly is given more time only where the quick answers do not agree.
        """
        room = self._room(clip)
        if len(self.listeners) == 1:
            return self.weigh([self.listeners[0].hear(clip)], room)
        if self._pool is None:
            self._pool = ThreadPoolExecutor(len(self.listeners))
        asked = [self._pool.submit(_quickly, ear, clip) for ear in self.listeners]
        hearings = self._only_talk(asked) if self.live else None
        if hearings is not None:
            return self.weigh(hearings, room)
        hearings = [each.result() for each in asked]
        verdict = self.weigh(hearings, room)
        if verdict.is_remark or self._agreed(hearings):
            return verdict
        if self.live and not any(hearing.accepted for hearing in hearings):
            return verdict
        if any(hearing.again for hearing in hearings):
            given = zip(self.listeners, hearings, strict=True)
            more = [self._pool.submit(_patiently, ear, clip, quick) for ear, quick in given]
            hearings = [each.result() for each in more]
        return self.weigh(hearings, room, {} if self.live else self._scores(clip, hearings))

    def _scores(self, clip: Clip, hearings: Sequence[Hearing]) -> Scores:
        """Each listener's scores of what the others heard, where that can help."""
        asked = self._to_score(hearings)
        if not asked or not any(h.accepted for h in hearings) or self._agreed(hearings):
            return {}
        assert self._pool is not None
        return {
            name: dict(zip(asked, scores.result(), strict=True))
            for name, scores in [
                (ear.name, self._pool.submit(ear.score, clip, asked))
                for ear in self.listeners
                if isinstance(ear, ScoringListener)
            ]
        }

    def _to_score(self, hearings: Sequence[Hearing]) -> list[str]:
        """The sentences in question; none where fewer than two listeners heard any."""
        if sum(bool(hearing.hypotheses) for hearing in hearings) < 2:
            return []
        texts = [h.text for each in hearings for h in each.hypotheses[: SCORED.get(each.engine, 1)]]
        return list(dict.fromkeys(text for text in texts if text))

    def _room(self, clip: Clip) -> Room:
        return room_of(clip)

    def _only_talk(self, asked: "Sequence[Future[Hearing]]") -> list[Hearing] | None:
        """The hearings to go by where the trusted listener is sure that it is only talk.

        That is: what it would write freely has words enough, most of which no sentence has.
        The other listeners take longest over just such clips.
        """
        names = [ear.name for ear in self.listeners]
        if NEURAL not in names:
            return None
        trusted = asked[names.index(NEURAL)].result()
        words = plain_words(trusted.free_text or "")
        known = sum(word in self.grammar.acceptor.vocabulary for word in words)
        if trusted.accepted or len(words) < TALK_WORDS or known > TALK_KNOWN * len(words):
            return None
        return [
            trusted if name == NEURAL else Hearing(name, (), float("-inf"), False) for name in names
        ]

    def close(self) -> None:
        """End the threads, and the processes of listeners that have one."""
        if self._pool is not None:
            self._pool.shutdown()
        for listener in self.listeners:
            if isinstance(listener, Apart):
                listener.close()

    def weigh(
        self, hearings: Sequence[Hearing], room: Room | None = None, scores: Scores | None = None
    ) -> Verdict:
        """Decide from what each listener heard, and from what corrections taught of it.

        `room` is what is known of the sound, `scores` what the listeners made of each other's
        sentences; None where nobody asked.
        """
        verdict = self._taught(self._decided(hearings, room, scores or {}), hearings)
        return self._beside_its_twin(verdict)

    def candidates(
        self,
        hearings: Sequence[Hearing],
        room: Room | None = None,
        scores: Scores | None = None,
    ) -> list[Candidate]:
        """The answers that may be taken, one for each meaning; empty where none may be."""
        return list(self._candidates(hearings, self._votes(hearings), room, scores or {}))

    def _agreed(self, hearings: Sequence[Hearing]) -> bool:
        return any(each.case == AGREE for each in self.candidates(hearings))

    def _votes(self, hearings: Sequence[Hearing]) -> list[_Vote]:
        return [vote for h in hearings if (vote := self._vote(h)) is not None]

    def _decided(self, hearings: Sequence[Hearing], room: Room | None, scores: Scores) -> Verdict:
        engines = tuple(h.engine for h in hearings)
        free = next((h.free_text for h in hearings if h.free_text), None)
        votes = self._votes(hearings)
        remark = self._remark(hearings, votes)
        if remark is not None:
            words = tuple(HeardWord(w) for w in remark.heard)
            heard = " ".join(remark.heard)
            doubt = None if len(remark.heard) > 1 else NO_WORDS
            # Who wrote other words freely heard no "remark": it may be talk, kept all the same.
            elsewise = free is not None and "remark" not in plain_words(free)
            confidence = CONTESTED if doubt and elsewise else ALONE
            return Verdict(remark, confidence, heard, engines, (), words, free, doubt)
        if not votes and not free:
            return Verdict(Reading(()), 0.0, "", engines, speech=False)
        winner, confidence, doubt = self._decide(hearings, votes, room, scores)
        alternatives = self._alternatives(hearings, winner)
        own_way, contested = self._own_way(hearings, room, winner)
        if contested and not unsure(confidence):
            confidence, doubt = DIFFERED_AT_MOST, "may have been said in other words"
        if own_way is not None:
            return replace(
                own_way, alternatives=(*own_way.alternatives, *alternatives), free_text=free
            )
        if winner is None or confidence < DOUBTFUL_BELOW:
            unknown = self._unknown_horse(votes, winner, free)
            if unknown is not None:
                said = tuple(HeardWord(word) for word in unknown.heard)
                heard = free or " ".join(unknown.heard)
                return Verdict(unknown, CONTESTED, heard, engines, alternatives, said, free)
        if winner is None:
            best = max(votes, key=lambda v: v.accepted, default=None)
            heard = free or (" ".join(w.text for w in best.words) if best else "")
            called = self.grammar.is_called(plain_words(heard))
            named = self._named(heard, hearings)
            reading = Reading(tuple(heard.split()), called=called, named=named)
            return Verdict(reading, 0.1, heard, engines, alternatives, (), free, doubt)
        heard = " ".join(w.text for w in winner.words)
        # One listener is enough for the attention word where another stands for the note.
        called = any(v.reading.called for v in votes if v.meaning == winner.meaning)
        reading = replace(winner.reading, called=called or winner.reading.called)
        return Verdict(reading, confidence, heard, engines, alternatives, winner.words, free, doubt)

    def own_ways(self, hearings: Sequence[Hearing], room: Room | None) -> list[Way]:
        """What was said if it was no sentence of the grammar, the likeliest meaning first."""
        if not self.natural or not any(hearing.dictated for hearing in hearings):
            return []
        known = (room.seconds, room.snr_db) if room else (None, None)
        return ways(hearings, self.read_naturally, *known)

    def read_naturally(self, words: Sequence[str]) -> Reading:
        """What words say, as a sentence of the grammar or as natural speech."""
        return self._understanding.read(words)

    def _own_way(
        self,
        hearings: Sequence[Hearing],
        room: Room | None,
        winner: _Vote | None,
    ) -> tuple[Verdict | None, bool]:
        """The verdict on what was said in his own way; None where a sentence of the grammar, or
        nothing, is to be believed. And whether it contests that sentence.

        Only one listener writes, and by voices it was never fitted to it is wrong too often where
        its figures are best (12% at 0.98 and more): so it is never sure, and does no command.
        """
        found = self.own_ways(hearings, room)
        if not found:
            return None, False
        way = found[0]
        over = way.known["over_strict"]
        contested = False
        if winner is not None and winner.meaning is not None:
            if entries_of(winner.meaning) == entries_of(_meant(way)):
                return None, False
            contested = over is None or over >= AS_CLEAR
            if over is not None and over < CLEARER:
                return None, contested
        sureness = min(DIFFERED_AT_MOST, self.confidence.of(CASE, way.known))
        if sureness < WRITTEN_FROM or not way.is_said or _meant(way).command is not None:
            return None, contested
        reading, words = way.reading, way.written.words
        doubt = reading.doubt or "written by one listener"
        others = tuple(
            Alternative(NEURAL, other.written.text, round(other.written.score, 4))
            for other in found[1:3]
        )
        engines = tuple(h.engine for h in hearings)
        heard = tuple(HeardWord(word) for word in words)
        text = " ".join(words)
        return Verdict(reading, sureness, text, engines, others, heard, doubt=doubt), contested

    def _unknown_horse(
        self, votes: Sequence[_Vote], winner: _Vote | None, free: str | None
    ) -> Reading | None:
        """The reading of a name that the log does not know; None where none was plainly begun.

        No sentence has such a name: it is only written freely. Or all listeners heard "horse",
        and each another sentence after it.
        """
        freely = self._read(plain_words(free or ""))
        if freely.meaning is not None and freely.meaning.horse_said is not None:
            return freely
        said = [self.grammar.after_call([word.text for word in vote.words]) for vote in votes]
        begun = len(said) > 1 and all(words[:1] == ("horse",) for words in said)
        settled = winner is not None and (
            len({vote.meaning for vote in votes}) == 1
            or (winner.meaning is not None and winner.meaning.command == "horse")
        )
        return self.grammar.read(["horse"]) if begun and not settled else None

    def _named(self, heard: str, hearings: Sequence[Hearing]) -> NamedLimbs:
        """The feet that refused speech names, as far as anybody heard it as it was said.

        Who hears nothing but sentences finds a foot in any speech: there is no telling which.
        """
        named = self.grammar.refused(plain_words(heard)).named
        if any(hearing.free_text for hearing in hearings):
            return named
        bound = all(hearing.free_text is None for hearing in hearings)
        return NamedLimbs(sure=False) if bound and named != NO_LIMB else NO_LIMB

    def _taught(self, verdict: Verdict, hearings: Sequence[Hearing]) -> Verdict:
        """The verdict with the lessons in it: never sure, and no sentence loses its meaning."""
        reading = verdict.reading
        if not verdict.speech or verdict.is_remark:
            return verdict
        if reading.meaning is None:
            texts = [h.free_text for h in hearings if h.free_text]
            texts += [hypothesis.text for h in hearings for hypothesis in h.hypotheses]
            said = [words for text in texts if self.grammar.lesson(words := plain_words(text))]
            readings = [self._read(words) for words in said]
            taught = next((r for r in readings if r.by_lesson), None)
            if taught is not None:
                confidence = max(0.0, CONTESTED - taught.bend)
                return replace(
                    verdict,
                    reading=taught,
                    confidence=confidence,
                    alternatives=self._but(verdict.alternatives, taught.meaning),
                    doubt=AS_CORRECTED,
                )
            reading = next((r for r in readings if r.taught), reading)
        if not reading.taught:
            return verdict
        confidence = min(CONTESTED, verdict.confidence)
        if reading.by_lesson:
            return replace(verdict, confidence=confidence, doubt=AS_CORRECTED)
        meant = Alternative(LESSON, " ".join(reading.taught), 0.0)
        others = self._but(verdict.alternatives, self._read(reading.taught).meaning)
        doubt = f"{verdict.doubt}; {ONCE_CORRECTED}" if verdict.doubt else ONCE_CORRECTED
        return replace(verdict, confidence=confidence, alternatives=(meant, *others), doubt=doubt)

    def _beside_its_twin(self, verdict: Verdict) -> Verdict:
        """The verdict, doubtful where another sentence sounds the same: agreement tells nothing."""
        if verdict.is_remark or verdict.reading.meaning is None:
            return verdict
        meant = self.grammar.twin(verdict.reading.words)
        if meant is None:
            return verdict
        other = Alternative(TWIN, " ".join(meant), 0.0)
        return replace(
            verdict,
            confidence=min(verdict.confidence, DIFFERED_AT_MOST),
            alternatives=(other, *self._but(verdict.alternatives, self._read(meant).meaning)),
            doubt=verdict.doubt or f"sounds like '{other.text}'",
        )

    def _but(
        self, alternatives: Sequence[Alternative], meaning: Meaning | None
    ) -> tuple[Alternative, ...]:
        """The alternatives that mean something else."""
        return tuple(a for a in alternatives if self._read(a.text.split()).meaning != meaning)

    def _vote(self, hearing: Hearing) -> _Vote | None:
        """The best hypothesis that the grammar can read, else the best one as it is."""
        first: _Vote | None = None
        for hypothesis in hearing.hypotheses:
            words, reading = hypothesis.words, self._reading(hypothesis)
            if reading.meaning is not None:
                return _Vote(
                    hearing, reading, words, hearing.accepted or self._free_too(hearing, reading)
                )
            first = first or _Vote(hearing, reading, words, hearing.accepted)
        return first

    def _free_too(self, hearing: Hearing, reading: Reading) -> bool:
        """Whether decoding free of the grammar came to the same meaning by itself."""
        free = self._read(plain_words(hearing.free_text or ""))
        if free.by_lesson:
            return False
        return free.meaning is not None and free.meaning == reading.meaning

    def _decide(
        self,
        hearings: Sequence[Hearing],
        votes: Sequence[_Vote],
        room: Room | None,
        scores: Scores,
    ) -> tuple[_Vote | None, float, str | None]:
        offers = [(self._sureness(c), c) for c in self._candidates(hearings, votes, room, scores)]
        confidence, best = max(offers, key=lambda offer: offer[0], default=(0.0, None))
        if best is None or confidence < TAKEN_FROM:
            return None, 0.0, "sounds like speech that is no note"
        if best.case == DIFFER:
            confidence = min(confidence, DIFFERED_AT_MOST)
            apart = " and ".join(v.hearing.engine for v in votes if v.meaning != best.vote.meaning)
            return best.vote, confidence, f"{apart or 'the other'} heard it differently"
        if best.case == AGREE and self._turned_away(best.vote, votes):
            confidence = min(confidence, DIFFERED_AT_MOST)
        if not unsure(confidence):
            return best.vote, confidence, None
        weakly = "heard weakly" if best.case == AGREE else "heard weakly by one listener"
        return best.vote, confidence, weakly

    def _turned_away(self, vote: _Vote, votes: Sequence[_Vote]) -> bool:
        """Whether the neural listener found the same, but takes it for no note."""
        return any(
            v.hearing.engine == NEURAL and v.meaning == vote.meaning and not v.accepted
            for v in votes
        )

    def _sureness(self, candidate: Candidate) -> float:
        if candidate.case in self.confidence.cases:
            sureness = self.confidence.of(candidate.case, candidate.known)
            unscored = any(candidate.known.get(f"{name}_of") is None for name in (NEURAL, SPHINX))
            return min(CONTESTED, sureness) if candidate.case == DIFFER and unscored else sureness
        return ALONE - min(0.35, candidate.vote.reading.bend)

    def _candidates(
        self,
        hearings: Sequence[Hearing],
        votes: Sequence[_Vote],
        room: Room | None,
        scores: Scores,
    ) -> Iterator[Candidate]:
        """What all agree on, else every sentence in question; none where nobody accepted any."""
        read = [v for v in votes if v.meaning is not None]
        accepted = [v for v in read if v.accepted]
        for vote in accepted:
            if any(v is not vote and v.meaning == vote.meaning for v in read):
                yield Candidate(vote, AGREE, self._known(vote, hearings, room))
                return
        if len(hearings) == 1:
            for vote in accepted:
                case = f"{LONE}-{vote.hearing.engine}"
                yield Candidate(vote, case, self._known(vote, hearings, room))
        elif accepted:
            neural = next((v for v in votes if v.hearing.engine == NEURAL), None)
            # Unless its figures for the others' sentences are there, its no is final: it takes
            # less talk for a note.
            if scores or neural is None or neural in accepted:
                yield from self._differing(hearings, room, scores)

    def _differing(
        self, hearings: Sequence[Hearing], room: Room | None, scores: Scores
    ) -> Iterator[Candidate]:
        """All sentences in question, those of one meaning as one, and how they compare."""
        by_meaning: dict[Meaning, list[_Vote]] = {}
        for hearing in hearings:
            for hypothesis in hearing.hypotheses[: SCORED.get(hearing.engine, 1)]:
                reading = self._reading(hypothesis)
                if reading.meaning is not None:
                    vote = _Vote(hearing, reading, hypothesis.words, hearing.accepted)
                    by_meaning.setdefault(reading.meaning, []).append(vote)
        scored = {name: self._by_text(name, hearings, scores) for name in (NEURAL, SPHINX)}
        for meaning, votes in by_meaning.items():
            known = self._known(votes[0], hearings, room)
            for name, texts in scored.items():
                own = _best(texts, (_text(vote) for vote in votes))
                rest = (_text(v) for m, vs in by_meaning.items() if m != meaning for v in vs)
                other = _best(texts, rest)
                known[f"{name}_of"] = own
                if own is not None:
                    lead = NOT_LISTED if other is None else own - other
                    known[f"{name}_lead"] = 0.0 if math.isnan(lead) else lead
            firsts = {h.engine: h.hypotheses[0].text for h in hearings if h.hypotheses}
            texts_here = {_text(vote) for vote in votes}
            for name in (NEURAL, SPHINX):
                known[f"{name}_first"] = float(firsts.get(name) in texts_here)
                known[f"{name}_heard"] = float(any(v.hearing.engine == name for v in votes))
                accepted = any(h.accepted for h in hearings if h.engine == name)
                known[f"{name}_accepted"] = float(accepted)
            yield Candidate(votes[0], DIFFER, known)

    def _by_text(self, name: str, hearings: Sequence[Hearing], scores: Scores) -> dict[str, float]:
        """One listener's score of each sentence: its own search's, where there is one."""
        found = dict(scores.get(name, {}))
        if name == NEURAL:
            own = next((h for h in hearings if h.engine == NEURAL), None)
            found |= {each.text: each.score for each in own.hypotheses} if own else {}
        return {text: score for text, score in found.items() if not math.isnan(score)}

    def _known(
        self, vote: _Vote, hearings: Sequence[Hearing], room: Room | None
    ) -> dict[str, float | None]:
        """The features of one answer; None where nobody can tell."""
        by_name = {hearing.engine: hearing for hearing in hearings}
        neural, sphinx = by_name.get(NEURAL), by_name.get(SPHINX)
        count = len(vote.reading.words)
        known: dict[str, float | None] = {
            "fit_neural": neural.margin if neural else None,
            "fit_sphinx": sphinx.margin if sphinx else None,
            "bend": vote.reading.bend,
            "words": float(count),
            "snr_db": room.snr_db if room else None,
            "pace": count / room.seconds if room and room.seconds > 0 else None,
        }
        if neural is not None:
            known["lead"] = self._lead(neural, vote.meaning)
        if neural is not None and neural.free_text is not None:
            free = self.grammar.after_call(plain_words(neural.free_text))
            known["written"] = float(self._free_too(neural, vote.reading))
            known["unread"] = float(abs(len(free) - count))
        return known

    def _lead(self, hearing: Hearing, meaning: Meaning | None) -> float:
        """How far (in the listener's score) the best sentence of this meaning is before the best
        of any other; below 0 where it is behind, NOT_LISTED where there is none of it."""
        own = other = None
        for hypothesis in hearing.hypotheses:
            same = self._reading(hypothesis).meaning == meaning
            if same and own is None:
                own = hypothesis.score
            elif not same and other is None:
                other = hypothesis.score
        if own is None:
            return -NOT_LISTED
        return NOT_LISTED if other is None else own - other

    def _alternatives(
        self, hearings: Sequence[Hearing], winner: _Vote | None
    ) -> tuple[Alternative, ...]:
        """One for each meaning but the winner's, and each sentence that has none, in order.

        Of several wordings it is the one nearest to a sentence, of those the shortest.
        """
        own = {_text(winner), winner.meaning} if winner else set()
        rivals: dict[Meaning | str, list[tuple[Reading, Alternative]]] = {}
        for hearing in hearings:
            for hypothesis in hearing.hypotheses[:3]:
                text, reading = hypothesis.text, self._reading(hypothesis)
                if text and own.isdisjoint((text, reading.meaning)):
                    alternative = Alternative(hearing.engine, text, round(hypothesis.score, 4))
                    of = rivals.setdefault(reading.meaning or text, [])
                    of.append((reading, alternative))

        def plainness(rival: tuple[Reading, Alternative]) -> tuple[float, int]:
            return rival[0].bend, len(rival[0].words)

        return tuple(min(of, key=plainness)[1] for of in rivals.values())

    def _remark(self, hearings: Sequence[Hearing], votes: Sequence[_Vote]) -> Reading | None:
        """ "Remark" opens free speech, so the free decoding is believed for what follows."""
        for hearing in hearings:
            spoken = plain_words(hearing.free_text or "")
            if self.grammar.after_call(spoken)[:1] == ("remark",):
                return self._read(spoken)
        opened = [v for v in votes if v.meaning and v.meaning.command == "remark"]
        if opened and any(v.accepted for v in opened):
            called = any(v.reading.called for v in opened)
            words = self._after_call(hearings) if called else ["remark"]
            return replace(self._read(words), called=called)
        return None

    def _after_call(self, hearings: Sequence[Hearing]) -> list[str]:
        """The words of a remark after the attention word, which is seldom spelled right freely."""
        early = 2 * len(self.grammar.attention) + 1
        for hearing in hearings:
            spoken = plain_words(hearing.free_text or "")
            if "remark" in spoken[:early]:
                return spoken[spoken.index("remark") :]
        return ["remark"]


def _text(vote: _Vote) -> str:
    return " ".join(word.text for word in vote.words)


def _meant(way: Way) -> Meaning:
    assert way.reading.meaning is not None
    return way.reading.meaning


def _best(scores: Mapping[str, float], texts: Iterable[str]) -> float | None:
    return max((scores[text] for text in texts if text in scores), default=None)
