"""A line: a priced row with one ground.

It can be written down as plain JSON data, because an estimate keeps its lines.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import Any

import attrs

from ..errors import InputError
from ..model.money import Money

#: What a part's quantity counts where its row names nothing else.
PIECE = "piece"
#: Why a part is not charged by itself: its work has one price for work and parts.
IN_LUMP_SUM = "in the lump sum"


class LineKind(StrEnum):
    """What is sold; a price book may give each its own tax rate."""

    LABOUR = "labour"
    PART = "part"
    CALL_OUT = "call-out"
    TRAVEL = "travel"
    DIAGNOSIS = "diagnosis"
    SUPPLIES = "supplies"
    LUMP_SUM = "lump sum"


class GroundKind(StrEnum):
    """Why work is done."""

    FINDING = "finding"
    CUSTOMER = "customer"
    SCHEDULED = "scheduled"
    JUDGEMENT = "judgement"
    REWORK = "rework"


class Condition(StrEnum):
    """What a part was before it went in; a customer is told for each part."""

    NEW = "new"
    USED = "used"
    REBUILT = "rebuilt"
    RECONDITIONED = "reconditioned"
    CUSTOMERS_OWN = "customer's own"


@attrs.frozen(kw_only=True)
class Ground:
    """The one ground on which a line stands.

    Attributes:
        kind: What sort of ground.
        text: The ground in words; for a judgement it is the mechanic's reason.
        finding_code: Code of the finding, when that is the ground.
        evidence: Ids of the entries it rests on.

    Raises:
        ValueError: there are no words; a finding without its code, or a code without a finding.
    """

    kind: GroundKind = attrs.field(converter=GroundKind)
    text: str
    finding_code: str = ""
    evidence: tuple[str, ...] = ()

    def __attrs_post_init__(self) -> None:
        if not self.text.strip():
            if self.kind is GroundKind.JUDGEMENT:
                raise InputError("Work on the mechanic's judgement needs a reason; write why it is done.")
            raise InputError(
                f"A ground of the kind {self.kind} must say in words what it is; its text is empty."
            )
        if (self.kind is GroundKind.FINDING) != bool(self.finding_code):
            raise InputError(
                f"A finding as ground names its code and no other ground does; got {self.kind} with code"
                f" {self.finding_code!r}."
            )


@attrs.frozen(kw_only=True)
class Line:
    """One priced row, before tax.

    Attributes:
        kind, text: What is sold.
        operation: Key of the operation it belongs to; empty for call-out, travel and diagnosis.
        ground: Why.
        quantity, unit: Invoiced quantity (BT-129) and what it counts: `h`, `km`, `piece`, `flat`.
        price: Net price (BT-146) of `per` units; it may have more decimals than the currency.
        per: Price base quantity (BT-149).
        net: Line net amount (BT-131): quantity × price / per, rounded half up.
        tax: Name of the rate in the price book; `none` where the shop is outside tax.
        condition: Of a part.
        shown_by: The reading that will show that the operation worked, in words.
        waived: Why it is not charged, as printed; empty when it is.
        number: Of a part, as its maker or seller calls it.
        off: By how much its price is lowered, and why, as printed; empty where it is not.
        changed: Why its quantity is another one than estimated, as printed; empty when it is not.
        with_tax: `price` and `net` have the tax of the rate in them: the shop writes its prices so.

    Raises:
        ValueError: `net` is not what quantity and price come to, `per` is not above zero, a part has no
            condition or something else has one, or it is waived and has a price.
    """

    kind: LineKind = attrs.field(converter=LineKind)
    text: str
    operation: str
    ground: Ground
    quantity: Decimal
    unit: str
    price: Decimal
    net: Money
    tax: str
    condition: Condition | None = attrs.field(default=None, converter=attrs.converters.optional(Condition))
    shown_by: str = ""
    per: Decimal = Decimal(1)
    waived: str = ""
    changed: str = ""
    number: str = ""
    off: str = ""
    with_tax: bool = False

    @property
    def what(self) -> str:
        """What it is approved and waived as: its operation, or its kind where there is no operation."""
        return self.operation or str(self.kind)

    def __attrs_post_init__(self) -> None:
        if self.waived and self.price:
            raise InputError(
                f"{self.text}: is not charged ({self.waived}), so it has no price; got {self.price}."
            )
        right = line_net(self.quantity, self.price, self.net.currency, self.per)
        if self.net != right:
            raise InputError(
                f"{self.text}: {self.quantity} × {self.price} comes to {right} {right.currency}, not"
                f" {self.net}."
            )
        if (self.kind is LineKind.PART) != (self.condition is not None):
            raise InputError(
                f"{self.text}: a part says in which condition it is ({', '.join(Condition)}), and nothing"
                " else does."
            )


def line_net(quantity: Decimal, price: Decimal, currency: str, per: Decimal = Decimal(1)) -> Money:
    """Line net amount: quantity × price / per, rounded half up to the currency's minor unit.

    Raises:
        ValueError: a number is not a finite Decimal, or `per` is not above zero.

    Source: EN 16931 BT-131, BT-129, BT-146, BT-149.
    """
    for number in (quantity, price, per):
        if not isinstance(number, Decimal) or not number.is_finite():
            raise InputError(f"Quantity and price must be finite decimal numbers; got {number!r}.")
    if per <= 0:
        raise InputError(f"A price stands for a quantity above zero; got {per}.")
    (many, parts), (much, shares), (base, bits) = (
        quantity.as_integer_ratio(),
        price.as_integer_ratio(),
        per.as_integer_ratio(),
    )
    return Money.ratio(many * much * bits, parts * shares * base, currency)


def priced_line(
    *,
    kind: LineKind,
    text: str,
    ground: Ground,
    quantity: Decimal,
    unit: str,
    price: Decimal,
    currency: str,
    tax: str,
    operation: str = "",
    condition: Condition | None = None,
    shown_by: str = "",
    per: Decimal = Decimal(1),
    number: str = "",
    with_tax: bool = False,
) -> Line:
    """A line with its net amount worked out."""
    net = line_net(quantity, price, currency, per)
    return Line(
        kind=kind,
        text=text,
        operation=operation,
        ground=ground,
        quantity=quantity,
        unit=unit,
        price=price,
        net=net,
        tax=tax,
        condition=condition,
        shown_by=shown_by,
        per=per,
        number=number,
        with_tax=with_tax,
    )


def to_data(line: Line) -> dict[str, Any]:
    """The line as plain JSON data; decimal numbers as text. `from_data` gives an equal line back.

    `waived`, `changed`, `number`, `off` and `with_tax` stand in it only where they say something: what an
    older program wrote of the same line is the same data.
    """
    data: dict[str, Any] = {
        "kind": str(line.kind),
        "text": line.text,
        "operation": line.operation,
        "ground": {
            "kind": str(line.ground.kind),
            "text": line.ground.text,
            "finding_code": line.ground.finding_code,
            "evidence": list(line.ground.evidence),
        },
        "quantity": f"{line.quantity:f}",
        "unit": line.unit,
        "price": f"{line.price:f}",
        "per": f"{line.per:f}",
        "net": {"minor": line.net.minor, "currency": line.net.currency},
        "tax": line.tax,
        "condition": str(line.condition) if line.condition else "",
        "shown_by": line.shown_by,
    }
    later: dict[str, Any] = {key: text for key in _LATER if (text := getattr(line, key))}
    return {**data, **later, **({_WITH_TAX: True} if line.with_tax else {})}


#: Fields of a line that came later.
_LATER = ("waived", "changed", "number", "off")
_WITH_TAX = "with_tax"
_TEXTS = ("kind", "text", "operation", "quantity", "unit", "price", "per", "tax", "condition", "shown_by")


def from_data(data: Mapping[str, Any]) -> Line:
    """The line that plain JSON data describes.

    Raises:
        InputError: a key is missing or unknown, a value is of the wrong sort, or the line contradicts itself.
    """
    line = _object(
        {**dict.fromkeys(_LATER, ""), _WITH_TAX: False, **data} if isinstance(data, Mapping) else data,
        "line",
        (*_TEXTS, *_LATER, _WITH_TAX, "ground", "net"),
    )
    ground = _object(line["ground"], "ground", ("kind", "text", "finding_code", "evidence"))
    net = _object(line["net"], "net", ("minor", "currency"))
    texts = [(key, line[key]) for key in (*_TEXTS, *_LATER)] + [
        (f"ground.{key}", ground[key]) for key in ("kind", "text", "finding_code")
    ]
    for key, value in [*texts, ("net.currency", net["currency"])]:
        if not isinstance(value, str):
            raise InputError(f"{key}: must be text; got {value!r}.")
    if not isinstance(line[_WITH_TAX], bool):
        raise InputError(f"{_WITH_TAX}: must be true or false; got {line[_WITH_TAX]!r}.")
    evidence = ground["evidence"]
    if not isinstance(evidence, (list, tuple)) or not all(isinstance(item, str) for item in evidence):
        raise InputError(f"ground.evidence: must be a list of entry ids; got {evidence!r}.")
    try:
        return Line(
            kind=line["kind"],
            text=line["text"],
            operation=line["operation"],
            ground=Ground(
                kind=ground["kind"],
                text=ground["text"],
                finding_code=ground["finding_code"],
                evidence=tuple(evidence),
            ),
            quantity=_number(line["quantity"], "quantity"),
            unit=line["unit"],
            price=_number(line["price"], "price"),
            per=_number(line["per"], "per"),
            net=Money(net["minor"], net["currency"]),
            tax=line["tax"],
            condition=line["condition"] or None,
            shown_by=line["shown_by"],
            waived=line["waived"],
            changed=line["changed"],
            number=line["number"],
            off=line["off"],
            with_tax=line[_WITH_TAX],
        )
    except InputError:
        raise
    except ValueError as error:  # a kind, a ground or a condition that there is none of
        raise InputError(f"line {line['text']!r:.80}: {error}.") from error


def _object(data: Any, name: str, keys: tuple[str, ...]) -> Mapping[str, Any]:
    if not isinstance(data, Mapping):
        raise InputError(f"{name}: must be an object with the keys {', '.join(keys)}; got {data!r}.")
    missing, unknown = [key for key in keys if key not in data], [str(key) for key in data if key not in keys]
    if missing or unknown:
        raise InputError(
            f"{name}: missing keys: {', '.join(missing) or 'none'}; unknown keys:"
            f" {', '.join(unknown) or 'none'}."
        )
    return data


def _number(text: str, key: str) -> Decimal:
    try:
        number = Decimal(text)
    except InvalidOperation as error:
        raise InputError(f"{key}: must be a decimal number written as text; got {text!r}.") from error
    if not number.is_finite() or abs(number.adjusted()) > 40:
        raise InputError(f"{key}: must be a plain decimal number; got {text!r}.")
    return number
