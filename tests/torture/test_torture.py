"""A short share of the programme with every run of the tests; the whole by `python -m tests.torture`."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from . import (
    bombs,
    clock,
    damage,
    fields,
    guesses,
    io_faults,
    kills,
    memory,
    mutations,
    power,
    strings,
    writers,
)
from .counts import Counts
from .hostile import STRINGS
from .layer import reason_it_cannot_run

posix_only = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and kill")


@pytest.fixture
def needs_layer() -> None:
    reason = reason_it_cannot_run()
    if reason and os.environ.get("CI"):
        pytest.fail(reason)
    if reason:
        pytest.skip(reason)


def nothing_wrong(counts: Counts, least: int) -> None:
    print(counts)
    assert counts.wrong == []
    assert counts.tries >= least, counts


@posix_only
def test_kills_lose_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    nothing_wrong(kills.saving(4, tmp_path / "saving"), 4)
    nothing_wrong(kills.issuing(3, tmp_path / "issuing"), 3)
    nothing_wrong(kills.screens(2, tmp_path / "screens"), 2)


@posix_only
def test_a_kill_within_a_migration_or_its_recovery_leaves_the_old_or_the_new() -> None:
    nothing_wrong(kills.migrating(6), 4)


@posix_only
def test_power_cuts_lose_nothing_and_weaker_settings_are_noticed(needs_layer: None, tmp_path: Path) -> None:
    nothing_wrong(power.cuts(30, tmp_path), 30)


@posix_only
def test_a_fault_at_a_call_site_is_one_clear_error_and_costs_nothing(
    needs_layer: None, tmp_path: Path
) -> None:
    nothing_wrong(io_faults.faults(2, tmp_path, ("answer", "issue", "forget")), 20)


def test_damage_is_noticed_or_harmless(tmp_path: Path) -> None:
    nothing_wrong(damage.damage(44, tmp_path), 44)


def test_mutated_files_and_values_are_read_or_refused() -> None:
    nothing_wrong(mutations.files(300), 300)
    nothing_wrong(mutations.values(1000), 1000)


def test_no_file_under_a_mebibyte_keeps_a_processor_for_two_seconds(tmp_path: Path) -> None:
    assert len(bombs.ACCEPTED) == 5  # the whole is for `python -m tests.torture`: tests/intake/test_bounds.py
    nothing_wrong(bombs.bombs(tmp_path, only=bombs.ACCEPTED), 15)


@posix_only
def test_what_is_held_stays_what_it_was(tmp_path: Path) -> None:
    nothing_wrong(memory.memory(3, tmp_path), 5000)


def test_guesses_open_nothing_and_shut_nobody_out(tmp_path: Path) -> None:
    nothing_wrong(guesses.guesses(600, tmp_path), 600)


def test_hostile_texts_come_out_as_what_they_are(tmp_path: Path) -> None:
    assert len(set(STRINGS)) >= 150
    nothing_wrong(strings.strings(30, tmp_path), 600)


def test_hostile_texts_come_out_of_every_field_as_what_they_are(tmp_path: Path) -> None:
    nothing_wrong(fields.fields(3, tmp_path), 1000)


@posix_only
def test_programs_that_issue_at_once_leave_no_gap(tmp_path: Path) -> None:
    nothing_wrong(writers.writers(2, tmp_path, programs=4), 8)


def test_the_clock_is_asked_about_where_it_jumped(tmp_path: Path) -> None:
    nothing_wrong(clock.jumps(tmp_path), 11)
