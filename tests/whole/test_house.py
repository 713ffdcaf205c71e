"""The house is in order: contracts hold, docs and code name the same things, nothing lies where it does not
belong.
"""

from __future__ import annotations

import ast
import inspect
import os
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from enum import EnumType
from pathlib import Path

import attrs
import pytest

import corekit as corekit_face
from corekit.cli.command import VERBS
from corekit.plugin import hookspecs

from .chain import JOBS, corekit, done, paper_text

ROOT = Path(__file__).parents[2]
TOP_LEVEL = {
    ".ci",
    ".gitignore",
    "CHANGELOG.md",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "corekit",
    "demo",
    "plugins",
    "pyproject.toml",
    "shared",
    "templates",
    "tests",
}
DOCS = ("README.md", "DEVELOPERS.md")
PLUGINS = sorted((ROOT / "plugins").glob("*/corekit_*"))


def tracked() -> list[Path]:
    """Every file that belongs to the project: what git knows, or, in an unpacked source archive, what is
    there.
    """
    if (ROOT / ".git").exists():
        run = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True)
        return [ROOT / name for name in run.stdout.decode().split("\0") if name and (ROOT / name).is_file()]
    left_behind = {
        "__pycache__",
        ".venv",
        ".hypothesis",
        ".mypy_cache",
        ".pytest_cache",
        ".ruff_cache",
        ".import_linter_cache",
        "demo-out",
    }
    return [
        path
        for path in ROOT.rglob("*")
        if path.is_file() and not left_behind & set(path.relative_to(ROOT).parts)
    ]


def lint_imports(folder: Path) -> subprocess.CompletedProcess[str]:
    """import-linter over a checkout whose packages are found before any installed ones."""
    paths = os.pathsep.join([str(folder), *(str(path) for path in (folder / "plugins").iterdir())])
    code = "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports(no_cache=True))"
    return subprocess.run(
        [sys.executable, "-c", code],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": paths},
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_contracts_between_the_rooms_hold() -> None:
    run = lint_imports(ROOT)
    assert run.returncode == 0, run.stdout
    for contract in tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"][
        "contracts"
    ]:
        assert f"{contract['name']} KEPT" in run.stdout


@pytest.mark.parametrize(
    ("module", "line", "contract"),
    [
        (
            "billing/estimate.py",
            "from ..assess.assessment import assess",
            "Billing is given findings and never makes them",
        ),
        ("model/value.py", "from .. import units", "Data moves left to right only"),
        ("assess/assessment.py", "import corekit_battery", "The core knows no plugin"),
        ("report/pen.py", "from reportlab.pdfgen import canvas", "One module knows the PDF library"),
        (
            "desk/demo.py",
            "from ..report.papers import invoice_document",
            "The demo uses the desk and nothing behind it",
        ),
    ],
)
def test_a_contract_that_is_broken_is_named(module: str, line: str, contract: str, tmp_path: Path) -> None:
    for name in ("corekit", "plugins"):
        shutil.copytree(ROOT / name, tmp_path / name, ignore=shutil.ignore_patterns("__pycache__", "tests"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    with (tmp_path / "corekit" / module).open("a", encoding="utf-8") as file:
        file.write(f"\n{line}\n")
    run = lint_imports(tmp_path)
    assert run.returncode != 0
    assert f"{contract} BROKEN" in run.stdout, run.stdout[-800:]


def imports(path: Path) -> Iterator[tuple[int, str]]:
    """(line, module) of every import of a file, also those inside functions; relative ones with
    their dots.
    """
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom):
            yield node.lineno, "." * node.level + (node.module or "")
        elif isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)


def test_nobody_inside_imports_the_face() -> None:
    found = [
        (path.name, line)
        for path in (ROOT / "corekit").rglob("*.py")
        for line, module in imports(path)
        if module == "corekit"
    ]
    assert found == []


def test_the_tests_of_a_plugin_import_the_face_and_corekit_testing_alone() -> None:
    found = [
        (path.relative_to(ROOT).as_posix(), line, module)
        for folder in (*(ROOT / "plugins").glob("*/tests"), ROOT / "demo" / "brakes" / "tests")
        for path in folder.rglob("*.py")
        for line, module in imports(path)
        if module.startswith("corekit.") and module != "corekit.testing"
    ]
    assert found == []


