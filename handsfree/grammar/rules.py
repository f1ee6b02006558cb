"""All rules of a grammar together: names resolved, recursion refused."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from handsfree.errors import GrammarError
from handsfree.grammar.jsgf import (
    Choice,
    GrammarFile,
    Maybe,
    Node,
    Reference,
    Repeat,
    Rule,
    Sequence,
)
from handsfree.records.commands import Command


@dataclass(frozen=True)
class RuleSet:
    """Rules by full name (`grammar.rule`), every reference spelled in full."""

    rules: Mapping[str, Rule]
    main: str

    @property
    def root(self) -> Rule:
        """The public rule: everything that may be said."""
        return next(r for n, r in self.rules.items() if r.public and n.startswith(self.main + "."))

    def of(self, name: str) -> Rule:
        """The rule of a short name of the main grammar or of a full name."""
        return self.rules[name if name in self.rules else f"{self.main}.{name}"]


def link(main: GrammarFile, others: Mapping[str, GrammarFile]) -> RuleSet:
    """Resolve every reference of `main` and what it imports.

    Raises GrammarError (file, line, reason) for an unknown rule or import, for a rule that
    is defined in terms of itself, for a command that the program does not know, and where
    there is not exactly one public rule.
    """
    files = {main.name: main, **others}
    rules: dict[str, Rule] = {}
    for file in files.values():
        for target, line in file.imports:
            grammar = target.split(".")[0]
            if grammar not in files:
                raise GrammarError(file.file, line, f"there is no grammar '{grammar}' to import")
        for rule in file.rules.values():
            body = _qualify(rule.body, rule, file, files)
            full = f"{file.name}.{rule.name}"
            rules[full] = Rule(full, body, rule.public, rule.examples, rule.file, rule.line)
    public = [r for r in main.rules.values() if r.public]
    if len(public) != 1:
        raise GrammarError(main.file, None, f"{len(public)} public rules where one is needed")
    linked = RuleSet(rules, main.name)
    _refuse_recursion(linked)
    _refuse_unknown_commands(linked)
    return linked


def children(node: Node) -> tuple[Node, ...]:
    """The nodes directly inside this one."""
    match node:
        case Sequence(items=items):
            return items
        case Choice(options=options):
            return options
        case Maybe(inner=inner) | Repeat(inner=inner):
            return (inner,)
        case _:
            return ()


def _qualify(node: Node, rule: Rule, file: GrammarFile, files: Mapping[str, GrammarFile]) -> Node:
    def again(inner: Node) -> Node:
        return _qualify(inner, rule, file, files)

    extra = {"tags": node.tags, "line": node.line}
    match node:
        case Reference(rule=name):
            return Reference(_find(name, node, rule, file, files), **extra)  # type: ignore[arg-type]
        case Sequence(items=items):
            return Sequence(tuple(map(again, items)), **extra)  # type: ignore[arg-type]
        case Choice(options=options):
            return Choice(tuple(map(again, options)), **extra)  # type: ignore[arg-type]
        case Maybe(inner=inner):
            return Maybe(again(inner), **extra)  # type: ignore[arg-type]
        case Repeat(inner=inner, at_least_once=once):
            return Repeat(again(inner), once, **extra)  # type: ignore[arg-type]
        case _:
            return node


def _find(
    name: str, node: Node, rule: Rule, file: GrammarFile, files: Mapping[str, GrammarFile]
) -> str:
    if name in file.rules:
        return f"{file.name}.{name}"
    for target, _ in file.imports:
        grammar, _, imported = target.partition(".")
        known = files[grammar].rules
        if name in known and imported in ("", name):
            return f"{grammar}.{name}"
        if name.startswith(grammar + ".") and name.partition(".")[2] in known:
            return name
    raise GrammarError(rule.file, node.line or rule.line, f"there is no rule <{name}>")


def _nodes(node: Node) -> Iterator[Node]:
    yield node
    for child in children(node):
        yield from _nodes(child)


def _references(node: Node) -> Iterator[str]:
    return (each.rule for each in _nodes(node) if isinstance(each, Reference))


def _refuse_recursion(linked: RuleSet) -> None:
    done: set[str] = set()

    def visit(name: str, path: tuple[str, ...]) -> None:
        if name in path:
            rule = linked.rules[name]
            loop = " > ".join((*path[path.index(name) :], name))
            raise GrammarError(rule.file, rule.line, f"the rule is made of itself: {loop}")
        if name not in done:
            for target in _references(linked.rules[name].body):
                visit(target, (*path, name))
            done.add(name)

    for name in linked.rules:
        visit(name, ())


def _refuse_unknown_commands(linked: RuleSet) -> None:
    for rule in linked.rules.values():
        for node in _nodes(rule.body):
            for tag in node.tags:
                if tag.startswith("!") and tag[1:] not in set(Command):
                    known = ", ".join(Command)
                    reason = f"there is no command '{tag[1:]}' (there are {known})"
                    raise GrammarError(rule.file, node.line or rule.line, reason)
