"""`handsfree words`: the vocabulary with its definitions."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click
from rich.table import Table
from rich.text import Text

from handsfree.cli.options import log_option, own_words_option
from handsfree.cli.own_words import path_of, read, write
from handsfree.cli.screen import console, safe
from handsfree.errors import HandsfreeError
from handsfree.grammar.grammar import Grammar, folder, load
from handsfree.grammar.words import plain_words
from handsfree.language.own_words import Checks, synonyms, taken_out
from handsfree.log import Log
from handsfree.log.files import default_path
from handsfree.log.rows import Lesson

SLOTS = {
    "limb": "limbs",
    "side": "sides",
    "zone": "places",
    "term": "findings",
    "grade": "grades",
    "age": "ages",
    "trend": "trends",
    "quantity": "measurements",
    "unit": "units",
    "nail": "nails",
    "shoe": "shoes",
    "work": "work",
    "plan": "plans",
}

FREE = "†"
"""Marks a word that is in no sentence of the grammar."""


class _WithOwn(click.Command):
    """`words [TEXT]`, and what is done with the words of one's own: `words add`, `own`, `remove`.

    A group would take TEXT for the name of a command.
    """

    def make_context(
        self,
        info_name: str | None,
        args: list[str],
        parent: click.Context | None = None,
        **extra: Any,
    ) -> click.Context:
        """The context of this command, or of the one that the first argument names."""
        own = OWN.get(args[0]) if args else None
        if own is None:
            return super().make_context(info_name, args, parent, **extra)
        return own.make_context(f"{info_name} {args[0]}", args[1:], parent, **extra)

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The options, then the commands about words of one's own."""
        super().format_options(ctx, formatter)
        with formatter.section("Words of your own"):
            rows = [
                (f"{ctx.command_path} {n} ...", c.get_short_help_str(90)) for n, c in OWN.items()
            ]
            formatter.write_dl(rows)


