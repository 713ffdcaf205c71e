"""The code attrs writes for its classes is taken from an earlier start, and is the same as written anew."""

from __future__ import annotations

import builtins
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import CodeType

import attr._make as maker
import attrs
import pytest

from corekit.kept import kept_file
from corekit.kept_classes import kept_classes


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    monkeypatch.setattr(sys, "pycache_prefix", str(tmp_path))


def kept_here() -> Path:
    return kept_file("classes", [])


def pair(**fields: type) -> type:
    """A class of the same name and place in each call."""
    return attrs.make_class("Pair", {name: attrs.field() for name in fields}, frozen=True, repr=True)


def again(make: Callable[[], type]) -> tuple[type, int]:
    """The class as a start makes it, and how many texts Python compiled for it."""
    anew: list[str] = []
    plain = builtins.compile

    def counted(text: str, filename: str, mode: str) -> CodeType:
        anew.append(filename)
        return plain(text, filename, mode)

    with pytest.MonkeyPatch.context() as patch, kept_classes():
        patch.setattr(builtins, "compile", counted)
        made = make()
    return made, len(anew)


def test_a_class_made_from_kept_code_behaves_like_one_made_without() -> None:
    plain = pair(a=int, b=int)
    first, anew = again(lambda: pair(a=int, b=int))
    assert anew > 0
    second, anew = again(lambda: pair(a=int, b=int))
    assert anew == 0
    for made in (plain, first, second):
        assert made(1, 2) == made(1, 2) != made(2, 1)
        assert hash(made(1, 2)) == hash(made(1, 2))
        assert repr(made(1, b=2)) == "Pair(a=1, b=2)"
        with pytest.raises(attrs.exceptions.FrozenInstanceError):
            made(1, 2).a = 3


def test_nothing_is_written_where_everything_was_kept() -> None:
    again(lambda: pair(a=int))
    before = kept_here().stat()
    again(lambda: pair(a=int))
    after = kept_here().stat()
    assert (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns)


def test_a_class_with_another_field_is_not_served_the_code_of_before() -> None:
    again(lambda: pair(a=int))
    made, _ = again(lambda: pair(a=int, c=int))
    assert made(1, 2).c == 2
    assert made(1, 2) != made(1, 3)


def test_two_classes_of_the_same_fields_stay_different() -> None:
    with kept_classes():
        one = attrs.make_class("One", ["a"], frozen=True)
        other = attrs.make_class("Other", ["a"], frozen=True)
    assert one(1) != other(1)
    assert hash(one(1)) != hash(other(1))


@pytest.mark.parametrize("damage", ["cut", "changed", "empty"])
def test_a_damaged_file_is_passed_over(damage: str) -> None:
    again(lambda: pair(a=int))
    content = kept_here().read_bytes()
    kept_here().write_bytes(
        {"cut": content[:-9], "changed": content[:-1] + bytes([content[-1] ^ 1]), "empty": b""}[damage]
    )
    made, _ = again(lambda: pair(a=int))
    assert made(1).a == 1
    assert kept_here().read_bytes()[:40] == content[:40]


def test_nothing_is_written_where_python_writes_no_compiled_modules(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    again(lambda: pair(a=int))
    assert not kept_here().exists()


def test_attrs_has_its_own_builtins_again_afterwards() -> None:
    with pytest.raises(RuntimeError), kept_classes():
        assert "compile" in vars(maker)
        raise RuntimeError
    assert not {"compile", "hash"} & set(vars(maker))


def test_one_within_another_leaves_the_outer_one_in_place() -> None:
    with kept_classes():
        outer = vars(maker)["compile"]
        with kept_classes():
            assert vars(maker)["compile"] is outer
        assert vars(maker)["compile"] is outer


@pytest.fixture
def module(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], tuple[re.Pattern[str], int]]:
    """A pattern that a module makes while it is imported anew, and how many patterns were worked out."""
    monkeypatch.syspath_prepend(str(tmp_path))

    def made(line: str) -> tuple[re.Pattern[str], int]:
        file, text = tmp_path / "patterned.py", f"import re\n{line}\n"
        if not file.exists() or file.read_text() != text:
            file.write_text(text)
        sys.modules.pop("patterned", None)
        re.purge()
        worked_out: list[str] = []
        parser = vars(re)["_parser"]
        plain = parser.parse

        def counted(pattern: str, flags: int = 0) -> object:
            worked_out.append(pattern)
            return plain(pattern, flags)

        with pytest.MonkeyPatch.context() as patch, kept_classes():
            patch.setattr(parser, "parse", counted)
            import patterned  # type: ignore[import-not-found]
        sys.modules.pop("patterned", None)
        return patterned.pattern, len(worked_out)

    return made


