"""Whatever a plugin does at import or in a check costs its own system alone, in every command."""

from __future__ import annotations

import json
import mmap
import os
import signal
import subprocess
import time
from pathlib import Path

import pytest

from corekit.isolation.board import SIZE, Board

from .plugins import (
    BARE,
    COREKIT,
    COSTLY,
    HARMLESS,
    HEARD,
    PLAIN,
    VISIT,
    Site,
    failures,
    of_others,
)

LINE = "corekit_bad_horn/__init__.py line "


@pytest.fixture
def site(tmp_path: Path) -> Site:
    made = Site(tmp_path / "site")
    made.folder.mkdir()
    made.fix_the_clock()
    return made


@pytest.fixture(scope="module")
def without(tmp_path_factory: pytest.TempPathFactory) -> str:
    """What is said of the visit when no bad plugin is installed."""
    bare = Site(tmp_path_factory.mktemp("bare"))
    bare.fix_the_clock()
    data, _ = bare.check()
    return of_others(data)


@pytest.fixture(scope="module")
def without_harm(tmp_path_factory: pytest.TempPathFactory) -> str:
    """What is said of the visit in which the horn was heard, when its plugin does no harm."""
    good = Site(tmp_path_factory.mktemp("good"))
    good.fix_the_clock()
    good.install()
    data, _ = good.check(heard=True)
    assert [one["code"] for one in data["findings"] if one["system"] == "horn"] == ["horn.pitch", "horn.tone"]
    return of_others(data)


@pytest.mark.parametrize("kind", [*COSTLY, *PLAIN])
def test_what_a_plugin_does_at_import_costs_its_own_system_and_is_named(
    kind: str, site: Site, without: str
) -> None:
    does, words = {**COSTLY, **PLAIN}[kind]
    site.install(does=does.replace("OTHER", "other.battery"))
    data, errors = site.check()
    (said,) = failures(data)
    assert said.startswith("Plugin horn (bad-horn 1.0): "), said
    assert words in said
    assert LINE in said or kind == "is killed" or "AlteredError" in said, said
    assert of_others(data) == without
    assert ("The command is run once more without it." in errors) is (kind in COSTLY)


@pytest.mark.parametrize("kind", [*COSTLY, *PLAIN])
def test_what_a_check_does_costs_its_own_system_and_is_named(
    kind: str, site: Site, without_harm: str
) -> None:
    does, words = {**COSTLY, **PLAIN}[kind]
    site.install(checks=does.replace("OTHER", "other.battery"))
    data, errors = site.check(heard=True)
    (gap,) = [gap for gap in data["gaps"] if gap["reason"] == "plugin failed"]
    assert words in gap["text"]
    assert "Plugin horn (bad-horn 1.0)" in gap["text"]
    assert LINE in gap["text"]
    assert "Tone" in gap["text"] + gap["check"]
    assert [reading["of"] for reading in data["readings"] if "horn" in reading["of"]] == ["horn.pitch"]
    assert not [one for one in data["findings"] if one["code"] == "horn.tone"]
    assert of_others(data) == without_harm
    assert ("The command is run once more without it." in errors) is (kind in COSTLY)


@pytest.mark.parametrize("kind", HARMLESS)
@pytest.mark.parametrize("place", ["import", "check"])
def test_what_a_plugin_writes_goes_to_the_error_stream_and_the_output_stays_one_object(
    kind: str, place: str, site: Site, without_harm: str
) -> None:
    site.install(**{"does" if place == "import" else "checks": HARMLESS[kind]})
    data, errors = site.check(heard=True)
    assert failures(data) == []
    assert of_others(data) == without_harm
    assert ("hello" in errors) is ("write" in HARMLESS[kind])


def test_an_unrelated_plugin_and_a_second_run_change_no_byte(site: Site) -> None:
    data, _ = site.check()
    before = json.dumps(data)
    assert json.dumps(site.check()[0]) == before
    site.install()
    assert json.dumps(site.check()[0]) == before


def test_two_bad_plugins_cost_two_runs_and_nothing_else(site: Site, without: str) -> None:
    site.install(does="os._exit(3)")
    site.install(does="os.kill(os.getpid(), signal.SIGSEGV)", name="horn_too")
    data, errors = site.check()
    assert len(failures(data)) == 2
    assert errors.count("once more") == 2
    assert of_others(data) == without


@pytest.mark.parametrize("words", [["plugins"], ["calculate"], ["check", "silent.toml"]], ids=" ".join)
def test_every_verb_that_loads_plugins_outlives_one_that_ends_the_process(
    words: list[str], site: Site
) -> None:
    (site.folder / "silent.toml").write_text(VISIT)
    site.install(does="os._exit(3)")
    done = site.say(*words)
    assert "Plugin horn: loading it ended its process (code 3)" in done.stderr
    assert done.returncode == (1 if words == ["plugins"] else 0)
    assert "attery" in done.stdout


def test_a_calculation_that_ends_the_process_is_named_and_nothing_is_run_again(site: Site) -> None:
    site.install(calculation="os._exit(4)")
    done = site.say("calculate", "horn.half", "pitch=440 Hz")
    assert done.returncode == 1
    assert done.stdout == ""
    assert "Plugin horn: its calculation 'horn.half' ended its process (code 4), at " + LINE in done.stderr
    assert "once more" not in done.stderr


