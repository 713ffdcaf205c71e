"""What an invoice must carry by the rules of the shop's place: all that is missing is said before a number is
taken.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ..billing.line import Condition, Line, LineKind
from ..billing.totals import BillTotals
from ..model.job import Job
from ..model.jurisdiction import RequiredItem
from ..model.personal import Personal
from . import cancelling
from .context import ShopContext
from .errors import DeskError
from .settings import SHOP_FILE

#: Item → what it is, and where to say it.
_WORDS: dict[RequiredItem, tuple[str, str]] = {
    RequiredItem.ISSUER_CONTACT: ("how the shop is reached", f'contact = "…" in {SHOP_FILE}'),
    RequiredItem.ISSUER_TAX_NUMBER: (
        "the shop's tax number, because tax is charged",
        f'tax_id = "…" in {SHOP_FILE}',
    ),
    RequiredItem.REGISTRATION: (
        "the number under which the shop is registered",
        f'registration = "…" in {SHOP_FILE}',
    ),
    RequiredItem.MECHANIC: ("who did the work, with the number", f'mechanic = "…" in {SHOP_FILE}'),
    RequiredItem.CUSTOMER_NAME: ("the customer's name", 'customer = { name = "…" }'),
    RequiredItem.CUSTOMER_ADDRESS: ("the customer's address", 'customer = { address = "…" }'),
    RequiredItem.CUSTOMER_PHONE: ("the customer's phone number", 'customer = { phone = "…" }'),
    RequiredItem.CUSTOMER_TAX_NUMBER: (
        "the customer's tax number, because the customer owes the tax",
        'customer = { tax_number = "…" }',
    ),
    RequiredItem.PLATE_OR_VIN: ("plate or VIN", 'vehicle = { plate = "…" }'),
    RequiredItem.VEHICLE_DESCRIPTION: ("make, model and year", 'vehicle = { description = "…" }'),
    RequiredItem.ODOMETER: ("the odometer", 'vehicle = { odometer = "… km" }'),
    RequiredItem.COMPLAINT: ("what the customer asked for", 'reason = "…"'),
    RequiredItem.PART_NUMBERS: ("the number of each part", 'number = "…" at the part in prices.toml'),
    RequiredItem.OLD_PARTS: (
        "what the customer wants done with the old parts",
        'a step with old_parts = "given back"',
    ),
}


class IncompleteError(DeskError):
    """An invoice would lack what it must carry; no number was taken."""


def refuse_incomplete(
    shop: ShopContext, jobs: Sequence[Job], lines: Sequence[Line], sums: BillTotals
) -> None:
    """Return when an invoice over these jobs carries all that it must.

    Raises:
        IncompleteError: with everything that is missing, and where to say it.
    """
    missing = list(missing_from(shop, jobs, lines, sums))
    if missing:
        place = f" ({shop.jurisdiction.code})" if shop.jurisdiction.code else ""
        raise IncompleteError(
            f"The invoice{place} lacks what it must carry; no number was taken.\n"
            + "\n".join(f"  {one}" for one in missing)
        )


def missing_from(
    shop: ShopContext, jobs: Sequence[Job], lines: Sequence[Line], sums: BillTotals
) -> Iterator[str]:
    """Every item that is missing, with where to say it."""
    rules = shop.jurisdiction
    owed = (RequiredItem.CUSTOMER_TAX_NUMBER,) if shop.prices.reverse_charge else ()
    for item in dict.fromkeys((*rules.items(sums.gross), *owed)):
        for job in jobs:
            if not _is_there(item, shop, job, lines, sums):
                what, where = _WORDS[item]
                of = f" of {job.name}" if len(jobs) > 1 and item not in _OF_THE_SHOP else ""
                yield f"{what}{of}: write {where}"
                if item in _OF_THE_SHOP:
                    break
    yield from cancelling.words_missing(shop)
    for job in jobs:
        yield from cancelling.unsaid(shop, job)
    for asked in rules.statements:
        if asked.key not in shop.settings.statements:
            yield (
                f"the words that the law prescribes on {asked.about} ({asked.origin.source}): write"
                f' statements.{asked.key} = "…" in {SHOP_FILE}'
            )


_OF_THE_SHOP = frozenset(
    {
        RequiredItem.ISSUER_CONTACT,
        RequiredItem.ISSUER_TAX_NUMBER,
        RequiredItem.REGISTRATION,
        RequiredItem.MECHANIC,
        RequiredItem.PART_NUMBERS,
    }
)


def _is_there(
    item: RequiredItem, shop: ShopContext, job: Job, lines: Sequence[Line], sums: BillTotals
) -> bool:
    issuer, customer, vehicle = shop.settings.issuer, job.customer, job.vehicle
    parts = [line for line in lines if line.kind is LineKind.PART]
    match item:
        case RequiredItem.ISSUER_CONTACT:
            return bool(issuer.contact.strip())
        case RequiredItem.ISSUER_TAX_NUMBER:
            return bool(issuer.tax_id.strip()) or not sums.tax.minor
        case RequiredItem.REGISTRATION:
            return bool(issuer.registration.strip())
        case RequiredItem.MECHANIC:
            return bool(issuer.mechanic.strip())
        case RequiredItem.CUSTOMER_NAME:
            return isinstance(customer.name, Personal)
        case RequiredItem.CUSTOMER_ADDRESS:
            return isinstance(customer.address, Personal)
        case RequiredItem.CUSTOMER_PHONE:
            return isinstance(customer.phone, Personal)
        case RequiredItem.CUSTOMER_TAX_NUMBER:
            return isinstance(customer.tax_number, Personal) or not shop.prices.reverse_charge
        case RequiredItem.PLATE_OR_VIN:
            return isinstance(vehicle.plate, Personal) or isinstance(vehicle.vin, Personal)
        case RequiredItem.VEHICLE_DESCRIPTION:
            return isinstance(vehicle.description, Personal)
        case RequiredItem.ODOMETER:
            return bool(vehicle.odometer_typed)
        case RequiredItem.COMPLAINT:
            return isinstance(job.opened.words, Personal)
        case RequiredItem.PART_NUMBERS:
            return all(line.number or line.condition is Condition.CUSTOMERS_OWN for line in parts)
        case RequiredItem.OLD_PARTS:
            return bool(job.old_parts) or not parts
