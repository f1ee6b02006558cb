"""The work done, the shoe put on, and what is planned."""

from handsfree.language import marks
from handsfree.language.clauses import Utterance
from handsfree.language.spans import Span
from handsfree.language.tables import Tables

WITH_TEXT = frozenset({"next_time", "tell_owner"})
"""Plans whose words are kept as text: nothing in them is a record of today."""

WEEKS = {"week": 1.0, "month": 4.0}

UNSURE_RETURN = frozenset("every again back_in book cycle schedule due".split())


def plans(said: Utterance, original: list[str], starts: list[int]) -> None:
    """Make a frame of each plan; the words that belong to its text are used by it."""
    spans = said.spans
    for at in said.free("plan"):
        action = next(a for a in spans[at].all("plan"))
        if at in said.used or action == "return":
            continue
        if action == "xray" and not _wanted(said, at):
            said.used.add(at)
        elif action in WITH_TEXT:
            _with_text(said, at, action, original, starts)
        elif action == "watch":
            _watch(said, at, original, starts)
        else:
            _to_vet(said, at, action)
    _tell_somebody(said, original, starts)
    _returns(said)


def _tell_somebody(said: Utterance, original: list[str], starts: list[int]) -> None:
    """ "Tell josie to …", "let mama know …": whoever it is, somebody is to be told."""
    for at, span in enumerate(said.spans):
        first = at == 0 or said.spans[at - 1].get("split") or at - 1 in said.used
        if at in said.used or not first or span.text not in ("tell", "let", "ask", "remind"):
            continue
        following = [w for s in said.spans[at + 1 : at + 4] for w in s.words]
        if span.text == "tell" and following[:1] not in (["me"], ["you"], ["us"], ["a"], []):
            _with_text(said, at, "tell_owner", original, starts)
            continue
        ends = ("know",) if span.text == "let" else ("to", "that", "about", "she", "he")
        if any(w in ends for w in following[1:3]):
            _with_text(said, at, "tell_owner", original, starts)


NOUNS = frozenset(
    (
        "x ray",
        "x rays",
        "xray",
        "xrays",
        "radiograph",
        "radiographs",
        "films",
        "rads",
        "imaging",
        "vet pictures",
    )
)


def _wanted(said: Utterance, at: int) -> bool:
    """Whether an x-ray is asked for, not only spoken of ("the vet's x-rays said")."""
    if said.spans[at].text not in NOUNS:
        past = {w for s in said.spans[max(0, at - 3) : at] for w in s.words}
        return not past & {"had", "been", "was", "were", "'ve"}
    before = {w for s in said.spans[max(0, at - 4) : at] for w in s.words}
    if before & {"by", "on", "said", "from", "off", "'s", "last", "showed"}:
        return False
    asked = before & {
        "get",
        "needs",
        "need",
        "want",
        "wants",
        "take",
        "have",
        "due",
        "for",
        "like",
        "worth",
        "wanting",
    }
    return bool(asked) or at == 0 or (said.spans[at].words[0] == "x" and not before)


def _end_of_text(said: Utterance, at: int) -> int:
    """Where the text of a plan ends: at the next plan that "and" begins, or a return."""
    for i in range(at + 1, len(said.spans)):
        plan = said.spans[i].get("plan")
        amount = said.spans[i].amount
        if (
            plan
            and plan != "return"
            and said.clause[i] != said.clause[at]
            and plan not in ("next_time",)
        ):
            return _split_before(said, i)
        if amount is not None and amount.unit in WEEKS and _return_near(said, i):
            return _split_before(said, i)
    return len(said.spans)


def _split_before(said: Utterance, at: int) -> int:
    while at > 0 and not said.spans[at].get("split"):
        at -= 1
    return at


def _return_near(said: Utterance, at: int) -> bool:
    return any("return" in said.spans[i].all("plan") for i in range(max(0, at - 4), at))


def _text(said: Utterance, places: range, original: list[str], starts: list[int]) -> str:
    if not places:
        return ""
    first, last = said.spans[places[0]].start, said.spans[places[-1]].end
    words = dict.fromkeys(starts[i] for i in range(first, last))
    return " ".join(original[i] for i in words)


