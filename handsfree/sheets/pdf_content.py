"""What of a sheet goes on paper, piece by piece and in the order of the page for the screen."""

from collections.abc import Iterable, Iterator

from handsfree.sheets.content_parts import (
    Audience,
    FootPart,
    Item,
    MeasureRow,
    Sheet,
)
from handsfree.sheets.content_reckoned import DATED, RECKONED
from handsfree.sheets.drawing import from_below, from_side
from handsfree.sheets.page_plots import plot
from handsfree.sheets.pdf_blocks import SMALL, Block, Bullet, Drawing, Numbered, Part, Table, Text

NONE = "–"


def begun(text: str) -> str:
    """The text with a capital letter."""
    return text[:1].upper() + text[1:]


def marked(item: Item) -> str:
    """An item, named as not confirmed where it is not."""
    return item.text if item.confirmed else f"{item.text} (not confirmed)"


def facts(sheet: Sheet) -> str:
    """The horse and the days in one line; the name stands over it."""
    return " · ".join(f"{label}: {text}" for label, text in sheet.facts if label != "Horse")


def cautions(sheet: Sheet) -> Iterator[Block]:
    """Each caution: what to do, where and what was noted, why, and whose rule it is."""
    for caution in sheet.cautions:
        where = f"{caution.where}: " if caution.where else ""
        unsure = "" if caution.confirmed else " (not confirmed yet)"
        yield Text(caution.orders, bold=True, gap=1.4)
        yield Text(f"{where}{caution.noted}{unsure}", bold=True, gap=0.3)
        yield Text(caution.shown, gap=0.3)
        yield Text(f"Source: {caution.source}", size=SMALL, gap=0.3)
    yield Text(sheet.disclaimer, size=SMALL, gap=1.6)


def summary(sheet: Sheet) -> Iterator[Block]:
    """The sheet in short."""
    for label, lines in sheet.summary:
        if len(lines) == 1:
            yield Text(begun(lines[0]), label=f"{label}:")
        else:
            yield Text("", label=f"{label}:")
            yield from (Bullet(line) for line in lines)


def feet(sheet: Sheet) -> Iterator[Part]:
    """The feet of which something was noted, be it left out."""
    for foot in sheet.feet:
        if not foot.quiet or foot.left_out:
            drawn = tuple(_drawings(foot, sheet))
            yield Part(foot.name, drawn, tuple(_foot(foot)), tuple(measures(foot.measures)))


def quiet_feet(sheet: Sheet) -> str:
    """The feet of which nothing was noted, in a line; "" where there are none."""
    names = [foot.name for foot in sheet.feet if foot.quiet and not foot.left_out]
    return f"{'; '.join(names)}: nothing was noted." if names else ""


def _drawings(foot: FootPart, sheet: Sheet) -> Iterator[Drawing]:
    if not foot.drawn:
        return
    owner, labels, limb = sheet.audience is Audience.OWNER, sheet.labels, foot.limb
    svg = from_below(limb, foot.marks, foot.shod, labels, listed=False)
    yield Drawing(svg, sheet.below(foot))
    # On paper every foot is shown from a side too, so that all look alike.
    for side in foot.sides:
        name = labels.side(side)
        svg = from_side(limb, side, foot.marks, foot.shod, labels, listed=False)
        yield Drawing(svg, f"From the {name}" if owner else begun(f"{name} view"))


def _foot(foot: FootPart) -> Iterator[Block]:
    yield from found(foot.found)
    yield from _listed("Looked for, not there", foot.absent)
    yield from _listed("Done", foot.done)
    yield from _listed("Shoe and nails as fitted", foot.fitted)
    yield from _listed("Planned", foot.planned)
    yield from _listed("Remarks, words as heard", foot.remarks)
    yield from _left_out(foot.left_out)


def _left_out(told: str) -> Iterator[Block]:
    if told:
        yield Text(told, gap=1.4)


def found(items: Iterable[Item]) -> Iterator[Block]:
    """Findings, with the numbers that they have on the drawings."""
    for item in items:
        if item.number is None:
            yield Bullet(begun(marked(item)))
        else:
            yield Numbered(item.number, begun(marked(item)), not item.confirmed)


def _listed(label: str, items: Iterable[Item]) -> Iterator[Block]:
    if told := "; ".join(marked(item) for item in items):
        yield Text(told, label=f"{label}:", gap=1.4)


