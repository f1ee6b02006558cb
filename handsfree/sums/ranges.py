"""A day that is never known alone: earliest, likeliest, latest."""

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class DateRange:
    """Always earliest <= likeliest <= latest; `usual` is a narrower published range, if any."""

    earliest: date
    likeliest: date
    latest: date
    usual: tuple[date, date] | None = None
