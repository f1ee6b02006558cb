"""The grammar of the trade: loaded, compiled, generated from and parsed with."""

from handsfree.grammar.grammar import Grammar, Reading, folder, load

__all__ = ["Grammar", "Reading", "folder", "load"]
