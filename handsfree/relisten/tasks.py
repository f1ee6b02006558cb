"""What goes to a worker, self-contained, and what comes back; both pickle, the latter as JSON."""

from dataclasses import asdict, dataclass, fields
from typing import Any

from handsfree.engines.together import Verdict
from handsfree.grammar.grammar import Grammar, Reading
from handsfree.grammar.meaning import Meaning


@dataclass(frozen=True)
class Setup:
    """With what is heard, the same for all tasks of a run.

    `engines` are names in order, `lessons` (heard, meant, times), `own_words` (phrase, meaning);
    folders None are the usual ones. `attention` is the word that may stand before notes. `mark`
    is the fingerprint of all of it as the asking machine has it.
    """

    engines: tuple[str, ...]
    horse_names: tuple[str, ...] = ()
    lessons: tuple[tuple[str, str, int], ...] = ()
    vosk_model: str | None = None
    neural_model: str | None = None
    attention: str | None = None
    own_words: tuple[tuple[str, str], ...] = ()
    mark: str = ""


@dataclass(frozen=True)
class Task:
    """One stored sound, as a FLAC file; `goes_on`: it is the rest of a remark."""

    utterance_id: str
    flac: bytes
    goes_on: bool = False


@dataclass(frozen=True)
class Again:
    """What one sound was heard as.

    `sentence` are the words of the grammar it was taken for, None where nothing was taken;
    `speech` is false for noise. `failed` says why it could not be heard at all, and `worker`
    who heard it (a machine and a process).
    """

    utterance_id: str
    heard: str = ""
    sentence: tuple[str, ...] | None = None
    bend: float = 0.0
    confidence: float = 0.0
    speech: bool = True
    engines: tuple[str, ...] = ()
    alternatives: tuple[dict[str, Any], ...] = ()
    free_text: str | None = None
    doubt: str | None = None
    failed: str | None = None
    worker: str = ""

    def reading(self, grammar: Grammar) -> Reading:
        """The reading it was, with the meaning its sentence has in this grammar."""
        given = tuple(self.heard.split())
        if self.sentence is None:
            return Reading(given)
        if self.sentence[0] in ("remark", "horse"):
            # What follows is no sentence: free speech, or a name that the log did not know.
            return grammar.read(self.sentence)
        meaning: Meaning | None = next(iter(grammar.meanings(self.sentence)), None)
        return Reading(given, self.sentence, self.bend, meaning)


def of_verdict(utterance_id: str, verdict: Verdict, worker: str) -> Again:
    """The verdict as it travels and is kept."""
    taken = verdict.reading.meaning is not None
    return Again(
        utterance_id,
        verdict.heard,
        tuple(verdict.reading.words) if taken else None,
        verdict.reading.bend,
        verdict.confidence,
        verdict.speech,
        verdict.engines,
        tuple(vars(alternative) for alternative in verdict.alternatives),
        verdict.free_text,
        verdict.doubt,
        worker=worker,
    )


def to_json(again: Again) -> dict[str, Any]:
    """As a JSON object."""
    return asdict(again)


def from_json(data: Any) -> Again:
    """The inverse of to_json. Raises ValueError for anything that is none."""
    if not isinstance(data, dict) or set(data) != {field.name for field in fields(Again)}:
        raise ValueError("no result of a hearing")
    sentence, engines, others = data["sentence"], data["engines"], data["alternatives"]
    if not (sentence is None or _texts(sentence)) or not _texts(engines):
        raise ValueError("words of a result are no list of words")
    if not isinstance(others, list) or not all(isinstance(each, dict) for each in others):
        raise ValueError("alternatives of a result are no list of objects")
    if not all(isinstance(data[key], str) for key in ("utterance_id", "heard", "worker")):
        raise ValueError("texts of a result are none")
    if not all(data[key] is None or isinstance(data[key], str) for key in _MAY_LACK):
        raise ValueError("texts of a result are none")
    if not isinstance(data["speech"], bool) or not _number(data["bend"], float("inf")):
        raise ValueError("a result lacks its figures")
    if not _number(data["confidence"], 1.0):
        raise ValueError("a confidence is from 0 to 1")
    lists = {
        "sentence": None if sentence is None else tuple(sentence),
        "engines": tuple(engines),
        "alternatives": tuple(others),
    }
    return Again(**{**data, **lists})


_MAY_LACK = ("free_text", "doubt", "failed")


def _texts(value: object) -> bool:
    return isinstance(value, list) and all(isinstance(each, str) for each in value)


def _number(value: object, most: float) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= most