def test_the_tests_of_a_plugin_name_nothing_of_the_face_that_is_no_public_name() -> None:
    found = [
        (path.name, node.lineno, name.name)
        for folder in (*(ROOT / "plugins").glob("*/tests"), ROOT / "demo" / "brakes" / "tests")
        for path in folder.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.ImportFrom) and node.module == "corekit"
        for name in node.names
    ]
    assert found == []


@pytest.mark.parametrize("plugin", PLUGINS, ids=lambda path: path.name)
def test_a_plugin_imports_of_corekit_the_face_alone(plugin: Path) -> None:
    found = [
        (path.name, line, module)
        for path in plugin.rglob("*.py")
        for line, module in imports(path)
        if module.startswith("corekit.") and (path.name, module) != ("practice.py", "corekit.practice")
    ]
    assert found == []


@pytest.mark.parametrize("plugin", PLUGINS, ids=lambda path: path.name)
def test_no_plugin_knows_another(plugin: Path) -> None:
    found = [
        (path.name, line, module)
        for path in plugin.rglob("*.py")
        for line, module in imports(path)
        if module.startswith("corekit_")
    ]
    assert [one for one in found if one[2].partition(".")[0] != plugin.name] == []


# ---- docs and code


def hooks() -> set[str]:
    return {name for name, thing in vars(hookspecs).items() if hasattr(thing, f"{hookspecs.PROJECT}_spec")}


def test_every_hook_has_its_row_in_the_developers_guide_and_every_row_its_hook() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    rows = set(re.findall(r"(?m)^\| `(corekit_\w+)` \|", text))
    assert hooks()
    assert rows == hooks()
    # Whatever else looks like a hook in the text is one, or is a package.
    packages = {path.name for path in PLUGINS} | {path.name for path in (ROOT / "demo").glob("*/corekit_*")}
    assert set(re.findall(r"\bcorekit_[a-z_]+\b", text)) <= hooks() | packages


def test_every_hook_says_who_is_asked_what_to_return_and_what_becomes_of_it() -> None:
    for name in hooks():
        said = getattr(hookspecs, name).__doc__
        for word in ("Asked", "Return", "What you return"):
            assert word in said, f"{name}: {word}"


@pytest.mark.parametrize("name", [*DOCS, *(f"plugins/{path.parent.name}/README.md" for path in PLUGINS)])
def test_every_link_in_the_docs_leads_somewhere(name: str) -> None:
    path = ROOT / name
    for target in re.findall(r"\]\(([^)#]+)[^)]*\)", path.read_text("utf-8")):
        if not target.startswith(("http:", "https:", "mailto:")):
            assert (path.parent / target).exists(), f"{name}: {target}"


def test_every_command_that_docs_and_files_name_is_a_verb() -> None:
    texts = (
        [ROOT / name for name in DOCS]
        + list((ROOT / "demo").rglob("*.toml"))
        + list((ROOT / "templates").rglob("*.toml"))
    )
    named = {
        (path.name, verb)
        for path in texts
        for verb in re.findall(
            r"(?:`|bin/|^  |^#   )corekit ([a-z][a-z-]*)\b", path.read_text("utf-8"), re.MULTILINE
        )
    }
    assert len(named) > 5
    assert {one for one in named if one[1] not in VERBS} == set()


def test_every_command_that_messages_name_is_a_verb() -> None:
    named = {
        (path.name, verb)
        for path in (ROOT / "corekit").rglob("*.py")
        for verb in re.findall(r"`corekit ([a-z][a-z-]*)\b", path.read_text("utf-8"))
    }
    assert len(named) > 5
    assert {one for one in named if one[1] not in VERBS} == set()


def test_each_verb_has_its_module_and_each_module_its_verb() -> None:
    modules = {path.stem for path in (ROOT / "corekit" / "cli").glob("*.py")} - {"__init__", "command"}
    assert modules == {verb.replace("-", "_") for verb in VERBS}


