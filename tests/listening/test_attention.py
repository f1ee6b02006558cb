"""A session with an attention word that breaks off: what is heard again, and what is not."""

from collections.abc import Iterator
from typing import Any

import pytest

from handsfree.engines.choose import ModelFolders, listeners
from handsfree.engines.together import Together
from handsfree.grammar import Grammar
from handsfree.listening.recovery import recover, spool_folder
from handsfree.log import Log
from handsfree.spool import Spool, leftovers

PHRASES = ("thrush in the frog", "anvil left hind", "foot up")


@pytest.fixture(scope="module")
def called(grammar: Grammar) -> Grammar:
    return grammar.with_attention("anvil")


@pytest.fixture(scope="module")
def called_ears(called: Grammar) -> Iterator[Together]:
    together = Together(listeners(called, ("pocketsphinx",), ModelFolders())[0], called)
    yield together
    together.close()


@pytest.mark.parametrize(
    ("awake_until_s", "attention", "heard"),
    [
        (None, "anvil", PHRASES[1:]),
        (1.0, "anvil", PHRASES),
        (0.1, "anvil", PHRASES[1:]),
        # Of a session with another word nothing is left out: it could not be woken now.
        (None, "smithy", PHRASES),
        (None, None, PHRASES),
    ],
)
def test_it_sleeps_on_as_it_did(
    called: Grammar,
    called_ears: Together,
    log: Log,
    speak: Any,
    awake_until_s: float | None,
    attention: str | None,
    heard: tuple[str, ...],
) -> None:
    stays_s = None if attention is None else 20.0
    about = {"attention": attention, "attention_s": stays_s, "awake_until_s": awake_until_s}
    spool = Spool.create(spool_folder(log.path), about)
    spool.write(speak(*PHRASES))
    spool.close(clean=False)
    recover(log, called_ears, called, lambda line: None)
    assert [u.heard for u in log.utterances(log.visits()[0].id)] == list(heard)


def test_the_session_notes_until_when_it_is_awake(
    live: Any, called: Grammar, called_ears: Together, log: Log, speak: Any
) -> None:
    live.ears, live.grammar = called_ears, called
    spool = Spool.create(spool_folder(log.path), {})
    session = live.session([speak("thrush in the frog", "anvil foot up")], spool)
    session.recorder.dialogue.session.attention_s = 20.0
    noted: list[dict[str, object]] = []
    spool.note = noted.append  # type: ignore[method-assign]
    session.run()
    assert live.written() == ["anvil foot up"]
    assert {(each["attention"], each["attention_s"]) for each in noted} == {("anvil", 20.0)}
    first, *_, last = [each["awake_until_s"] for each in noted]
    assert first is None
    assert isinstance(last, float)
    assert last > 20.0
    assert leftovers(spool_folder(log.path)) == []
