"""`handsfree words`: the vocabulary with its definitions."""

import json

import click
from rich.table import Table
from rich.text import Text

from handsfree.cli.screen import console
from handsfree.grammar.grammar import Grammar, load

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
def words(text: str | None, as_json: bool, sentences: bool) -> None:
    """List the words that can be spoken and what they mean; TEXT narrows the list."""
    grammar = load()
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


def _sentences(grammar: Grammar) -> list[str]:
    rules = grammar.rules.rules.values()
    return [s for rule in rules if rule.name.startswith(grammar.rules.main) for s in rule.examples]


def _mentions(forms: tuple[str, ...], definition: str, text: str) -> bool:
    return any(text.lower() in t.lower() for t in (*forms, definition))


def _forms(both: tuple[str, ...], american: tuple[str, ...], british: tuple[str, ...]) -> str:
    return ", ".join(
        [*both, *(f"{form} (US)" for form in american), *(f"{form} (UK)" for form in british)]
    )
