"""The methods that attrs writes for its classes and the patterns of `re`, compiled once and kept beside
Python's own compiled modules.

For each class attrs writes its methods as text and lets Python compile them, at every start: with some 350
classes an eighth of a cold command; `re` does so with each pattern, a twentieth. Text that is the same gives
the same code, so the code is kept under a digest of the text. attrs puts a number into each `__hash__` that
differs from start to start; here it is taken from the name alone.

`compile` and `hash` are looked up by attrs as builtins, and `re` hands what it has worked out to `_sre`.
Should a later version do without them, nothing is kept and nothing is lost.
"""

from __future__ import annotations

import builtins
import hashlib
import marshal
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import CodeType
from typing import Any

from .kept import kept_file, kept_value, write_kept

_MOST = 4_000  # texts: many times what the core and its systems have


@contextmanager
def kept_classes() -> Iterator[None]:
    """Within it, classes that attrs makes take the code of their methods from an earlier start."""
    import attr._make as maker

    if hasattr(maker, "compile"):  # within another one
        yield
        return
    fingerprint = hashlib.sha256(sys.version.encode()).digest()
    try:
        file = kept_file("classes", [])
    except NotImplementedError:  # a Python without compiled modules
        yield
        return
    found = kept_value(file, fingerprint)
    codes: dict[bytes, bytes] = found[0] if found is not None else {}
    known = len(codes)

    def compiled(text: str, filename: str, mode: str) -> CodeType:
        key = hashlib.blake2b(f"{filename}\0{text}".encode(), digest_size=16).digest()
        if key in codes:
            code: CodeType = marshal.loads(codes[key])
            return code
        made: CodeType = builtins.compile(text, filename, mode)
        codes[key] = marshal.dumps(made)
        return made

    names: dict[str, Any] = {"compile": compiled, "hash": _stable_hash}
    vars(maker).update(names)
    try:
        with _kept_patterns(codes):
            yield
    finally:
        for name in names:
            vars(maker).pop(name, None)
        if known < len(codes) <= _MOST and not sys.dont_write_bytecode:
            write_kept(file, fingerprint, codes)


def _stable_hash(of: object) -> int:
    if isinstance(of, str):
        return int.from_bytes(hashlib.blake2b(of.encode(), digest_size=7).digest())
    return hash(of)


@contextmanager
def _kept_patterns(codes: dict[bytes, bytes]) -> Iterator[None]:
    """Within it, patterns are made of what an earlier start worked out.

    What is new is added to `codes` when a module makes it while it is imported: a pattern that is made later
    may hold somebody's words.
    """
    compiler: Any = getattr(re, "_compiler", None)
    plain, engine = getattr(compiler, "compile", None), getattr(compiler, "_sre", None)
    if plain is None or engine is None:
        yield
        return

    def compiled(pattern: Any, flags: int = 0) -> Any:
        if not isinstance(pattern, (str, bytes)):
            return plain(pattern, flags)
        key = hashlib.blake2b(repr((pattern, int(flags))).encode(), digest_size=16, person=b"re").digest()
        if key in codes:
            return engine.compile(*marshal.loads(codes[key]))
        if sys._getframe(3).f_code.co_name != "<module>":  # behind re.compile and what it calls
            return plain(pattern, flags)
        noted = _Noting(engine)
        compiler._sre = noted
        try:
            made = plain(pattern, flags)
        finally:
            compiler._sre = engine
        with suppress(ValueError):  # where the engine is given what cannot be kept
            codes[key] = marshal.dumps(noted.given)
        return made

    compiler.compile = compiled
    try:
        yield
    finally:
        compiler.compile = plain


class _Noting:
    """The engine of `re`, noting what it is given to make a pattern of."""

    def __init__(self, engine: Any) -> None:
        self._engine = engine
        self.given: tuple[Any, ...] = ()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._engine, name)

    def compile(self, *given: Any) -> Any:
        # `re` works with whole numbers that have names; the engine takes plain ones alike.
        self.given = tuple([int(code) for code in one] if isinstance(one, list) else one for one in given)
        return self._engine.compile(*given)
