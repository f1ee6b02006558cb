"""The table of the trade's words (grammar/words.csv) and the other word files beside it."""

import csv
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from handsfree.errors import GrammarError
from handsfree.grammar import jsgf

SAID = "said"
"""What the class of a word begins with that is in no sentence of the grammar."""

COLUMNS = ("slot", "class", "id", "spoken", "american", "british", "definition")


@dataclass(frozen=True)
class TradeWord:
    """One row: an id of one slot, how it is spoken, and what it means.

    `group` names the words that may stand in the same places (what it combines with); of a word
    that no sentence of the grammar has, "said" or "said-" and the group it combines like.
    `spoken` are the forms of both sides of the Atlantic; all three together are heard.
    """

    slot: str
    group: str
    id: str
    spoken: tuple[str, ...]
    american: tuple[str, ...]
    british: tuple[str, ...]
    definition: str

    @property
    def forms(self) -> tuple[str, ...]:
        """Every way to say it, the first one being the one to show."""
        return self.spoken + self.american + self.british

    @property
    def in_sentences(self) -> bool:
        """Whether the grammar's sentences have it; else it is only understood as it comes."""
        return self.group.split("-")[0] != SAID

    @property
    def like(self) -> str:
        """The group it combines like."""
        return self.group if self.in_sentences else self.group.removeprefix(SAID).removeprefix("-")


def read_table(path: Path) -> tuple[TradeWord, ...]:
    """Read words.csv. Raises GrammarError with file, line and reason."""
    rows: list[TradeWord] = []
    seen: dict[tuple[str, str, str], int] = {}
    for line, row in csv_rows(path, COLUMNS):
        if not re.fullmatch(r"[A-Za-z0-9_+]+", row["id"]) or not row["slot"]:
            raise GrammarError(path.name, line, f"slot or id is missing or odd: {row['id']!r}")
        spoken, american, british = (_forms(row[k]) for k in ("spoken", "american", "british"))
        word = TradeWord(
            row["slot"], row["class"], row["id"], spoken, american, british, row["definition"]
        )
        if not word.forms:
            raise GrammarError(path.name, line, f"{word.id} has no spoken form")
        if not word.definition:
            raise GrammarError(path.name, line, f"{word.id} has no definition")
        for form in word.forms:
            if not re.fullmatch(r"[a-z']+( [a-z']+)*", form):
                raise GrammarError(path.name, line, f"{form!r} must be lower-case words")
            earlier = seen.setdefault((word.slot, word.group, form), line)
            if earlier != line:
                raise GrammarError(path.name, line, f"{form!r} is already on line {earlier}")
        rows.append(word)
    if not rows:
        raise GrammarError(path.name, None, "the table is empty")
    return tuple(rows)


def as_grammar(words: Iterable[TradeWord], name: str = "words") -> jsgf.GrammarFile:
    """The table as a grammar to import: rules <slot> and <slot-class>, tagged {slot=id}."""
    options: dict[str, list[jsgf.Node]] = {}
    for word in words:
        tag = (f"{word.slot}={word.id}",)
        for form in word.forms:
            node = jsgf.Sequence(tuple(jsgf.Word(w) for w in form.split()), tags=tag)
            rules = [word.slot] + ([f"{word.slot}-{word.group}"] if word.group else [])
            for rule in rules:
                options.setdefault(rule, []).append(node)
    rules_by_name = {
        rule: jsgf.Rule(rule, jsgf.Choice(tuple(nodes)), False, (), "words.csv", 0)
        for rule, nodes in options.items()
    }
    return jsgf.GrammarFile(name, "words.csv", (), rules_by_name)


def names_grammar(names: Iterable[str]) -> jsgf.GrammarFile:
    """The horses' names of the log as a grammar: one rule <horse>, tagged {horse=name}."""
    nodes: list[jsgf.Node] = []
    for name in names:
        spoken = plain_words(name)
        if spoken:
            nodes.append(
                jsgf.Sequence(tuple(jsgf.Word(w) for w in spoken), tags=(f"horse={name}",))
            )
    rule = jsgf.Rule("horse", jsgf.Choice(tuple(nodes)), False, (), "the log's horses", 0)
    return jsgf.GrammarFile("names", "the log's horses", (), {"horse": rule})


