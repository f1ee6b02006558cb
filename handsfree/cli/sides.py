"""Before and after each change of shoe or work, as the tables of `change --helped`."""

from collections.abc import Sequence

from rich.table import Table
from rich.text import Text

from handsfree.cli.screen import safe_lines
from handsfree.records.limbs import LIMBS
from handsfree.sums.change import name
from handsfree.sums.helped import Comparison, Pair, Record
from handsfree.sums.helped_lines import outcome, side
from handsfree.sums.wording import Words

SHOWN = 4
"""Lines in one cell of a table; earlier ones are counted."""


def one_a_day(found: Sequence[Comparison]) -> list[Comparison]:
    """Foot by foot and day by day: changes of one day are one table, headed by the first."""
    days = {(c.limb, c.since): c for c in reversed(found)}
    return sorted(days.values(), key=lambda c: (LIMBS.index(c.limb), c.since))


def table(comparison: Comparison, words: Words) -> Table | str:
    """What was recorded before and after, a row for each thing."""
    if not comparison.pairs:
        return "nothing else was noted of this foot"
    shown = Table("", "before", "after", "difference")
    for pair in comparison.pairs:
        about = name(pair.about, words).removeprefix(f"{comparison.limb} ")
        cells = (_cell(pair, records, words) for records in (pair.before, pair.after))
        told = (about, *cells, outcome(pair, words))
        shown.add_row(*(Text(safe_lines(cell)) for cell in told), end_section=True)
    return shown


def _cell(pair: Pair, records: Sequence[Record], words: Words) -> str:
    told = side(records, pair, words)
    more = len(told) - SHOWN
    shown = [f"({more} earlier)"] if more > 0 else []
    return "\n".join([*shown, *told[-SHOWN:]]) or "nothing noted"
