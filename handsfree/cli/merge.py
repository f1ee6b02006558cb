"""`handsfree merge`: the log of another machine of the practice into this one."""

import json
from pathlib import Path

import click

from handsfree.cli.as_json import plain
from handsfree.cli.options import json_option, log_option
from handsfree.cli.screen import console, safe
from handsfree.grammar.grammar import load
from handsfree.grammar.wording import Wording
from handsfree.joining import Disputed, Joined, join
from handsfree.language.known import entry_of
from handsfree.log import Log
from handsfree.log.rows import EntryBody

_COUNTED = {
    "visits": "visit",
    "utterances": "utterance",
    "entries": "entry",
    "marks": "judgement",
    "sounds": "sound",
    "lessons": "lesson",
    "lessons_forgotten": "forgotten lesson",
}
_ID_SHOWN = 8


@click.command()
@click.argument("other", metavar="OTHER.db", type=click.Path(path_type=Path))
@click.option("--look", is_flag=True, help="Only say what would come; change nothing.")
@json_option
@log_option
def merge(other: Path, look: bool, as_json: bool, log_path: Path | None) -> None:
    """Take over all that the log OTHER.db has and this one has not.

    OTHER.db is only read. Nothing is lost and nothing comes twice; doing it again changes
    nothing. What the two machines judged differently is asked about in 'handsfree review'.
    To have both machines hold the same, merge on each of them.
    """
    with Log.open(log_path, read_only=look) as log:
        done = join(log, other, look)
    if as_json:
        click.echo(json.dumps({"look": look, **plain(done)}))
        return
    out = console()
    for line in _lines(done, look):
        out.print(safe(line), soft_wrap=True)


def _lines(done: Joined, look: bool) -> list[str]:
    if done.nothing:
        lines = ["nothing new: this log holds all of it already"]
    else:
        counts = [_number(done.new[table], word) for table, word in _COUNTED.items()]
        named = [count for count in counts if count]
        lines = [f"{'would come' if look else 'came'}: {', '.join(named) or 'facts of horses'}"]
    lines += [f"new horse: {name}" for name in done.horses_added]
    return lines + differences(done, look)


def differences(done: Joined, look: bool = False) -> list[str]:
    """What the two that were joined have otherwise, and what became of it."""
    would = "would be " if look else ""
    lines = [f"{name}: added on both machines, {would}one horse" for name in done.horses_joined]
    lines += [
        f"{f.horse}: {f.fact} differs: {f.taken} (said last) is taken, not {f.other}"
        for f in done.facts
    ]
    lines += [
        f"visit {visit[:_ID_SHOWN]}: another horse on each machine; see 'handsfree visits'"
        for visit, _ in done.renamed_visits
    ]
    if done.left_out:
        horses = "horse was" if done.left_out == 1 else "horses were"
        lines.append(
            f"left out: {done.left_out} {horses} erased here; the other log still has the data"
        )
    if done.disputed:
        lines += _disputes(done.disputed)
    return lines


def _disputes(disputed: tuple[Disputed, ...]) -> list[str]:
    wording = Wording(load())
    lines = [f"to choose between in 'handsfree review': {len(disputed)}"]
    for each in disputed:
        horse = each.horse or "horse not named"
        lines.append(f"  visit {each.visit_id[:_ID_SHOWN]}, {horse}, {each.day}")
        lines.append(f"    {each.text}")
        lines.append(f"    {_words(each.stands, wording)}  OR  {_words(each.other, wording)}")
    return lines


def _words(bodies: tuple[EntryBody, ...], wording: Wording) -> str:
    entries = [entry_of(body) for body in bodies]
    texts = [f"{entry.limb or ''} {wording.describe(entry)}".strip() for entry in entries]
    return "; ".join(texts) or "nothing noted"


def _number(count: int, word: str) -> str:
    if not count:
        return ""
    many = "entries" if word == "entry" else f"{word}s"
    return f"{count} {word if count == 1 else many}"
