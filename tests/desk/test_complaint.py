"""What `check` says of the complaint: its words, what no system speaks to, what was tried, how it is now, and
what speaks for each cause.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from corekit.cli import main
from corekit.complaints import symptoms

VISIT = """
job       = "complaint"
demo      = true
reason    = "Please look."
complaint = { symptoms = ["cranks_slowly", "something_else"], when = ["cold"], shows = "often" }
vehicle   = { description = "a van" }

[[step]]
seen = [ { of = "battery.terminals", is = "clean and tight" } ]

[[step]]
tried = { part = "battery.battery", how = "known_good", result = "back", words = "twice over" }
"""
REPAIRED = """
[[step]]
repaired = { operation = "battery.replace" }

[[step]]
complaint_again = { is = "gone" }
"""


def checked(tmp_path: Path, capsys: pytest.CaptureFixture[str], visit: str) -> str:
    path = tmp_path / "complaint.toml"
    path.write_text(visit, "utf-8")
    assert main(["check", str(path)]) == 0
    return " ".join(capsys.readouterr().out.split())


def data(tmp_path: Path, capsys: pytest.CaptureFixture[str], visit: str) -> dict[str, Any]:
    path = tmp_path / "complaint.toml"
    path.write_text(visit, "utf-8")
    assert main(["check", str(path), "--json"]) == 0
    said: dict[str, Any] = json.loads(capsys.readouterr().out)
    return said


def test_the_complaint_is_said_in_the_customer_s_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "It cranks slowly, Something else, when cold, often." in checked(tmp_path, capsys, VISIT)
    said = data(tmp_path, capsys, VISIT)["complaint"]
    assert said["symptoms"] == ["cranks_slowly", "something_else"]
    assert (said["circumstances"], said["shows"]) == (["cold"], "often")


@pytest.mark.parametrize(
    ("typed", "key"),
    [
        ("engine lamp on", "engine_lamp"),
        ("The engine lamp is on.", "engine_lamp"),
        ("Cranks slowly", "cranks_slowly"),
        ("clicks and does not crank", "clicks"),
    ],
)
def test_a_symptom_is_known_without_its_small_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], typed: str, key: str
) -> None:
    assert symptoms().symptoms[key]
    visit = VISIT.replace('"cranks_slowly", "something_else"', f'"{typed}"')
    assert data(tmp_path, capsys, visit)["complaint"]["symptoms"] == [key]


@pytest.mark.parametrize(
    ("typed", "first"),
    [
        ("Does not crank", "It clicks and does not crank"),  # says less: which of them is for a person to say
        ("engine lamp off", "The engine lamp is on"),
        ("The engine lamp is not on", "The engine lamp is on"),
        ("stutters", "It stutters when I pull away or go uphill"),
    ],
)
def test_a_symptom_that_says_more_or_less_is_not_taken_and_the_like_of_it_are_listed_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], typed: str, first: str
) -> None:
    visit = VISIT.replace('"cranks_slowly", "something_else"', f'"{typed}"')
    assert f'"{typed}" is not a symptom; write "{first}"' in checked(tmp_path, capsys, visit)


def test_what_no_system_speaks_to_is_said_with_its_first_step(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    step = symptoms().symptoms["something_else"].first_step
    text = checked(tmp_path, capsys, VISIT)
    assert f"“Something else”: no installed system speaks to this. First step: {step}" in text
    assert text.count("no installed system") == 1  # the battery speaks to slow cranking
    (row,) = data(tmp_path, capsys, VISIT)["complaint"]["not_covered"]
    assert (row["symptom"], row["first_step"]) == ("something_else", step)


def test_what_was_tried_is_said_with_what_came_of_it_and_its_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    came = "known good part put in: gone, and back with the old part, “twice over”"
    assert f"Tried, arrival: Starter battery, {came}." in checked(tmp_path, capsys, VISIT)
    (row,) = data(tmp_path, capsys, VISIT)["complaint"]["tried"]
    assert (row["part"], row["how"], row["result"]) == ("battery.battery", "known_good", "back")


def test_how_the_complaint_is_after_a_repair_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "The complaint, after 1: gone." in checked(tmp_path, capsys, VISIT + REPAIRED)
    assert data(tmp_path, capsys, VISIT + REPAIRED)["complaint"]["again"] == [
        {"stage": "after 1", "result": "gone"}
    ]


def test_a_cause_is_said_with_its_chance_and_its_grounds(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = checked(tmp_path, capsys, VISIT)
    causes = text.partition("Likely causes")[2].partition("Work that findings and trials call for")[0]
    assert "in 10" in causes and "%" not in causes
    assert "for: Starter battery: known good part put in: gone, and back with the old part" in causes
    assert "Something outside these systems" in causes
    for suspect in data(tmp_path, capsys, VISIT)["suspects"]:
        assert {"chance", "refer", "speaks_for", "speaks_against"} <= set(suspect)


def test_a_trait_is_a_step_among_the_others(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    untried = VISIT.partition("[[step]]")[0]
    assert "battery.age" in [test["wants"] for test in data(tmp_path, capsys, untried)["next_tests"]]


def test_without_a_complaint_by_the_list_nothing_is_said_of_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bare = VISIT.partition("[[step]]")[0].partition("complaint = {")
    visit = f"{bare[0]}vehicle{bare[2].partition('vehicle')[2]}"
    assert "Complaint" not in checked(tmp_path, capsys, visit)
    assert data(tmp_path, capsys, visit)["complaint"]["symptoms"] == []
