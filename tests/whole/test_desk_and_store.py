"""How the record and the desk are built: no circle, one write door, nothing reached through."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import attrs
import pytest

from corekit.desk.context import ShopContext
from corekit.desk.shop import Shop

ROOT = Path(__file__).parents[2] / "corekit"


def imports_of(module: Path) -> Iterator[str]:
    """Modules of the same room that a module imports, anywhere in it, for type checkers too."""
    names = {path.stem for path in module.parent.glob("*.py")}
    for node in ast.walk(ast.parse(module.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.level == 1:
            yield from names & ({node.module} if node.module else {alias.name for alias in node.names})


def circle_in(room: Path) -> list[str]:
    """The modules of a circle, in order; none where there is no circle."""
    graph = {path.stem: sorted(set(imports_of(path))) for path in room.glob("*.py")}
    done: set[str] = set()

    def walk(name: str, way: list[str]) -> list[str]:
        if name in way:
            return [*way[way.index(name) :], name]
        if name in done:
            return []
        found = next((circle for other in graph[name] if (circle := walk(other, [*way, name]))), [])
        done.add(name)
        return found

    return next((circle for name in graph if (circle := walk(name, []))), [])


@pytest.mark.parametrize("room", ["desk", "store"])
def test_no_module_imports_itself_by_way_of_others_not_even_for_type_checkers(room: str) -> None:
    assert circle_in(ROOT / room) == []


def test_a_circle_is_found(tmp_path: Path) -> None:
    (tmp_path / "a.py").write_text("from .b import x\n", "utf-8")
    (tmp_path / "b.py").write_text("if TYPE_CHECKING:\n    from . import c\n", "utf-8")
    (tmp_path / "c.py").write_text("def f():\n    from .a import y\n", "utf-8")
    assert sorted(set(circle_in(tmp_path))) == ["a", "b", "c"]


@pytest.mark.parametrize("room", ["desk", "store"])
def test_every_module_fits_into_one_sitting(room: str) -> None:
    lines = {path.name: len(path.read_text("utf-8").splitlines()) for path in (ROOT / room).glob("*.py")}
    assert {name: count for name, count in lines.items() if count > 500} == {}


@pytest.mark.parametrize("room", ["screens", "cli"])
def test_screens_and_commands_ask_the_desk_and_never_reach_through_to_the_store(room: str) -> None:
    reached = [
        f"{path.name}: {line.strip()}"
        for path in (ROOT / room).rglob("*.py")
        for line in path.read_text("utf-8").splitlines()
        if re.search(r"\bshop\.(context\.)?store\b|\.transaction\(", line)
    ]
    assert reached == []


def test_everything_that_is_written_begins_at_the_one_door() -> None:
    openers = [
        path.name
        for path in (ROOT / "store").glob("*.py")
        if path.name != "database.py" and "_writing()" in path.read_text("utf-8")
    ]
    assert openers == ["store.py"]
    assert (ROOT / "store" / "store.py").read_text("utf-8").count("_writing()") == 1


def test_the_face_of_a_shop_is_about_a_dozen_verbs() -> None:
    verbs = {name for name, thing in vars(Shop).items() if callable(thing) and not name.startswith("_")}
    assert len(verbs - {"close"}) == 12


def test_the_context_of_a_shop_cannot_be_changed(demo_out: Path) -> None:
    with Shop(demo_out) as shop, pytest.raises(attrs.exceptions.FrozenInstanceError):
        shop.context.settings = None  # type: ignore[misc, assignment]
    assert {field.name for field in attrs.fields(ShopContext)} >= {
        "folder",
        "store",
        "settings",
        "price_book",
        "clock",
        "assessor",
        "lock",
    }
