"""The pages of an archive: plain HTML that any browser shows in ten years, without scripts."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape

from handsfree.grammar.grammar import Grammar
from handsfree.grammar.wording import Wording, limb_name
from handsfree.language.known import entry_of
from handsfree.log.rows import Entry, Notice, Utterance, Visit
from handsfree.records.checking import Unreadable
from handsfree.records.sureness import unsure
from handsfree.sheets.files import printable

# Nothing may be loaded but what lies beside the page.
_HEAD = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8">
<meta http-equiv="Content-Security-Policy"
 content="default-src 'none'; style-src 'unsafe-inline'; media-src 'self' file:">
<meta name="viewport" content="width=device-width">
<title>{title}</title>
<style>
body {{ font: 1rem/1.4 sans-serif; margin: 1rem auto; max-width: 60rem; padding: 0 1rem }}
table {{ border-collapse: collapse; width: 100% }}
th, td {{ border-bottom: 1px solid #999; padding: .3rem .5rem; text-align: left;
  vertical-align: top }}
.gone {{ text-decoration: line-through; color: #555 }}
.doubt {{ font-style: italic }}
@media print {{ audio {{ display: none }} }}
</style></head><body>
"""
_FOOT = "</body></html>\n"


@dataclass(frozen=True)
class Listed:
    """A visit in the list; `page` is where its page lies, `utterances` how many it has."""

    horse: str
    day: str
    page: str
    utterances: int


def text(value: object) -> str:
    """A value as it may stand in a page: nothing in it is markup or steers the screen."""
    return escape(printable(str(value)))


def index(title: str, about: str, visits: Iterable[Listed]) -> bytes:
    """The first page: all visits by horse."""
    parts = [_HEAD.format(title=text(title)), f"<h1>{text(title)}</h1><p>{text(about)}</p>\n"]
    horse: str | None = None
    for each in visits:
        if each.horse != horse:
            parts.append("</ul>\n" if horse is not None else "")
            parts.append(f"<h2>{text(each.horse)}</h2>\n<ul>\n")
            horse = each.horse
        parts.append(
            f'<li><a href="{text(each.page)}">{text(each.day)}</a>, '
            f"{each.utterances} utterance{'s' * (each.utterances != 1)}</li>\n"
        )
    parts.append("</ul>\n" if horse is not None else "<p>No visits.</p>\n")
    return "".join((*parts, _FOOT)).encode()


def visit_page(
    visit: Visit,
    said: Sequence[Utterance],
    entries: Sequence[Entry],
    notices: Sequence[Notice],
    sounds: Mapping[str, str],
    grammar: Grammar,
) -> bytes:
    """A visit as it was said, with what became of each utterance, and its sound to play.

    `sounds`: utterance → its file beside the page.
    """
    wording = Wording(grammar)
    title = f"{visit.whose}, {visit.day}"
    parts = [
        _HEAD.format(title=text(title)),
        f'<p><a href="../../index.html">all visits</a></p>\n<h1>{text(title)}</h1>\n',
        f"<p>{text(visit.note)}</p>\n" if visit.note else "",
    ]
    notes = [
        f"<li>{text(n.text)}{f' ({text(n.source)})' if n.source else ''}</li>" for n in notices
    ]
    parts.append(f"<ul>{''.join(notes)}</ul>\n" if notes else "")
    parts.append("<table><tr><th>heard<th>limb<th>noted<th>status<th>sound</tr>\n")
    by_utterance: dict[str, list[Entry]] = {}
    for entry in entries:
        by_utterance.setdefault(entry.utterance_id, []).append(entry)
    for each in said:
        sound = sounds.get(each.id)
        player = f'<audio controls preload="none" src="{text(sound)}"></audio>' if sound else ""
        rows = [_entry(e, wording, grammar) for e in by_utterance.get(each.id, ())]
        first, *more = rows or [("", "", text(each.command or each.status))]
        count = len(rows) or 1
        parts.append(
            f'<tr><td rowspan="{count}">{text(each.heard)}'
            + "<td>".join(("", *first))
            + f'<td rowspan="{count}">{player}</tr>\n'
        )
        parts += [f"<tr>{''.join(f'<td>{cell}' for cell in row)}</tr>\n" for row in more]
    return "".join((*parts, "</table>\n", _FOOT)).encode()


def _entry(entry: Entry, wording: Wording, grammar: Grammar) -> tuple[str, str, str]:
    read = entry_of(entry.body)
    shown = wording.describe(read)
    if isinstance(read, Unreadable):
        shown = f"{shown} {read.body}"
    doubtful = entry.status == "heard" and unsure(entry.confidence, entry.doubt)
    status = "doubtful" if doubtful else entry.status
    kind = "" if entry.in_force else ' class="gone"'
    kind = ' class="doubt"' if doubtful else kind
    limb = limb_name(grammar, entry.limb) if entry.limb else ""
    return text(limb), f"<span{kind}>{text(shown)}</span>", text(status)
