"""What can be proposed: the lines of a diagnosis, and the lines of the repairs that are called for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

import attrs

from ..errors import InputError
from ..fault import DataFault, DataFileError
from ..model.money import Money, total
from .book import PriceBook, PricedOperation
from .line import IN_LUMP_SUM, PIECE, Ground, GroundKind, Line, LineKind, priced_line


class PriceError(DataFileError):
    """The price book is sound, and yet does not price what is asked for."""

    outcome = "does not price this: {count}."


@attrs.frozen(kw_only=True)
class WorkItem:
    """Work that is called for: the operation's key, its title as printed, its one ground, and the reading
    that will show it worked.
    """

    operation: str
    title: str
    ground: Ground
    shown_by: str = ""


def diagnosis_lines(
    book: PriceBook, km: Decimal | None = None, *, call_out: bool = True, diagnosis: bool = True
) -> tuple[Line, ...]:
    """Call-out, travel and diagnosis, as far as the price book has them; the ground is the customer's
    request.

    Args:
        book: The prices.
        km: The distance that is charged; needed when the price book prices the kilometre.
        call_out: False where another job pays for the call-out (the second vehicle in one driveway): neither
            call-out nor travel.
        diagnosis: False where nothing is to be looked for: an oil change that was asked for.

    Raises:
        PriceError: travel is priced per kilometre and no distance is given, or the lines together exceed
            the price book's cap.
        ValueError: the distance is negative.
    """
    ground = Ground(
        kind=GroundKind.CUSTOMER,
        text=(
            "asked us to come"
            if not diagnosis
            else "asked for a diagnosis"
            if call_out
            else "asked for a diagnosis while we were there for another vehicle"
        ),
    )

    def row(kind: LineKind, text: str, quantity: Decimal, unit: str, price: Decimal) -> Line:
        return priced_line(
            kind=kind,
            text=text,
            ground=ground,
            quantity=quantity,
            unit=unit,
            price=price,
            currency=book.currency,
            tax=book.tax_of[kind],
            with_tax=book.with_tax,
        )

    lines: list[Line] = []
    if call_out and book.call_out is not None:
        lines.append(row(LineKind.CALL_OUT, "Call-out", Decimal(1), "flat", book.call_out))
    if call_out and book.travel is not None:
        lines.append(row(LineKind.TRAVEL, "Travel", Decimal(1), "flat", book.travel))
    if call_out and book.per_km is not None:
        if km is None:
            got = "a distance is needed to price the drive"
            write = 'the kilometres with the estimate, or flat = "…" here'
            raise PriceError([DataFault("travel.per_km", "the kilometres", got, write)], book.where)
        if km < 0:
            raise InputError(f"A distance cannot be negative; got {km} km.")
        if km or diagnosis:
            lines.append(row(LineKind.TRAVEL, "Travel", km, "km", book.per_km))
    if call_out and book.zones:
        lines.append(row(LineKind.TRAVEL, "Travel", Decimal(1), "flat", _zone_price(book, km)))
    if diagnosis:
        lines.append(row(LineKind.DIAGNOSIS, "Diagnosis, flat price", Decimal(1), "flat", book.diagnosis))
    _keep_within_cap(lines, book)
    return tuple(lines)


def _zone_price(book: PriceBook, km: Decimal | None) -> Decimal:
    if km is None:
        got = "a distance is needed to price the drive"
        raise PriceError(
            [DataFault("travel.zones", "the kilometres", got, "them with the estimate")], book.where
        )
    if km < 0:
        raise InputError(f"A distance cannot be negative; got {km} km.")
    for zone in book.zones:
        if zone.up_to is None or km <= zone.up_to:
            return zone.price
    got = f"{km} km is farther than every zone"
    raise PriceError([DataFault("travel.zones", "", got, "a zone without up_to, or do not go")], book.where)


def _keep_within_cap(lines: Sequence[Line], book: PriceBook) -> None:
    come_to = total((line.net for line in lines), book.currency)
    if book.diagnosis_cap is not None and come_to.amount > book.diagnosis_cap:
        over = (
            f"call-out, travel and diagnosis come to {come_to} {book.currency}, above the cap of"
            f" {book.diagnosis_cap}"
        )
        raise PriceError([DataFault("diagnosis.cap", "", over, "a higher cap, or charge less")], book.where)


def repair_lines(book: PriceBook, work_items: Sequence[WorkItem]) -> tuple[Line, ...]:
    """Labour and parts of each operation, in the order asked for; every line has its operation's one ground.

    Raises:
        PriceError: operations that the price book does not price, all of them, each with the key to add.
        ValueError: an operation is asked for twice, so its ground is not one.
    """
    keys = [asked.operation for asked in work_items]
    if twice := sorted({key for key in keys if keys.count(key) > 1}):
        raise InputError(f"{', '.join(twice)}: asked for more than once; keep one, with one ground.")
    if unpriced := [key for key in keys if key not in book.operations]:
        raise PriceError(
            [
                DataFault(
                    f'operations."{key}"',
                    "its price",
                    "is not priced",
                    f'[operations."{key}"] with hours = "…" and its parts',
                )
                for key in unpriced
            ],
            book.where,
        )
    lines: list[Line] = []
    for asked in work_items:
        operation = book.operations[asked.operation]
        if operation.lump_sum is not None:
            lines += [*_lump_sum(book, asked, operation, operation.lump_sum), *_cores(book, asked, operation)]
            continue
        if operation.hours:
            lines.append(
                priced_line(
                    kind=LineKind.LABOUR,
                    text=asked.title,
                    operation=asked.operation,
                    ground=asked.ground,
                    quantity=max(operation.hours, book.least_hours),
                    unit="h",
                    price=book.labour,
                    currency=book.currency,
                    tax=operation.tax or book.tax_of[LineKind.LABOUR],
                    with_tax=book.with_tax,
                    shown_by=asked.shown_by,
                )
            )
        lines += _parts(book, asked, operation)
        lines += _cores(book, asked, operation)
        lines += _supplies(book, asked, operation)
    return tuple(lines)


def _parts(book: PriceBook, asked: WorkItem, operation: PricedOperation, *, lump_sum: str = "") -> list[Line]:
    """A line for each part; of a lump sum, whose rate is given, without a price of its own."""
    return [
        priced_line(
            kind=LineKind.PART,
            text=part.name,
            operation=asked.operation,
            ground=asked.ground,
            quantity=part.quantity,
            unit=part.unit or PIECE,
            price=Decimal(0) if lump_sum else part.price,
            currency=book.currency,
            tax=lump_sum or part.tax or book.tax_of[LineKind.PART],
            with_tax=book.with_tax,
            condition=part.condition,
            number=part.number,
            shown_by=asked.shown_by,
        )
        for part in operation.parts
    ]


def _lump_sum(book: PriceBook, asked: WorkItem, operation: PricedOperation, price: Decimal) -> list[Line]:
    """One price for work and parts; each part is named and has no price of its own."""
    rate = operation.tax or book.tax_of[LineKind.LUMP_SUM]
    work = priced_line(
        kind=LineKind.LUMP_SUM,
        text=asked.title,
        operation=asked.operation,
        ground=asked.ground,
        quantity=Decimal(1),
        unit="flat",
        price=price,
        currency=book.currency,
        tax=rate,
        with_tax=book.with_tax,
        shown_by=asked.shown_by,
    )
    parts = _parts(book, asked, operation, lump_sum=rate)
    return [work, *(attrs.evolve(part, waived=IN_LUMP_SUM) for part in parts)]


def _cores(book: PriceBook, asked: WorkItem, operation: PricedOperation) -> list[Line]:
    """The deposits on old parts, each a line of its own, so that one that comes in can be credited."""
    return [
        priced_line(
            kind=LineKind.PART,
            text=f"Core deposit, {part.name}",
            operation=asked.operation,
            ground=asked.ground,
            quantity=part.quantity,
            unit=part.unit or PIECE,
            price=part.core,
            currency=book.currency,
            tax=part.tax or book.tax_of[LineKind.PART],
            with_tax=book.with_tax,
            condition=part.condition,
        )
        for part in operation.parts
        if part.core
    ]


def _supplies(book: PriceBook, asked: WorkItem, operation: PricedOperation) -> list[Line]:
    """The general charge on a work's labour, where the shop makes one."""
    if book.supplies is None or not operation.hours:
        return []
    labour = max(operation.hours, book.least_hours) * book.labour
    price = Money.of(labour * book.supplies.percent / 100, book.currency)
    if book.supplies.cap is not None:
        price = min(price, Money.of(book.supplies.cap, book.currency))
    return [
        priced_line(
            kind=LineKind.SUPPLIES,
            text="Shop supplies",
            operation=asked.operation,
            ground=asked.ground,
            quantity=Decimal(1),
            unit="flat",
            price=price.amount,
            currency=book.currency,
            tax=book.tax_of[LineKind.SUPPLIES],
            with_tax=book.with_tax,
        )
    ]


def usual_net(book: PriceBook, operation: str) -> Decimal | None:
    """What the labour and parts of a piece of work come to, at the book's own prices; None without any."""
    priced = book.operations.get(operation)
    if priced is None:
        return None
    if priced.lump_sum is not None:
        return priced.lump_sum
    labour = max(priced.hours, book.least_hours) * book.labour if priced.hours else Decimal(0)
    return sum((part.quantity * part.price for part in priced.parts), labour)


def without_declined(lines: Iterable[Line], keys: Iterable[str]) -> tuple[Line, ...]:
    """The lines that are left when the operations with these keys are declined.

    Raises:
        ValueError: a key belongs to no line, so nothing would be declined by it.
    """
    lines, keys = tuple(lines), tuple(keys)
    estimated = {line.operation for line in lines if line.operation}
    if strange := [key for key in keys if key not in estimated]:
        known = ", ".join(sorted(estimated)) or "no operations"
        raise InputError(
            f"{', '.join(strange) or 'An empty key'}: not on the estimate, so it cannot be declined; on it"
            f" are {known}."
        )
    return tuple(line for line in lines if line.operation not in keys)
