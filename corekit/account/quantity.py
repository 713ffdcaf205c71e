"""How much of something, as it is printed."""

from __future__ import annotations

from decimal import Decimal

from ..billing.line import PIECE


def plain_number(number: Decimal) -> str:
    """Without zeros that say nothing."""
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def quantity_words(quantity: Decimal, unit: str) -> str:
    """`4 pieces`, `0.6 h`; what is no whole number counts no pieces and stands alone: 0.8 of a litre."""
    number = plain_number(quantity)
    if unit != PIECE:
        return f"{number} {unit}".strip()
    return number if "." in number else f"{number} {PIECE}{'' if abs(quantity) == 1 else 's'}"
