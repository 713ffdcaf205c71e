"""Another system's measurand, named by its key."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import pytest

import corekit as ck
from corekit.model.finding import Reason
from corekit.plugin.host import _missing_declarations
from corekit.testing.bench import Bench


def lamp_system() -> ck.System:
    lamps = ck.System("lamps", "Lamps")
    lamps.measurand(
        "voltage",
        "V",
        "Voltage at the lamp",
        possible=(0, 20),
        usual=(9, 15),
        accuracy="1 %",
        places=("left", "right"),
    )
    lamps.measurand(
        "resistance", "Ω", "Resistance of the lamp", possible=(0, 20), usual=(0, 5), accuracy="1 %"
    )
    return lamps


def horn_system(unit: str = "V", key: str = "lamps.voltage") -> ck.System:
    horn = ck.System("horn", "Horn")
    sound = horn.measurand(
        "voltage", "V", "Voltage at the horn", possible=(0, 20), usual=(9, 15), accuracy="1 %"
    )
    lamp = ck.foreign(key, unit, "Voltage at the lamp")

    def beside(
        case: ck.Case, own: Annotated[ck.Reading, sound], others: Annotated[list[ck.Reading] | None, lamp]
    ) -> Iterator[ck.Finding | ck.Gap]:
        places = ", ".join(reading.place for reading in others or [])
        yield case.advise(
            ck.Claim("horn.beside"),
            "{value} here; lamps: {places}.",
            own,
            values={"places": places or "none"},
        )

    def needs(case: ck.Case, other: Annotated[list[ck.Reading], lamp]) -> Iterator[ck.Finding | ck.Gap]:
        yield case.advise(ck.Claim("horn.needs"), "{count}", values={"count": str(len(other))})

    # The measurands live in this function, so the annotations are handed over as objects, not as text.
    beside.__annotations__ |= {
        "own": Annotated[ck.Reading, sound],
        "others": Annotated[list[ck.Reading] | None, lamp],
        "case": ck.Case,
    }
    needs.__annotations__ |= {"other": Annotated[list[ck.Reading], lamp], "case": ck.Case}
    horn.check("Beside the lamps")(beside)
    horn.check("Needs the lamps")(needs)
    return horn


def test_a_reading_of_another_system_arrives_with_its_place_and_uncertainty() -> None:
    bench = Bench(horn_system()).read("voltage", "12.0 V")
    lamp = lamp_system().measurands["lamps.voltage"]
    bench.read(lamp, "11.4 V", place="right").read(lamp, "11.5 V", place="left")
    assert "lamps: right, left" in str(bench.finding("horn.beside").text) or "lamps: left, right" in str(
        bench.finding("horn.beside").text
    )
    assert str(bench.finding("horn.needs").text) == "2"


def test_without_the_other_system_a_want_is_empty_and_a_need_is_a_gap_with_its_title() -> None:
    bench = Bench(horn_system()).read("voltage", "12.0 V")
    assert str(bench.finding("horn.beside").text).endswith("lamps: none.")
    (gap,) = bench.gaps("needs")
    assert (gap.reason, gap.wants) == (Reason.NOT_MEASURED, "lamps.voltage")
    assert gap.text == "Voltage at the lamp: not measured."


def test_a_reading_of_another_kind_than_asked_for_never_reaches_the_check() -> None:
    bench = Bench(horn_system()).read("voltage", "12.0 V")
    stray = ck.System("lamps", "Lamps").measurand(
        "voltage", "Ω", "Turned into a resistance", possible=(0, 20), usual=(0, 5), accuracy="1 %"
    )
    bench.read(stray, "2 Ω")
    assert str(bench.finding("horn.beside").text).endswith("lamps: none.")


@pytest.mark.parametrize(
    ("unit", "key", "says"),
    [
        ("A", "lamps.voltage", "as a voltage, not a current"),
        ("V", "lamps.current", "declares no such measurand"),
    ],
)
def test_a_wish_that_the_other_system_cannot_fulfil_is_named_with_what_it_costs(
    unit: str, key: str, says: str
) -> None:
    systems = {system.key: system for system in (lamp_system(), horn_system(unit, key))}
    (failure,) = _missing_declarations(systems)
    assert failure.plugin == "horn"
    assert says in str(failure)
    assert not _missing_declarations({"horn": horn_system(unit, key)})
    assert not _missing_declarations({system.key: system for system in (lamp_system(), horn_system())})


@pytest.mark.parametrize("key", ["voltage", "lamps.", "Lamps.voltage", "lamps.voltage.left", ""])
def test_a_key_that_names_no_system_is_refused(key: str) -> None:
    with pytest.raises(ValueError, match="full key"):
        ck.foreign(key, "V", "Voltage")


def test_a_check_that_asks_its_own_system_for_what_it_does_not_declare_has_a_loose_end() -> None:
    assert horn_system().loose_ends() == []
    own = horn_system(key="horn.current", unit="A")
    assert any("horn.current" in end for end in own.loose_ends())
