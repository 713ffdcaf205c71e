"""An invented shop's papers, rich enough to look at: every kind of block, more or fewer rows as a test needs
them.
"""

from __future__ import annotations

import attrs

from corekit.model.document import (
    Block,
    Code,
    Document,
    DocumentKind,
    FindingRow,
    Findings,
    Heading,
    Pairs,
    Paragraph,
    Picture,
    PricedLines,
    PricedRow,
    ReadingRow,
    Readings,
    Statement,
    Totals,
)
from corekit.model.figure import Band, Dot, Figure, Label, Polyline, Strip
from corekit.model.personal import Personal

LINK = "https://readings.example/v#K7QX-4M2P-9TBD-6HWE-3RNA-8CVJ"
MARK = "QX7K-M24P-TB9D-H6WE"

TEXTS = {
    "h-name": "Example Customer",
    "h-address": "1 Example Lane, 00000 Nowhere",
    "h-phone": "000 0001",
    "h-plate": "DEMO-1",
    "h-told": "five-door, 1.4 petrol, 2014",
    "h-words": "Does not crank after two days at the kerb. It was jump-started twice last week.",
    "h-note": "Customer asked to keep the old battery.",
}

_READINGS = (
    ReadingRow(
        name="Rest voltage",
        before="12.18 V",
        after="12.72 V",
        limit="at least 12.40 V to be tested",
        source="Battery handbook, table 3 (excerpt)",
        note="9 h at rest, 4 °C; meter, 20 V range",
        strip=Strip(
            unit="V",
            low_end=11.5,
            high_end=13.0,
            allowed_low=12.4,
            reading=12.72,
            uncertainty=0.06,
            before=12.18,
            before_uncertainty=0.06,
        ),
    ),
    ReadingRow(
        name="Voltage under load",
        before="8.40 V",
        after="10.30 V",
        limit="at least 9.60 V after 15 s",
        source="Starter battery standard, load table (read)",
        note="340 A for 15 s at 4 °C; after: 360 A",
        strip=Strip(
            unit="V",
            low_end=7,
            high_end=12,
            allowed_low=9.6,
            reading=10.3,
            uncertainty=0.07,
            before=8.4,
            before_uncertainty=0.06,
        ),
    ),
    ReadingRow(
        name="Charging voltage",
        before="14.25 V",
        after="14.31 V",
        limit="14.20 V to 14.90 V",
        source="Label under the bonnet (this vehicle)",
        note="engine at 1500 rpm, headlamps on",
        strip=Strip(
            unit="V",
            low_end=13.0,
            high_end=15.5,
            allowed_low=14.2,
            allowed_high=14.9,
            reading=14.31,
            uncertainty=0.09,
            before=14.25,
            before_uncertainty=0.09,
        ),
    ),
    ReadingRow(
        name="Key-off drain",
        before="380 mA",
        after="21 mA",
        limit="at most 50 mA",
        source="common practice, no source",
        note="60 min after locking",
        strip=Strip(
            unit="mA",
            low_end=0,
            high_end=500,
            allowed_high=50,
            reading=21,
            uncertainty=2.0,
            before=380,
            before_uncertainty=4.0,
        ),
    ),
    ReadingRow(
        name="Voltage drop, starter cable, earth leg",
        before="0.48 V",
        limit="at most 0.50 V while cranking",
        source="Workshop handbook, section 7 (secondhand)",
        note="largest of 3 readings",
        strip=Strip(unit="V", low_end=0, high_end=1.0, allowed_high=0.5, reading=0.48, uncertainty=0.04),
    ),
    ReadingRow(
        name="Winding resistance, cold",
        before="0.62 Ω",
        limit="0.55 Ω to 0.75 Ω",
        source="Workshop handbook, section 9 (excerpt)",
        note="winding at 21 °C",
        strip=Strip(
            unit="Ω",
            low_end=0.4,
            high_end=0.9,
            allowed_low=0.55,
            allowed_high=0.75,
            reading=0.62,
            uncertainty=0.015,
        ),
    ),
    ReadingRow(name="Odometer", before="98 400 km", note="as shown on the panel"),
)

_FINDINGS = (
    FindingRow(
        text="The battery does not hold its voltage under load: 8.40 V, allowed at least 9.60 V.",
        verdict="fail",
        urgency="before driving",
        basis=(
            "Load test at half the cold-cranking rating for 15 s, corrected to 4 °C. Probability of"
            " conformity 0.00; fail at 0.05 or less."
        ),
        stage="arrival",
    ),
    FindingRow(
        text=(
            "Something draws current with the key off: 380 mA, allowed at most 50 mA. A full battery would be"
            " too empty to start in about 6 days."
        ),
        verdict="advice",
        urgency="this visit",
        basis=(
            "The limit is common practice without a source, so this is advice and no verdict. One reading, 60"
            " min after locking."
        ),
        stage="arrival",
    ),
    FindingRow(
        text="Charging voltage within its limit, too close to its lower end to call: 14.25 V.",
        verdict="undecided",
        urgency="plan it",
        basis=(
            "14.20 V lies within the meter's uncertainty of ±0.09 V. Next test: measure again with headlamps"
            " and heater on."
        ),
        stage="arrival",
    ),
    FindingRow(
        text="The new battery holds its voltage under load: 10.30 V.",
        verdict="pass",
        urgency="nothing to do here",
        basis="The same test after the repair; probability of conformity 1.00.",
        stage="after 1",
    ),
)

