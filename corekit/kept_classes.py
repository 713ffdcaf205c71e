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
import os
import re
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from importlib.machinery import ModuleSpec, PathFinder
from types import CodeType, FrameType, ModuleType
from typing import Any

from .kept import kept_file, kept_value, write_kept

#: Flag of a function's code; `inspect` names it, too, and is not loaded for this.
CO_OPTIMIZED = 0x1
_MOST = 4_000  # texts: many times what the core and its systems have

#: The module of attrs that writes the methods; attrs makes the first classes of its own with it.
_MAKER = "attr._make"


@contextmanager
def kept_classes() -> Iterator[None]:
    """Within it, classes that attrs makes take the code of their methods from an earlier start, and so do
    those of attrs itself where it is first imported within it.
    """
    if _Taught.is_within:
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

    try:
        with _Taught({"compile": compiled, "hash": _stable_hash}), _kept_patterns(codes):
            yield
    finally:
        if known < len(codes) <= _MOST and not sys.dont_write_bytecode:
            write_kept(file, fingerprint, codes)


class _Taught:
    """Within it, the module of attrs that writes the methods has these names beside its own; where it is not
    imported yet, from its first line on.
    """

    is_within = False

    def __init__(self, names: dict[str, Any]) -> None:
        self._names = names

    def __enter__(self) -> None:
        _Taught.is_within = True
        maker = sys.modules.get(_MAKER)
        if maker is not None:
            vars(maker).update(self._names)
        else:
            sys.meta_path.insert(0, self)

    def __exit__(self, *error: object) -> None:
        _Taught.is_within = False
        if self in sys.meta_path:
            sys.meta_path.remove(self)
        for name in self._names if _MAKER in sys.modules else ():
            vars(sys.modules[_MAKER]).pop(name, None)

    def find_spec(
        self, name: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """As Python itself finds the module, with the names in it before it is run."""
        if name != _MAKER:
            return None
        sys.meta_path.remove(self)
        spec = PathFinder.find_spec(name, path, target)
        loader: Any = spec.loader if spec is not None else None
        if loader is not None:
            run = loader.exec_module

            def exec_module(module: ModuleType) -> None:
                vars(module).update(self._names)
                run(module)

            loader.exec_module = exec_module
        return spec


def _stable_hash(of: object) -> int:
    if isinstance(of, str):
        return int.from_bytes(hashlib.blake2b(of.encode(), digest_size=7).digest())
    return hash(of)


@contextmanager
def _kept_patterns(codes: dict[bytes, bytes]) -> Iterator[None]:
    """Within it, patterns are made of what an earlier start worked out.

    What is new is added to `codes` when a module, or a class in it, makes it while it is imported: a pattern
    that is made later may hold somebody's words.
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
        frame = sys._getframe(3)  # behind re.compile and what it calls
        if _is_function(frame.f_code) or (place := _place(frame)) in codes:
            return plain(pattern, flags)
        noted = _Noting(engine)
        compiler._sre = noted
        try:
            made = plain(pattern, flags)
        finally:
            compiler._sre = engine
        with suppress(ValueError):  # where the engine is given what cannot be kept
            codes[key], codes[place] = marshal.dumps(noted.given), b""
        return made

    compiler.compile = compiled
    try:
        yield
    finally:
        compiler.compile = plain


def _place(frame: FrameType) -> bytes:
    """Where a pattern is made. Some are put together of what is in another order at each start: of each line
    one pattern is kept, until its file changes.
    """
    file = frame.f_code.co_filename
    with suppress(OSError):
        file = f"{file}\0{os.stat(file).st_mtime_ns}"  # noqa: PTH116  # pathlib would take longer
    return hashlib.blake2b(f"{file}\0{frame.f_lineno}".encode(), digest_size=16, person=b"place").digest()


def _is_function(code: CodeType) -> bool:
    """Of a function, or of a class within one; else it is a module's, or a class's in it."""
    return bool(code.co_flags & CO_OPTIMIZED) or "<locals>" in code.co_qualname


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
