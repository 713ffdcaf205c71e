"""What was not looked at: named as far as anybody reads it, counted beyond, whole under --json;
and only what the vehicle has.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from corekit.desk.assessment_data import as_data
from corekit.desk.assessment_text import MISSING_NAMED, as_words
from corekit.desk.check import CheckView, look
from corekit.plugin.host import load

FITTED = {"valve": "vacuum, with regulator", "cooler": "not fitted", "engine": "petrol"}
WORDS = [f'"egr.{key}" = "{answer}"' for key, answer in FITTED.items()]
VACUUM = f"traits = {{ {', '.join(WORDS)} }}"
MOTOR = 'traits = { "egr.valve" = "electric motor" }'
SEEN = '[[step]]\nseen = [ { of = "egr.deposits", is = "clean" } ]\n'


def view(tmp_path: Path, text: str) -> CheckView:
    path = tmp_path / "visit.toml"
    path.write_text(text, "utf-8")
    return look(str(path), is_file=True, folder=tmp_path / "none")


def names(seen: CheckView, system: str) -> list[str]:
    of = {gap.about: None for gap in seen.assessment.open_gaps if gap.about and gap.system == system}
    return list(of)


def line(seen: CheckView) -> str:
    text = " ".join(as_words(seen).split())
    return text.partition("Exhaust gas recirculation, not looked at: ")[2]


def test_the_first_are_named_and_the_others_counted_and_json_has_all(tmp_path: Path) -> None:
    seen = view(tmp_path, f"{VACUUM}\n{SEEN}")
    every = names(seen, "egr")
    more = len(every) - MISSING_NAMED
    assert more > 2
    assert line(seen).startswith(f"{', '.join(every[:MISSING_NAMED])}, and {more} more, which --json names.")
    texts = " ".join(gap["text"] for gap in as_data(seen)["gaps"])
    assert [title for title in every if title not in texts] == []


@pytest.mark.parametrize(
    "key",
    [
        "sweep",
        "learned",
        "fed",
        "motor_current",
        "flap",
        "position_by_hand",
        "throttle",
        "coolant",
        "cooler_drop",
    ],
)
def test_what_a_vacuum_valve_on_a_petrol_engine_without_a_cooler_has_not_is_not_missed(
    tmp_path: Path, key: str
) -> None:
    title = load().title(f"egr.{key}")
    assert title in names(view(tmp_path, SEEN), "egr")  # as long as nobody knows what is fitted
    assert title not in names(view(tmp_path, f"{VACUUM}\n{SEEN}"), "egr")


def test_no_smoke_is_sought_in_the_vacuum_circuit_of_a_motor_valve(tmp_path: Path) -> None:
    title = load().title("egr.vacuum_smoke")
    assert title in names(view(tmp_path, f"{VACUUM}\n{SEEN}"), "egr")
    assert title not in names(view(tmp_path, f"{MOTOR}\n{SEEN}"), "egr")
