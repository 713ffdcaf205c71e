"""How long a whole assessment takes with a large table, printed beside a fixed piece of work (pytest -s)."""

from __future__ import annotations

import random
import time
from enum import Enum
from typing import Any

import corekit as ck
from corekit.plugin.host import Plugins

from .story import Story

FAULTS, TESTS = 45, 40


class Answer(Enum):
    GOOD = "good"
    MIDDLING = "middling"
    BAD = "bad"


def large() -> ck.System:
    draw, system = random.Random(20260702), ck.System("large", "Large")
    for number in range(TESTS):
        system.observation(f"t{number}", f"Look {number}", Answer)
    for number in range(25):
        system.operation(f"o{number}", f"Work {number}")

    def row() -> list[float]:
        parts = [draw.uniform(0.03, 1) for _ in Answer]
        return [part / sum(parts) for part in parts]

    names = [f"f{number}" for number in range(FAULTS)]
    table: dict[str, Any] = {
        "faults": {
            name: {"per_1000": draw.uniform(0.5, 20), "why": "drawn", "calls_for": f"large.o{number % 25}"}
            for number, name in enumerate(names)
        },
        "test": {
            f"t{number}": {
                "seen": {"of": f"large.t{number}", "answers": [answer.value for answer in Answer]},
                "question": f"{number}?",
                "minutes": 2,
                "outcomes": [answer.value for answer in Answer],
                "sound": "good",
                "none": row(),
                "otherwise": row(),
                "outside": row(),
                "given": {name: {"p": row()} for name in draw.sample(names, 12)},
            }
            for number in range(TESTS)
        },
    }
    system.__dict__["faults"] = system.fault_table(table, "drawn")
    return system


def seconds() -> float:
    """A fixed piece of work of this process."""
    begun = time.process_time()
    sum(number * number for number in range(1_000_000))
    return time.process_time() - begun


def test_a_table_of_45_faults_and_40_tests_is_assessed_in_the_time_of_a_few_million_sums() -> None:
    story = Story(plugins=Plugins(systems={"large": large()}))
    for number in range(8):
        story.see(f"large.t{number}", "bad" if number % 3 else "good")
    yardstick, begun = seconds(), time.process_time()
    made = story.assessment
    taken = time.process_time() - begun
    print(f"\n45 faults, 40 tests, 8 made: {taken * 1000:.0f} ms; a million sums: {yardstick * 1000:.0f} ms")
    assert len(made.suspects) == FAULTS + 2 and made.next_tests
    assert taken < 100 * yardstick
