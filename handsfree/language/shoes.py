"""The shoe: size, section, clips and the rest, with the words that narrow them down. Pure."""

from handsfree.language.clauses import Utterance
from handsfree.language.numbers import OH
from handsfree.language.plans import words_of
from handsfree.language.spans import Span
from handsfree.language.tables import Tables


def shoes(said: Utterance, tables: Tables, original: list[str], starts: list[int]) -> None:
    """What the shoe is like. `detail` keeps the words beside it."""
    for at in said.amounts():
        amount = said.spans[at].amount
        following = said.spans[at + 1] if at + 1 < len(said.spans) else None
        if (
            amount
            and amount.unit in ("in", "mm", "cm")
            and following
            and following.get("thing") == "shoe"
        ):
            said.add("shoe", at, (at + 1,), item="size", detail=f"{amount.number:g} {amount.unit}")
    _rounded_inside(said)
    for at, span in enumerate(said.spans[:-1]):
        # "Double aught behind"
        noughts = said.spans[at + 1].text in OH and span.text in TIMES
        sized = at > 0 and said.spans[at - 1].get("shoe") == "size"
        if noughts and not sized and at not in said.used:
            said.add("shoe", at, (at + 1,), item="size", detail="0" * TIMES[span.text])
    for at in said.free("shoe"):
        item = said.spans[at].get("shoe")
        if at in said.used:
            continue
        if _is_worn(said, at) or _same_item(said, at, item):
            said.used.add(at)
            continue
        if item == "size":
            _size(said, at)
        elif item == "section":
            _section(said, at, original, starts)
        elif item == "clips" and said.spans[at].get("zone") and not _is_shoe_clip(said, at):
            continue
        else:
            first, last = _details(said, at)
            said.add(
                "shoe",
                at,
                [i for i in range(first, last + 1) if not said.spans[i].get("limb")],
                item=item,
                detail=_detail(said, at, item or "", first, last, original, starts),
            )
    _more_sizes(said)


ROUNDED = frozenset("boxed safed rounded bevelled beveled feathered bevel rounding boxing".split())


EDGED = frozenset("knocked took rasped filed ground ran".split())
"""Verbs that round the inner branch where they are said of its edge."""


def _rounded_inside(said: Utterance) -> None:
    """ "Boxed the inside edge off": the inner branch is rounded, whatever it is called."""
    for at, span in enumerate(said.spans):
        if (
            at in said.used
            or span.words[0] not in ROUNDED | EDGED
            or span.get("shoe") == "inside_rounded"
        ):
            continue
        if span.words[0] in EDGED and not any(
            "edge" in s.words or "edge" in s.text for s in said.spans
        ):
            continue
        inside = [
            i
            for i in said.in_clause(at)
            if said.spans[i].get("side") == "medial" and abs(i - at) <= 4
        ]
        if inside:
            said.add("shoe", at, inside[:1], item="inside_rounded")


def _more_sizes(said: Utterance) -> None:
    """ "An eight in front and a seven behind": the second number is a size too."""
    sizes = [f for f in said.frames if f.slots.get("item") == "size"]
    for at in said.amounts():
        amount = said.spans[at].amount
        last = max((f.last for f in sizes), default=at)
        clause = [i for i in said.in_clause(at) if i > last]
        others = [i for i in clause if i != at and _tells(said, i)]
        limb = any(said.spans[i].get("limb") or said.spans[i].get("relative") for i in clause)
        if sizes and amount and amount.unit is None and amount.value <= 16 and limb and not others:
            said.add("shoe", at, (), item="size", detail=f"{amount.number:g}")


def _tells(said: Utterance, at: int) -> bool:
    span = said.spans[at]
    kinds = ("term", "nails", "nail_word", "quantity", "work", "shoe", "zone", "thing")
    return any(span.get(kind) for kind in kinds) or span.amount is not None


def _is_worn(said: Utterance, at: int) -> bool:
    """ "Wore the studs right off": what is worn is said, not what is put on."""
    before = [s for s in said.spans[max(0, at - 3) : at] if s.concepts]
    return any(s.get("term") == "wear" for s in before)


def _same_item(said: Utterance, at: int, item: str | None) -> bool:
    """Whether the clause has this item already: "fitted full with length at the heels"."""
    return item in ("fit", "section", "pads") and any(
        f.slots.get("item") == item and said.clause[f.at] == said.clause[at] for f in said.frames
    )


def _detail(
    said: Utterance,
    at: int,
    item: str,
    first: int,
    last: int,
    original: list[str],
    starts: list[int],
) -> str | None:
    text = words_of(said, range(first, last + 1), original, starts)
    if item == "bar_shoe":
        return said.spans[at].get("bar")
    if item == "clips":
        kind = next((w for w in text.split() if w in ("toe", "quarter", "side", "heel")), None)
        return kind
    plain = {
        "pads": ("pad", "pads"),
        "wedge": ("wedge", "wedges"),
        "rolled_toe": ("rolled toe", "rolled toes"),
        "studs": ("studs", "stud"),
        "crease": ("creased", "crease"),
        "inside_rounded": ("inside rounded",),
    }
    if text in plain.get(item, ()):
        return None
    return text or None