@pytest.mark.parametrize(
    ("line", "text"),
    [
        (r'pattern = re.compile(r"(?P<year>\d{4})-(?P<month>\d\d)|(x)")', "2026-11"),
        (r'pattern = re.compile(r"(ä+)\b|[^\W\d_]{2,}(?=-)", re.IGNORECASE | re.MULTILINE)', "ÄÄ-\nab-c"),
        (r'pattern = re.compile(rb"(?s)a.(b*)")', b"xa\nbb"),
        (r'pattern = re.compile(r"(?:(a)|b)*+(?(1)c|d)") if sys.version_info >= (3, 11) else None', "bacd"),
    ],
)
def test_a_pattern_of_a_module_is_worked_out_once_and_finds_the_same(
    line: str, text: str, module: Callable[[str], tuple[re.Pattern[str], int]]
) -> None:
    line = f"import sys\n{line}"
    first, anew = module(line)
    assert anew == 1
    second, anew = module(line)
    assert anew == 0
    judge = re.compile(first.pattern, first.flags & ~re.UNICODE if isinstance(text, str) else first.flags)
    for pattern in (first, second):
        assert (pattern.flags, pattern.groups, pattern.groupindex) == (
            judge.flags,
            judge.groups,
            judge.groupindex,
        )
        assert [(one.span(), one.groups()) for one in pattern.finditer(text)] == [
            (one.span(), one.groups()) for one in judge.finditer(text)
        ]


def test_a_pattern_of_a_class_in_a_module_is_kept_too(
    module: Callable[[str], tuple[re.Pattern[str], int]],
) -> None:
    line = 'class Words:\n    pattern = re.compile("[a-c]+d")\npattern = Words.pattern'
    assert [module(line)[1] for _ in range(2)] == [1, 0]


def test_a_line_whose_pattern_is_another_at_each_start_keeps_one_until_its_file_changes(
    module: Callable[[str], tuple[re.Pattern[str], int]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    line = "import os\npattern = re.compile(os.environ['PATTERN'])"
    sizes, anew = [], []
    for text in ("a|b", "b|a", "c|a", "a|b", "another time", "b|a"):
        if text == "another time":
            os.utime(tmp_path / "patterned.py", ns=(10**18, 10**18))
            continue
        monkeypatch.setenv("PATTERN", text)
        pattern, count = module(line)
        assert pattern.pattern == text
        anew.append(count)
        sizes.append(kept_here().stat().st_size)
    assert anew == [1, 1, 1, 0, 1]
    assert sizes[:4] == [sizes[0]] * 4
    assert sizes[4] > sizes[0]


def test_attrs_makes_its_own_first_classes_of_kept_code_too(tmp_path: Path) -> None:
    code = (
        "import builtins; plain, anew = builtins.compile, []\n"
        "def counted(text, name, *how, **more):\n"
        "    anew.append(name); return plain(text, name, *how, **more)\n"
        "from corekit.kept_classes import kept_classes\n"
        "builtins.compile = counted\n"
        "with kept_classes():\n"
        "    import attr, sys\n"
        "assert not any(type(one).__name__ == '_Taught' for one in sys.meta_path)\n"
        "assert 'compile' not in vars(attr._make) and 'hash' not in vars(attr._make)\n"
        "print(sum(name.startswith('<attrs') for name in anew), attr.validators.optional(None))"
    )
    env = {**os.environ, "PYTHONPYCACHEPREFIX": str(tmp_path)}
    env.pop("PYTHONDONTWRITEBYTECODE", None)
    first, second = (
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=env
        ).stdout.split(" ", 1)
        for _ in range(2)
    )
    assert int(first[0]) > 10, "the test looks at the wrong thing"
    assert (second[0], second[1]) == ("0", first[1])


def test_the_same_text_with_other_flags_is_another_pattern(
    module: Callable[[str], tuple[re.Pattern[str], int]],
) -> None:
    assert module('pattern = re.compile("a")')[0].match("A") is None
    pattern, anew = module('pattern = re.compile("a", re.IGNORECASE)')
    assert anew == 1
    assert pattern.match("A")


def test_a_pattern_that_is_made_later_is_not_kept_for_it_may_hold_somebodys_words() -> None:
    re.purge()
    with kept_classes():
        re.compile("Somebody's own words")
    assert not kept_here().exists() or b"Somebody" not in kept_here().read_bytes()


def test_a_pattern_that_cannot_be_meant_is_refused_and_nothing_is_left_behind(
    module: Callable[[str], tuple[re.Pattern[str], int]],
) -> None:
    compiler = vars(re)["_compiler"]
    before = compiler.compile, compiler._sre
    for _ in range(2):
        with pytest.raises(re.error, match="unterminated"):
            module('pattern = re.compile("(a")')
    assert (compiler.compile, compiler._sre) == before