def measures(rows: Iterable[MeasureRow], of_horse: bool = False) -> Iterator[Block]:
    """The measures as a table: before and after the trim, the time before, the change."""
    rows = tuple(rows)
    if not rows:
        return
    since = ("The time before", "Change since")
    if of_horse or all(row.only for row in rows):
        told = tuple((_name(row), _now(row, of_horse), *_since(row)) for row in rows)
        yield Table(("Measure", "Now", *since), told, (0.26, 0.2, 0.3, 0.24))
        return
    staged = tuple((_name(row), *_by_stage(row), *_since(row)) for row in rows)
    shares = (0.225, 0.111, 0.1, 0.324, 0.24)
    yield Table(("Measure", "Before trim", "After trim", *since), staged, shares)


def _name(row: MeasureRow) -> str:
    return row.name if row.confirmed else f"{row.name} (not confirmed)"


def _now(row: MeasureRow, of_horse: bool) -> str:
    why = f" ({row.only_why})" if row.only_why and not of_horse else ""
    return f"{row.only}{why}" if row.only else row.before or row.after or NONE


def _by_stage(row: MeasureRow) -> tuple[str, str]:
    if row.only:
        return row.only, f"({row.only_why})" if row.only_why else ""
    return row.before or NONE, row.after or NONE


def _since(row: MeasureRow) -> tuple[str, str]:
    if not row.odd:
        return row.earlier or NONE, row.change or NONE
    odd = f"also said, and no such measure: {row.odd}"
    return row.earlier or NONE, "; ".join(part for part in (row.change, odd) if part)


def whole(sheet: Sheet) -> Iterator[Block]:
    """What is of the horse, or of no foot that was named."""
    part = sheet.whole
    yield from found(part.found)
    yield from _listed("Looked for, not there", part.absent)
    yield from measures(part.measures, of_horse=True)
    if part.weight:
        yield Text("", label="Weight:", gap=1.4)
        yield from (Bullet(begun(line)) for line in part.weight)
    yield from _listed("Done", part.done)
    yield from _listed("Remarks, words as heard", part.remarks)
    yield from _left_out(part.left_out)


def balance(sheet: Sheet) -> Iterator[Block]:
    """Measures against each other, each with the limit and whose it is."""
    if sheet.balance:
        yield Text(RECKONED, size=SMALL)
        rows = tuple((begun(each.text), begun(each.against)) for each in sheet.balance)
        yield Table(("Reckoned", "Limit, and whose"), rows, (0.5, 0.5), size=7.0)


def mark_dates(sheet: Sheet) -> Iterator[Block]:
    """When marks in the wall were at the hairline and will be at the ground."""
    if sheet.mark_dates:
        yield Text(DATED, size=SMALL)
    for mark in sheet.mark_dates:
        yield Text(begun(mark.text), bold=True, gap=1.4)
        yield from (Bullet(begun(line), SMALL) for line in mark.details)


def changes(sheet: Sheet) -> Iterator[Block]:
    """The findings over the visits."""
    for change in sheet.changes:
        details = f": {'; '.join(change.details)}" if change.details else ""
        yield Bullet(begun(f"{change.text}{details}"))


def plots(sheet: Sheet) -> Iterator[Drawing]:
    """The measures over the visits as small plots."""
    for at, trend in enumerate(sheet.trends):
        yield Drawing(plot(trend, f"plot{at}"))


def ahead(sheet: Sheet) -> Iterator[Block]:
    """The next visit and what is still planned."""
    due = sheet.next_visit
    if due is None:
        yield Text(f"Next visit: {sheet.next_unknown}.")
    else:
        yield Text(f"Next visit: {due.best}", size=11.0, bold=True)
        yield Text(f"Between {due.earliest} and {due.latest}.")
        yield from (Bullet(begun(reason), SMALL) for reason in due.reasons)
    if sheet.watch:
        yield Text("", label="To watch:", gap=1.6)
        yield from (Bullet(begun(plan)) for plan in sheet.watch)
    if sheet.plans:
        yield Text("", label="Still planned:", gap=1.6)
        yield from (Bullet(begun(plan)) for plan in sheet.plans)


def heard(sheet: Sheet) -> Iterator[Block]:
    """For the vet: what was heard, what was noted of it and how sure that is."""
    rows = tuple(
        (each.where, each.heard or NONE, "; ".join(each.noted), each.sureness)
        for each in sheet.heard
    )
    if rows:
        head = ("Foot", "Heard", "Noted", "How sure")
        yield Table(head, rows, (0.06, 0.31, 0.29, 0.34), size=7.0)


def glossary(sheet: Sheet) -> Iterator[Block]:
    """For the owner: the trade words of the sheet."""
    if sheet.audience is not Audience.OWNER:
        return
    for word in sheet.glossary:
        yield Text(word.meaning, size=8.2, label=begun(word.word), gap=0.5)
