"""What the annotations of a plugin's functions stand for."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from functools import lru_cache
from types import CodeType
from typing import Any


def read_annotations(function: Callable[..., Any]) -> dict[str, Any]:
    """What a function's annotations stand for, as `inspect.get_annotations` evaluates them; a text that
    several functions have in common is compiled once.

    Raises:
        NameError: a name in one of them is none of its module.
    """
    space = getattr(inspect.unwrap(function), "__globals__", {})
    return {
        name: eval(_compiled(said), space) if isinstance(said, str) else said
        for name, said in inspect.get_annotations(function).items()
    }


@lru_cache(maxsize=2048)
def _compiled(text: str) -> CodeType:
    return compile(text.lstrip(), "<string>", "eval")