def _with_text(
    said: Utterance, at: int, action: str, original: list[str], starts: list[int]
) -> None:
    end = _end_of_text(said, at)
    covered = range(at + 1, end)
    content = any(
        said.spans[i].concepts or not said.spans[i].known
        for i in covered
        if not said.spans[i].get("limb")
    )
    before = [
        s
        for i, s in enumerate(said.spans[:at])
        if said.clause[i] == said.clause[at] and i not in said.used
    ]
    planned = [
        s for s in before if s.get("shoe") or s.get("verb") or s.get("work") or s.get("detail")
    ]
    found = any(s.get("term") or s.get("nails") or s.amount for s in before if s not in planned)
    if content and action == "next_time" and planned and not found:
        covered = range(next(i for i in range(at) if said.clause[i] == said.clause[at]), end)
    elif not content and action == "next_time":
        # "Bit more off the outside next time"
        first = at
        while first > 0 and not said.spans[first].get("split") and not _is_return(said, first - 1):
            first -= 1
        covered = range(first, at)
    said.add(
        "plan",
        at,
        _without_limbs(said, covered),
        action=action,
        text=_text(said, covered, original, starts) or None,
    )


def _is_return(said: Utterance, at: int) -> bool:
    amount = said.spans[at].amount
    return amount is not None and amount.unit in WEEKS


def _without_limbs(said: Utterance, places: range) -> list[int]:
    return [i for i in places if not (said.spans[i].get("limb") or said.spans[i].get("relative"))]


def _watch(said: Utterance, at: int, original: list[str], starts: list[int]) -> None:
    """ "Keep an eye on that crack": what is watched is no finding of its own."""
    end = next(
        (i for i in range(at + 1, len(said.spans)) if said.spans[i].get("split")), len(said.spans)
    )
    covered = range(at + 1, end)
    text = _text(said, covered, original, starts)
    said.add("plan", at, _without_limbs(said, covered), action="watch", text=text or None)


def _to_vet(said: Utterance, at: int, action: str) -> None:
    end = next(
        (i for i in range(at + 1, len(said.spans)) if said.spans[i].get("split")), len(said.spans)
    )
    covered = range(at + 1, end)
    if action == "call_vet" and any(said.spans[i].get("plan") == "xray" for i in covered):
        # "Get the vet to x-ray it" asks for the picture.
        action = "xray"
    said.add("plan", at, _without_limbs(said, covered), action=action)


def _returns(said: Utterance) -> None:
    """ "Back in five weeks", "see her again in six to seven weeks"."""
    for at in said.amounts():
        amount = said.spans[at].amount
        assert amount is not None
        if amount.unit not in WEEKS:
            continue
        before = [
            i for i in said.free("plan") if "return" in said.spans[i].all("plan") and i < at + 8
        ]
        alone = all(
            not s.concepts
            or s.get("moving")
            or s.get("limb")
            or s.get("talk")
            or s.get("state")
            or s.get("split")
            for i, s in enumerate(said.spans)
            if i != at and i not in said.used
        )
        if not before and not alone and not said.frames:
            continue
        if not before and not alone:
            said.doubt("a time that may be when to come back", 0.2)
        weeks = float(amount.value) * WEEKS[amount.unit]
        number = int(weeks) if weeks == int(weeks) else round(weeks)
        near = [i for i in before if abs(i - at) <= 5]
        near += _purpose(said, at)
        said.add("plan", at, near, action="return", weeks=number)
    _more_returns(said)


def _purpose(said: Utterance, at: int) -> list[int]:
    """ "Back in two weeks for the abscess": what the visit is for is nothing found today."""
    clause = [i for i in said.in_clause(at) if i > at]
    first = next((i for i in clause if said.spans[i].words[0] in ("for", "to")), None)
    if first is None or any(said.spans[i].amount for i in clause):
        return []
    return [
        i
        for i in clause
        if i > first and not (said.spans[i].get("limb") or said.spans[i].get("relative"))
    ]


