"""What the program gives back by ear, as data: a tone, words, or both."""

from dataclasses import dataclass
from enum import StrEnum


class Tone(StrEnum):
    """What a tone means; handsfree/answers/tones.py gives each its sound."""

    FINDING = "finding"
    NUMBER = "number"
    COMMAND = "command"
    UNCLEAR = "unclear"
    QUESTION = "question"
    TROUBLE = "trouble"
    REMINDER = "reminder"
    CAUTION = "caution"
    READY = "ready"


@dataclass(frozen=True)
class Answer:
    """One answer: the tone at once, the words once he does not speak.

    `say` are short phrases with a pause between them, spoken slowly where `slow`. What is
    `urgent` comes before all that waits to be said; what is `passing` is left unsaid once a
    later answer has words of its own.
    """

    tone: Tone | None = None
    say: tuple[str, ...] = ()
    slow: bool = False
    urgent: bool = False
    passing: bool = False
