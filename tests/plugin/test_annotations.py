"""What annotations stand for is what Python's own library makes of them."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator
from functools import wraps
from typing import Annotated, Any

import pytest

from corekit.plugin.annotations import read_annotations

VOLTS = object()


def plain(case: int, ohms: Annotated[float, VOLTS], words: "str | None" = None) -> Iterator[int]:  # noqa: UP037
    yield case


def same_text(ohms: Annotated[float, VOLTS]) -> None: ...


elsewhere: dict[str, Any] = {"wraps": wraps, "plain": plain}
exec("@wraps(plain)\ndef wrapped(*args): return plain(*args)", elsewhere)
wrapped = elsewhere["wrapped"]


def at_once(one: int) -> str:
    return str(one)


at_once.__annotations__ = {"one": int, "return": "str"}


@pytest.mark.parametrize("function", [plain, same_text, wrapped, at_once, lambda one: one])
def test_they_are_what_inspect_makes_of_them(function: Callable[..., Any]) -> None:
    assert read_annotations(function) == inspect.get_annotations(function, eval_str=True)


def test_the_same_text_stands_in_each_module_for_what_it_stands_for_there() -> None:
    spaces: list[dict[str, Any]] = [{"kind": int}, {"kind": str}]
    for space in spaces:
        exec("def function(one: kind): ...", space)
    assert [read_annotations(space["function"])["one"] for space in spaces] == [int, str]


def test_a_name_that_is_none_is_refused_as_python_does() -> None:
    def function(one: Nobody) -> None: ...  # type: ignore[name-defined]  # noqa: F821

    with pytest.raises(NameError, match="Nobody"):
        read_annotations(function)


def test_what_is_no_expression_is_refused_as_python_does() -> None:
    def function(one: int) -> None: ...

    function.__annotations__["one"] = "a b"
    with pytest.raises(SyntaxError):
        read_annotations(function)