@click.command(cls=_WithOwn)
@click.argument("text", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per word.")
@click.option("--sentences", is_flag=True, help="Show example sentences instead.")
@click.option("--markdown", is_flag=True, help="Print the list of grammar/WORDS.md.")
@click.option(
    "--run-sheet", is_flag=True, help='Print the list behind "what\'s left", to be edited.'
)
@click.option("--learnt", is_flag=True, help="List what corrections taught: heard, and meant.")
@click.option(
    "--forget",
    metavar="N|TEXT",
    help="Forget one of these: its number in that list, or the words that were heard.",
)
@log_option
def words(
    text: str | None,
    as_json: bool,
    sentences: bool,
    markdown: bool,
    run_sheet: bool,
    learnt: bool,
    forget: str | None,
    log_path: Path | None,
) -> None:
    """List the words that can be spoken and what they mean; TEXT narrows the list."""
    if learnt or forget is not None:
        with Log.open(log_path, read_only=forget is None) as log:
            if forget is not None:
                _forget(log, forget)
            else:
                _list_learnt(log, text, as_json)
        return
    grammar = load()
    if run_sheet:
        click.echo((folder() / "runsheet.toml").read_text(encoding="utf-8"), nl=False)
        return
    if markdown:
        click.echo(as_markdown(grammar), nl=False)
        return
    if sentences:
        for sentence in _sentences(grammar):
            if text is None or text.lower() in sentence:
                click.echo(sentence)
        return
    rows = [w for w in grammar.table if text is None or _mentions(w.forms, w.definition, text)]
    if as_json:
        for word in rows:
            keys = {"slot": word.slot, "id": word.id, "definition": word.definition}
            spoken = {"american": word.american, "british": word.british}
            click.echo(json.dumps(keys | {"spoken": word.spoken} | spoken))
        return
    out = console()
    if not rows:
        out.print(f"no word of the grammar has '{text}' in it")
        return
    for slot, title in SLOTS.items():
        table = Table("spoken", "meaning", title=title, title_justify="left")
        for word in rows:
            if word.slot == slot:
                table.add_row(
                    Text(_forms(word.spoken, word.american, word.british)), word.definition
                )
        if table.row_count:
            out.print(table)


@click.command()
@click.argument("phrase", nargs=-1, required=True)
@click.option(
    "--means",
    required=True,
    metavar="MEANING",
    help='What it means, in words that are understood: "severe lameness", "outside heel", '
    '"thrush in the frog", "toe clip", "left hind".',
)
@own_words_option
@log_option
def add(
    phrase: tuple[str, ...], means: str, own_words_path: Path | None, log_path: Path | None
) -> None:
    """Add a word of your own: your slang, the make of a shoe, a place.

    It is understood from now on, typed and spoken, in place of its meaning; what you say without
    it means what it always meant. The listeners hear it where the words of its meaning are in the
    sentences of 'handsfree words --sentences', and PocketSphinx only if its dictionary has the
    words. Within a remark it stays as you say it.
    """
    path = path_of(own_words_path)
    words, grammar = read(path), _named(log_path)
    checks = Checks(grammar, words)
    word = checks.checked(" ".join(phrase), means)
    write(path, (*words, word))
    out = console()
    out.print(f"'{word.phrase}' means '{word.means}': {safe(checks.says(word.means))}")
    heard = grammar.with_synonyms(synonyms([checks.plainest(word)])).acceptor.vocabulary
    if not set(word.phrase.split()) <= heard:
        out.print(
            "the listeners cannot hear it yet: the words of its meaning are in no sentence of "
            "'handsfree words --sentences'; typed it is understood",
            soft_wrap=True,
        )


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per word.")
@own_words_option
@log_option
def own(as_json: bool, own_words_path: Path | None, log_path: Path | None) -> None:
    """List the words of your own, with the reason where one is not used."""
    path = path_of(own_words_path)
    words = read(path)
    checks = Checks(_named(log_path)) if words else None
    out = console()
    for word in words:
        assert checks is not None
        used, why = checks.usable([word])
        if as_json:
            click.echo(json.dumps({**vars(word), "in_use": bool(used)}))
            continue
        unused = "" if used else f" (not used: {safe(why[0])})"
        out.print(f"{safe(word.phrase)}: {safe(word.means)}{unused}", soft_wrap=True)
    if not words and not as_json:
        out.print(f"no words of your own yet ({safe(str(path))})", soft_wrap=True)


@click.command()
@click.argument("phrase", nargs=-1, required=True)
@own_words_option
def remove(phrase: tuple[str, ...], own_words_path: Path | None) -> None:
    """Remove a word of your own; what was noted with it stays as it is."""
    path = path_of(own_words_path)
    words, gone = taken_out(read(path), " ".join(phrase))
    write(path, words)
    console().print(f"removed: '{safe(gone.phrase)}', which meant '{safe(gone.means)}'")


OWN: dict[str, click.Command] = {"add": add, "own": own, "remove": remove}


def _named(log_path: Path | None) -> Grammar:
    """The grammar with the names of the log's horses, where there is a log; none is made."""
    path = Path(log_path or default_path())
    if not path.is_file():
        return load()
    with Log.open(path, read_only=True) as log:
        return load(horse_names=log.horse_names())


def _list_learnt(log: Log, text: str | None, as_json: bool) -> None:
    """What corrections taught; a number stays the same however the list is narrowed."""
    grammar = load(horse_names=log.horse_names())
    out = console()
    shown = 0
    for number, lesson in enumerate(log.lessons(), 1):
        if text is not None and text.lower() not in f"{lesson.heard} {lesson.meant}":
            continue
        shown += 1
        in_use = bool(grammar.meanings(tuple(plain_words(lesson.meant))))
        if as_json:
            click.echo(json.dumps({"number": number, **vars(lesson), "in_use": in_use}))
            continue
        times = "once" if lesson.times == 1 else f"{lesson.times} times"
        unused = "" if in_use else " (not used: no such sentence now)"
        out.print(f"{number}: {_taught(lesson)}, {times}{unused}", soft_wrap=True)
    if not shown and not as_json:
        out.print("nothing learnt yet" if text is None else f"nothing learnt has '{text}' in it")


def _forget(log: Log, which: str) -> None:
    lessons = log.lessons()
    lesson = _lesson(lessons, which)
    if lesson is None or not log.forget_lesson(lesson.heard, lesson.meant):
        raise HandsfreeError(
            f"there is no lesson '{safe(which)}'; 'handsfree words --learnt' lists them"
        )
    console().print(f"forgotten: {_taught(lesson)}", soft_wrap=True)


def _lesson(lessons: Sequence[Lesson], which: str) -> Lesson | None:
    if which.isdecimal() and 1 <= int(which) <= len(lessons):
        return lessons[int(which) - 1]
    wanted = plain_words(which)
    fitting = [lesson for lesson in lessons if plain_words(lesson.heard) == wanted]
    if len(fitting) > 1:
        raise HandsfreeError(
            f"{len(fitting)} lessons are of '{safe(which)}'; give the number of one in "
            "'handsfree words --learnt'"
        )
    return fitting[0] if fitting else None


def _taught(lesson: Lesson) -> str:
    return f"heard '{safe(lesson.heard)}', meant '{safe(lesson.meant)}'"


def as_markdown(grammar: Grammar) -> str:
    """The whole vocabulary and example sentences as a Markdown page."""
    lines = [
        "# What can be said",
        "",
        "Made by `handsfree words --markdown`; a test keeps it in step with the grammar.",
        f"Words with {FREE} stand in none of its sentences: they are understood where you speak as "
        "you like, in any words.",
    ]
    for slot, title in SLOTS.items():
        lines += ["", f"## {title.capitalize()}", "", "| spoken | id | meaning |", "|---|---|---|"]
        for word in grammar.table:
            if word.slot == slot:
                spoken = _forms(word.spoken, word.american, word.british)
                mark = "" if word.in_sentences else f" {FREE}"
                lines.append(f"| {spoken}{mark} | {word.id} | {word.definition} |")
    lines += ["", "## Sentences", "", *(f"- {s}" for s in _sentences(grammar)), ""]
    return "\n".join(lines)


def _sentences(grammar: Grammar) -> list[str]:
    rules = grammar.rules.rules.values()
    return [s for rule in rules if rule.name.startswith(grammar.rules.main) for s in rule.examples]


def _mentions(forms: tuple[str, ...], definition: str, text: str) -> bool:
    return any(text.lower() in t.lower() for t in (*forms, definition))


def _forms(both: tuple[str, ...], american: tuple[str, ...], british: tuple[str, ...]) -> str:
    return ", ".join(
        [*both, *(f"{form} (US)" for form in american), *(f"{form} (UK)" for form in british)]
    )
