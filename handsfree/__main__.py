"""`python -m handsfree` is the same as the command `handsfree`."""

import sys

from handsfree.cli import run

sys.exit(run())
