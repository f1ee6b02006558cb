"""The utterance in hand, drawn: what it records, what was heard, how sure, what else it may be."""

from rich.text import Text

from handsfree.review.items import CONFIRMED, DOUBTFUL, SURE, UNCLEAR, Item
from handsfree.screens.horse import NAMES
from handsfree.screens.parts import Glyphs, cut, fold, labelled, window

MARKS = {UNCLEAR: "!", DOUBTFUL: "?", SURE: "=", CONFIRMED: "+"}
WORDS = {UNCLEAR: "NOT UNDERSTOOD", DOUBTFUL: "DOUBTFUL", SURE: "sure", CONFIRMED: "confirmed"}
STYLES = {UNCLEAR: "bold reverse", DOUBTFUL: "bold reverse", SURE: "", CONFIRMED: "bold"}


def draw(item: Item, cursor: int, width: int, height: int, g: Glyphs) -> list[Text]:
    """At most `height` rows of `width` cells.

    `cursor` is the line that Enter takes: 0 what is recorded, 1.. an alternative.
    """
    rows = _top(item, width, g) + _records(item, cursor == 0, width, g)
    blocks = [_alternative(n, item, n == cursor, width, g) for n in range(1, _count(item) + 1)]
    blocks.append([Text("  0  type it in your own words" if blocks else "  0  type what was said")])
    if item.alternatives and height - len(rows) > len(blocks):
        rows.append(Text("  or, with its number:"))
    room = height - len(rows)
    if room >= len(blocks[0]):
        rows += window(blocks, max(0, cursor - 1), room, width, g)
    return rows[:height]


def _count(item: Item) -> int:
    return len(item.alternatives)


def state_words(item: Item) -> str:
    """The state with its mark, and how sure it was where that is known: "? DOUBTFUL 61 %"."""
    said = item.confidence is not None and item.state in (DOUBTFUL, SURE)
    sure = f" {item.confidence:.0%}" if said else ""
    return f"{MARKS.get(item.state, '?')} {WORDS.get(item.state, item.state)}{sure}"


def _top(item: Item, width: int, g: Glyphs) -> list[Text]:
    foot = f"{item.limb} {NAMES[item.limb]}" if item.limb in NAMES else "the horse, or several feet"
    if item.limb is None and not item.parts:
        foot = "no foot named"
    about = f"{g.clean(item.when)}  {'sound kept' if item.has_sound else 'no sound'}".strip()
    gap = width - len(about) - 1
    head = Text(f" {cut(foot, gap - 2, g):<{gap - 1}}", style="bold", end="")
    head.append(about, style="not bold")
    rows = [head]
    mark = Text(" ", end="").append(f" {state_words(item)} ", style=STYLES.get(item.state, ""))
    rows.append(mark)
    if item.why and item.why != item.sureness:
        why = fold(g.clean(item.why), width - 2)
        if len(why) == 1 and len(mark) + len(why[0]) + 1 <= width:
            mark.append(f" {why[0]}")
        else:
            rows += [Text(f"  {line}") for line in why[:3]]
    return rows


def _records(item: Item, marked: bool, width: int, g: Glyphs) -> list[Text]:
    rows: list[Text] = []
    mark = ">" if marked else " "
    for part in item.parts:
        limb = f"{part.limb} " if part.limb and part.limb != item.limb else ""
        label = "records" if not rows else "and"
        style = "bold" if marked else ""
        rows += labelled(label, g.clean(limb + part.text), width, style, mark if not rows else " ")
        if part.question and part.question not in (item.why or ""):
            rows += labelled("", f"?? {g.clean(part.question)}", width, "bold")
    if not rows:
        rows = labelled("records", "nothing", width, "bold" if marked else "", mark)
    heard = g.clean(item.heard)
    rows += labelled("heard", f'"{heard}"' if heard else "no words; only sound", width)
    return rows


def _alternative(number: int, item: Item, marked: bool, width: int, g: Glyphs) -> list[Text]:
    text = g.clean(item.alternatives[number - 1].text)
    if marked:
        lines = fold(text, width - 5)
        start = Text(f"> {number}  ", style="bold", end="").append(lines[0], style="bold")
        return [start, *(Text(" " * 5 + line, style="bold") for line in lines[1:])]
    return [Text(f"  {number}  {cut(text, width - 5, g)}")]


def nothing(width: int, g: Glyphs) -> list[Text]:
    """In place of an item where nothing was heard in the visit."""
    lines = [
        "Nothing was heard in this visit.",
        "",
        "A  adds what should be there",
        "H  goes to another horse of the day",
        "Q  leaves",
    ]
    rows: list[Text] = []
    for line in lines:
        rows += [Text(f"  {each}") for each in fold(line, width - 2)] if line else [Text("")]
    return rows
