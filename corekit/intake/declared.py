"""What a visit file may speak of: the declarations of the systems that are installed, and what
the shop adds.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Protocol

import attrs

from ..fault import any_of, near, quotation
from ..model.measurand import Measurand, Observation, Operation, Part, Trait
from ..model.records import Instrument
from ..model.sampling import Sampling

#: So many keys are listed in a message; for more the command that lists them is named.
LISTED = 8


class Systems(Protocol):
    """What `Declared.of` asks of the plugin host: everything by its key, `system.name`."""

    @property
    def systems(self) -> Mapping[str, object]: ...

    @property
    def measurands(self) -> Mapping[str, Measurand]: ...

    @property
    def records(self) -> Mapping[str, Sampling]: ...

    @property
    def observations(self) -> Mapping[str, Observation]: ...

    @property
    def traits(self) -> Mapping[str, Trait]: ...

    @property
    def operations(self) -> Mapping[str, Operation]: ...

    @property
    def parts(self) -> Mapping[str, Part]: ...

    @property
    def lost(self) -> Mapping[str, str]: ...


@attrs.frozen(kw_only=True)
class Declared:
    """Key → declaration, for everything that rows of a visit file name.

    Attributes:
        systems: Keys of the installed systems. lost: Of those that did not load, with why: rows about them
            are kept as they were typed.
        instruments: The shop's own, which a file may name without describing them; None when they are not
            known here, and then any name is taken.
        usual: Measurand key → name of the shop's instrument that its readings are taken with when they name
            none.
        currency: The shop's, for payments (ISO 4217); a file states amounts without one.
        rates: Names of the tax rates of the shop's price book; None where it is not known here.
        own_work: Names of the shop's own work that its price book or the job speaks of.
        decimal: The mark in the shop's numbers, `.` or `,`; empty when both are usual.
    """

    measurands: Mapping[str, Measurand] = attrs.field(factory=dict)
    records: Mapping[str, Sampling] = attrs.field(factory=dict)
    observations: Mapping[str, Observation] = attrs.field(factory=dict)
    traits: Mapping[str, Trait] = attrs.field(factory=dict)
    operations: Mapping[str, Operation] = attrs.field(factory=dict)
    parts: Mapping[str, Part] = attrs.field(factory=dict)
    systems: tuple[str, ...] = ()
    lost: Mapping[str, str] = attrs.field(factory=dict)
    instruments: Mapping[str, Instrument] | None = None
    currency: str = ""
    usual: Mapping[str, str] = attrs.field(factory=dict)
    decimal: str = ""
    rates: tuple[str, ...] | None = None
    own_work: tuple[str, ...] = ()

    @classmethod
    def of(
        cls,
        plugins: Systems,
        instruments: Mapping[str, Instrument] | None = None,
        currency: str = "",
        usual: Mapping[str, str] | None = None,
        decimal: str = "",
    ) -> Declared:
        """The declarations of a plugin host's systems."""
        return cls(
            measurands=plugins.measurands,
            records=plugins.records,
            observations=plugins.observations,
            traits=plugins.traits,
            operations=plugins.operations,
            parts=plugins.parts,
            systems=tuple(plugins.systems),
            lost=plugins.lost,
            instruments=instruments,
            currency=currency,
            usual=usual or {},
            decimal=decimal,
        )

    def unknown(self, key: str, what: str, choices: Iterable[str]) -> tuple[str, str, str]:
        """Why a key is none of the `choices`, in the three parts of a fault: got, expected, write.

        It may be another sort of key in the wrong place, one of a system that is not installed, or a slip of
        the pen.
        """
        known = list(choices)
        expected = f"the key of {what}, system.name"
        for name, shelf, place in (
            ("a reading", self.measurands, "readings or setup"),
            ("a record", self.records, "records"),
            ("an observation", self.observations, "seen"),
            ("a trait", self.traits, "[traits] or beside repaired"),
            ("an operation", self.operations, "repaired or requested"),
        ):
            if key in shelf:
                return f"{quotation(key)} is {name}, which stands under {place}", expected, ""
        system, mark, _ = key.partition(".")
        if mark and system not in self.systems and not near(system, self.systems):
            return (
                (
                    f"{quotation(key)}: no system {quotation(system)} is installed (installed:"
                    f" {', '.join(self.systems) or 'none'})"
                ),
                expected,
                "",
            )
        meant = near(key, known) or [choice for choice in known if choice.partition(".")[2] == key]
        got = (
            f"{quotation(key)} is not known as {what}; installed systems: {', '.join(self.systems) or 'none'}"
        )
        own = [choice for choice in known if choice.startswith(f"{system}.")]
        if meant or not own:
            return got, expected, any_of(map(quotation, meant))
        listed = (
            f"one of {', '.join(own)}"
            if len(own) <= LISTED
            else f"a key that `corekit plugins {system}` lists"
        )
        return got, expected, listed
