"""The one limit between what was surely heard and what a person must look at."""

DOUBTFUL_BELOW = 0.8
"""Confidence (0..1) below which an utterance is doubtful wherever it is shown or said, and
erases nothing: "strike that" and "wrong …" need a surer hearing than what only adds a note.

Common practice, no source.
"""


def unsure(confidence: float | None, doubt: str | None = None) -> bool:
    """Whether what was heard so needs a second look; None: nobody had to listen."""
    return doubt is not None or (confidence is not None and confidence < DOUBTFUL_BELOW)
