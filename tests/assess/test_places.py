"""What several like things say together: the worst one speaks."""

from __future__ import annotations

from enum import Enum
from typing import Any

import corekit as ck
from corekit.assess.outcome import outcomes
from corekit.testing.bench import Bench


class Look(Enum):
    SOUND = "sound"
    CRACKED = "cracked"


TABLE: dict[str, Any] = {
    "faults": {"bad_hose": {"per_1000": 1, "why": "invented"}},
    "test": {
        "look": {
            "seen": {"of": "hoses.look", "answers": ["sound", "cracked"]},
            "question": "Sound?",
            "minutes": 1,
            "outcomes": ["sound", "cracked"],
            "sound": "sound",
            "none": [0.9, 0.1],
            "otherwise": [0.9, 0.1],
            "outside": [0.8, 0.2],
        },
        "width": {
            "check": "hoses.width",
            "wants": "hoses.width",
            "question": "Wide?",
            "minutes": 1,
            "outcomes": ["wide", "narrow"],
            "sound": "wide",
            "none": [0.9, 0.1],
            "otherwise": [0.9, 0.1],
            "outside": [0.8, 0.2],
        },
    },
}


def hoses() -> Bench:
    system = ck.System("hoses", "Hoses")
    system.measurand(
        "width",
        "mm",
        "Bore",
        possible=(0, 50),
        usual=(1, 20),
        accuracy="0.1 mm",
        places=("left", "middle", "right"),
    )
    system.observation("look", "Hose", Look, places=("left", "middle", "right"))
    return Bench(system)


def judged(bench: Bench) -> list[ck.Finding]:
    case = bench.case()
    width = bench.system.measurands["hoses.width"]
    bench.specify("width", low="5 mm")
    limit = bench.specified["hoses.width"]
    says = ck.Says(passes="{place} wide", fails="{place} narrow", undecided="{place} open")
    return [case.judge(reading, limit, ck.Claim("hoses.width"), says) for reading in case.everywhere(width)]


def test_of_several_places_the_one_that_fails_speaks_wherever_it_stands() -> None:
    bench = (
        hoses()
        .read("width", "9 mm", place="left")
        .read("width", "2 mm", place="middle")
        .read("width", "9 mm", place="right")
    )
    (outcome,) = outcomes(bench.system.fault_table(TABLE, "test"), bench.case(), judged(bench))
    assert outcome.plain == "narrow"
    assert outcome.evidence == ("specified-width", "width-middle") or set(outcome.evidence) == {
        "specified-width",
        "width-middle",
    }


def test_of_several_sights_one_that_is_not_sound_speaks_before_those_that_are() -> None:
    table = hoses().system.fault_table(TABLE, "test")
    bench = (
        hoses().see("look", "sound", "left").see("look", "cracked", "middle").see("look", "sound", "right")
    )
    (outcome,) = outcomes(table, bench.case(), [])
    assert (outcome.plain, outcome.evidence) == ("cracked", ("seen-look-middle",))
    (sound,) = outcomes(table, hoses().see("look", "sound", "left").case(), [])
    assert sound.plain == "sound"
    assert outcomes(table, hoses().case(), []) == []


def test_sights_come_in_the_order_of_the_declared_places() -> None:
    bench = hoses().see("look", "sound", "right").see("look", "cracked", "left")
    assert list(bench.case().seen_everywhere(bench.system.observations["hoses.look"])) == ["left", "right"]
