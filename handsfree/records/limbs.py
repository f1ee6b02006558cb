"""The four feet, in the order in which everything tells of them."""

FRONT = ("LF", "RF")
HIND = ("LH", "RH")
PAIRS = (FRONT, HIND)
LIMBS = FRONT + HIND
OTHER_SIDE = {"LF": "RF", "RF": "LF", "LH": "RH", "RH": "LH"}
"""The foot beside each, fore to fore and hind to hind."""
