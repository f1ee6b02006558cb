"""The words on and under the drawings, for the owner and for the vet."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from handsfree.grammar.grammar import Grammar
from handsfree.grammar.wording import Wording, limb_name
from handsfree.records.units import Length
from handsfree.sums.wording import ForEye


@dataclass(frozen=True)
class SheetLabels:
    """Words for drawings. Zones and limbs by id; an id that is missing is shown as it is.

    `unit` is the one that lengths are told in (mm, cm, in).
    """

    medial: str
    lateral: str
    below: str
    beside: str
    eye: ForEye
    zones: Mapping[str, str] = field(default_factory=dict)
    limbs: Mapping[str, str] = field(default_factory=dict)
    unit: str = "mm"
    unsure: str = "not confirmed"
    nowhere: str = "no place on this drawing"
    other_side: str = "on the other side"
    no_zone: str = "place not said"
    no_side: str = "side not said"
    no_room: str = "no room on this drawing"
    below_hairline: str = "below the hairline"
    to_scale: str = "drawn to scale"
    past_ground: str = "longer than the toe measured, drawn at the ground"
    not_to_scale: str = "not drawn to scale"
    extent: str = "in extent"
    bare: str = "No marks"

    def side(self, id: str | None) -> str:
        """The word of a side; of an unknown one its id."""
        return {"medial": self.medial, "lateral": self.lateral}.get(id or "", id or "")

    def zone(self, id: str | None) -> str:
        """The word of a zone."""
        return self.zones.get(id, id.replace("_", " ")) if id else ""

    def limb(self, id: str) -> str:
        """The name of a limb."""
        return self.limbs.get(id, id)

    def length(self, length: Length) -> str:
        """A length in this sheet's unit."""
        return self.eye.measure(length, self.unit)


def owner_labels(grammar: Grammar, unit: str = "mm") -> SheetLabels:
    """Plain words: inside and outside."""
    return _labels(grammar, unit, "inside", "outside", "{limb} foot, from below")


def vet_labels(grammar: Grammar, unit: str = "mm") -> SheetLabels:
    """The vet's words: medial and lateral."""
    return _labels(grammar, unit, "medial", "lateral", "{limb} foot, solar view")


def _labels(grammar: Grammar, unit: str, medial: str, lateral: str, below: str) -> SheetLabels:
    wording = Wording(grammar)
    ids = {slot: {w.id for w in grammar.table if w.slot == slot} for slot in ("zone", "limb")}
    return SheetLabels(
        medial=medial,
        lateral=lateral,
        below=below,
        beside="{limb} foot, {side} view" if medial == "medial" else "{limb} foot, {side}",
        eye=ForEye(grammar),
        zones={id: wording.word("zone", id) for id in sorted(ids["zone"])},
        limbs={id: limb_name(grammar, id) for id in sorted(ids["limb"])},
        unit=unit,
    )
