"""What is planned: when to come back, whom to tell, what to watch. Pure."""

from handsfree.language.clauses import Utterance

WITH_TEXT = frozenset({"next_time", "tell_owner"})
"""Plans whose words are kept as text: nothing in them is a record of today."""


WEEKS = {"week": 1.0, "month": 4.0}


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


def words_of(said: Utterance, places: range, original: list[str], starts: list[int]) -> str:
    """The words as they were said at these places."""
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
        text=words_of(said, covered, original, starts) or None,
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
    text = words_of(said, covered, original, starts)
    if any(said.spans[i].get("to_others") for i in covered):
        # "Watch the hose"
        said.doubt("may be talk to somebody", 0.4)
    said.add("plan", at, _without_limbs(said, covered), action="watch", text=text or None)


def _to_vet(said: Utterance, at: int, action: str) -> None:
    covered = range(at + 1, _end_of_sentence(said, at))
    if action == "call_vet" and any(said.spans[i].get("plan") == "xray" for i in covered):
        # "Get the vet to x-ray it" asks for the picture.
        action = "xray"
    said.add("plan", at, _without_limbs(said, covered), action=action)


REASONS = frozenset("because cos cause 'cause since".split())


def _end_of_sentence(said: Utterance, at: int) -> int:
    """Where something else is told: after "and", of a new subject, or why."""
    for i in range(at + 1, len(said.spans)):
        if said.clause[i] != said.clause[at] or said.spans[i].words[0] in REASONS:
            return i
    return len(said.spans)


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
            or s.get("trend")
            or s.get("deny")
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
