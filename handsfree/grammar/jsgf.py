"""Reads grammar files in the JSpeech Grammar Format (W3C note of 5 June 2000).

Supported: header, grammar name, imports, public and private rules, alternatives with
weights, sequences, groups, options, Kleene star and plus, tags, comments, and @example
lines in documentation comments. Recursion is refused: a spoken sentence is finite.
"""

import re
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from lark import Lark, Token, Transformer, v_args
from lark.exceptions import UnexpectedInput, VisitError

from handsfree.errors import GrammarError

SYNTAX = r"""
    file: HEADER grammar_name import_line* rule_line*
    grammar_name: DOC* "grammar" NAME ";"
    import_line: DOC* "import" "<" NAME ("." "*")? ">" ";"
    rule_line: DOC* PUBLIC? "<" NAME ">" "=" choice ";"
    choice: option ("|" option)*
    option: WEIGHT? sequence
    sequence: item+
    item: atom REPEAT? TAG*
    ?atom: word | reference | group | maybe
    word: NAME | QUOTED
    reference: "<" NAME ">"
    group: "(" choice ")"
    maybe: "[" choice "]"

    HEADER: /#JSGF[^;\n]*;/
    PUBLIC: "public"
    DOC.2: /\/\*\*(?!\/)(.|\n)*?\*\//
    NAME: /[A-Za-z0-9_'][A-Za-z0-9_'\-]*(\.[A-Za-z0-9_'][A-Za-z0-9_'\-]*)*/
    QUOTED: /"[^"\n]+"/
    WEIGHT: /\/[0-9.]+\//
    REPEAT: "*" | "+"
    TAG: /\{[^}\n]*\}/
    PLAIN: /\/\*(?!\*)(.|\n)*?\*\//
    LINE: /\/\/[^\n]*/
    %import common.WS
    %ignore WS
    %ignore PLAIN
    %ignore LINE
"""


@dataclass(frozen=True)
class Node:
    """One piece of a rule, with the tags written behind it."""

    tags: tuple[str, ...] = field(default=(), kw_only=True)
    line: int = field(default=0, kw_only=True, compare=False)


@dataclass(frozen=True)
class Word(Node):
    """A spoken word, lower case."""

    text: str


@dataclass(frozen=True)
class Reference(Node):
    """Whatever the named rule allows."""

    rule: str


@dataclass(frozen=True)
class Sequence(Node):
    """One after the other; empty for the format's <NULL>."""

    items: tuple[Node, ...]


@dataclass(frozen=True)
class Choice(Node):
    """One of these; empty for the format's <VOID>."""

    options: tuple[Node, ...]


@dataclass(frozen=True)
class Maybe(Node):
    """This or nothing."""

    inner: Node


@dataclass(frozen=True)
class Repeat(Node):
    """This any number of times."""

    inner: Node
    at_least_once: bool


@dataclass(frozen=True)
class Rule:
    """A named rule; `examples` are the sentences written beside it."""

    name: str
    body: Node
    public: bool
    examples: tuple[str, ...]
    file: str
    line: int


@dataclass(frozen=True)
class GrammarFile:
    """One file: its declared name, what it imports, its rules by name."""

    name: str
    file: str
    imports: tuple[tuple[str, int], ...]
    rules: dict[str, Rule]