_LINES = (
    PricedRow(
        text="Diagnosis, flat rate",
        ground="the customer's request",
        quantity="1",
        price="60.00",
        net="60.00",
        tax="19 %",
    ),
    PricedRow(
        text="Starter battery 70 Ah, 720 A (SAE), new",
        ground="finding: the battery does not hold its voltage under load",
        quantity="1",
        price="189.00",
        net="189.00",
        tax="19 %",
    ),
    PricedRow(
        text="Fit and register the battery",
        ground="finding: the same",
        quantity="0.60 h",
        price="95.00",
        net="57.00",
        tax="19 %",
        note="Voltage under load shows that it worked.",
    ),
    PricedRow(
        text="Travel",
        ground="approved with the call",
        quantity="18 km",
        price="0.90",
        net="16.20",
        tax="19 %",
    ),
    PricedRow(
        text="Old battery taken back",
        ground="the mechanic's judgement: the customer does not want to store it",
        quantity="1",
        price="−4.03",
        net="−4.03",
        tax="19 %",
    ),
)


def drain_figure() -> Figure:
    """Current over time after locking, with the allowed span as a band."""
    points = ((0.0, 2.4), (4.0, 2.3), (9.0, 1.1), (15.0, 0.9), (22.0, 0.46), (30.0, 0.4), (60.0, 0.38))
    scale = [Label(x, -0.24, f"{x:.0f} min") for x in (0, 20, 40, 60)] + [
        Label(-0.7, y, f"{y:.0f} A", anchor="end") for y in (0, 1, 2)
    ]
    shifted = tuple(
        Label(mark.x + 5, mark.y + 0.4, mark.text, anchor=mark.anchor) if isinstance(mark, Label) else mark
        for mark in scale
    )
    return Figure(
        width=67,
        height=3.1,
        height_mm=34,
        title="Current drawn after locking the car",
        description=(
            "The current falls in steps for half an hour and then stays at 0.38 A, far above the 0.05 A"
            " allowed (grey band)."
        ),
        marks=(
            Band(5, 0.4, 65, 0.45, shade=0.25),
            Polyline(((5, 0.4), (65, 0.4)), weight=0.5),
            Polyline(((5, 0.4), (5, 2.9)), weight=0.5),
            Polyline(tuple((x + 5, y + 0.4) for x, y in points), weight=1.1),
            Polyline(((35, 0.4), (35, 2.6)), weight=0.5, dashed=True),
            Dot(65, 0.78),
            *shifted,
        ),
    )


def sample(readings: int = 7, lines: int = 5, findings: int = 4, *, picture: bool = True) -> Document:
    """An invoice of the invented shop with as many rows as asked."""

    def cycled(rows: tuple, count: int) -> tuple:  # type: ignore[type-arg]
        return tuple(rows[nth % len(rows)] for nth in range(count))

    named = tuple(
        attrs.evolve(
            row, name=row.name if nth < len(_READINGS) else f"{row.name}, cell {nth // len(_READINGS) + 1}"
        )
        for nth, row in enumerate(cycled(_READINGS, readings))
    )
    pictures: tuple[Block, ...] = (Picture(figure=drain_figure()),) if picture else ()
    return Document(
        id="b1f2c3d4",
        kind=DocumentKind.INVOICE,
        number="2026-0001",
        title="Invoice 2026-0001",
        shop="Kerbside Example Mechanics",
        issued="24 November 2026",
        currency="EUR",
        total="378.60",
        blocks=(
            Heading(text="Who, and which vehicle"),
            Pairs(
                rows=(
                    ("From", ("Kerbside Example Mechanics, 2 Example Yard, 00000 Nowhere",)),
                    ("To", (Personal("name", "h-name"), ", ", Personal("address", "h-address"))),
                    ("Vehicle", (Personal("description", "h-told"),)),
                    ("Plate", (Personal("plate", "h-plate"),)),
                    ("Odometer", ("98 400 km",)),
                    ("Visit", ("23 November 2026, 16:40",)),
                )
            ),
            Heading(text="What you told us"),
            Paragraph(words=(Personal("words", "h-words"),), tone="quote"),
            Heading(text="What we found, and how we know"),
            Findings(rows=cycled(_FINDINGS, findings)),
            Heading(text="Readings", level=2),
            Readings(rows=named),
            *pictures,
            Heading(text="What you approved"),
            Paragraph(
                words=(
                    (
                        "Estimate repair 1, 318.60 EUR, approved in person by the customer on 23 November"
                        " 2026. Declined: finding the drain."
                    ),
                )
            ),
            Heading(text="What we did, and what it costs"),
            PricedLines(rows=cycled(_LINES, lines), currency="EUR"),
            Totals(
                rows=(
                    ("Net", "318.17", False),
                    ("Tax 19 % of 318.17", "60.43", False),
                    ("Total", "378.60", True),
                    ("Paid in cash", "378.60", False),
                    ("Due", "0.00", True),
                ),
                currency="EUR",
            ),
            Heading(text="What to watch"),
            Statement(
                title="Not looked at: what draws the current",
                words=(
                    (
                        "The drain was not traced. Until it is, the new battery will be too empty to start"
                        " after about 6 days at the kerb. Brakes, tyres and steering were not looked at."
                    ),
                ),
            ),
            Paragraph(
                words=(
                    (
                        "Readings were taken with the instruments named beside them. Pass at a probability of"
                        " 0.95 or more, fail at 0.05 or less, else undecided."
                    ),
                ),
                tone="small",
            ),
            Heading(text="The readings behind this paper"),
            Code(document_id="b1f2c3d4", link=1, record_mark=MARK),
        ),
    )
