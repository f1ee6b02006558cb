"""What was so once, is yet to be, or was only on the way to what is told: no record of today."""

from itertools import pairwise

from handsfree.language.clauses import Frame, Utterance

MAYBE = frozenset("might may could should ought".split())
LATER = ("'ll have to", "will have to", "have to", "has to", "needs to", "need to", "wants to")
WHILE = frozenset("where from since because cos till until".split())
"""After these something is told that explains, not something done today."""
ONCE = frozenset("was were had been ago yesterday".split())
"""Words of what was so. "Is" and "'s" tell of today."""
LAST = frozenset("week month time year visit winter summer spring autumn fall go trip".split())
NOT_DONE = frozenset("with after despite even".split())


def not_of_today(said: Utterance) -> None:
    """Take out what may yet be done, what was done before, and what only tells when."""
    for frame in [f for f in said.frames if f.kind in ("work", "nails")]:
        before = _before(said, frame, 4)
        if len(said.frames) < 2:
            continue
        if set(before[-2:]) & MAYBE or _is_later(before) or _only_when(said, frame, before):
            said.frames.remove(frame)
        elif _explains(said, frame):
            said.frames.remove(frame)
            said.doubt("it may be a reason, not work done today", 0.21)
    for frame in [f for f in said.frames if f.term == "lost_shoe"]:
        near = {w for s in said.spans[max(0, frame.at - 4) : frame.at] for w in s.words}
        if {"when", "till", "until"} & near and len(said.frames) > 1:
            said.frames.remove(frame)


def _before(said: Utterance, frame: Frame, most: int) -> list[str]:
    """The last words before a frame, of so many spans at most."""
    first = max(0, frame.first - most)
    return [w for s in said.spans[first : frame.first] for w in s.words]


def _explains(said: Utterance, frame: Frame) -> bool:
    """Whether it is told as the reason of what was said before it."""
    first = max(0, frame.first - 4)
    why = next((i for i in range(first, frame.first) if said.spans[i].text in WHILE), None)
    return why is not None and any(f.last < why for f in said.frames)


def _is_later(before: list[str]) -> bool:
    """ "It'll have to come out": not done yet."""
    text = " ".join(before[-4:])
    return any(text.endswith(each) for each in LATER)


def _only_when(said: Utterance, frame: Frame, before: list[str]) -> bool:
    """ "When I pulled the shoe there was a corn": how it was found. "No better with the spray"."""
    finding = any(f.kind == "finding" and f.at > frame.at for f in said.frames)
    if "when" in before[-2:] and finding and frame.slots.get("action") == "shoe_pulled":
        return True
    judged = any(f.slots.get("trend") for f in said.frames if f.at < frame.at)
    return frame.slots.get("action") == "treated" and judged and bool(set(before[-2:]) & NOT_DONE)


def no_longer(said: Utterance) -> None:
    """ "Was lame last month, he's not lame today": only what is so today is a record."""
    for frame in [f for f in said.frames if f.kind == "finding" and not f.denied]:
        now = [
            f
            for f in said.frames
            if f.denied and f.term == frame.term and set(f.limbs or ()) >= set(frame.limbs or ())
        ]
        if now and _once(said, frame):
            said.frames.remove(frame)


def _once(said: Utterance, frame: Frame) -> bool:
    words = [w for i in said.in_clause(frame.at) for w in said.spans[i].words]
    last = any(one == "last" and two in LAST for one, two in pairwise(words))
    return last or bool(ONCE & set(words))
