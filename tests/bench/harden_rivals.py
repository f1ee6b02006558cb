"""Sentences of the grammar that are easily taken for what was said, for harden_trade.py."""

import pickle
from collections.abc import Sequence
from pathlib import Path

import harden_lessons
import noisy
import noisy_material as material
from harden_lessons import MOST_TOKENS, Lesson, Spelling
from harden_noise import Shop

from handsfree.engines.base import SAMPLE_RATE, Clip
from handsfree.engines.neural import NeuralListener
from handsfree.grammar import Grammar
from handsfree.grammar.acceptor import Acceptor, from_sentences

NEAREST = 8
"""Sentences kept of one hearing."""
ALL_OF_THEM = -9.0
"""Natural log units a token: a search that gives up nothing for being unlikely."""

Rivals = list[list[int]]
"""Tokens of each rival, likeliest first."""


def kept(
    folder: Path, lessons: Sequence[Lesson], grammar: Grammar, people: Path | None, shop: Shop
) -> list[Rivals]:
    """Of each lesson what the listener finds in one noisy hearing of it, but for what was said.

    None for words of no grammar. Heard once, with what was learnt so far; later runs only learn.
    """
    path = folder / "rivals.pkl"
    if not path.exists():
        path.write_bytes(pickle.dumps(_heard(lessons, grammar, people, shop)))
    found: list[Rivals] = pickle.loads(path.read_bytes())
    if len(found) != len(lessons):
        raise SystemExit(f"{path} belongs to other lessons: delete it")
    print(f"{sum(map(bool, found))} of {len(found)} lessons have rivals", flush=True)
    return found


def _heard(
    lessons: Sequence[Lesson], grammar: Grammar, people: Path | None, shop: Shop
) -> list[Rivals]:
    spelled = harden_lessons.spelling()
    acceptors = _acceptors(grammar, people)
    listeners = [NeuralListener(a, nbest=NEAREST, accept_margin=ALL_OF_THEM) for a in acceptors]
    found: list[Rivals] = []
    for lesson in lessons:
        words = spelled.listener.tokens.text(lesson.tokens).split()
        which = next((i for i, a in enumerate(acceptors) if words and a.accepts(words)), None)
        found.append([] if which is None else _rivals(listeners[which], lesson, spelled, shop))
        if len(found) % 500 == 0:
            print(f"rivals of {len(found)} of {len(lessons)}", flush=True)
    return found


def _acceptors(grammar: Grammar, people: Path | None) -> list[Acceptor]:
    """The grammar, and small ones for the words of the real people's tuning half."""
    if people is None:
        return [grammar.acceptor]
    said = [
        (path.name.startswith("an4_num"), words)
        for path, words, speaker in material.rows(people / "human_words")
        if material.half(speaker) == material.TUNING
    ]
    single = from_sentences({w for number, w in said if not number and len(w) == 1})
    return [grammar.acceptor, single, noisy.strings_of({x for n, w in said if n for x in w})]


def _rivals(listener: NeuralListener, lesson: Lesson, spelled: Spelling, shop: Shop) -> Rivals:
    sound = shop.noisy(lesson.sound)
    heard = listener.hear_quickly(Clip(sound, None, 0.0, len(sound) / SAMPLE_RATE))
    found = [spelled.tokens(one.text.split()) for one in heard.hypotheses]
    return [tokens for tokens in found if tokens != lesson.tokens and len(tokens) < MOST_TOKENS - 1]
