"""`python -m handsfree` is the same as the command `handsfree`."""

import sys

from handsfree.cli import run

if __name__ == "__main__":
    sys.exit(run())
