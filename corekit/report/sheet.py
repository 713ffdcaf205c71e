"""What every paper of a job shares: who issues it, when, and how it calls what it speaks of."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import wraps
from typing import ParamSpec, TypeVar

import attrs

from .. import units
from ..model.jurisdiction import Cancellation
from ..model.measurand import Operation
from ..model.money import Money
from ..model.records import Approved
from ..model.sampling import Sampling


@attrs.frozen(kw_only=True)
class Issuer:
    """Who issues the paper, as printed."""

    name: str
    address: tuple[str, ...]
    contact: str = ""
    tax_id: str = ""
    guarantee: str = ""
    pays_by: str = ""
    registration: str = ""
    mechanic: str = ""
    iban: str = ""
    bic: str = ""


@attrs.frozen(kw_only=True)
class ApprovalRow:
    """One approval, the day of it, and what was approved after what was declined with it; `because` says
    what for, where more than an estimate was approved.
    """

    approval: Approved
    day: str
    approved: Money
    because: str = ""


@attrs.frozen(kw_only=True)
class Sheet:
    """What every paper of a job shares.

    Attributes:
        titles: How paper calls what can be read, recorded or looked at, by key.
        records: What can be recorded, by key.
        corrects: Number of the invoice that this one takes the place of.
        due_on: Until which day an invoice is to be paid; empty for at once.
        exceeds: How far an invoice may go above what was approved, by which law; empty for not at all.
        units: In which quantities are printed, where the shop wants others than are declared.
        statements: Words that the law prescribes, as the shop supplied them.
        cancellation: The rule on the right to cancel, where the law of the place gives one;
            `cancellation_words`: the shop's own words on it.
        day_of: The shop's day of an instant that was written down.
        valid_until: Until which day an estimate holds; empty where the shop sets no end.
    """

    document_id: str
    issuer: Issuer
    issued: str
    currency: str
    operations: Mapping[str, Operation]
    titles: Mapping[str, str] = attrs.field(factory=dict)
    records: Mapping[str, Sampling] = attrs.field(factory=dict)
    valid_until: str = ""
    statements: tuple[str, ...] = ()
    cancellation: Cancellation | None = None
    cancellation_words: str = ""
    exceeds: str = ""
    units: tuple[str, ...] = ()
    due_on: str = ""
    corrects: str = ""
    day_of: Callable[[str], str] = lambda instant: instant[:10]
    demo: bool = False
    draft: bool = False


_Given = ParamSpec("_Given")
_Made = TypeVar("_Made")


def in_units_of_sheet(make: Callable[_Given, _Made]) -> Callable[_Given, _Made]:
    """What makes a paper, with its quantities in the units that its `Sheet` wants."""

    @wraps(make)
    def made(*given: _Given.args, **named: _Given.kwargs) -> _Made:
        sheet = next(one for one in (*given, *named.values()) if isinstance(one, Sheet))
        with units.shown_in(sheet.units):
            return make(*given, **named)

    return made


#: Who may approve an estimate. It is printed on the page that everybody with the code can read, so it is
#: never a name.
WHO_APPROVES = ("customer", "owner", "driver", "keeper", "representative")
