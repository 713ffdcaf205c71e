"""What a command loads: a bare start is quick because nothing is imported that the verb does not need."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from .chain import JOBS

HEAVY = {
    "pint",
    "reportlab",
    "flask",
    "numpy",
    "uncertainties",
    "jinja2",
    "qrcode",
    "playwright",
    "hypothesis",
    "cheroot",
    "babel",
    "cryptography",
    "duckdb",
    "ibis",
    "pandas",
    "pyarrow",
    "pyspark",
}

#: What is loaded only when something has to be read that was not kept, or when somebody asks for it.
KEPT_INSTEAD = {
    "corekit.channels_file",
    "corekit.complaints_file",
    "corekit.plugin.fault_file",
    "corekit.plugin.limit_file",
    "email",
    "importlib.metadata",
    "zipfile",
}
NOT_FOR_A_CHECK = {
    "corekit.jurisdiction_file",
    "corekit.model.document",
    "corekit.model.jurisdiction",
    "difflib",
    "secrets",
    "sqlite3",
}

_AFTER = """
import contextlib, io, json, sys
before = set(sys.modules)
{statement}
print(json.dumps(sorted(set(sys.modules) - before)))
"""


def loaded_by(statement: str, cwd: Path | None = None, env: dict[str, str] | None = None) -> set[str]:
    """Modules that a statement loads in a fresh Python."""
    run = subprocess.run(
        [sys.executable, "-c", _AFTER.format(statement=statement)],
        capture_output=True,
        text=True,
        cwd=cwd,
        check=True,
        env=env,
    )
    return set(json.loads(run.stdout.splitlines()[-1]))


def saying(*words: str) -> str:
    return (
        "from corekit.cli import main\nwith contextlib.redirect_stdout(io.StringIO()):\n    assert"
        f" main({list(words)!r}) == 0"
    )


def packages(modules: set[str]) -> set[str]:
    return {name.partition(".")[0] for name in modules}


@pytest.mark.parametrize(
    "words",
    [
        ["--version"],
        ["--help"],
        ["check", "--help"],
        ["invoice", "--help"],
        ["check", str(JOBS["worn-battery"])],
        ["check", str(JOBS["undecided"]), "--json"],
    ],
    ids=" ".join,
)
def test_help_version_and_check_load_nothing_heavy(words: list[str], tmp_path: Path) -> None:
    loaded = loaded_by(saying(*words), tmp_path)
    assert "corekit" in loaded
    assert packages(loaded) & HEAVY == set()


@pytest.mark.parametrize("words", [["--version"], ["--help"]], ids=" ".join)
def test_help_and_version_read_no_data_file(words: list[str]) -> None:
    assert packages(loaded_by(saying(*words))) & {"cattrs", "attrs", "attr", "tomllib"} == set()


def test_a_check_at_the_second_start_loads_no_reader_of_what_was_kept(tmp_path: Path) -> None:
    check = saying("check", str(JOBS["worn-battery"]))
    env = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    env["PYTHONPYCACHEPREFIX"] = str(tmp_path / "compiled")
    first, second = (loaded_by(check, tmp_path, env) for _ in range(2))
    assert first >= KEPT_INSTEAD, "the test looks at the wrong thing"
    assert second & (KEPT_INSTEAD | NOT_FOR_A_CHECK) == set()


def test_check_in_a_shop_loads_nothing_heavy_either(demo_out: Path) -> None:
    assert packages(loaded_by(saying("check", "undecided", "--shop", str(demo_out)))) & HEAVY == set()


def test_adding_a_file_loads_nothing_heavy(demo_copy: Path) -> None:
    assert (
        packages(loaded_by(saying("add", str(JOBS["undecided"]), "--shop", str(demo_copy)))) & HEAVY == set()
    )


def test_drafting_an_invoice_draws_and_computes_without_units_server_or_arrays(
    demo_copy: Path, tmp_path: Path
) -> None:
    loaded = packages(
        loaded_by(saying("invoice", str(JOBS["worn-battery"]), "--draft", "--shop", str(demo_copy)), tmp_path)
    )
    assert loaded & {"pint", "flask", "numpy", "uncertainties", "jinja2", "cheroot"} == set()
    assert "reportlab" in loaded, "the test looks at the wrong thing"


def test_a_draft_without_pictures_reads_none_shapes_no_script_and_evaluates_nothing(
    demo_copy: Path, tmp_path: Path
) -> None:
    draft = saying("invoice", str(JOBS["worn-battery"]), "--draft", "--shop", str(demo_copy))
    used = "\nsys.modules = {name: one for name, one in sys.modules.items() if len(vars(one)) > 12}"
    loaded = loaded_by(draft + used, tmp_path)
    assert "reportlab.lib.utils" in loaded, "the test looks at the wrong thing"
    assert loaded & {"uharfbuzz", "PIL.Image", "reportlab.lib.rl_safe_eval"} == set()
    assert loaded & {"uharfbuzz._harfbuzz", "PIL.ExifTags", "PIL._imaging"} == set()


def test_importing_the_face_loads_next_to_nothing() -> None:
    loaded = loaded_by("import corekit")
    assert {"corekit", "corekit._version"} <= loaded
    assert loaded - {"corekit", "corekit._version", "__future__"} <= {
        name for name in loaded if name.startswith("importlib") or name == "warnings"
    }


def test_version_loads_the_face_the_command_and_no_parser_of_words() -> None:
    loaded = loaded_by(saying("--version"))
    assert {name for name in loaded if name.startswith("corekit")} == {
        "corekit",
        "corekit._version",
        "corekit.cli",
    }
    assert "argparse" not in loaded


def test_every_public_name_is_found_where_the_face_says_and_listed_by_dir() -> None:
    import corekit

    for name in corekit.__all__:
        assert getattr(corekit, name) is not None, name
    with pytest.raises(AttributeError, match=r"corekit has no name 'nonsense'; it has .*Shop"):
        _ = corekit.nonsense
    assert {"open_shop", "System", "Finding"} <= set(dir(corekit))


def test_the_names_for_type_checkers_are_the_names_that_load() -> None:
    """Two tables stand in the face, one for type checkers and one for Python; they say the same."""
    import ast

    import corekit

    tree = ast.parse(Path(str(corekit.__file__)).read_text("utf-8"))
    (block,) = (node for node in tree.body if isinstance(node, ast.If))
    typed = {
        alias.asname: f"{node.module}"
        for node in block.body
        if isinstance(node, ast.ImportFrom) and node.level == 1
        for alias in node.names
        if alias.asname
    }
    assert typed == corekit._WHERE


def test_a_draft_of_a_file_loads_no_store_and_one_of_a_job_does(demo_out: Path, tmp_path: Path) -> None:
    store = {"sqlite3", "corekit.store.store", "corekit.store.transaction"}

    def drafting(what: str) -> set[str]:
        said = saying(
            "invoice", "--draft", what, "--shop", str(demo_out), "--out", str(tmp_path / "draft.pdf")
        )
        return loaded_by(said, tmp_path)

    assert drafting(str(JOBS["worn-battery"])) & store == set()
    assert drafting("undecided") >= store
