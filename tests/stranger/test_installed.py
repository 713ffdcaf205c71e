"""A plugin from outside, installed by pip without a network into a fresh environment, finds its way onto an
invoice.
"""

from __future__ import annotations

import json
import shutil
import site
import subprocess
import sys
import sysconfig
from pathlib import Path

import pypdf
import pytest

ROOT = Path(__file__).resolve().parents[2]
PLUGIN = ROOT / "demo" / "brakes"


@pytest.fixture(scope="module")
def environment(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A venv that sees the running one's packages, with the plugin installed on top."""
    folder = tmp_path_factory.mktemp("stranger")
    source = folder / "brakes"
    shutil.copytree(PLUGIN, source)
    venv = folder / "venv"
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(venv)], check=True)
    python = venv / "bin" / "python"
    asked = subprocess.run(
        [python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"],
        capture_output=True,
        text=True,
        check=True,
    )
    packages = asked.stdout.strip()
    running = [sysconfig.get_path("purelib"), *site.getsitepackages()]
    # addsitedir reads the running environment's own .pth files too, so that an editable corekit is seen.
    lines = [f"import site; site.addsitedir({path!r})\n" for path in dict.fromkeys(running)]
    (Path(packages) / "running.pth").write_text("".join(lines), "utf-8")
    offline = ["--no-build-isolation", "--no-deps", "--no-index", "--disable-pip-version-check"]
    subprocess.run(
        [sys.executable, "-m", "pip", "--python", str(python), "install", "-q", *offline, str(source)],
        check=True,
    )
    return venv


def corekit(environment: Path, *words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    program = "import sys; from corekit.cli import main; sys.exit(main())"
    return subprocess.run(
        [environment / "bin" / "python", "-c", program, *words],
        capture_output=True,
        text=True,
        cwd=folder,
        check=False,
    )


def test_the_plugin_is_discovered_beside_the_built_in_ones(environment: Path, tmp_path: Path) -> None:
    done = corekit(environment, "plugins", folder=tmp_path)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "brakes  Hydraulic brakes, version 0.1.0" in done.stdout
    assert "battery  Battery and charging" in done.stdout


def test_its_findings_name_what_was_read_and_which_part_is_meant(environment: Path, tmp_path: Path) -> None:
    done = corekit(environment, "check", str(PLUGIN / "tests" / "visit.toml"), "--json", folder=tmp_path)
    assert done.returncode == 0, done.stdout + done.stderr
    said = json.loads(done.stdout)
    low = [
        finding
        for finding in said["findings"]
        if finding["code"] == "brakes.pressure" and finding["place"] == "front left"
    ]
    assert low[0]["verdict"] == "advice"
    assert low[0]["calls_for"] == "brakes.replace_master_cylinder"
    assert said["suspects"][0]["fault"] == "master_cylinder"


def test_its_findings_stand_on_an_invoice(environment: Path, tmp_path: Path) -> None:
    demo = corekit(environment, "demo", folder=tmp_path)
    assert demo.returncode == 0, demo.stdout + demo.stderr
    drafted = corekit(
        environment,
        "invoice",
        str(PLUGIN / "tests" / "visit.toml"),
        "--shop",
        "demo-out",
        "--draft",
        "--out",
        "draft.pdf",
        folder=tmp_path,
    )
    assert drafted.returncode == 0, drafted.stdout + drafted.stderr
    text = " ".join(
        " ".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "draft.pdf").pages).split()
    )
    assert "Pressure at the front left wheel only" in text
    assert "Pressure left and right front differs" in text


def test_its_own_tests_pass_where_it_is_installed(environment: Path, tmp_path: Path) -> None:
    pytest_there = [
        environment / "bin" / "python",
        "-m",
        "pytest",
        "-q",
        "-p",
        "no:cacheprovider",
        "--doctest-modules",
        "--pyargs",
    ]
    done = subprocess.run(
        [*pytest_there, "corekit_brakes", str(PLUGIN / "tests")],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
