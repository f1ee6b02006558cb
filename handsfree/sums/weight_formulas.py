"""Published formulas for a horse's weight by tape, each with its units and source."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from handsfree.records.units import Length, Weight
from handsfree.sums.sources import Source

CARROLL = Source(
    "Carroll and Huntington 1988",
    "Carroll & Huntington 1988, Equine Vet J 20(1):41-45, doi 10.1111/j.2042-3306.1988.tb01451.x",
)
EXTENSION = Source("university extension sheets", "common in university extension sheets")
SUMMIT = Source("summit-equine.com", "summit-equine.com, printed example")
CATALANO = Source(
    "Catalano et al.", "Catalano et al., J Equine Vet Sci, doi 10.1016/j.jevs.2015.09.002"
)
ICELANDIC = Source("divisor 11400, author not known", "girth squared x length / 11400, cm")
MARCENAC = Source("Marcenac and Aublet 1964", "Marcenac & Aublet 1964: 80 x girth cubed, m")

DRAFT, WARMBLOOD = "catalano_draft", "catalano_warmblood"
CARROLL_ID, ICELANDIC_ID, MARCENAC_ID = "carroll_huntington", "icelandic", "marcenac_aublet"

Tape = Mapping[str, Length]
"""Lengths by quantity: heart_girth, body_length, height, neck_girth."""

CATALANO_ERROR = Weight(28)
"""Root of the mean square error of both Catalano formulas."""


@dataclass(frozen=True)
class Formula:
    """A formula, what it needs, and what horses it is for."""

    id: str
    needs: tuple[str, ...]
    weight: Callable[[Tape], Weight]
    meant_for: str
    source: Source
    error: Weight | None = None


def carroll(tape: Tape) -> Weight:
    """Kg = girth^2 x length / 11900, in cm (Carroll & Huntington 1988)."""
    return Weight(_girth_length(tape, "cm") / 11900)


def over_330(tape: Tape) -> Weight:
    """Lb = girth^2 x length / 330, in inches (common in university extension sheets)."""
    return Weight.of(_girth_length(tape, "in") / 330, "lb")


def over_300_and_50(tape: Tape) -> Weight:
    """Lb = girth^2 x length / 300 + 50, in inches (printed example of summit-equine.com)."""
    return Weight.of(_girth_length(tape, "in") / 300 + 50, "lb")


def icelandic(tape: Tape) -> Weight:
    """Kg = girth^2 x length / 11400, in cm (for Icelandic horses)."""
    return Weight(_girth_length(tape, "cm") / 11400)


def marcenac(tape: Tape) -> Weight:
    """Kg = 80 x girth^3, in m (Marcenac & Aublet 1964)."""
    return Weight(80 * (tape["heart_girth"].to("cm") / 100) ** 3)


def catalano(tape: Tape, divisor: float) -> Weight:
    """Kg = girth^1.528 x length^0.574 x height^0.246 x neck^0.261 / divisor, in cm.

    Divisor 1181 for draft horses, 1209 for warmbloods (Catalano et al., J Equine Vet Sci).
    """
    girth, length, height, neck = (tape[q].to("cm") for q in TAPE)
    return Weight(girth**1.528 * length**0.574 * height**0.246 * neck**0.261 / divisor)


def ideal(tape: Tape, less: float) -> Weight:
    """Ideal kg = 4.92 x length + 4.64 x height - less, in cm.

    951 less for draft horses, 1016 less for warmbloods (Catalano et al., J Equine Vet Sci).
    """
    return Weight(4.92 * tape["body_length"].to("cm") + 4.64 * tape["height"].to("cm") - less)


def _girth_length(tape: Tape, unit: str) -> float:
    return tape["heart_girth"].to(unit) ** 2 * tape["body_length"].to(unit)


TAPE = ("heart_girth", "body_length", "height", "neck_girth")
IDEAL_LESS = {DRAFT: 951.0, WARMBLOOD: 1016.0}

FORMULAS = {
    f.id: f
    for f in (
        Formula(CARROLL_ID, TAPE[:2], carroll, "for light horses", CARROLL),
        Formula(
            DRAFT, TAPE, lambda t: catalano(t, 1181), "for draft horses", CATALANO, CATALANO_ERROR
        ),
        Formula(
            WARMBLOOD, TAPE, lambda t: catalano(t, 1209), "for warmbloods", CATALANO, CATALANO_ERROR
        ),
        Formula(ICELANDIC_ID, TAPE[:2], icelandic, "for Icelandic horses", ICELANDIC),
        Formula("lb_330", TAPE[:2], over_330, "any horse", EXTENSION),
        Formula("lb_300_plus_50", TAPE[:2], over_300_and_50, "any horse", SUMMIT),
        Formula(MARCENAC_ID, TAPE[:1], marcenac, "from the girth alone", MARCENAC),
    )
}
