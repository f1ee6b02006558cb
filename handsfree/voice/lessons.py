"""Words of this speaker that are misheard alike each time, as lessons of the log.

A lesson is proposed from a phrase that was not understood when it was read first, and only where
the second reading, from which nothing was learnt, gave the very same words.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from handsfree.grammar.grammar import Grammar
from handsfree.grammar.lessons import FREE_SPEECH
from handsfree.grammar.words import plain_words
from handsfree.log import Log, UtteranceRow
from handsfree.voice.kept import Taught
from handsfree.voice.measure import Heard, Measure
from handsfree.voice.outcome import Outcome
from handsfree.voice.phrases import Phrase

BY = "voice"
"""Who teaches, in the log."""


@dataclass(frozen=True)
class Reread:
    """A phrase that was read twice: what was heard of each reading, the second with its sound's
    hearing."""

    phrase: Phrase
    first: Outcome
    second: Outcome
    second_heard: Heard


def may_teach(grammar: Grammar, phrase: Phrase, outcome: Outcome) -> bool:
    """Whether a second reading is worth while.

    Words must have come that were taken for nothing and are no sentence: a sentence keeps its
    meaning whatever a lesson says. The phrase must be a note, as no lesson acts as a command.
    """
    heard = plain_words(outcome.heard)
    if not outcome.unclear or not heard or heard[0] == FREE_SPEECH:
        return False
    command = phrase.meaning.command or phrase.meaning.correction
    return not command and grammar.read(heard).meaning is None


def proposals(
    measure: Measure, rereads: Sequence[Reread], others: Iterable[Heard]
) -> tuple[list[Taught], list[str]]:
    """The lessons that can be proposed, and for each that cannot a line with the reason.

    `others` are the readings of all other phrases: neither they nor another phrase read twice may
    hold the words of a lesson, and a lesson must put its second reading right.
    """
    found: list[Taught] = []
    refused: list[str] = []
    elsewhere = {tuple(plain_words(text)) for heard in others for text in heard.texts}
    firsts = Counter(tuple(plain_words(reread.first.heard)) for reread in rereads)
    for reread in rereads:
        heard = tuple(plain_words(reread.first.heard))
        lesson = Taught(" ".join(heard), reread.phrase.text)
        why = _why_not(measure, reread, lesson, heard in elsewhere or firsts[heard] > 1)
        if why is None:
            found.append(lesson)
        else:
            refused.append(f"'{lesson.heard}' for '{lesson.meant}': {why}")
    return found, refused


def _why_not(measure: Measure, reread: Reread, lesson: Taught, elsewhere: bool) -> str | None:
    heard = plain_words(lesson.heard)
    if plain_words(reread.second.heard) != heard:
        return f"read again it was heard as '{reread.second.heard}'"
    if elsewhere:
        return "another phrase was heard so as well"
    taught = measure.grammar.with_lessons([lesson])
    verdict = measure.verdict(reread.second_heard, grammar=taught)
    if verdict.reading.meaning != reread.phrase.meaning:
        return "it would not put the second reading right"
    return None


def teach(log: Log, name: str, lessons: Sequence[Taught], engines: tuple[str, ...]) -> None:
    """Put lessons into the log as corrections of what was heard, under a visit of no horse.

    Its utterances are marked as holding no note, so that the review has nothing to ask.
    """
    if not lessons:
        return
    note = "voice set-up; holds only what was misheard"
    visit = log.start_visit(f"voice set-up of {name}", note=note)
    ids: list[str] = []
    for lesson in lessons:
        row = UtteranceRow(heard=lesson.heard, status="unclear", engines=engines)
        ids.append(log.append(visit.id, row, by=BY).utterance_id)
        log.correct(ids[-1], (), BY, taught=(lesson.heard, lesson.meant))
    log.strike((), BY, "voice set-up", passes=ids)


def unteach(log: Log, lessons: Iterable[Taught]) -> tuple[list[Taught], list[Taught]]:
    """Forget lessons; those that corrections taught as well stay.

    Returns which were forgotten, and which stay.
    """
    gone: list[Taught] = []
    stay: list[Taught] = []
    known = {(each.heard, each.meant): each.times for each in log.lessons()}
    for lesson in lessons:
        times = known.get((lesson.heard, lesson.meant), 0)
        if times > 1:
            stay.append(lesson)
        elif times and log.forget_lesson(lesson.heard, lesson.meant, BY):
            gone.append(lesson)
    return gone, stay