def _more_returns(said: Utterance) -> None:
    """ "Six weeks for the fronts, the hinds for twelve": the second number is weeks too."""
    returns = [f for f in said.frames if f.slots.get("action") == "return"]
    if not returns:
        return
    for at in said.amounts():
        amount = said.spans[at].amount
        before = {w for s in said.spans[max(0, at - 2) : at] for w in s.words}
        if (
            amount
            and amount.unit is None
            and 1 <= amount.value <= 16
            and before & {"for", "every", "to", "at", "then"}
        ):
            said.add("plan", at, (), action="return", weeks=int(amount.value))


def work(said: Utterance) -> None:
    """Work that is said outright."""
    for at in said.free("work"):
        span = said.spans[at]
        action = span.get("work")
        if action == "barefoot" and span.text == "bare" and not _left_bare(said, at):
            continue
        if action == "corn_pared" and span.text.startswith("pared") and len(span.words) <= 2:
            # Pared what? A corn near by, else the sole: that is trimming.
            corn = "corn" in span.text or [f for f in said.frames if f.term == "corn"]
            if not corn:
                action = "trimmed"
        if action == "shoe_pulled" and any(s.text in marks.OUTDOORS for s in said.spans):
            said.add("finding", at, (), term="lost_shoe")
            continue
        if (
            action == "drilled_tapped"
            and span.text in ("tapped", "tapped out")
            and not any(
                {"stud", "studs", "drilled", "hole", "holes"} & set(s.words) for s in said.spans
            )
        ):
            said.used.add(at)
            continue
        if action == "abscess_opened" and not _opens_something(said, at):
            continue
        if action in ("shoe_reset", "barefoot", "rasped") and span.get("quantity"):
            continue
        near = [i for i in said.free("work") if said.spans[i].get("work") == "packed"]
        packed = [f.at for f in said.frames if f.slots.get("action") == "packed"]
        if action == "treated" and any(
            abs(said.clause[i] - said.clause[at]) <= 1 for i in near + packed
        ):
            said.used.add(at)
            continue
        if any(
            f.kind == "work"
            and f.slots.get("action") == action
            and said.clause[f.at] == said.clause[at]
            for f in said.frames
        ):
            said.used.add(at)
            continue
        said.add("work", at, (), action=action)


def _opens_something(said: Utterance, at: int) -> bool:
    """ "Opened it up" is of an abscess where no other finding stands beside it."""
    text = said.spans[at].text
    if any(word in text for word in ("abscess", "pus", "gravel", "drain", "lanced", "track")):
        return True
    findings = [f for f in said.frames if f.kind == "finding"]
    return not findings or any(f.term in ("abscess", "puncture") for f in findings)


def _left_bare(said: Utterance, at: int) -> bool:
    return True


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
    text = _text(said, range(first, last + 1), original, starts)
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


def _size(said: Utterance, at: int) -> None:
    """ "Size four", "size three oh", "a number two", "double oh", "five and a quarter inch"."""
    spans = said.spans
    after = at + 1
    if after >= len(spans):
        return
    zeros = 0
    amount = spans[after].amount
    end = after
    if spans[after].text in ("double", "triple", "single") or spans[at].words[-1] in (
        "double",
        "triple",
    ):
        zeros = {"single": 1, "double": 2, "triple": 3}[spans[after].text]
        end = after + 1
    elif spans[after].text in ("oh", "o", "nought", "zero", "naught"):
        zeros, end = 1, after
        while end + 1 < len(spans) and spans[end + 1].text in ("oh", "o", "nought", "zero"):
            zeros, end = zeros + 1, end + 1
    elif (
        amount is not None
        and end + 1 < len(spans)
        and spans[end + 1].text in ("oh", "o", "ought", "aught")
    ):
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
        text = _text(said, range(first + 1, last + 1), original, starts)
    else:
        text = _text(said, inner, original, starts)
    said.add(
        "shoe",
        at,
        [i for i in inner if not spans[i].get("limb")],
        item="section",
        detail=text or None,
    )
