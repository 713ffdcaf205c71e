"""Screens, documents and help speak trade English: a phrase that was retired comes back nowhere."""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import attrs
import pytest

from corekit.cli import main
from corekit.cli.command import VERBS
from corekit.plugin.host import load

ROOT = Path(__file__).parents[2]
RETIRED = tomllib.loads((ROOT / "tests/data/retired-phrases.toml").read_text("utf-8"))
EVERYWHERE: dict[str, str] = RETIRED["everywhere"]
IN_THE_CORE: dict[str, str] = EVERYWHERE | RETIRED["waiting_in_plugins"]

#: The modules of the core whose texts people read.
SPEAKING = tuple(
    f"{room}/*.py"
    for room in (
        "assess",
        "billing",
        "cli",
        "desk",
        "intake",
        "report",
        "screens",
        "store",
        "visit",
        "web",
    )
)

Text = tuple[str, str]  # where it stands, what it says


def strings_of(path: Path) -> Iterator[Text]:
    """The string literals of a module, docstrings left out; an f-string with … for what is filled in."""
    tree = ast.parse(path.read_text("utf-8"))
    passed = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    pieces: set[int] = set()
    for node in ast.walk(tree):
        where = f"{path.relative_to(ROOT)}:{getattr(node, 'lineno', 0)}"
        if isinstance(node, ast.JoinedStr):
            pieces |= {id(value) for value in node.values}
            yield (
                where,
                "".join(
                    str(value.value) if isinstance(value, ast.Constant) else "…" for value in node.values
                ),
            )
        elif (
            isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in passed | pieces
        ):
            yield where, node.value


def texts_of(path: Path) -> Iterator[Text]:
    """What a template, a script or a data file shows; comments left out where nobody reads them."""
    text = path.read_text("utf-8")
    where = str(path.relative_to(ROOT))
    if path.suffix == ".html":
        text = re.sub(r"\{#.*?#\}", "", text, flags=re.DOTALL)
    if path.suffix == ".js":
        yield from ((where, found) for found in re.findall(r'"[^"\n]*"|`[^`]*`', text))
    elif (
        path.suffix == ".toml" and path.parent.name != "shop"
    ):  # what stands in a shop's files is read as it is
        yield from strings_in(tomllib.loads(text), where)
    else:
        yield where, text


def strings_in(thing: object, where: str, seen: set[int] | None = None) -> Iterator[Text]:
    """Every text in what was loaded, however deep."""
    seen = set() if seen is None else seen
    if isinstance(thing, str):
        yield where, thing
    elif id(thing) in seen:
        return
    elif isinstance(thing, Mapping):
        seen.add(id(thing))
        for value in thing.values():
            yield from strings_in(value, where, seen)
    elif isinstance(thing, list | tuple | set | frozenset):
        seen.add(id(thing))
        for value in thing:
            yield from strings_in(value, where, seen)
    elif attrs.has(type(thing)):
        seen.add(id(thing))
        for field in attrs.fields(type(thing)):
            yield from strings_in(getattr(thing, field.name, None), where, seen)
    elif type(thing).__module__.startswith("corekit."):
        seen.add(id(thing))
        yield from strings_in(vars(thing), where, seen)


def core_texts() -> Iterator[Text]:
    for pattern in SPEAKING:
        for path in sorted((ROOT / "corekit").glob(pattern)):
            yield from strings_of(path)
    for suffix in ("html", "js", "toml"):
        for path in sorted((ROOT / "templates").rglob(f"*.{suffix}")):
            yield from texts_of(path)
    for path in sorted((ROOT / "shared").glob("*.toml")):
        yield from texts_of(path)


def plugin_texts() -> Iterator[Text]:
    for package in sorted((*ROOT.glob("plugins/*/corekit_*"), ROOT / "demo/brakes")):
        for path in sorted(package.rglob("*.py")):
            if "tests" not in path.parts:
                yield from strings_of(path)
        for path in sorted(package.rglob("*.toml")):
            if "tests" not in path.parts and path.name != "pyproject.toml":
                yield from texts_of(path)
    for key, system in load().systems.items():
        for part in (system, system.faults):
            yield from strings_in(part, f"system {key}, as declared")


def retired_in(texts: Iterable[Text], phrases: Mapping[str, str]) -> list[str]:
    """One line for each retired phrase that a text says: where, what, and what to say instead."""
    patterns = {phrase: re.compile(rf"(?<!\w){re.escape(phrase)}(?!\w)", re.IGNORECASE) for phrase in phrases}
    found = []
    for where, text in texts:
        plain = " ".join(text.replace("\N{RIGHT SINGLE QUOTATION MARK}", "'").split())
        found += [
            f'{where}: "{phrase}"; say "{phrases[phrase]}"'
            for phrase, pattern in patterns.items()
            if pattern.search(plain)
        ]
    return list(dict.fromkeys(found))


def test_the_core_says_no_retired_phrase() -> None:
    assert "\n".join(retired_in(core_texts(), IN_THE_CORE)) == ""


def test_the_systems_say_no_retired_phrase() -> None:
    assert "\n".join(retired_in(plugin_texts(), EVERYWHERE)) == ""


@pytest.mark.parametrize("verb", ["", *VERBS])
def test_the_help_of_a_verb_says_no_retired_phrase(verb: str, capsys: pytest.CaptureFixture[str]) -> None:
    try:
        main([verb, "--help"] if verb else ["--help"])
    except SystemExit as end:
        assert end.code == 0
    help_text = capsys.readouterr().out
    assert verb in help_text
    assert "\n".join(retired_in([(f"corekit {verb} --help", help_text)], IN_THE_CORE)) == ""


def test_a_retired_phrase_is_found_over_line_ends_and_named_with_its_place_and_the_word_instead(
    tmp_path: Path,
) -> None:
    phrases = {"the yes": "the approval"}
    planted = [
        ("some.html", "<p>Now The\n  Yes comes to</p>"),
        ("other.html", "the yesterday of breathe yes"),
    ]
    assert retired_in(planted, phrases) == ['some.html: "the yes"; say "the approval"']


def test_every_kind_of_shown_text_is_collected() -> None:
    core = list(core_texts())
    rooms = (f"corekit/{pattern.removesuffix('*.py')}" for pattern in SPEAKING)
    for part in (*rooms, "templates/screens/", "shared/"):
        assert any(where.startswith(part) for where, _ in core), part
    assert any("To the passcode" in text for where, text in core if where.endswith("work.js"))
    systems = list(plugin_texts())
    for part in ("limits.toml", "faults.toml", ".py:", "as declared"):
        assert any(part in where for where, _ in systems), part


def test_a_phrase_stands_in_one_section_and_is_never_a_single_word() -> None:
    waiting: dict[str, Any] = RETIRED["waiting_in_plugins"]
    assert not EVERYWHERE.keys() & waiting.keys()
    for phrase, instead in IN_THE_CORE.items():
        assert " " in phrase or "-" in phrase, phrase
        assert phrase == phrase.lower() and instead
