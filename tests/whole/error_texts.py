"""What an error may say, as it stands in the source: the texts that are handed to errors and faults, by way
of helpers and names too, with {names} for what is filled in.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cached_property
from pathlib import Path

import attrs

from corekit.testing.translation import template

#: Where a message stands among what is handed over; of every other error it is the first.
_FAULT = ((1, "expected"), (2, "got"), (3, "write"))
_FIRST = ((0, ""),)
_MESSAGES: dict[str, tuple[tuple[int, str], ...]] = {
    "DataFault": _FAULT,
    "add": ((1, "got"), (2, "expected"), (3, "write")),
    "Wrong": ((1, "text"),),
}
#: What a message, or a part of one, is called where an error is made.
_CALLED = frozenset({"got", "expected", "write", "noted", "what", "text", "words", "message", "why", "cure"})
_BUILT_IN = frozenset({"Exception", "ValueError", "LookupError", "RuntimeError"})
#: Put typed words, numbers and names into a text, and say nothing themselves.
_NO_WORDS = frozenset(
    {
        "quotation",
        "_in_quotes",
        "any_of",
        "near",
        "path_text",
        "join",
        "format",
        "repr",
        "str",
        "len",
        "sorted",
        "map",
        "next",
    }
)
#: Hand back the text that they are given, or part of it.
_SAME_TEXT = frozenset({"strip", "removesuffix", "removeprefix", "rstrip", "lstrip", "capitalize"})
_WORD = re.compile(r"[^\W\d_]{2}")
_FIELD = re.compile(r"\{\w*\}")
#: What is written into a file, in its language.
_OF_FILES = re.compile(r"\{ .*\}|(?:, )?\w+ = (?:\".*\"|'.*'|\[.*\]|\{ ?\S.*\})(?:, .*\"\})?")
_KEY = re.compile(r"[\w./*\[\]-]*[_./\[][\w./*\[\]-]*")
#: A word that a helper is given is a key or a mode.
_PLAIN = re.compile(r"[a-z]*[+]?")
#: Methods that much else has too.
_COMMON = frozenset({"open", "write", "read", "count", "get", "export", "refuse", "several", "clear"})
_FAULTS = frozenset({"DataFault", "add"})
#: Whose faults stand beside the fields of a form.
_FORMS = "intake/"
_DEEPEST = 6
#: Handed over by its name alone.
_BY_NAME = 99


@attrs.frozen
class Text:
    """One text with the module and the line that it is from."""

    text: str
    module: str
    line: int


@attrs.frozen
class _Function:
    """A function or a method with what it is called by, and the class it stands in."""

    node: ast.FunctionDef
    module: _Module
    of_class: str = ""

    @cached_property
    def parameters(self) -> list[str]:
        names = [one.arg for one in (*self.node.args.posonlyargs, *self.node.args.args)]
        return names[1:] if names[:1] in (["self"], ["cls"]) else names

    def place_of(self, parameter: str) -> int:
        return self.parameters.index(parameter) if parameter in self.parameters else _BY_NAME

    @cached_property
    def every_parameter(self) -> list[str]:
        return [*self.parameters, *(one.arg for one in self.node.args.kwonlyargs)]

    @cached_property
    def assigned(self) -> dict[str, list[ast.expr]]:
        return _assigned(self.node)

    @cached_property
    def calls(self) -> list[ast.Call]:
        return [one for one in ast.walk(self.node) if isinstance(one, ast.Call)]


@attrs.frozen
class _Module:
    name: str
    tree: ast.Module

    @cached_property
    def assigned(self) -> dict[str, list[ast.expr]]:
        return _assigned(self.tree, deep=False)

    @cached_property
    def functions(self) -> list[_Function]:
        return list(_functions(self.tree, self))

    @cached_property
    def imported(self) -> set[str]:
        return {
            name.asname or name.name
            for node in ast.walk(self.tree)
            if isinstance(node, ast.ImportFrom)
            for name in node.names
        }


def _functions(node: ast.AST, module: _Module, of_class: str = "") -> Iterator[_Function]:
    for child in getattr(node, "body", ()):
        if isinstance(child, ast.FunctionDef):
            yield _Function(child, module, of_class)
        yield from _functions(child, module, child.name if isinstance(child, ast.ClassDef) else of_class)


def _assigned(node: ast.AST, *, deep: bool = True) -> dict[str, list[ast.expr]]:
    """Name → what is assigned to it, piece by piece where several are at once."""
    found: dict[str, list[ast.expr]] = {}
    for one in ast.walk(node) if deep else ast.iter_child_nodes(node):
        if isinstance(one, ast.Assign):
            pairs = [pair for target in one.targets for pair in _pairs(target, one.value)]
        elif isinstance(one, (ast.AnnAssign, ast.AugAssign)) and one.value is not None:
            pairs = list(_pairs(one.target, one.value))
        elif isinstance(one, ast.NamedExpr):
            pairs = [(one.target.id, one.value)]
        elif isinstance(one, (ast.For, ast.comprehension)) and isinstance(one.iter, (ast.Tuple, ast.List)):
            pairs = [pair for item in one.iter.elts for pair in _pairs(one.target, item)]
        else:
            continue
        for name, value in pairs:
            found.setdefault(name, []).append(value)
    return found


def _pairs(target: ast.expr, value: ast.expr) -> Iterator[tuple[str, ast.expr]]:
    if isinstance(target, ast.Name):
        yield target.id, value
    elif isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
        for one, other in zip(target.elts, value.elts, strict=False):
            yield from _pairs(one, other)
    elif isinstance(target, ast.Tuple) and isinstance(value, ast.Call):
        for one in target.elts:
            yield from _pairs(one, value)
    elif isinstance(target, ast.Tuple) and isinstance(value, ast.IfExp):
        yield from _pairs(target, value.body)
        yield from _pairs(target, value.orelse)


@attrs.define
class Collector:
    """Reads the whole package, for helpers stand in other modules than those that call them.

    Attributes:
        left_out: Folders that are not read.
    """

    folder: Path
    left_out: frozenset[str] = frozenset()
    modules: dict[str, _Module] = attrs.field(factory=dict)
    by_name: dict[str, list[_Function]] = attrs.field(factory=dict)
    #: Function or class → where a message stands among what is handed over.
    messages: dict[str, set[tuple[int, str]]] = attrs.field(factory=dict)
    family: set[str] = attrs.field(factory=lambda: {"CorekitError"})
    #: What is an error or a fault by itself, and no helper.
    direct: frozenset[str] = frozenset()

    def __attrs_post_init__(self) -> None:
        for path in sorted(self.folder.rglob("*.py")):
            name = path.relative_to(self.folder).as_posix()
            if name.partition("/")[0] in self.left_out:
                continue
            self.modules[name] = _Module(name, ast.parse(path.read_text("utf-8")))
        for module in self.modules.values():
            for function in module.functions:
                self.by_name.setdefault(function.node.name, []).append(function)
        self._find_family()
        self.messages = {name: set(_FIRST) for name in self.family}
        for function in self.by_name.get("__init__", []):
            places = {(n, name) for n, name in enumerate(function.parameters) if name in _CALLED}
            if function.of_class in self.family and places:
                self.messages[function.of_class] = places
        self.messages |= {name: set(places) for name, places in _MESSAGES.items()}
        self.direct = frozenset(self.messages) - {"add"}
        self._find_helpers()

    def _find_family(self) -> None:
        classes = [
            (node.name, {getattr(base, "id", "") for base in node.bases})
            for module in self.modules.values()
            for node in module.tree.body
            if isinstance(node, ast.ClassDef)
        ]
        self.family |= {name for name, bases in classes if bases & _BUILT_IN}
        while more := {name for name, bases in classes if bases & self.family} - self.family:
            self.family |= more

    def _find_helpers(self) -> None:
        """A function that hands a parameter of its own on as a message is a helper."""
        found = True
        while found:
            found = False
            for function in (one for module in self.modules.values() for one in module.functions):
                key = function.of_class if function.node.name == "__init__" else function.node.name
                places = {(function.place_of(name), name) for name in self._handed_on(function)}
                if places - self.messages.get(key, set()):
                    self.messages.setdefault(key, set()).update(places)
                    found = True

    def _handed_on(self, function: _Function) -> set[str]:
        names: set[str] = set()
        for call in function.calls:
            for argument in _arguments(call, self._places(call, function.module, function.of_class)):
                names |= {one.id for one in _within(argument, function) if isinstance(one, ast.Name)} & set(
                    function.every_parameter
                )
        return names

    def _places(self, call: ast.Call, module: _Module, of_class: str) -> set[tuple[int, str]]:
        """Where a message stands among what a call hands over; nowhere in most."""
        name = _name_of(call)
        if name == "__init__":
            return set(_FIRST) if of_class in self.family and isinstance(call.func, ast.Attribute) else set()
        if name == "add":
            return self.messages["add"] if _adds_a_fault(call) else set()
        if name in self.direct:
            return self.messages[name]
        if isinstance(call.func, ast.Attribute):
            known = name in self.messages and name not in _COMMON and len(self.by_name.get(name, [])) == 1
        else:
            defined = any(one.module is module for one in self.by_name.get(name, []))
            known = name in self.messages and (defined or name in module.imported)
        return self.messages[name] if known else set()

    def texts(self, module: str) -> Iterator[Text]:
        """What the errors of one module say, by its path below the folder."""
        one = self.modules[module]
        inside = {id(node): function for function in one.functions for node in ast.walk(function.node)}
        of_class = {
            id(node): kind.name
            for kind in ast.walk(one.tree)
            if isinstance(kind, ast.ClassDef)
            for node in ast.walk(kind)
        }
        seen = set()
        for function in one.functions:
            if function.node.name == "__init__" and function.of_class in self.family:
                for value in _kept_in(function.node):
                    for text, at in self._said(value, function, one, 0):
                        if text not in seen and _is_text(text):
                            seen.add(text)
                            yield Text(text, module, at)
        for call in ast.walk(one.tree):
            if not isinstance(call, ast.Call):
                continue
            places = self._places(call, one, of_class.get(id(call), ""))
            if _name_of(call) in _FAULTS and module.startswith(_FORMS):
                places = {place for place in places if not _is_cure_of_files(call, place)}
            by_helper = _name_of(call) not in {*self.direct, "add", "__init__"}
            for argument in _arguments(call, places):
                for text, at in self._said(argument, inside.get(id(call)), one, 0):
                    if text in seen or not _is_text(text) or (by_helper and _PLAIN.fullmatch(text)):
                        continue
                    seen.add(text)
                    yield Text(text, module, at)

    def _said(
        self, node: ast.expr, function: _Function | None, module: _Module, depth: int
    ) -> Iterator[tuple[str, int]]:
        """The texts that an expression may be."""
        if depth > _DEEPEST:
            return
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value, node.lineno
        elif isinstance(node, ast.JoinedStr):
            yield template(node), node.lineno
            for part in node.values:
                if isinstance(part, ast.FormattedValue) and part.conversion == -1:
                    yield from self._said(part.value, function, module, depth + 1)
        elif isinstance(node, ast.IfExp):
            yield from self._said(node.body, function, module, depth)
            yield from self._said(node.orelse, function, module, depth)
        elif isinstance(node, ast.BoolOp):
            for part in node.values:
                yield from self._said(part, function, module, depth)
        elif isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
            yield from self._said(node.left, function, module, depth)
            yield from self._said(node.right, function, module, depth)
        elif isinstance(node, ast.Name):
            values = function.assigned.get(node.id) if function is not None else None
            if values is None and (function is None or node.id not in function.every_parameter):
                values = module.assigned.get(node.id) or self._constant(node.id, module)
            for value in values or ():
                yield from self._said(value, function, module, depth + 1)
        elif isinstance(node, ast.Subscript) and isinstance(node.value, (ast.Dict, ast.Name)):
            named = module.assigned.get(node.value.id, []) if isinstance(node.value, ast.Name) else []
            for table in (node.value, *named):
                for value in table.values if isinstance(table, ast.Dict) else ():
                    yield from self._said(value, function, module, depth + 1)
        elif isinstance(node, ast.Call):
            yield from self._returned(node, function, module, depth)

    def _constant(self, name: str, module: _Module) -> list[ast.expr]:
        """A constant of another module, where it is imported from there."""
        if name not in module.imported or not name.lstrip("_").isupper():
            return []
        return [value for other in self.modules.values() for value in other.assigned.get(name, [])]

    def _returned(
        self, call: ast.Call, function: _Function | None, module: _Module, depth: int
    ) -> Iterator[tuple[str, int]]:
        name = _name_of(call)
        if name in _SAME_TEXT and isinstance(call.func, ast.Attribute):
            yield from self._said(call.func.value, function, module, depth)
        if name in _NO_WORDS or name in _SAME_TEXT:
            return
        here = [one for one in self.by_name.get(name, []) if one.module is module]
        if not here and (name in module.imported or isinstance(call.func, ast.Attribute)):
            there = self.by_name.get(name, [])
            here = there if len(there) == 1 else []
        for one in here:
            for value in _returns(one.node):
                yield from self._said(value, one, one.module, depth + 1)
            for parameter in {node.id for value in _returns(one.node) for node in _names(value)}:
                if parameter in one.every_parameter:
                    for argument in _arguments(call, {(one.place_of(parameter), parameter)}):
                        yield from self._said(argument, function, module, depth + 1)


def _kept_in(node: ast.FunctionDef) -> Iterator[ast.expr]:
    """What an error keeps as an attribute, to say it later."""
    for one in ast.walk(node):
        if isinstance(one, ast.Assign):
            values = one.value.elts if isinstance(one.value, ast.Tuple) else [one.value]
            yield from (value for value in values if not isinstance(value, ast.Constant))


def _names(node: ast.expr) -> Iterator[ast.Name]:
    return (one for one in ast.walk(node) if isinstance(one, ast.Name))


def _returns(node: ast.FunctionDef) -> Iterator[ast.expr]:
    for one in ast.walk(node):
        if isinstance(one, (ast.Return, ast.Yield)) and one.value is not None:
            yield from one.value.elts if isinstance(one.value, ast.Tuple) else [one.value]


def _within(node: ast.expr, function: _Function, depth: int = 0) -> Iterator[ast.expr]:
    """What an expression is put together from, through names of the function."""
    if depth > _DEEPEST:
        return
    yield node
    parts: list[ast.expr] = []
    if isinstance(node, ast.JoinedStr):
        parts = [
            one.value for one in node.values if isinstance(one, ast.FormattedValue) and one.conversion == -1
        ]
    elif isinstance(node, ast.IfExp):
        parts = [node.body, node.orelse]
    elif isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        parts = [node.left, node.right]
    elif isinstance(node, ast.BoolOp):
        parts = node.values
    elif isinstance(node, ast.Name):
        parts = function.assigned.get(node.id, [])
    for part in parts:
        yield from _within(part, function, depth + 1)


def _arguments(call: ast.Call, places: set[tuple[int, str]]) -> Iterator[ast.expr]:
    for at, name in places:
        spread = next((one for one in call.args[: at + 1] if isinstance(one, ast.Starred)), None)
        if spread is not None:
            yield spread.value
        elif at < len(call.args):
            yield call.args[at]
        yield from (one.value for one in call.keywords if name and one.arg == name)


def _is_cure_of_files(call: ast.Call, place: tuple[int, str]) -> bool:
    """What is to be written into a file, in its language: a screen says what is expected instead."""
    if place != (3, "write") or not list(_arguments(call, {(1, "expected"), (2, "expected")})):
        return False
    return any(
        isinstance(one, ast.Constant)
        and isinstance(one.value, str)
        and any(sign in one.value for sign in "={[")
        for argument in _arguments(call, {place})
        for one in ast.walk(argument)
    )


def _name_of(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")


def _adds_a_fault(call: ast.Call) -> bool:
    """`faults.add(path, got, …)`, not `names.add(name)`."""
    return isinstance(call.func, ast.Attribute) and len(call.args) + len(call.keywords) >= 2


def _is_text(text: str) -> bool:
    """Words, not a key, a path or a name of the source."""
    plain = _FIELD.sub("", text)
    return bool(_WORD.search(plain)) and not _KEY.fullmatch(text) and not _OF_FILES.fullmatch(text)
