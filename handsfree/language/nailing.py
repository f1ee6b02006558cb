"""Nails: how many were pulled, driven, left or lost. Pure."""

from handsfree.language.clauses import Utterance
from handsfree.language.numbers import Amount

MOST_NAILS = 14
"""A bare number above this is no count of nails (eight is usual, ten on the largest shoes)."""


def just_left(said: Utterance, at: int) -> bool:
    """ "Left one in": one nail."""
    return at > 0 and said.spans[at - 1].text in (
        "left",
        "lost",
        "pulled",
        "drew",
        "leave",
        "leaving",
    )


def is_nails(said: Utterance, at: int, amount: Amount) -> bool:
    """Whether a bare number counts nails; `nails` reads it then."""
    if amount.unit is not None or amount.value.denominator != 1 or amount.value > MOST_NAILS:
        return False
    following = said.spans[at + 1] if at + 1 < len(said.spans) else None
    if following and following.get("dimension") and not following.get("verb"):
        return False
    return (
        bool(nail_words(said))
        or bool(_apiece(said))
        or _in_foot(said, at)
        or _weak_verb_beside(said, at)
    )


def _in_foot(said: Utterance, at: int) -> bool:
    """ "Eight in this near fore": with nothing else said, the nails of its shoe."""
    following = said.spans[at + 1 : at + 5]
    if said.frames or not following or following[0].text != "in":
        return False
    amount = said.spans[at].amount
    assert amount is not None
    sided = said.spans[at + 1].get("side") if at + 1 < len(said.spans) else None
    return (
        3 <= amount.value <= 12
        and not sided
        and any(s.get("limb") or s.get("relative") for s in following)
    )


def _weak_verb_beside(said: Utterance, at: int) -> bool:
    """ "Put six in", "six out": a small verb right beside the number counts nails."""
    if any(s.get("quantity") or s.get("dimension") == "angle" for s in said.spans):
        return False
    places = [i for i in range(at - 2, at + 3) if 0 <= i < len(said.spans) and i != at]
    return any(said.spans[i].get("nails") and i not in said.used for i in places)


def nail_words(said: Utterance) -> list[int]:
    """The spans that name nails, and verbs that are only said of nails."""
    found = [
        i for i, s in enumerate(said.spans) if s.get("nail_word") and not _part_of_mark(said, i)
    ]
    return found + [i for i in said.free("nails") if said.spans[i].text not in WEAK_ALONE]


WEAK_ALONE = frozenset(
    "away off out short down took take gone put set got in tapped used left dropped shed".split()
)
"""Verbs that count nails only beside a number."""


PARTICLES = frozenset("away off out in short down up".split())


def _part_of_mark(said: Utterance, at: int) -> bool:
    after = " ".join(w for s in said.spans[at + 1 : at + 3] for w in s.words)
    if after in ("'s out", "is out", "'s pulled", "out"):
        return False
    return any(f.kind == "finding" and f.first <= at <= f.last for f in said.frames)


def _apiece(said: Utterance) -> list[int]:
    return [
        i
        for i, s in enumerate(said.spans)
        if {"apiece", "each", "per"} & set(s.words) or s.get("side") == "both"
    ]


def nails(said: Utterance) -> None:
    """Counts of nails, each with its verb: the nearest, and one verb for several counts."""
    counts = [
        i
        for i in said.amounts()
        if is_nails(said, i, said.spans[i].amount) and not is_of_shoe(said, i)  # type: ignore[arg-type]
    ]
    verbs = [i for i in said.free("nails")]
    words = [
        i for i, s in enumerate(said.spans) if s.get("nail_word") and not _part_of_mark(said, i)
    ]
    _pulled_again(said, verbs)
    if not counts:
        _uncounted(said, verbs, words)
        return
    taken: dict[int, list[int]] = {}
    for count in counts:
        verb = _verb_of(said, count, verbs, counts)
        if (
            verb is None
            and not words
            and not _apiece(said)
            and not _in_foot(said, count)
            and not sided(said)
        ):
            continue
        action = _action(said, verb, count) if verb is not None else _without_verb(said)
        if action is None:
            continue
        amount = said.spans[count].amount
        assert amount is not None
        near = [w for w in words if abs(w - count) <= 3]
        belongs = [*near, *([] if verb is None else [verb])]
        frame = said.add("nails", count, (), action=action, count=int(amount.value))
        said.used |= set(belongs)
        if verb is not None and len(taken.setdefault(verb, [])) == 0:
            frame.first, frame.last = min(frame.first, *belongs), max(frame.last, *belongs)
        if verb is not None:
            taken[verb].append(count)
    _rest(said, verbs)


