"""A job written down step by step, as a visit file would say it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import attrs

from corekit import units
from corekit.assess.assessment import Assessment, assess
from corekit.model.entry import Entry, seal
from corekit.model.finding import Finding, Gap
from corekit.model.job import Job, fold
from corekit.model.personal import Personal
from corekit.model.records import (
    RECORDS,
    Complained,
    Fitted,
    Instrument,
    Measured,
    Opened,
    Repaired,
    Retold,
    Seen,
    Setup,
    Specified,
    Tried,
    body_of,
)
from corekit.plugin.host import Plugins

from .brakes import PLUGINS

KINDS = {record: kind for kind, record in RECORDS.items()}


@attrs.define
class Story:
    """Appends entries to one chain; every method gives the story back, so that steps can be
    strung together.
    """

    plugins: Plugins = PLUGINS
    stage: int = 0
    setup_now: str = ""
    entries: list[Entry] = attrs.field(factory=list)

    def __attrs_post_init__(self) -> None:
        self.say(Opened(origin="visit", words=Personal("words", "0" * 64)), "opened")

    def say(
        self, record: Any, subject: str, *, chain: str = "van", replaces: tuple[Entry, ...] = ()
    ) -> Entry:
        mine = [entry for entry in self.entries if entry.chain == chain]
        entry = Entry(
            journal="job",
            job="j",
            chain=chain,
            n=len(mine),
            prev=mine[-1].id if mine else "",
            kind=KINDS[type(record)],
            subject=subject,
            body=body_of(record),
            recorded="",
            replaces=tuple(old.id for old in replaces),
        )
        self.entries.append(seal(entry))
        return self.entries[-1]

    def measured(self, of: str, typed: str, place: str = "", using: str = "") -> Measured:
        declared = self.plugins.measurands.get(of)
        found = units.read_quantity(typed, [declared.unit if declared else "V"])
        return Measured(
            of=of,
            typed=typed,
            kind=found.kind,
            number=found.number,
            place=place,
            stage=self.stage,
            instrument=using,
            setup=self.setup_now,
        )

    def read(self, of: str, typed: str, place: str = "", using: str = "") -> Story:
        self.say(self.measured(of, typed, place, using), f"{self.stage}/{of}/{place}#{len(self.entries)}")
        return self

    def under(self, **values: str) -> Story:
        """What follows is read with these (short names of brakes); without any, with nothing."""
        self.setup_now = ""
        if values:
            bodies = {
                f"brakes.{name}": body_of(self.measured(f"brakes.{name}", typed))
                for name, typed in values.items()
            }
            self.setup_now = self.say(
                Setup(stage=self.stage, values=bodies), f"setup#{len(self.entries)}"
            ).subject
        return self

    def complain(self, *symptoms: str, when: Sequence[str] = (), shows: str = "") -> Story:
        record = Complained(symptoms=list(symptoms), circumstances=list(when), shows=shows)
        self.say(record, "complaint")
        return self

    def retold(self, result: str) -> Story:
        self.say(Retold(result=result, stage=self.stage), f"{self.stage}/complaint#{len(self.entries)}")
        return self

    def try_out(
        self, part: str, how: str, result: str, *, swapped_with: str = "", before: bool = False
    ) -> Story:
        record = Tried(
            part=part, how=how, result=result, swapped_with=swapped_with, stage=self.stage, before=before
        )
        self.say(record, f"{self.stage}/tried/{part}/{how}#{len(self.entries)}")
        return self

    def see(self, of: str, answer: str = "", cannot: str = "") -> Story:
        self.say(
            Seen(of=of, answer=answer, cannot=cannot, stage=self.stage),
            f"{self.stage}/{of}#{len(self.entries)}",
        )
        return self

    def fit(self, of: str, typed: str) -> Story:
        trait = self.plugins.traits[of]
        if trait.answers is not None:
            record = Fitted(of=of, typed=typed, answer=typed, stage=self.stage)
        else:
            found = units.read_quantity(typed, trait.units)
            record = Fitted(of=of, typed=typed, kind=found.kind, number=found.number, stage=self.stage)
        self.say(record, f"fitted/{of}#{len(self.entries)}")
        return self

    def specify(self, of: str, low: str = "", high: str = "") -> Story:
        unit = self.plugins.measurands[of].unit
        ends = [units.read_quantity(end, [unit]).number if end else None for end in (low, high)]
        record = Specified(
            of=of, where_from="label", kind=self.plugins.measurands[of].kind, low=ends[0], high=ends[1]
        )
        self.say(record, f"specified/{of}")
        return self

    def own(self, name: str, accuracy: str, **ranges: str) -> Story:
        self.say(Instrument(name=name, accuracy=accuracy, ranges=ranges), f"instrument/{name}")
        return self

    def repair(self, operation: str) -> Story:
        self.stage, self.setup_now = self.stage + 1, ""
        self.say(Repaired(operation=operation, stage=self.stage), f"repair/{self.stage}")
        return self

    @property
    def job(self) -> Job:
        return fold("j", self.entries)

    @property
    def assessment(self) -> Assessment:
        return assess(self.job, self.plugins)

    @property
    def chances(self) -> dict[str, float]:
        """Fault → its probability, as the suspects say it."""
        return {suspect.fault: suspect.probability for suspect in self.assessment.suspects}

    def findings(self, code: str, stage: int | None = None) -> list[Finding]:
        return [
            finding
            for finding in self.assessment.findings
            if finding.code == code and stage in (None, finding.stage)
        ]

    def finding(self, code: str, stage: int | None = None) -> Finding:
        (found,) = self.findings(code, stage)
        return found

    def gap(self, check: str, stage: int | None = None) -> Gap:
        (found,) = [gap for gap in self.assessment.gaps if gap.check == check and stage in (None, gap.stage)]
        return found
