"""Memory that the process no longer uses, given back to the system."""

import ctypes
import sys
from collections.abc import Callable
from functools import cache


def give_back() -> None:
    """Hand free pages back; nothing where the C library has no way to (macOS, Windows, musl).

    glibc keeps what was freed below anything still in use. The passing sums of a hearing take
    100 MB, and over hours what stays of them is scattered more and more.
    """
    trim = _trim()
    if trim is not None:
        trim(0)


@cache
def _trim() -> Callable[[int], int] | None:
    if not sys.platform.startswith("linux"):
        return None
    try:
        # malloc_trim(3): since glibc 2.8 whole free pages in every arena, not the top alone.
        trim: Callable[[int], int] = ctypes.CDLL(None).malloc_trim
    except (OSError, AttributeError):
        return None
    return trim
