"""A bench for checks: readings as they would come out of a visit file, laid before one check at a time."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import attrs
import pytest
from corekit_battery import battery

import corekit as ck
from corekit import units
from corekit.model.records import Instrument, Measured
from corekit.plugin.case import Case, Sight
from corekit.plugin.check import run
from corekit.plugin.reading import Reading, with_doubt


@attrs.define
class Bench:
    """Collects what was read, seen and fitted; `run` gives what one check, or every check, makes of it."""

    instruments: dict[str, Instrument] = attrs.field(factory=dict)
    readings: dict[tuple[str, str], Reading] = attrs.field(factory=dict)
    sights: dict[tuple[str, str], Sight] = attrs.field(factory=dict)
    fitted: dict[str, Any] = attrs.field(factory=dict)
    specified: dict[str, ck.Limit] = attrs.field(factory=dict)

    def reading(self, key: str, typed: str, *, place: str = "", using: str = "", setup: Mapping[str, str] | None = None) -> Reading:
        measurand = battery.measurands[f"battery.{key}"]
        found = units.read_quantity(typed, [measurand.unit])
        record = Measured(of=measurand.key, typed=typed, kind=found.kind, number=found.number, place=place, instrument=using)
        entry = f"{key}-{place or 'here'}"
        value, doubt = with_doubt(record, measurand, entry, entry, self.instruments)
        beside = {f"battery.{name}": self.reading(name, text) for name, text in (setup or {}).items()}
        return Reading(measurand=measurand, value=value, typed=typed, place=place, entry=entry, doubt_from=doubt, setup=beside)

    def read(self, key: str, typed: str, **how: Any) -> Bench:
        reading = self.reading(key, typed, **how)
        self.readings[reading.measurand.key, reading.place] = reading
        return self

    def see(self, key: str, answer: str) -> Bench:
        answers = battery.observations[f"battery.{key}"].answers
        self.sights[f"battery.{key}", ""] = Sight(answers(answer), f"seen-{key}")
        return self

    def fit(self, key: str, typed: str) -> Bench:
        trait = battery.traits[f"battery.{key}"]
        if trait.answers is not None:
            self.fitted[trait.key] = trait.answers(typed)
        else:
            found = units.read_quantity(typed, trait.units)
            self.fitted[trait.key] = ck.exact(found.kind, found.number, [f"fitted-{key}"])
        return self

    def meter(self) -> Bench:
        self.instruments["meter"] = Instrument(name="meter", accuracy="0.5 % + 2 digits", ranges={"20 V": "0.01 V", "200 mA": "0.1 mA"})
        return self

    def case(self, check: str = "") -> Case:
        return Case(system=battery, check=check, readings=self.readings, sights=self.sights, fitted=self.fitted, specified=self.specified)

    def run(self, *checks: str) -> list[ck.Finding | ck.Gap]:
        wanted = checks or tuple(battery.checks)
        return [result for key in wanted for result in run(battery.checks[key], self.case(battery.checks[key].title))]

    def finding(self, code: str) -> ck.Finding:
        found = [result for result in self.run() if isinstance(result, ck.Finding) and result.code == code]
        assert len(found) == 1, f"{code}: {[str(finding) for finding in found]}"
        return found[0]


@pytest.fixture
def bench() -> Bench:
    return Bench()


@pytest.fixture
def worn(bench: Bench) -> Bench:
    """A charged AGM battery that falls to 8.4 V at 4 °C under half its rating (the shape of a visit file)."""
    bench.meter()
    rest = {"rest_time": "9 h", "temperature": "4 °C"}
    load = {"load_current": "340 A", "load_time": "15 s", "temperature": "4 °C"}
    bench.fit("type", "agm flat plate").fit("rating", "680 A SAE").fit("capacity", "70 Ah")
    bench.read("rest_voltage", "12.78 V", using="meter", setup=rest).read("load_voltage", "8.4 V", using="meter", setup=load)
    return bench.see("case", "sound")
