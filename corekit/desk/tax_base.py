"""Whether the price book taxes what the law of the shop's place taxes, as far as somebody read its text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

import attrs

from ..billing.book import PriceBook
from ..billing.line import LineKind
from ..model.jurisdiction import Jurisdiction, Taxed


@attrs.frozen
class _Charge:
    """What is charged: its words, its key in [tax], and its rule."""

    words: str
    key: str
    kind: LineKind
    rule: Taxed | None


def contradictions(book: PriceBook, place: Jurisdiction) -> Iterator[str]:
    """What the price book taxes otherwise than the data of the place says, with what to write: one text for
    all that differs alike.

    Nothing where nobody read it in the law's own text, nor of a shop that shows no tax at all.
    """
    base = place.tax_base
    if base is None or not base.origin.is_read_in_the_law or book.outside_tax:
        return
    comes = book.call_out is not None or book.travel is not None or book.per_km is not None or book.zones
    charges = [_Charge("work and diagnosis", "labour", LineKind.LABOUR, base.labour)]
    if comes:
        charges.append(_Charge("call-out and travel", "call_out", LineKind.CALL_OUT, base.call_out))
    if any(operation.lump_sum is not None for operation in book.operations.values()):
        charges.append(_Charge("a lump sum", "lump_sum", LineKind.LUMP_SUM, base.lump_sum))
    alike: dict[tuple[Taxed, Taxed], list[_Charge]] = {}
    for charge in charges:
        found = _found(book, charge.kind)
        if charge.rule is None or charge.rule is found:
            continue
        if charge.kind is LineKind.LUMP_SUM and Taxed.NO not in (charge.rule, found):
            continue  # there are parts in every lump sum
        alike.setdefault((found, charge.rule), []).append(charge)
    for (found, rule), some in alike.items():
        words = " and ".join(charge.words for charge in some)
        yield (
            f"Taxed otherwise than the law of {place.code} has it: {words}. By {book.where} that is"
            f" {_WORDS[found]}, by {base.origin.source} (read {base.origin.date}) {_WORDS[rule]}. Write"
            f" {_cure(book, rule, [charge.key for charge in some])} in its tax, or ask your tax authority;"
            " this is no legal advice."
        )


_WORDS = {
    Taxed.YES: "taxed",
    Taxed.NO: "not taxed",
    Taxed.WITH_PARTS: "taxed as soon as a part is supplied, and not taxed without",
}


def _found(book: PriceBook, kind: LineKind) -> Taxed:
    if book.rates[book.tax_of[kind]]:
        return Taxed.YES
    return Taxed.WITH_PARTS if book.rates.get(book.with_parts, Decimal(0)) else Taxed.NO


def _cure(book: PriceBook, rule: Taxed, keys: Sequence[str]) -> str:
    taxed = next((name for name, percent in book.rates.items() if percent), "")
    untaxed = next((name for name, percent in book.rates.items() if not percent), "")
    at_rate = f'"{taxed}"' if taxed else "the name of a rate"
    at_nothing = f'"{untaxed}"' if untaxed else '"untaxed", a rate of "0" among the rates,'
    said = " and ".join(f"{key} = {at_rate if rule is Taxed.YES else at_nothing}" for key in keys)
    if rule is Taxed.WITH_PARTS:
        return f"{said} and with_parts = {at_rate}"
    return f"{said} without with_parts" if rule is Taxed.NO and book.with_parts else said