def test_the_readme_sets_up_with_two_commands_of_one_line_each() -> None:
    text = (ROOT / "README.md").read_text("utf-8")
    assert "\npython3 -m venv .venv && .venv/bin/pip install . && .venv/bin/corekit demo\n" in text
    assert "\n.venv/bin/pip install -e '.[test]' && .venv/bin/python -m pytest\n" in text


_SKIPPING = """
import pytest
def test_by_word(): pytest.skip("no tool here")
@pytest.mark.skipif(True, reason="no tool here")
def test_by_mark(): pass
@pytest.fixture
def tool(): pytest.skip("no tool here")
def test_by_fixture(tool): pass
@pytest.mark.xfail
def test_known(): assert False
def test_well(): pass
"""


@pytest.mark.parametrize(
    ("ci", "outcome"),
    [("", "1 passed, 3 skipped, 1 xfailed"), ("1", "2 error, 1 failed, 1 passed, 1 xfailed")],
    ids=["at home", "in CI"],
)
def test_a_skip_is_a_failure_where_every_tool_is_promised(ci: str, outcome: str, tmp_path: Path) -> None:
    shutil.copy(ROOT / "tests" / "conftest.py", tmp_path)
    (tmp_path / "test_tools.py").write_text(_SKIPPING, "utf-8")
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "-p",
        "no:cacheprovider",
        "--rootdir",
        str(tmp_path),
        str(tmp_path),
    ]
    run = subprocess.run(
        command,
        cwd=tmp_path,
        env={**os.environ, "COREKIT_CI": ci},
        capture_output=True,
        text=True,
        check=False,
    )
    said = sorted(
        re.findall(r"\d+ (?:passed|failed|skipped|xfailed|error)", run.stdout.splitlines()[-1]),
        key=lambda part: part.split()[1],
    )
    assert said == sorted(outcome.split(", "), key=lambda part: part.split()[1]), run.stdout
    assert run.returncode == (1 if ci else 0)


def test_a_whole_file_that_skips_itself_fails_there_too(tmp_path: Path) -> None:
    shutil.copy(ROOT / "tests" / "conftest.py", tmp_path)
    (tmp_path / "test_tools.py").write_text(
        'import pytest\npytest.skip("no tool here", allow_module_level=True)\n', "utf-8"
    )
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "-p",
        "no:cacheprovider",
        "--rootdir",
        str(tmp_path),
        str(tmp_path),
    ]
    run = subprocess.run(
        command,
        cwd=tmp_path,
        env={**os.environ, "COREKIT_CI": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode != 0
    assert "no tool here" in run.stdout


def test_a_test_run_says_from_where_everything_was_imported(tmp_path: Path) -> None:
    shutil.copy(ROOT / "tests" / "conftest.py", tmp_path)
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-p",
        "no:cacheprovider",
        "--collect-only",
        "--rootdir",
        str(tmp_path),
        str(tmp_path),
    ]
    said = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False).stdout
    assert re.search(r"(?m)^corekit \S+: .*corekit$", said)
    for name in tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["entry-points"][
        "corekit"
    ]:
        assert re.search(rf"(?m)^plugin {name}: .*corekit_{name}$", said)


# ---- what lies about


def test_the_top_level_holds_only_the_approved_names() -> None:
    assert {path.relative_to(ROOT).parts[0] for path in tracked()} == TOP_LEVEL


def test_what_tools_leave_behind_is_not_kept() -> None:
    odd = [
        path
        for path in tracked()
        if path.suffix in (".pyc", ".sqlite-wal", ".log", ".orig", ".rej", ".tmp")
        or "__pycache__" in path.parts
    ]
    assert odd == []


#: What belongs to some machine and not to the project, as expressions that do not match themselves.
STRANGE = re.compile(
    r"\.\./shared|(?<![\w.-])/(?:home|root|Users|work|private|mnt)/\w|[A-Z]:\\\\?(?:Users|Documents)"
)


def test_no_file_names_a_place_on_somebodys_machine() -> None:
    found = []
    for path in tracked():
        try:
            lines = path.read_text("utf-8").splitlines()
        except UnicodeDecodeError:
            continue  # a picture or a store
        found += [
            f"{path.relative_to(ROOT)}:{nth}: {line.strip()[:100]}"
            for nth, line in enumerate(lines, 1)
            if STRANGE.search(line)
        ]
    assert found == []


