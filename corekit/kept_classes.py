"""The methods that attrs writes for its classes, compiled once and kept beside Python's own compiled modules.

For each class attrs writes its methods as text and lets Python compile them, at every start: with some 350
classes an eighth of a cold command. Text that is the same gives the same code, so the code is kept under a
digest of the text. attrs puts a number into each `__hash__` that differs from start to start; here it is
taken from the name alone.

Both names below are looked up by attrs as builtins. Should a later attrs do without them, nothing is kept and
nothing is lost.
"""

from __future__ import annotations

import builtins
import hashlib
import marshal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
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
