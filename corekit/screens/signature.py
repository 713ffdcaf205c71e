"""A drawn signature: strokes on a sheet of 1000 × 400, checked on their way in, drawn as a line on their way
out.
"""

from __future__ import annotations

import json

import attrs

from ..errors import CorekitError

WIDTH, HEIGHT = 1000, 400
MOST_STROKES, MOST_NUMBERS = 200, 20_000
_LONGEST = 6 * MOST_NUMBERS  # characters: four digits, a comma and some brackets for each number


class SignatureError(CorekitError, ValueError):
    """What was drawn cannot be kept; one sentence."""


@attrs.frozen
class Signature:
    """Strokes in the order they were drawn; each is x, y, x, y … in whole units."""

    strokes: tuple[tuple[int, ...], ...]

    @property
    def text(self) -> str:
        """How it is kept: JSON without spaces, the same for the same strokes."""
        return json.dumps([list(stroke) for stroke in self.strokes], separators=(",", ":"))

    @property
    def path(self) -> str:
        """As the data of an SVG path; a tap without a line is a dot where line ends are round."""
        drawn = []
        for stroke in self.strokes:
            points = [f"{x} {y}" for x, y in zip(stroke[::2], stroke[1::2], strict=True)]
            drawn.append(f"M{points[0]}" + ("L" + " ".join(points[1:]) if len(points) > 1 else "h0"))
        return "".join(drawn)


def read_signature(text: str) -> Signature | None:
    """The signature in a form's field; None when nothing was drawn.

    Raises:
        SignatureError: it is no list of strokes, leaves the sheet, or is longer than any signature.

    >>> read_signature("[[10,20,30,40]]").path
    'M10 20L30 40'
    """
    if not text.strip():
        return None
    if len(text) > _LONGEST:
        raise SignatureError("What was drawn is longer than any signature. Clear it and sign again.")
    try:
        raw = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise SignatureError("The signature did not arrive as strokes. Clear it and sign again.") from error
    if not isinstance(raw, list) or not all(isinstance(stroke, list) for stroke in raw):
        raise SignatureError("The signature did not arrive as strokes. Clear it and sign again.")
    strokes = tuple(_stroke(stroke) for stroke in raw if stroke)
    if len(strokes) > MOST_STROKES or sum(map(len, strokes)) > MOST_NUMBERS:
        raise SignatureError("What was drawn is longer than any signature. Clear it and sign again.")
    return Signature(strokes) if strokes else None


def _stroke(raw: list[object]) -> tuple[int, ...]:
    numbers = tuple(number for number in raw if isinstance(number, int) and not isinstance(number, bool))
    inside = all(0 <= x <= WIDTH for x in numbers[::2]) and all(0 <= y <= HEIGHT for y in numbers[1::2])
    if len(numbers) != len(raw) or len(numbers) % 2 or not inside:
        raise SignatureError(
            "A stroke of the signature runs off its area or is not a stroke. Clear it and sign again."
        )
    return numbers