def test_the_search_for_such_places_finds_them() -> None:
    for text in ("see .." + "/shared/x", "/" + "home/me", "/" + "work/x", "C:" + "\\Users\\me"):
        assert STRANGE.search(text)


# ---- what we print


def test_the_word_that_promises_too_much_is_printed_nowhere(demo_out: Path) -> None:
    """About driving the tool can only warn; a battery or a car is never called that."""
    said = [
        done(corekit(*words)).out
        for words in (
            [],
            *([verb, "--help"] for verb in VERBS),
            *(["check", job, "--shop", str(demo_out)] for job in JOBS),
        )
    ]
    said += [paper_text(path) for path in (demo_out / "papers").iterdir()]
    for text in said:
        assert not re.search(r"\b(?:un)?safe(?:ly|ty|r)?\b", text, re.IGNORECASE), text[:200]


def test_the_texts_of_plugins_and_templates_promise_no_more() -> None:
    for folder in (*PLUGINS, ROOT / "templates"):
        for path in folder.rglob("*"):
            if path.suffix in (".toml", ".html", ".py") and path.name != "sources.toml":
                strings = _strings(path)
                assert not [text for text in strings if re.search(r"\bsafe\b", text, re.IGNORECASE)], path


def _strings(path: Path) -> list[str]:
    """What a file can print: every string of a module, or all of a template."""
    text = path.read_text("utf-8")
    if path.suffix != ".py":
        return [line for line in text.splitlines() if not line.lstrip().startswith("#")]
    tree = ast.parse(text)
    docs = {id(expression.value) for expression in ast.walk(tree) if isinstance(expression, ast.Expr)}
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs
    ]


#: What declares takes as many as there is to say, each by its name.
DECLARES = {"measurand", "observation", "trait", "operation", "part", "unit", "System", "Claim"}
MOST_PARAMETERS = 6


def public_callables() -> Iterator[tuple[str, object]]:
    """Every function and class of the face, and every public method of a case."""
    for name in corekit_face.__all__:
        if name not in ("__version__", "Shop", "open_shop", "hookimpl"):
            yield name, getattr(corekit_face, name)
    for name, method in vars(corekit_face.Case).items():
        if not name.startswith("_") and inspect.isfunction(method):
            yield f"Case.{name}", method


def test_nothing_that_a_check_calls_takes_more_than_six_parameters() -> None:
    found = {}
    for name, made in public_callables():
        if not callable(made) or name in DECLARES or attrs.has(made) or isinstance(made, EnumType):
            continue
        wanted = [one for one in inspect.signature(made).parameters if one != "self"]
        if len(wanted) > MOST_PARAMETERS:
            found[name] = wanted
    assert found == {}


def test_no_call_of_a_plugin_gives_the_face_more_than_six_arguments() -> None:
    found = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for folder in (*PLUGINS, ROOT / "demo" / "brakes" / "corekit_brakes")
        for path in folder.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and isinstance(node.func.value, ast.Name)
        and node.func.value.id in ("ck", "case")
        and node.func.attr not in DECLARES
        and len(node.args) + len(node.keywords) > MOST_PARAMETERS
    ]
    assert found == []


def test_a_check_of_a_plugin_compares_no_number_with_an_end_of_a_limit() -> None:
    found = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for folder in (*PLUGINS, ROOT / "demo" / "brakes" / "corekit_brakes")
        for path in folder.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Compare)
        for side in (node.left, *node.comparators)
        if re.fullmatch(r".*\blimits?\b.*\.(low|high)\.number", ast.unparse(side))
    ]
    assert found == []


def test_nothing_in_the_core_names_a_system() -> None:
    """The built-in systems come in by the same door as a stranger's, so the core has no word of them, not
    even as an example.
    """
    names = "|".join(path.name for path in (ROOT / "plugins").iterdir() if path.is_dir())
    found = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in sorted((ROOT / "corekit").rglob("*.py"))
        for number, line in enumerate(path.read_text("utf-8").splitlines(), 1)
        if re.search(rf"\b({names})\b", line, re.IGNORECASE)
    ]
    assert found == []
