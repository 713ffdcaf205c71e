"""What can be proposed: the lines of a diagnosis, and the lines of the repairs that are called for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

import attrs

from ..errors import InputError
from ..fault import DataFault, DataFileError
from ..model.money import total
from .book import PriceBook
from .line import PIECE, Ground, GroundKind, Line, LineKind, priced_line


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


def diagnosis_lines(book: PriceBook, km: Decimal | None = None, *, call_out: bool = True) -> tuple[Line, ...]:
    """Call-out, travel and diagnosis, as far as the price book has them; the ground is the customer's
    request.

    Args:
        book: The prices.
        km: The distance that is charged; needed when the price book prices the kilometre.
        call_out: False where another job pays for the call-out (the second vehicle in one driveway): neither
            call-out nor travel.

    Raises:
        PriceError: travel is priced per kilometre and no distance is given, or the lines together exceed
            the price book's cap.
        ValueError: the distance is negative.
    """
    ground = Ground(
        kind=GroundKind.CUSTOMER,
        text=(
            "asked for a diagnosis"
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
        lines.append(row(LineKind.TRAVEL, "Travel", km, "km", book.per_km))
    lines.append(row(LineKind.DIAGNOSIS, "Diagnosis, flat price", Decimal(1), "flat", book.diagnosis))
    _keep_within_cap(lines, book)
    return tuple(lines)


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
        if operation.hours:
            lines.append(
                priced_line(
                    kind=LineKind.LABOUR,
                    text=asked.title,
                    operation=asked.operation,
                    ground=asked.ground,
                    quantity=operation.hours,
                    unit="h",
                    price=book.labour,
                    currency=book.currency,
                    tax=book.tax_of[LineKind.LABOUR],
                    shown_by=asked.shown_by,
                )
            )
        lines += [
            priced_line(
                kind=LineKind.PART,
                text=part.name,
                operation=asked.operation,
                ground=asked.ground,
                quantity=part.quantity,
                unit=part.unit or PIECE,
                price=part.price,
                currency=book.currency,
                tax=book.tax_of[LineKind.PART],
                condition=part.condition,
                number=part.number,
                shown_by=asked.shown_by,
            )
            for part in operation.parts
        ]
    return tuple(lines)


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
