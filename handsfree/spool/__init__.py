"""Sound that has come in but is not in the log yet, kept on the disk until it is."""

from handsfree.spool.leftovers import Leftover, leftovers
from handsfree.spool.writing import Spool

__all__ = ["Leftover", "Spool", "leftovers"]