def plain_words(text: str) -> list[str]:
    """Lower-case words of any text, without punctuation; digits stay digits."""
    return re.findall(r"[^\W_]+(?:'[^\W_]+)?", text.lower().replace("\u2019", "'"))


def read_pronunciations(path: Path) -> dict[str, tuple[str, ...]]:
    """Read pronunciations.dict: `word  PHONE PHONE …`, ARPAbet without stress, ';;;' comments.

    A word may stand on several lines. Raises GrammarError with file, line and reason.
    """
    result: dict[str, tuple[str, ...]] = {}
    for line, text in enumerate(_text(path).splitlines(), 1):
        if not text.strip() or text.startswith(";;;"):
            continue
        word, *phones = text.split()
        unknown = [p for p in phones if p not in ARPABET]
        if not phones or unknown:
            raise GrammarError(
                path.name, line, f"{word}: no such phone: {' '.join(unknown) or 'none given'}"
            )
        word = re.sub(r"\(\d+\)$", "", word.lower())
        result[word] = (*result.get(word, ()), " ".join(phones))
    return result


def read_respellings(path: Path) -> dict[str, tuple[str, ...]]:
    """Read respellings.csv: word → other spellings made of words an engine knows."""
    result: dict[str, tuple[str, ...]] = {}
    for line, row in csv_rows(path, ("word", "respelled")):
        forms = _forms(row["respelled"])
        if not forms:
            raise GrammarError(path.name, line, f"{row['word']} has no respelling")
        result[row["word"]] = forms
    return result


@cache
def read_sound_alikes(path: Path) -> Mapping[str, Mapping[str, float]]:
    """Read soundalikes.csv: heard words → {meant words: cost 0..1}."""
    result: dict[str, dict[str, float]] = {}
    for line, row in csv_rows(path, ("heard", "meant", "cost")):
        try:
            cost = float(row["cost"])
        except ValueError:
            cost = -1.0
        if not 0 <= cost <= 1 or not row["heard"] or not row["meant"]:
            raise GrammarError(path.name, line, f"cost {row['cost']!r} is not a number from 0 to 1")
        result.setdefault(row["heard"], {})[row["meant"]] = cost
    return result


def read_twins(path: Path) -> dict[tuple[str, ...], tuple[str, ...]]:
    """Read twins.csv: words as they are heard → other words of the trade that sound the same."""
    result: dict[tuple[str, ...], tuple[str, ...]] = {}
    for line, row in csv_rows(path, ("heard", "may_be")):
        heard, other = tuple(row["heard"].split()), tuple(row["may_be"].split())
        if not heard or not other:
            raise GrammarError(path.name, line, "needs words in both columns")
        result[heard] = other
    return result


ARPABET = frozenset(
    "AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW "
    "V W Y Z ZH".split()
)


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise GrammarError(path.name, None, f"cannot be read: {error}") from None


def csv_rows(path: Path, columns: tuple[str, ...]) -> Iterator[tuple[int, dict[str, str]]]:
    """Rows of a CSV file (RFC 4180) with their line numbers; raises GrammarError."""
    reader = csv.reader(_text(path).splitlines())
    header = next(reader, [])
    if tuple(header) != columns:
        raise GrammarError(path.name, 1, f"the first line must be {','.join(columns)}")
    for row in reader:
        if not row or row[0].startswith("#"):
            continue
        if len(row) != len(columns):
            raise GrammarError(
                path.name, reader.line_num, f"{len(row)} columns where {len(columns)} are needed"
            )
        yield reader.line_num, {k: v.strip() for k, v in zip(columns, row, strict=True)}


def _forms(cell: str) -> tuple[str, ...]:
    return tuple(" ".join(form.split()) for form in cell.split(";") if form.strip())