def _is_shoe_clip(said: Utterance, at: int) -> bool:
    """A clip of the shoe, not the place of the wall where it sits."""
    if any(said.spans[i].get("term") for i in said.in_clause(at)):
        return False
    return not any(
        f.kind == "finding" and said.clause[f.at] == said.clause[at] for f in said.frames
    )


def _details(said: Utterance, at: int) -> tuple[int, int]:
    """The first and last span of the words that narrow an item down."""
    first = last = at
    while first > 0 and first - 1 not in said.used and _narrows(said, first - 1, first):
        first -= 1
    while (
        last + 1 < len(said.spans)
        and last + 1 not in said.used
        and _narrows(said, last, last + 1, True)
    ):
        last += 1
    return first, last


def _narrows(said: Utterance, one: int, other: int, after: bool = False) -> bool:
    span = said.spans[other if after else one]
    item = said.spans[one if after else other].get("shoe")
    if span.get("limb") or span.get("split") or span.get("work"):
        return False
    if span.get("detail") or span.get("side"):
        return True
    amount = span.amount
    counted = item in ("studs", "wedge", "clips", "pads")
    if (
        amount is not None
        and amount.value <= 8
        and amount.unit in (None, "deg", "mm", "in")
        and counted
    ):
        return not after
    if span.get("zone") and item in ("studs", "clips", "pads", "fit"):
        return True
    return bool(span.get("verb") and span.text == "rounded off")


TIMES = {"single": 1, "double": 2, "triple": 3}


def _size(said: Utterance, at: int) -> None:
    """ "Size four", "size three oh", "a number two", "double oh", "five and a quarter inch"."""
    spans = said.spans
    after = at + 1
    if after >= len(spans):
        return
    zeros = 0
    amount = spans[after].amount
    end = after
    if spans[after].text in TIMES or spans[at].words[-1] in (
        "double",
        "triple",
    ):
        zeros = TIMES[spans[after].text]
        end = after + 1
    elif spans[after].text in OH:
        zeros, end = 1, after
        while end + 1 < len(spans) and spans[end + 1].text in OH:
            zeros, end = zeros + 1, end + 1
    elif amount is not None and end + 1 < len(spans) and spans[end + 1].text in OH:
        zeros, end = int(amount.value), end + 1
    if zeros:
        said.add(
            "shoe", at, range(after, min(end, len(spans) - 1) + 1), item="size", detail="0" * zeros
        )
        return
    if amount is None or (
        spans[at].text not in ("size", "sizes", "sized", "shoe size")
        and amount.value > 16
        and amount.unit is None
    ):
        return
    if amount.unit not in (None, "in", "mm", "cm"):
        return
    text = f"{amount.number:g}" + (f" {amount.unit}" if amount.unit else "")
    said.add("shoe", at, (after,), item="size", detail=text)


WIDEST_STOCK = 3
"""Bar wider than so many inches is no shoe's."""


def _are_stock(spans: list[Span], by: int) -> bool:
    """Whether what stands on both sides of "by" may be the bar of a shoe."""
    if not 0 < by < len(spans) - 1:
        return False
    one, two = spans[by - 1].amount, spans[by + 1].amount
    if one is None or two is None:
        return False
    if 14 <= one.value <= 40 and 5 <= two.value <= 20 and one.unit in (None, "mm"):
        return True
    return (one.value <= WIDEST_STOCK and two.value <= WIDEST_STOCK) or {one.unit, two.unit} == {
        "mm"
    }


def _section(said: Utterance, at: int, original: list[str], starts: list[int]) -> None:
    """ "Three quarter by three eighths concave": the bar that the shoe is made of."""
    if at in said.used:
        return
    spans = said.spans
    first = last = at
    if spans[at].text == "by" and not _are_stock(spans, at):
        return
    by = next(
        (i for i in range(max(0, at - 3), min(len(spans), at + 4)) if spans[i].text == "by"), None
    )
    if by is not None and _are_stock(spans, by):
        first, last = min(at, by - 1), max(at, by + 1)
    elif spans[at].text != "section" and not any(s.amount for s in spans[max(0, at - 2) : at + 3]):
        return
    while last + 1 < len(spans) and (
        spans[last + 1].get("detail") or spans[last + 1].get("shoe") == "section"
    ):
        last += 1
    inner = range(first, last + 1)
    if spans[first].text == "section":
        text = words_of(said, range(first + 1, last + 1), original, starts)
    else:
        text = words_of(said, inner, original, starts)
    said.add(
        "shoe",
        at,
        [i for i in inner if not spans[i].get("limb")],
        item="section",
        detail=text or None,
    )
