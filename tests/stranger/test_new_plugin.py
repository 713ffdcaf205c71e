"""`corekit new-plugin` writes a package that is built, installed and tested without a network."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

from corekit.cli import main


def written(tmp_path: Path, *words: str) -> Path:
    assert main(["new-plugin", *words, "--into", str(tmp_path)]) == 0
    (folder,) = (path for path in tmp_path.iterdir() if path.name.startswith("corekit-"))
    return folder


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A new plugin's folder, and a folder into which it was installed beside the running environment."""
    folder = written(tmp_path_factory.mktemp("new"), "fuel_pump")
    target = tmp_path_factory.mktemp("site")
    offline = ["--no-build-isolation", "--no-deps", "--no-index", "--disable-pip-version-check"]
    subprocess.run(
        [sys.executable, "-m", "pip", "install", "-q", *offline, "--target", str(target), str(folder)],
        check=True,
    )
    return folder, target


def run(installed: tuple[Path, Path], *words: str) -> subprocess.CompletedProcess[str]:
    folder, target = installed
    paths = os.pathsep.join([str(target), sysconfig.get_path("purelib")])
    return subprocess.run(
        [sys.executable, *words],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": paths},
        capture_output=True,
        text=True,
        check=False,
    )


def test_its_own_tests_pass_at_once(installed: tuple[Path, Path]) -> None:
    done = run(installed, "-m", "pytest", "-q", "-p", "no:cacheprovider")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "15 passed" in done.stdout


def test_it_is_listed_explained_and_conforms(installed: tuple[Path, Path]) -> None:
    listed = run(installed, "-m", "corekit", "plugins")
    assert "fuel_pump  Fuel pump, version 0.1.0" in listed.stdout, listed.stdout + listed.stderr
    told = run(installed, "-m", "corekit", "plugins", "fuel_pump", "--explain").stdout
    assert "fuel_pump  Fuel pump, loaded in " in told
    assert "package   corekit-fuel-pump 0.1.0, in " in told
    assert "hooks     corekit_system" in told
    assert "faults    2: Resistance in the connector, Fuel pump worn out" in told
    checked = run(installed, "-m", "corekit", "plugins", "--check", "fuel_pump")
    assert (checked.returncode, checked.stdout[:19]) == (0, "fuel_pump conforms:"), checked.stdout


def test_its_visit_is_judged(installed: tuple[Path, Path]) -> None:
    done = run(installed, "-m", "corekit", "check", "tests/visit.toml")
    assert done.returncode == 0, done.stderr
    assert "1.70 V" in done.stdout and "lost between battery and connector" in done.stdout


def test_every_file_speaks_of_the_new_system(installed: tuple[Path, Path]) -> None:
    folder, _ = installed
    for path in folder.rglob("*"):
        if path.is_file() and not {"build", "__pycache__"} & set(path.parts):
            assert "skeleton" not in path.read_text("utf-8").lower(), path
    assert (folder / "corekit_fuel_pump" / "py.typed").is_file()
    assert '"Replace the fuel pump"' in (folder / "corekit_fuel_pump" / "__init__.py").read_text("utf-8")


def test_a_title_stands_where_paper_names_the_system(tmp_path: Path) -> None:
    folder = written(tmp_path, "abs_pump", "--title", "ABS pump & valves")
    text = (folder / "corekit_abs_pump" / "__init__.py").read_text("utf-8")
    assert 'ck.System("abs_pump", "ABS pump & valves", api="1.0")' in text
    assert '"Replace the ABS pump & valves"' in text


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["Wiper"], "lower-case letters"),
        (["2wipers"], "a letter first"),
        (["wi-per"], "wiper_motor"),
        (["w" * 41], "at most 40"),
        (["../wiper"], "lower-case letters"),
        (["battery"], "is installed; take another name"),
        (["wiper", "--title", 'a "good" one'], "without quotation marks"),
        (["wiper", "--title", "{value}"], "braces"),
        (["wiper", "--title", " "], "begin with a letter"),
        (["wiper", "--title", "w" * 61], "at most 60"),
    ],
)
def test_a_name_that_cannot_be_meant_is_refused_and_nothing_is_written(
    words: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["new-plugin", *words, "--into", str(tmp_path)]) == 1
    assert said in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_what_is_there_already_stays_as_it_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "corekit-wiper").mkdir()
    (tmp_path / "corekit-wiper" / "mine").write_text("mine", "utf-8")
    assert main(["new-plugin", "wiper", "--into", str(tmp_path)]) == 1
    assert "is there already" in capsys.readouterr().err
    assert [path.name for path in (tmp_path / "corekit-wiper").iterdir()] == ["mine"]
    assert main(["new-plugin", "wiper", "--into", str(tmp_path / "none")]) == 1
    assert "is no folder" in capsys.readouterr().err


def test_the_longest_name_is_a_name_and_so_is_a_word_of_the_language(tmp_path: Path) -> None:
    assert (written(tmp_path, "w" * 40) / f"corekit_{'w' * 40}").is_dir()
    other = tmp_path / "other"
    other.mkdir()
    text = (written(other, "lambda") / "tests" / "test_lambda.py").read_text("utf-8")
    compile(text, "test_lambda.py", "exec")
