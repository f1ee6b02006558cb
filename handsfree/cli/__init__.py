"""The command line."""

from handsfree.cli.main import run

__all__ = ["run"]
