"""The published limits that a foot is held against, and whose they are.

Numbers read off a foot describe it, they don't diagnose: see CAVEAT.
"""

from handsfree.records.units import Angle, Length
from handsfree.sums.sources import FROM_MEMORY, PRACTICE, Source

_TURNER = "T. Turner, AAEP Proceedings 1992, equipodiatry.com/hoofbal.htm"
_DYSON = "Dyson et al. 2011, Vet J 190:364-371"

TURNER = Source("Turner 1992", _TURNER)
TURNER_FROM_MEMORY = Source("Turner 1992", _TURNER, FROM_MEMORY)
"""What he describes was read, the number put to it was not."""
CLINICIAN = Source("one clinician's opinion", "one clinician's opinion on heels of unlike length")
REVIEW = Source("a review citing Dyson 2011", f"a review citing {_DYSON}")
STACHURSKA_2008 = Source("Stachurska 2008", "Stachurska 2008, toe to heel length 2 : 1")
POPULAR = Source("popular teaching", "popular teaching, toe to heel length 4 : 1", PRACTICE)
ANATOMY = Source("anatomy texts", "anatomy texts: about 50 degrees fore, 55 degrees hind")
LUNGWITZ = Source("Lungwitz and Adams 1897", "Lungwitz and Adams 1897: hind 50 to 55 degrees")
STASHAK = Source("Adams and Stashak", "Adams and Stashak: the horse's own hoof-pastern line")
MEASURING = Source("", "how closely a hoof gauge is read", PRACTICE)

UNDERRUN_FROM = Angle(5)
"""Heel angle at least so much less than the toe angle is under-run (Turner 1992)."""

HEEL_WITHIN = Angle(5)
"""The heel angle is within so much of the front wall's (a review citing Dyson 2011)."""

ALIGNED_WITHIN = Angle(1)
"""Hoof and pastern nearer than this are called in line: measuring error (common practice, no
source). Turner 1992 names the two broken axes and gives no tolerance."""

CONTRACTED_BELOW = 67.0
"""Frog width in per cent of its length below which a foot is contracted (Turner 1992)."""

SHEARED_FROM = Length(5)
"""Heels that differ by so much are sheared (Turner 1992; the number from memory)."""

HEELS_IGNORED_BELOW, HEELS_ACTED_ABOVE = Length(3), Length(5)
"""Differences of the heels to ignore and to act on: one clinician's opinion."""

TOE_TO_HEEL_HEIGHT = 3.0
"""Height at the toe to height at the heel is no more than this to 1 (a review citing Dyson
2011)."""

TOE_TO_HEEL_LENGTH = (2.0, 4.0)
"""Toe to heel length: 2 to 1 (Stachurska 2008), 4 to 1 (popular). They disagree: no limit."""

MISMATCHED_OVER = Angle(5)
"""Front hoof angles that differ by more are mismatched (Turner 1992; the number from memory)."""

FORE_ANGLE, HIND_ANGLE = Angle(50), Angle(55)
"""About so steep in anatomy texts; no limit: what counts today is the horse's own line."""

CAVEAT = "Tape and gauge numbers describe, they don't diagnose (Dyson 2011)."
"""Of the usual angle flags only coronary-band height ratio and shape differed between lame and
sound feet (Dyson et al. 2011, Vet J 190:364-371)."""
