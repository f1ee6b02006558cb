"""What is unsure, in SQL."""

from handsfree.records.sureness import DOUBTFUL_BELOW


def unsure(confidence: str, doubt: str) -> str:
    """SQL: `handsfree.records.sureness.unsure` of these two expressions, as 0 or 1.

    It is in triggers and views of every log there is: another limit needs a new migration.
    """
    return f"({doubt} IS NOT NULL OR coalesce({confidence} < {DOUBTFUL_BELOW}, 0))"