@pytest.mark.parametrize("kind", ["leaves the process", "segfaults", "swallows what the alarm raises"])
def test_where_no_process_can_be_forked_it_is_the_same(kind: str, site: Site, without_harm: str) -> None:
    does, words = COSTLY[kind]
    site.install(checks=does)
    file = site.folder / "silent.toml"
    file.write_text(VISIT + HEARD)
    done = site.say("check", str(file), "--json", by=BARE + "; del os.fork; sys.exit(main())")
    data = json.loads(done.stdout)
    (said,) = failures(data)
    assert words in said and LINE in said
    assert of_others(data) == without_harm


# ---- leaving out


def test_a_plugin_that_is_left_out_by_name_is_not_imported_and_is_said(site: Site, without: str) -> None:
    site.install(does="os._exit(3)")
    data, errors = site.check("--without", "horn")
    assert failures(data) == [
        "Plugin horn (bad-horn 1.0): it was left out with --without."
        " Its system is not assessed in this visit."
    ]
    assert (errors, of_others(data)) == ("", without)
    assert site.say("plugins", "--without", "horn").returncode == 0


def test_a_name_that_is_not_installed_cannot_be_left_out(site: Site) -> None:
    done = site.say("plugins", "--without", "hron")
    assert done.returncode == 1
    assert (
        "no plugin 'hron' is installed; installed are battery, cooling, egr, einvoice, ignition"
        in done.stderr
    )


# ---- what the person says to it


def running(site: Site, *words: str) -> subprocess.Popen[str]:
    environment = {**os.environ, "PYTHONPATH": str(site.folder)}
    return subprocess.Popen(
        [*COREKIT, *words],
        env=environment,
        cwd=site.folder,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )


def started(file: Path) -> int:
    """Number of the process that wrote it, as soon as it is there."""
    until = time.monotonic() + 60.0
    while time.monotonic() < until:
        if file.is_file() and file.read_text():
            return int(file.read_text())
        time.sleep(0.02)
    raise AssertionError("it never began")


def has_ended(pid: int) -> bool:
    until = time.monotonic() + 30.0
    while time.monotonic() < until:
        try:
            state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
        except (FileNotFoundError, ProcessLookupError):
            return True
        if state in "ZX":
            return True
        time.sleep(0.02)
    return False


HANGS = "open('pid', 'w').write(str(os.getpid())); import itertools; "


@pytest.mark.parametrize("how", ["sum(itertools.repeat(1))", "time.sleep(60)"])
def test_a_command_ends_with_its_supervisor_whatever_hangs_in_it(how: str, site: Site) -> None:
    site.install(does=HANGS + how)
    command = running(site, "plugins")
    pid = started(site.folder / "pid")
    assert pid != command.pid
    command.kill()
    command.communicate()
    assert has_ended(pid)


@pytest.mark.parametrize("group", [True, False], ids=["from the terminal", "to the process alone"])
def test_ctrl_c_is_heard_once_however_it_is_said(group: bool, site: Site) -> None:
    site.install(does=HANGS + "time.sleep(60)")
    command = running(site, "plugins")
    pid = started(site.folder / "pid")
    if group:
        os.killpg(command.pid, signal.SIGINT)
    else:
        command.send_signal(signal.SIGINT)
    out, err = command.communicate(timeout=30)
    assert (command.returncode, out) == (130, "")
    assert err == "\nStopped. Everything acknowledged is saved.\n"
    assert has_ended(pid)


def test_a_command_that_is_terminated_dies_of_it_and_nobody_is_blamed(site: Site) -> None:
    site.install(does=HANGS + "time.sleep(60)")
    command = running(site, "plugins")
    pid = started(site.folder / "pid")
    command.terminate()
    out, err = command.communicate(timeout=30)
    assert (command.returncode, out, err) == (-signal.SIGTERM, "", "")
    assert has_ended(pid)


def test_a_traceback_is_shown_where_somebody_asks_for_it(site: Site) -> None:
    site.install(does="1 / 0")
    done = site.say("plugins", COREKIT_TRACE="1")
    assert "ZeroDivisionError: division by zero" in done.stderr
    assert "corekit_bad_horn/__init__.py" in done.stderr
    assert "Traceback" not in site.say("plugins").stderr


# ---- the board


def test_what_is_noted_on_the_board_is_read_as_long_as_it_runs() -> None:
    board = Board(mmap.mmap(-1, SIZE))
    assert (board.running, board.seconds, board.exit_code, board.count) == (None, None, None, 0)
    board.begin("horn", "Tone", 5.0, "horn.py line 3")
    assert (board.running, board.seconds, board.count) == (("horn", "Tone", "horn.py line 3"), 5.0, 1)
    board.end()
    assert (board.running, board.seconds, board.count) == (None, None, 1)
    board.finish(0)
    assert board.exit_code == 0


def test_names_of_any_length_fit_on_the_board() -> None:
    board = Board(mmap.mmap(-1, SIZE))
    board.begin("ä" * 5000, "ß" * 5000, 5.0, "…" * 5000)
    running = board.running
    assert running is not None and running[0] == "ä" * 80
