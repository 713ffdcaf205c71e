"""A bench for a system's checks: readings as they would come out of a visit file, laid before one check at a
time.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import attrs

from .. import units
from ..model.finding import Finding, Gap
from ..model.limit import Limit
from ..model.measurand import Measurand, answers_of
from ..model.records import Instrument, Measured
from ..model.sampling import Sampling
from ..model.value import Value, exact
from ..plugin.barred import bars, under_bars
from ..plugin.case import Case, CodeSet, Sighting, own_limit
from ..plugin.check import run
from ..plugin.derived import derive, with_derived
from ..plugin.reading import Reading, with_uncertainty
from ..plugin.record import Record
from ..plugin.relation import broken_relations, contradictions, held_open
from ..plugin.setting import setting_value
from ..plugin.system import System
from .evidence import Shown, shown_by


def quantity(typed: str, unit: str) -> Value:
    """What a person typed as an exact value of the kind that `unit` names.

    >>> quantity("12.6 V", "V").number
    12.6
    """
    read = units.read_quantity(typed, [unit])
    return exact(read.kind, read.number)


@attrs.define
class Bench:
    """Collects what was read, seen and fitted; `run` gives what one check, or every check, makes of it.

    Keys are short (`load_voltage`); a Measurand in place of a key is one of another system.
    """

    system: System
    instruments: dict[str, Instrument] = attrs.field(factory=dict)
    readings: dict[tuple[str, str], Reading] = attrs.field(factory=dict)
    records: dict[tuple[str, str], Record] = attrs.field(factory=dict)
    sightings: dict[tuple[str, str], Sighting] = attrs.field(factory=dict)
    fitted: dict[str, Any] = attrs.field(factory=dict)
    specified: dict[str, Limit] = attrs.field(factory=dict)
    repairs: dict[str, int] = attrs.field(factory=dict)
    settings: dict[str, str] = attrs.field(factory=dict)
    codes: dict[str, CodeSet] = attrs.field(factory=dict)

    def reading(
        self,
        of: str | Measurand,
        typed: str,
        *,
        place: str = "",
        using: str = "",
        setup: Mapping[str, str] | None = None,
    ) -> Reading:
        """A reading with the uncertainty of the instrument named, or of the worst ordinary one."""
        measurand = of if isinstance(of, Measurand) else self.system.measurands[f"{self.system.key}.{of}"]
        if place and measurand.places and place not in measurand.places:
            raise ValueError(f"{measurand.key} has no place {place!r}; it has {', '.join(measurand.places)}.")
        found = units.read_quantity(typed, [measurand.unit])
        record = Measured(
            of=measurand.key, typed=typed, kind=found.kind, number=found.number, place=place, instrument=using
        )
        entry = f"{measurand.key.split('.', 1)[1]}-{place or 'here'}"
        value, sheet = with_uncertainty(record, measurand, entry, entry, self.instruments)
        beside = {
            f"{self.system.key}.{name}": self.reading(name, text) for name, text in (setup or {}).items()
        }
        return Reading(
            measurand=measurand, value=value, typed=typed, place=place, entry=entry, sheet=sheet, setup=beside
        )

    def read(self, of: str | Measurand, typed: str, **how: Any) -> Bench:
        """Lay a reading, `read("line_pressure", "24 bar", place="front left")`; `using` an instrument."""
        reading = self.reading(of, typed, **how)
        self.readings[reading.measurand.key, reading.place] = reading
        return self

    def record(self, key: str, *points: tuple[str, str], place: str = "", using: str = "") -> Bench:
        """A record of these points, each as `("60 s", "0.4 A")`."""
        sampling: Sampling = self.system.records[f"{self.system.key}.{key}"]
        self.records[sampling.key, place] = Record(
            sampling=sampling,
            over=tuple(quantity(at, sampling.over_unit).number for at, _ in points),
            samples=tuple(quantity(read, sampling.unit).number for _, read in points),
            place=place,
            stage=max(self.repairs.values(), default=0),
            entry=f"{key}-{place or 'here'}",
            instrument=self.instruments.get(using),
            named=using,
        )
        return self

    def read_also(self, of: str | Measurand, typed: str, **how: Any) -> Bench:
        """One more reading of what was read already: a repeat, or under other conditions (`setup`) one of its
        series.
        """
        reading = self.reading(of, typed, **how)
        at = reading.measurand.key, reading.place
        taken = [attrs.evolve(one, apart=()) for one in self.readings[at].with_series]
        own = f"{reading.entry}-{1 + sum(one.count for one in taken)}"
        budget = {
            source.replace(reading.entry, own, 1): part for source, part in reading.value.budget.items()
        }
        self.readings[at] = attrs.evolve(
            reading,
            entry=own,
            value=attrs.evolve(reading.value, budget=budget, rests_on=frozenset({own})),
            others=tuple(
                value for one in taken if one.is_alike(reading) for value in (*one.others, one.value)
            ),
            apart=tuple(one for one in taken if not one.is_alike(reading)),
        )
        return self

    def see(self, key: str, answer: str, place: str = "") -> Bench:
        """Note what was seen, by the words of its answer."""
        declared = self.system.observations[f"{self.system.key}.{key}"]
        self.sightings[declared.key, place] = Sighting(
            answers_of(declared.answers)[answer], f"seen-{key}" + (f"-{place}" if place else "")
        )
        return self

    def fit(self, key: str, typed: str) -> Bench:
        """Say what the vehicle is fitted with, as in a visit file."""
        trait = self.system.traits[f"{self.system.key}.{key}"]
        if trait.answers is not None:
            self.fitted[trait.key] = answers_of(trait.answers)[typed]
        else:
            found = units.read_quantity(typed, trait.units)
            self.fitted[trait.key] = exact(found.kind, found.number, [f"fitted-{key}"])
        return self

    def say(self, key: str, text: str) -> Bench:
        """What the shop says of a setting, as in shop.toml."""
        setting = self.system.settings[f"{self.system.key}.{key}"]
        setting_value(setting, {setting.key: text})
        self.settings[setting.key] = text
        return self

    def specify(
        self, key: str, *, low: str = "", high: str = "", source: str = "label under the bonnet"
    ) -> Bench:
        """This vehicle's own limit."""
        measurand = self.system.measurands[f"{self.system.key}.{key}"]
        ends = [units.read_quantity(end, [measurand.unit]) if end else None for end in (low, high)]
        bottom, top = (exact(end.kind, end.number, [f"specified-{key}"]) if end else None for end in ends)
        self.specified[measurand.key] = own_limit(measurand.key, bottom, top, source, f"specified-{key}")
        return self

    def repaired(self, operation: str) -> Bench:
        """What was done just before: the bench then stands at the stage after it."""
        self.repairs[self.system.operations[f"{self.system.key}.{operation}"].key] = (
            max(self.repairs.values(), default=0) + 1
        )
        return self

    def store(self, *codes: str) -> Bench:
        """The trouble codes that the control unit has stored, these and no other."""
        self.codes = {code: CodeSet(states=("stored",), entries=("codes",)) for code in codes}
        return self

    def describe(self, name: str, accuracy: str, **ranges: str) -> Bench:
        """An instrument's sheet; `ranges` as range = step."""
        self.instruments[name] = Instrument(name=name, accuracy=accuracy, ranges=ranges)
        return self

    def meter(self) -> Bench:
        """A better hand-held multimeter, described as `meter`."""
        ranges = {
            "20 V": "0.01 V",
            "200 mA": "0.1 mA",
            "200 Ω": "0.1 Ω",
            "20 kΩ": "0.01 kΩ",
            "200 kΩ": "0.1 kΩ",
        }
        return self.describe("meter", "0.5 % + 2 digits", **ranges)

    def case(self, check: str = "") -> Case:
        """What a check is given, with the readings that follow from others."""
        case = self.bare_case(check)
        for one in self.system.derived.values():
            found = [result for result in derive(one, case) if isinstance(result, Reading)]
            case = with_derived(case, {(reading.measurand.key, reading.place): reading for reading in found})
        return attrs.evolve(
            case, contradicted=broken_relations(contradictions(self.system.relations.values(), case))
        )

    def bare_case(self, check: str = "") -> Case:
        """What was laid on the bench, and nothing that follows from it."""
        return Case(
            system=self.system,
            check=check,
            stage=max(self.repairs.values(), default=0),
            readings=self.readings,
            records=self.records,
            sightings=self.sightings,
            fitted=self.fitted,
            specified=self.specified,
            repairs=self.repairs,
            settings=self.settings,
            codes=self.codes,
            code_lists={"stored": "codes"} if self.codes else {},
        )

    def run(self, *checks: str) -> list[Finding | Gap]:
        """What these checks say, or all of them, findings and gaps."""
        broken = contradictions(self.system.relations.values(), self.case())
        case = self.case()
        said: dict[str, list[Finding | Gap]] = {}
        wanted = checks or tuple(self.system.checks)
        first = any(self.system.checks[key].not_while for key in wanted)
        for key, check in sorted(self.system.checks.items(), key=lambda one: bool(one[1].not_while)):
            if key not in wanted and not first:
                continue
            results = [
                held_open(result, broken_relations(broken)) if isinstance(result, Finding) else result
                for result in run(check, attrs.evolve(case, check=check.title))
            ]
            barring = bars(check.not_while, (*broken, *_findings(said.values())))
            said[key] = [
                *under_bars(
                    results, barring, self.system.key, check.title, case.stage, self.system.places_of_all
                )
            ]
        told = [result for key in wanted for result in said[key]]
        return told if checks else [*broken, *self._not_derived(case), *told]

    def _not_derived(self, case: Case) -> list[Gap]:
        found = (result for one in self.system.derived.values() for result in derive(one, case))
        return [result for result in found if isinstance(result, Gap)]

    def findings(self, code: str = "") -> list[Finding]:
        """All findings, or those of one code."""
        return [result for result in self.run() if isinstance(result, Finding) and code in ("", result.code)]

    def shown(self) -> Shown:
        """What all this shows in the system's fault table."""
        return shown_by(self.system, self.case(), self.findings())

    def gaps(self, *checks: str) -> list[Gap]:
        """The gaps of these checks, or of all."""
        return [result for result in self.run(*checks) if isinstance(result, Gap)]

    def finding(self, code: str, place: str = "") -> Finding:
        """The one finding of a code (and place); fails the test where there is none, or more than one."""
        found = [finding for finding in self.findings(code) if place in ("", finding.place)]
        assert len(found) == 1, f"{code}: {[str(finding) for finding in found]}"
        return found[0]


def _findings(said: Iterable[Iterable[Finding | Gap]]) -> Iterator[Finding]:
    return (result for results in said for result in results if isinstance(result, Finding))
