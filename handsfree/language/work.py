"""The work that was done. Pure."""

from handsfree.language import made
from handsfree.language.clauses import Utterance


def work(said: Utterance) -> None:
    """Work that is said outright."""
    for at in said.free("work"):
        span = said.spans[at]
        action = span.get("work")
        if action == "corn_pared" and span.text.startswith("pared") and len(span.words) <= 2:
            # Pared what? A corn near by, else the sole: that is trimming.
            corn = "corn" in span.text or [f for f in said.frames if f.term == "corn"]
            if not corn:
                action = "trimmed"
        if action == "shoe_pulled" and any(s.text in made.OUTDOORS for s in said.spans):
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
