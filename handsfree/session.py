"""The state of one visit while it is spoken: limb in force, ears, last entries.

Pure: meanings in, outcomes out. It reads no clock, no sound and no log.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from handsfree.grammar.grammar import Reading
from handsfree.grammar.meaning import Meaning, Statement, with_limb
from handsfree.records.entries import Entry, belongs_to_horse

SURE_ENOUGH_TO_ERASE = 0.8
"""Confidence below which "strike that" and "wrong …" change nothing.

Common practice, no source: what undoes a record needs a surer hearing than what adds one.
"""


@dataclass(frozen=True)
class Outcome:
    """What one utterance became.

    `status` is recorded, command or unclear (see the record contract in README). `limb` is
    the limb in force afterwards, None where none or several are. `strikes` says that the
    last recorded entries are taken back, `replaces` that `entries` stand in their place.
    `doubt` is a line for the user where something needs his ear or eye.
    """

    status: str
    command: str | None = None
    limb: str | None = None
    entries: tuple[Entry, ...] = ()
    strikes: bool = False
    replaces: bool = False
    horse: str | None = None
    doubt: str | None = None


class Session:
    """Follows one recording or one listening session from utterance to utterance."""

    def __init__(self, limb: str | None = None) -> None:
        self._limbs: tuple[str, ...] = (limb,) if limb else ()
        self._last: tuple[Entry, ...] = ()
        self.ears_on = True

    @property
    def limb(self) -> str | None:
        """The one limb in force, None where none or several are."""
        return self._limbs[0] if len(self._limbs) == 1 else None

    def take(self, reading: Reading, confidence: float = 1.0) -> Outcome | None:
        """Act on one utterance. None while the ears are off and stay off."""
        meaning = reading.meaning
        if not self.ears_on and not (meaning and meaning.command == "ears_on"):
            return None
        if meaning is None:
            return Outcome("unclear", limb=self.limb)
        if meaning.command and not meaning.statements:
            return self._command(meaning, confidence)
        if meaning.correction:
            return self._correct(meaning, confidence)
        if not meaning.statements:
            self._limbs = meaning.limbs
            return Outcome("command", limb=self.limb)
        entries = self._entries(meaning.statements, self._limbs)
        self._last = entries
        return Outcome("recorded", meaning.command, self.limb, entries)

    def _command(self, meaning: Meaning, confidence: float) -> Outcome:
        command = meaning.command
        strikes = False
        match command:
            case "strike":
                if confidence < SURE_ENOUGH_TO_ERASE:
                    doubt = "may have been 'strike that'; nothing was struck"
                    return Outcome("unclear", limb=self.limb, doubt=doubt)
                strikes, self._last = bool(self._last), ()
            case "ears_off":
                self.ears_on = False
            case "ears_on":
                self.ears_on = True
            case "next_horse" | "horse":
                self._limbs, self._last = (), ()
        return Outcome("command", command, self.limb, strikes=strikes, horse=meaning.horse)

    def _correct(self, meaning: Meaning, confidence: float) -> Outcome:
        if confidence < SURE_ENOUGH_TO_ERASE:
            doubt = "may have been a correction; nothing was replaced"
            return Outcome("unclear", limb=self.limb, doubt=doubt)
        had = tuple(dict.fromkeys(e.limb for e in self._last if e.limb))
        replaces = bool(self._last)
        if meaning.statements:
            entries = self._entries(meaning.statements, had or self._limbs)
        else:
            # "Wrong, right hind": the same findings belong to the other limb.
            self._limbs = meaning.limbs
            entries = tuple(
                with_limb(entry, limb)
                for entry in dict.fromkeys(with_limb(e, None) for e in self._last)
                for limb in (meaning.limbs if not belongs_to_horse(entry) else (None,))
            )
            if not entries:
                return Outcome("command", limb=self.limb)
        self._last = entries
        return Outcome("recorded", None, self.limb, entries, replaces=replaces)

    def _entries(
        self, statements: Iterable[Statement], otherwise: tuple[str, ...]
    ) -> tuple[Entry, ...]:
        entries: list[Entry] = []
        for statement in statements:
            if len(statement.limbs) == 1:
                self._limbs = statement.limbs
            limbs: tuple[str | None, ...] = statement.limbs or otherwise or (None,)
            if belongs_to_horse(statement.entry):
                limbs = (None,)
            entries += [with_limb(statement.entry, limb) for limb in limbs]
        return tuple(entries)