def _pulled_again(said: Utterance, verbs: list[int]) -> None:
    """ "I've pricked him, pulled it straight out": the nail that pricked."""
    pricked = [f for f in said.frames if f.term in ("nail_prick", "nail_bind")]
    for verb in verbs:
        counted = any(a.amount for a in said.spans[verb + 1 : verb + 3])
        if verb in said.used or counted or not pricked or said.spans[verb].get("nails") != "pulled":
            continue
        following = [w for s in said.spans[verb : verb + 4] for w in s.words]
        if "it" in following[1:3] or "nail" in following or following[-1:] == ["out"]:
            said.add("nails", verb, (), action="pulled", count=1)
            return


def sided(said: Utterance) -> bool:
    """ "Four outside two inside": two counts with a side each are nails."""
    pairs = [
        i
        for i in range(len(said.spans) - 1)
        if (a := said.spans[i].amount)
        and a.unit is None
        and a.value <= 8
        and said.spans[i + 1].get("side")
    ]
    measured = any(s.get("quantity") or s.get("dimension") or s.get("zone") for s in said.spans)
    return len(pairs) > 1 and not measured


def _verb_of(said: Utterance, count: int, verbs: list[int], counts: list[int]) -> int | None:
    """The verb of a count: one in its clause, else the one for all."""
    here = [v for v in verbs if said.clause[v] == said.clause[count]]
    strong = [v for v in here if said.spans[v].text not in WEAK_ALONE]
    candidates = strong or here or [v for v in verbs if said.spans[v].text not in WEAK_ALONE]
    if not candidates:
        return None
    if any(c < candidates[0] for c in counts):
        # The verb comes after its count throughout: "seven nails pulled eight drove".
        after = [v for v in candidates if v > count]
        return after[0] if after else candidates[-1]
    before = [v for v in candidates if v < count]
    return before[-1] if before else candidates[0]


def _action(said: Utterance, verb: int, count: int) -> str | None:
    span = said.spans[verb]
    actions = span.all("nails")
    words = {
        w
        for i in range(min(verb, count), min(max(verb, count) + 3, len(said.spans)))
        for w in said.spans[i].words
    }
    had = {"had", "has", "have", "'d", "'s"} & set(said.spans[max(0, verb - 1)].words)
    if span.text == "got" and had and words & {"nails", "nail"}:
        return "in_shoe"
    if span.text in ("left", "leaving", "leave"):
        return "left_in"
    if had and actions[0] == "driven" and span.text in ("in", "nails in"):
        return "in_shoe"
    if span.text in ("took", "take", "taking", "had", "got") and "out" in words:
        return "pulled"
    if span.text == "took" and "nails" in words:
        return "pulled"
    if "lost" in actions and span.text in ("gone", "missing", "lost", "short", "down"):
        return "lost"
    if "in_shoe" in actions:
        return "in_shoe"
    return actions[0]


def _without_verb(said: Utterance) -> str | None:
    """Nails in a foot without a verb are those that were found in its shoe."""
    if any(f.slots.get("action") == "shoe_pulled" for f in said.frames):
        return "pulled"
    if _apiece(said) or sided(said) or any(s.get("side") == "both" for s in said.spans):
        return "driven"
    shod = ("shoe_reset", "new_shoe")
    put_on = any(f.kind == "shoe" or f.slots.get("action") in shod for f in said.frames)
    return "driven" if put_on else "in_shoe"


def _uncounted(said: Utterance, verbs: list[int], words: list[int]) -> None:
    """ "Nails out near fore", "drew the heel nail"; one nail where the word is singular."""
    for verb in verbs:
        named = {"nail", "nails"} & set(said.spans[verb].words)
        action = _action(said, verb, verb) if named and verb not in said.used else None
        if action not in (None, "in_shoe"):
            said.add("nails", verb, (), action=action, count=1 if "nail" in named else None)
    for word in words:
        here = [v for v in verbs if said.clause[v] == said.clause[word] and v not in said.used]
        near = said.nearest(word, here)
        if near is None or abs(near - word) > 5:
            continue
        action = _action(said, near, word)
        if action in (None, "in_shoe"):
            continue
        single = said.spans[word].words[-1] == "nail"
        said.add("nails", near, (word,), action=action, count=1 if single else None)
    _rest(said, verbs)


def _rest(said: Utterance, verbs: list[int]) -> None:
    """ "Pulled the rest": nails without a number."""
    for verb in verbs:
        if verb in said.used or said.spans[verb].text in PARTICLES:
            continue
        following = {w for s in said.spans[verb + 1 : verb + 3] for w in s.words}
        action = said.spans[verb].get("nails")
        before = {w for s in said.spans[max(0, verb - 2) : verb] for w in s.words}
        of_rest = bool({"rest", "lot"} & following) and action in ("pulled", "driven", "left_in")
        if of_rest or ("rest" in before and action in ("pulled", "lost")):
            said.add("nails", verb, (), action=action)
        elif "another" in following and action in ("pulled", "driven"):
            said.add("nails", verb, (), action=action, count=1)


def is_of_shoe(said: Utterance, at: int) -> bool:
    """Sizes, sections and the number of studs are told by the shoe."""
    return any(f.kind == "shoe" and f.first <= at <= f.last for f in said.frames)
