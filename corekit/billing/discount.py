"""Lines at a lower price than the price book's, with why on them."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

import attrs

from ..model.records import Discounted
from .line import Line, line_net


def with_discounts(lines: Iterable[Line], discounts: Iterable[Discounted]) -> tuple[Line, ...]:
    """The lines, each with the discount that was said last for its work, else for everything.

    A line that has one already keeps it, as what is not charged at all stays so.
    """
    percents = {one.operation: one for one in discounts}
    return tuple(
        _discounted_line(line, found) if (found := percents.get(line.operation) or percents.get("")) else line
        for line in lines
    )


def _discounted_line(line: Line, discount: Discounted) -> Line:
    if line.off or line.waived or not line.price:
        return line
    percent = Decimal(discount.percent)
    price = line.price * (100 - percent) / 100
    return attrs.evolve(
        line,
        price=price,
        net=line_net(line.quantity, price, line.net.currency, line.per),
        off=f"{percent.normalize():f} % off {line.price}: {discount.because}",
    )
