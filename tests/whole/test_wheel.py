"""The wheel: built, installed into a fresh environment, used outside the checkout.

No network is needed for any of it.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import sysconfig
import tomllib
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from .chain import COREKIT

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
DATA = ("templates", "shared", "demo")


@pytest.fixture(scope="session")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Built by hatchling from the checkout as it stands; nothing is left in the checkout."""
    folder = tmp_path_factory.mktemp("wheel")
    run = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stdout + run.stderr
    (made,) = folder.glob("*.whl")
    return made


@pytest.fixture(scope="session")
def held(wheel: Path) -> set[str]:
    with zipfile.ZipFile(wheel) as archive:
        return set(archive.namelist())


@pytest.fixture(scope="session")
def environment(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A fresh environment that sees the dependencies of the running one, and has corekit from the wheel."""
    folder = tmp_path_factory.mktemp("environment") / "venv"
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(folder)], check=True)
    python = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    site = subprocess.run(
        [python, "-c", "import sysconfig; print(sysconfig.get_paths()['purelib'])"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout.strip()
    (Path(site) / "dependencies.pth").write_text(sysconfig.get_paths()["purelib"] + "\n", "utf-8")
    # The running environment's own corekit is seen through the .pth; it must be neither enough nor touched.
    pip = [
        sys.executable,
        "-m",
        "pip",
        "--disable-pip-version-check",
        "--python",
        str(python),
        "install",
        "--no-deps",
        "--no-index",
        "--ignore-installed",
    ]
    run = subprocess.run(
        [*pip, str(wheel)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PIP_NO_INPUT": "1"},
    )
    assert run.returncode == 0, run.stdout + run.stderr
    yield folder
    shutil.rmtree(folder, ignore_errors=True)


def files_under(folder: Path) -> set[str]:
    """What of a folder belongs into a wheel: everything but what Python and its tools leave behind."""
    there = {path.relative_to(ROOT) for path in folder.rglob("*") if path.is_file()}
    return {
        path.as_posix()
        for path in there
        if not any(part.startswith((".", "__pycache__")) for part in path.parts)
    }


def test_the_entry_points_are_the_plugin_packages_in_the_wheel(held: set[str]) -> None:
    """A package folder that is missing builds silently, so this is compared."""
    declared = set(PROJECT["project"]["entry-points"]["corekit"].values())
    packages = {
        name.partition("/")[0] for name in held if name.endswith("/__init__.py") and name.count("/") == 1
    }
    assert packages == declared | {"corekit"}
    listed = {Path(path).name for path in PROJECT["tool"]["hatch"]["build"]["targets"]["wheel"]["packages"]}
    assert listed == packages


def test_every_plugin_of_the_checkout_is_declared() -> None:
    there = {path.name for path in (ROOT / "plugins").glob("*/corekit_*") if (path / "__init__.py").is_file()}
    assert there == set(PROJECT["project"]["entry-points"]["corekit"].values())
    for key, package in PROJECT["project"]["entry-points"]["corekit"].items():
        assert package == f"corekit_{key}"


@pytest.mark.parametrize("folder", DATA)
def test_every_data_file_is_in_the_wheel(folder: str, held: set[str]) -> None:
    there = files_under(ROOT / folder)
    assert there
    assert {f"corekit/{name}" for name in there} <= held


def test_every_module_and_every_file_of_a_plugin_is_in_the_wheel(held: set[str]) -> None:
    assert files_under(ROOT / "corekit") <= held
    for plugin in (ROOT / "plugins").glob("*/corekit_*"):
        assert {name.split("/", 2)[2] for name in files_under(plugin)} <= held


def test_the_wheel_holds_nothing_else(held: set[str]) -> None:
    packages = {"corekit", *PROJECT["project"]["entry-points"]["corekit"].values()}
    tops = {name.partition("/")[0] for name in held}
    assert {top for top in tops if not top.endswith(".dist-info")} == packages
    packaged = ("corekit/demo/", "corekit/templates/plugin/")  # plugins to learn from, and to begin with
    assert not [name for name in held if "/tests/" in name and not name.startswith(packaged)]
    assert not [name for name in held if name.endswith(".pyc") or "__pycache__" in name]
    assert any(name.endswith("/licenses/LICENSE") for name in held)
    assert "corekit/py.typed" in held


def test_it_says_what_it_needs(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        (name,) = (name for name in archive.namelist() if name.endswith("/METADATA"))
        said = archive.read(name).decode()
    for need in PROJECT["project"]["dependencies"]:
        assert f"Requires-Dist: {need.partition('>')[0]}" in said
    assert "Requires-Python: >=3.11" in said


def bare() -> dict[str, str]:
    """The environment without what would lead Python or corekit elsewhere."""
    return {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "COREKIT_SHOP")}


_FROM_WHERE = """
import json, corekit
from corekit.plugin.host import load
from corekit.reference import data_path
import corekit_battery
plugins = load()
places = [corekit.__file__, corekit_battery.__file__, str(data_path("demo")), str(data_path("templates"))]
added = {*plugins.systems, *(plugin for plugin, _ in plugins.exporters)}
print(json.dumps([*places, sorted(added), [str(failure) for failure in plugins.failures]]))
"""


def test_installed_outside_the_checkout_everything_comes_from_the_wheel(
    environment: Path, tmp_path: Path
) -> None:
    run = subprocess.run(
        [environment / "bin/python", "-c", _FROM_WHERE],
        cwd=tmp_path,
        env=bare(),
        capture_output=True,
        text=True,
        check=True,
    )
    *places, added, failures = json.loads(run.stdout)
    for place in places:
        assert Path(place).is_relative_to(environment), place
    assert added == sorted(PROJECT["project"]["entry-points"]["corekit"])
    assert failures == []


def _papers(shop: Path) -> list[str]:
    """The papers of a demo by name, without the jobs' ids, which are drawn anew each time, and drafts."""
    names = (path.name for path in (shop / "papers").iterdir() if not path.name.startswith("draft-"))
    return sorted(re.sub(r"^(estimate-.+)-[a-z0-9]{12}-", r"\1-", name) for name in names)


def test_the_installed_command_runs_the_demo_and_says_the_same_as_the_checkout(
    environment: Path, tmp_path: Path, demo_out: Path
) -> None:
    def corekit(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [environment / "bin/corekit", *words],
            cwd=tmp_path,
            env=bare(),
            capture_output=True,
            text=True,
            check=False,
        )

    run = corekit("demo")
    assert (run.returncode, run.stderr) == (0, "")
    assert _papers(tmp_path / "demo-out") == _papers(demo_out)
    assert corekit("verify", "--shop", "demo-out").returncode == 0
    assert corekit("plugins").returncode == 0
    for job in ("worn-battery", "check-up", "undecided"):
        said = corekit("check", job, "--shop", "demo-out")
        beside = subprocess.run(
            [*COREKIT, "check", job, "--shop", str(demo_out)], capture_output=True, text=True, check=True
        )
        assert (said.returncode, said.stdout) == (0, beside.stdout)
