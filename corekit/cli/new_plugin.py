"""Write a new plugin: a complete package that works, passes its tests and is yours to change.

It declares two voltages, one thing to look at, one calculation, two checks and a fault table under the name
that you give. Put your own in their place; DEVELOPERS.md explains every word.
"""

from __future__ import annotations

import argparse
import re
from pathlib import Path

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator

_NAME = re.compile(r"[a-z][a-z0-9_]{0,39}")
#: A title stands in Python and TOML between quotes, and in sentences whose braces are places.
_TITLE = re.compile(r"[^\W_][^\"\\{}\x00-\x1f\x7f]{0,59}")


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "name", metavar="NAME", help="the system's key: short and lower case, like wiper_motor"
    )
    parser.add_argument("--title", help="what paper calls the system; NAME in words if left out")
    parser.add_argument(
        "--into", metavar="DIR", default=".", help="where the package's folder is made; here if left out"
    )


def run(args: argparse.Namespace) -> int:
    folder = written(args.name, args.title or args.name.replace("_", " ").capitalize(), Path(args.into))
    print(f"Written: {folder}\n\n  pip install -e '{folder}[test]'")
    print(f"  python -m pytest {folder}\n  corekit plugins --check {args.name}")
    return 0


def written(name: str, title: str, into: Path) -> Path:
    """The folder of a new package, written whole or not at all.

    Raises:
        InputError: the name or the title cannot be meant, or is taken.
    """
    import shutil
    import tempfile

    from ..errors import InputError

    _refuse(name, title)
    target = into / f"corekit-{name.replace('_', '-')}"
    if target.exists() or target.is_symlink():
        raise InputError(
            f"{target} is there already; name another plugin, or another folder with --into. Nothing was"
            " written."
        )
    if not into.is_dir():
        raise InputError(f"--into: {into} is no folder; make it first. Nothing was written.")
    with tempfile.TemporaryDirectory(prefix=".corekit-", dir=into) as beside:
        made = Path(beside) / target.name
        for path, text in _files(name, title):
            (made / path).parent.mkdir(parents=True, exist_ok=True)
            (made / path).write_text(text, "utf-8")
        shutil.move(made, target)
    return target


def _refuse(name: str, title: str) -> None:
    from importlib.metadata import entry_points

    from ..errors import InputError

    if not _NAME.fullmatch(name):
        raise InputError(
            f"A plugin's name is its system's key: lower-case letters, digits and _, a letter first, at most"
            f" 40; got {name!r}. Write it like wiper_motor."
        )
    taken = sorted({point.name for point in entry_points(group="corekit")})
    if name in taken:
        raise InputError(
            f"{name!r} is the key of a system that is installed; take another name. Taken are"
            f" {', '.join(taken)}."
        )
    if not _TITLE.fullmatch(title):
        raise InputError(
            f"--title: a few words that begin with a letter or digit, at most 60 signs, without quotation"
            f" marks, braces and backslashes; got {title!r}."
        )


def _files(name: str, title: str) -> Iterator[tuple[str, str]]:
    """Path within the package and text of every file of the template, with the names put in."""
    from ..reference import data_path

    template = data_path("templates/plugin")
    for path in sorted(template.rglob("*")):
        if path.is_file() and path.suffix in (".py", ".toml", ".md", ".typed"):
            there = path.relative_to(template).as_posix()
            yield there.replace("skeleton", name), _filled_template(path.read_text("utf-8"), name, title)


def _filled_template(text: str, name: str, title: str) -> str:
    """The template's text about this system: in names its key, in packages' names with hyphens, in sentences
    its title.
    """
    spoken = title if title[:2].isupper() else f"{title[:1].lower()}{title[1:]}"
    return (
        re.sub(r"\b([Tt]he) skeleton\b", lambda found: f"{found[1]} {spoken}", text)
        .replace("corekit-skeleton", f"corekit-{name.replace('_', '-')}")
        .replace("skeleton-", f"{name.replace('_', '-')}-")
        .replace("skeleton", name)
        .replace("Skeleton", title)
    )