class _Build(Transformer[Token, Any]):
    def __init__(self, file: str) -> None:
        super().__init__()
        self.source = file

    @v_args(meta=True)
    def word(self, meta: Any, parts: list[Token]) -> Word:
        return Word(str(parts[0]).strip('"').lower(), line=meta.line)

    @v_args(meta=True)
    def reference(self, meta: Any, parts: list[Token]) -> Node:
        if parts[0] == "NULL":
            return Sequence((), line=meta.line)
        if parts[0] == "VOID":
            return Choice((), line=meta.line)
        return Reference(str(parts[0]), line=meta.line)

    def group(self, parts: list[Node]) -> Node:
        return parts[0]

    @v_args(meta=True)
    def maybe(self, meta: Any, parts: list[Node]) -> Maybe:
        return Maybe(parts[0], line=meta.line)

    @v_args(meta=True)
    def item(self, meta: Any, parts: list[Any]) -> Node:
        node: Node = parts[0]
        for part in parts[1:]:
            if part.type == "REPEAT":
                node = Repeat(node, str(part) == "+", line=meta.line)
        tags = tuple(str(p)[1:-1].strip() for p in parts[1:] if p.type == "TAG")
        return Sequence((node,), tags=tags, line=meta.line) if tags else node

    @v_args(meta=True)
    def sequence(self, meta: Any, parts: list[Node]) -> Node:
        return parts[0] if len(parts) == 1 else Sequence(tuple(parts), line=meta.line)

    def option(self, parts: list[Any]) -> Node:
        # A weight is part of the format but no recognizer here takes it.
        return parts[-1]  # type: ignore[no-any-return]

    @v_args(meta=True)
    def choice(self, meta: Any, parts: list[Node]) -> Node:
        return parts[0] if len(parts) == 1 else Choice(tuple(parts), line=meta.line)

    def grammar_name(self, parts: list[Token]) -> str:
        return str(parts[-1])

    @v_args(meta=True)
    def import_line(self, meta: Any, parts: list[Token]) -> tuple[str, int]:
        return str(parts[-1]), meta.line

    @v_args(meta=True)
    def rule_line(self, meta: Any, parts: list[Any]) -> Rule:
        tokens = [p for p in parts if isinstance(p, Token)]
        docs = "\n".join(t for t in tokens if t.type == "DOC")
        name = next(t for t in tokens if t.type == "NAME")
        examples = re.findall(r"@example[ \t]+([^\n*@]+)", docs)
        return Rule(
            str(name),
            parts[-1],
            any(t.type == "PUBLIC" for t in tokens),
            tuple(" ".join(e.split()) for e in examples),
            self.source,
            name.line or meta.line,
        )


@lru_cache(maxsize=1)
def _parser() -> Lark:
    return Lark(SYNTAX, start="file", parser="lalr", propagate_positions=True)


def read_text(text: str, file: str) -> GrammarFile:
    """Parse the text of one grammar file; `file` is only for messages.

    Raises GrammarError with file, line and reason.
    """
    try:
        tree = _parser().parse(text)
    except UnexpectedInput as error:
        line = getattr(error, "line", None)
        wanted = ", ".join(
            sorted(getattr(error, "expected", None) or getattr(error, "accepts", []))
        )
        lines = text.splitlines()
        shown = lines[line - 1].strip() if line and 0 < line <= len(lines) else "end of file"
        reason = f"cannot read '{shown}'" + (f" (expected {wanted})" if wanted else "")
        raise GrammarError(file, line if line and line > 0 else None, reason) from None
    build = _Build(file)
    try:
        parts = [build.transform(child) for child in tree.children if not isinstance(child, Token)]
    except VisitError as error:  # pragma: no cover - a defect of this module, not of the file
        raise GrammarError(file, None, str(error.orig_exc)) from error
    name: str = parts[0]
    imports = tuple(p for p in parts[1:] if isinstance(p, tuple))
    rules: dict[str, Rule] = {}
    for rule in (p for p in parts[1:] if isinstance(p, Rule)):
        if rule.name in rules:
            first = rules[rule.name].line
            raise GrammarError(file, rule.line, f"rule <{rule.name}> is already on line {first}")
        rules[rule.name] = rule
    return GrammarFile(name, file, imports, rules)


def read(path: Path) -> GrammarFile:
    """Read one grammar file (UTF-8). Raises GrammarError."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise GrammarError(path.name, None, f"cannot be read: {error}") from None
    return read_text(text, path.name)
