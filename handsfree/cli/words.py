"""`handsfree words`: the vocabulary with its definitions."""

import json

import click
from rich.table import Table
from rich.text import Text

from handsfree.cli.screen import console
from handsfree.grammar.grammar import Grammar, folder, load

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
}


@click.command()
@click.argument("text", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per word.")
@click.option("--sentences", is_flag=True, help="Show example sentences instead.")
@click.option("--markdown", is_flag=True, help="Print the list of grammar/WORDS.md.")
@click.option(
    "--run-sheet", is_flag=True, help='Print the list behind "what\'s left", to be edited.'
)
def words(
    text: str | None, as_json: bool, sentences: bool, markdown: bool, run_sheet: bool
) -> None:
    """List the words that can be spoken and what they mean; TEXT narrows the list."""
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


def as_markdown(grammar: Grammar) -> str:
    """The whole vocabulary and example sentences as a Markdown page."""
    lines = [
        "# What can be said",
        "",
        "Made by `handsfree words --markdown`; a test keeps it in step with the grammar.",
    ]
    for slot, title in SLOTS.items():
        lines += ["", f"## {title.capitalize()}", "", "| spoken | id | meaning |", "|---|---|---|"]
        for word in grammar.table:
            if word.slot == slot:
                spoken = _forms(word.spoken, word.american, word.british)
                lines.append(f"| {spoken} | {word.id} | {word.definition} |")
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
