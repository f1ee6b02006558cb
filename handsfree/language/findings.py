"""Findings said outright, and small words that make one. Pure."""

from handsfree.language.clauses import Utterance
from handsfree.language.made import made, made_of_it, made_work, of_a_limb
from handsfree.language.spans import Span
from handsfree.language.tables import Tables

MARKS = frozenset(
    """high_side bruise crack separation seedy_toe white_line_disease abscess cut growth_ring
    chip wall_loss keratoma canker puncture wear corn thrush flare dish
    stretched_white_line overreach""".split()
)
"""Findings that have a length or a distance below the hairline."""


def find(said: Utterance, tables: Tables) -> None:
    """Make a frame of each finding."""
    made_work(said, tables)
    for at in said.free("term"):
        concept = said.spans[at].concept("term")
        assert concept is not None
        if _is_other(said, at):
            continue
        said.add("finding", at, (), term=concept.id, **dict(concept.adds))
    made(said, tables)
    made_of_it(said, tables)
    _nail_in_foot(said)
    of_a_limb(said)
    _pulse_alone(said)


SOFT = frozenset("frog sole bulb white_line central_sulcus collateral_sulcus seat_of_corn".split())
"""Where a nail is a puncture, whatever was said of how it got there."""
BY_HAND = frozenset("left leave leaving pulled pull drove driven drive lost put drew stub".split())


def _nail_in_foot(said: Utterance) -> None:
    """ "There's a nail in the off fore frog": a nail and a soft place are an alarm."""
    if any(f.term == "puncture" for f in said.frames):
        return
    for at, span in enumerate(said.spans):
        single = span.get("thing") == "sharp" or span.text in ("nail", "a nail")
        near = range(at + 1, min(at + 6, len(said.spans)))
        # Whatever it is that went into the foot, it is an alarm.
        single |= not span.known and any("stuck_in" in said.spans[i].all("state") for i in near)
        if at in said.used or not single:
            continue
        if span.text == "something" and any(f.kind == "finding" for f in said.frames):
            continue
        before = {w for s in said.spans[max(0, at - 3) : at] for w in s.words}
        place = next((i for i in near if said.spans[i].get("zone") in SOFT), None)
        words = {w for i in near for w in said.spans[i].words}
        if place is not None and words & {"in", "into", "through", "up"} and not before & BY_HAND:
            zone = said.spans[place].get("zone")
            said.add("finding", at, (place,), term="puncture", zone=zone)


def _is_other(said: Utterance, at: int) -> bool:
    """Whether a word that may be a finding is something else here."""
    span = said.spans[at]
    if span.get("scale") and _graded_at(said, at):
        return False
    following = said.spans[at + 1].words[0] if at + 1 < len(said.spans) else ""
    before = said.spans[at - 1].words[-1] if at else ""
    rested = said.spans[at + 1] if at + 1 < len(said.spans) else None
    if span.text.startswith("pointing") and rested and not _is_foot(rested):
        # "Pointing that abscess out"
        return True
    if span.text == "gravel" and before in ("the", "that", "on", "of", "in", "loose", "over"):
        return True
    if span.text == "cut" and following in AFTER_VERB:
        return True
    if span.get("term") in ("laminitis", "abscess") and following in HORSES:
        return True
    return span.get("detail") is not None and any(
        said.spans[i].get("shoe") or said.spans[i].get("work") == "hot_fitted"
        for i in (at - 1, at + 1)
        if 0 <= i < len(said.spans)
    )


def _is_foot(span: Span) -> bool:
    return bool(span.get("limb") or span.get("relative") or span.text in ("foot", "leg", "toe"))


AFTER_VERB = frozenset("the all out back away him her it that some down off his".split())
"""After these "cut" is what the farrier did, not what he found."""


HORSES = frozenset("pony ponies mare horse gelding cob foot case one donkey colt filly".split())
"""Of these a finding only says which is meant: "the lami pony", "the abscess foot"."""


def _graded_at(said: Utterance, at: int) -> bool:
    return any(s.get("of_five") for s in said.spans[at:])


def _pulse_alone(said: Utterance) -> None:
    """A pulse that is spoken of at all is one that can be felt."""
    for at, span in enumerate(said.spans):
        if at in said.used or span.get("thing") != "pulse":
            continue
        clause = said.in_clause(at)
        usual = next(
            (i for i in said.free("state", clause) if "usual" in said.spans[i].all("state")), None
        )
        denied = usual is not None and abs(usual - at) <= 4
        frame = said.add(
            "finding", at, (usual,) if denied and usual is not None else (), term="raised_pulse"
        )
        frame.denied = denied
