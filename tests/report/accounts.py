"""An invented shop's papers of form 2, an account with its evidence: one for each thing that a sheet must
bear.
"""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from corekit.model.document import (
    Account,
    AccountRow,
    Answer,
    ApprovalForm,
    Block,
    Code,
    Document,
    DocumentKind,
    Evidence,
    FindingRow,
    Findings,
    Heading,
    NextSteps,
    Pairs,
    Paragraph,
    Picture,
    ProofRow,
    ReadingRow,
    Readings,
    Statement,
    Totals,
    WorkRow,
)
from corekit.model.figure import Band, Dot, Figure, Label, Polyline, Strip
from corekit.model.personal import Personal

LINK = "https://readings.example/v#K7QX4M2P7TBD6HWE3RNAZCVJ5Q"
MARK = "QX7K-M24P-TB9D-H6WE"

TEXTS = {
    "h-name": "Example Customer",
    "h-phone": "000 0001",
    "h-address": "1 Example Lane, 00000 Nowhere",
    "h-plate": "DEMO-1",
    "h-told": "Five-door, 1.4 petrol, 2014",
    "h-words": "Does not crank after two days at the kerb.",
    "h-three": "Starts badly in the morning, shakes at idle, and the engine lamp is on.",
    "h-check": "Please look it over before we drive to the sea.",
    "h-long": ("When it has stood for two days it does not crank; neighbours jumped it."),
}

LOAD = Strip(
    unit="V",
    low_end=7.0,
    high_end=12.0,
    allowed_low=9.3,
    reading=10.3,
    uncertainty=0.07,
    before=8.4,
    before_uncertainty=0.06,
)
DRAIN = Strip(
    unit="mA",
    low_end=0,
    high_end=450,
    allowed_high=50,
    reading=18,
    uncertainty=2.0,
    before=380,
    before_uncertainty=4.0,
)
DROP = Strip(
    unit="V",
    low_end=0,
    high_end=1.0,
    allowed_high=0.05,
    reading=0.02,
    uncertainty=0.01,
    before=0.9,
    before_uncertainty=0.02,
)
MISFIRES = Strip(unit="", low_end=0, high_end=80, allowed_high=20, reading=1, uncertainty=0, before=62)
RISE = Strip(
    unit="kPa",
    low_end=0,
    high_end=12,
    allowed_low=3,
    reading=9.0,
    uncertainty=0.3,
    before=0.6,
    before_uncertainty=0.3,
)
CHARGING = Strip(
    unit="V",
    low_end=13.0,
    high_end=15.5,
    allowed_low=13.8,
    allowed_high=14.9,
    reading=14.31,
    uncertainty=0.09,
)
CLOSE_CALL = Strip(unit="V", low_end=7.0, high_end=12.0, allowed_low=9.54, reading=9.46, uncertainty=0.12)

BATTERY = AccountRow(
    point="Does not crank",
    what="Battery worn out",
    cause="Although charged, it dropped to 8.4 V when loaded like a starter loads it.",
    proofs=(
        ProofRow(
            name="Voltage while it starts the engine",
            before="8.4 V",
            now="10.3 V",
            usual="at least 9.3 V",
            strip=LOAD,
        ),
    ),
    works=(
        WorkRow(text="Battery replaced", detail="0.6 h", net="37.50"),
        WorkRow(text="Battery 70 Ah, 720 A, AGM", detail="part 4711-070, new", net="168.00"),
    ),
    state="put right and shown",
)
LAMP_STAYED_ON = AccountRow(
    point="Empty after standing",
    what="A lamp stayed on while parked",
    cause="The switch of the glove-box lamp had slipped; it is set right.",
    proofs=(
        ProofRow(
            name="Drawn while parked and locked",
            before="380 mA",
            now="18 mA",
            usual="at most 50 mA",
            strip=DRAIN,
        ),
    ),
    works=(WorkRow(text="Drain found and cured", detail="0.8 h", net="50.00"),),
    state="put right and shown",
)
VISIT = AccountRow(
    point="",
    what="You asked us to come and look",
    works=(
        WorkRow(text="Call-out", detail="18 km", net="20.00"),
        WorkRow(text="Diagnosis, flat rate", net="30.00"),
    ),
)
CONNECTIONS = AccountRow(
    point="Starts badly",
    what="Battery connections corroded",
    cause="A tenth of the voltage was lost on the way from the battery.",
    proofs=(
        ProofRow(
            name="Lost at the connections",
            before="0.90 V",
            now="0.02 V",
            usual="at most 0.05 V",
            strip=DROP,
        ),
    ),
    works=(
        WorkRow(text="Posts and clamps cleaned", detail="0.4 h", net="25.00"),
        WorkRow(text="Terminal protection", net="4.50"),
    ),
    state="put right and shown",
)
LEAD = AccountRow(
    point="Shakes at idle",
    what="Plug lead 2 cracked",
    cause="The misfire moved with the lead to the next cylinder.",
    proofs=(
        ProofRow(
            name="Missed sparks in 1000 turns",
            before="62",
            now="1",
            usual="at most 20",
            strip=MISFIRES,
        ),
    ),
    works=(
        WorkRow(text="Plug leads replaced", detail="0.5 h", net="31.25"),
        WorkRow(text="Set of plug leads", detail="part 2207-4, new", net="58.00"),
        WorkRow(text="Spark plugs, 4", detail="part 118-6, new", net="36.00"),
    ),
    state="put right and shown",
)
PASSAGE = AccountRow(
    point="",
    what="Exhaust return choked with carbon",
    cause="The valve moved, but no exhaust gas came through.",
    proofs=(
        ProofRow(
            name="Pressure rise with the valve open",
            before="0.6 kPa",
            now="9.0 kPa",
            usual="at least 3 kPa",
            strip=RISE,
        ),
    ),
    works=(
        WorkRow(text="Valve and passages cleaned", detail="1.2 h", net="75.00"),
        WorkRow(text="Gasket", detail="part 9-118, new", net="6.50"),
        WorkRow(text="Cleaning fluid", net="5.00"),
        WorkRow(text="Test drive with readings", net="", reason="not charged: goodwill"),
    ),
    state="put right and shown",
)
ENGINE_LAMP = AccountRow(
    point="Engine lamp is on",
    what="Not read again after the work",
    cause="Stored on arrival: too little exhaust return, misfire in cylinder 2.",
    proofs=(ProofRow(name="Lamp after the test drive", seen="off"),),
    state="Done, not shown yet",
    next="Read it again after a week: 20.00",
)

WHO: tuple[tuple[str, tuple[str | Personal, ...]], ...] = (
    ("From", ("2 Example Yard, 00000 Nowhere · 000 0000",)),
    ("Tax number", ("DEMO-TAX-0001",)),
    ("For", (Personal("name", "h-name"), ", ", Personal("address", "h-address"))),
    ("Vehicle", (Personal("description", "h-told"),)),
    ("Plate", (Personal("plate", "h-plate"),)),
    ("Odometer", ("98 400 km",)),
)


def curve(title: str, heights: Sequence[float], description: str) -> Picture:
    """Current over the hour after locking, as a picture."""
    times = (0.0, 4.0, 9.0, 15.0, 22.0, 30.0, 60.0)
    points = tuple((x + 5, y + 0.4) for x, y in zip(times, heights, strict=True))
    return Picture(
        figure=Figure(
            width=67,
            height=3.1,
            height_mm=34,
            title=title,
            description=description,
            marks=(
                Band(5, 0.4, 65, 0.45, shade=0.25),
                Polyline(((5, 0.4), (65, 0.4)), weight=0.5),
                Polyline(((5, 0.4), (5, 2.9)), weight=0.5),
                Polyline(points, weight=1.1),
                Dot(65, points[-1][1]),
                *(Label(x + 5, 0.1, f"{x:.0f} min") for x in (0, 20, 40, 60)),
                *(Label(4.2, y + 0.35, f"{y:.0f} A", anchor="end") for y in (0, 1, 2)),
            ),
        )
    )


EVIDENCE: tuple[Block, ...] = (
    Heading(text="Readings"),
    Readings(
        rows=(
            ReadingRow(
                name="Voltage under load",
                before="8.40 V ± 0.06 V",
                after="10.30 V ± 0.07 V",
                limit="at least 9.30 V after 15 s [1]",
                note="340 A for 15 s at 4 °C; after: 360 A",
                strip=LOAD,
            ),
            ReadingRow(
                name="Rest voltage",
                before="12.18 V ± 0.06 V",
                after="12.86 V ± 0.06 V",
                limit="at least 12.40 V to be tested [1]",
                note="9 h at rest, 4 °C",
                strip=Strip(
                    unit="V",
                    low_end=11.5,
                    high_end=13.0,
                    allowed_low=12.4,
                    reading=12.86,
                    uncertainty=0.06,
                    before=12.18,
                    before_uncertainty=0.06,
                ),
            ),
            ReadingRow(
                name="Charging voltage",
                before="14.31 V ± 0.09 V",
                limit="13.8 V to 14.9 V [2]",
                note="engine at 1500 rpm, headlamps on",
                strip=CHARGING,
            ),
            ReadingRow(
                name="Key-off drain",
                before="380 mA ± 4 mA",
                after="18 mA ± 2 mA",
                limit="at most 50 mA [3]",
                note="60 min after locking",
                strip=DRAIN,
            ),
            ReadingRow(name="Odometer", before="98 400 km", note="as shown on the panel"),
        )
    ),
    Heading(text="Sources", level=2),
    Paragraph(words=("[1] Starter battery standard, load table (read)",), tone="small"),
    Paragraph(words=("[2] Label under the bonnet (this vehicle)",), tone="small"),
    Paragraph(words=("[3] Common practice, no source; it only advises.",), tone="small"),
    Heading(text="After locking the car"),
    curve(
        "Current before the lamp was unplugged",
        (2.4, 2.3, 1.1, 0.9, 0.46, 0.4, 0.38),
        "The current falls in steps for half an hour and then stays at 0.38 A, far above the band.",
    ),
    curve(
        "Current after",
        (2.4, 2.2, 0.9, 0.6, 0.12, 0.03, 0.02),
        "The current falls in steps and then stays at 0.02 A, inside the band.",
    ),
    Heading(text="What the findings rest on"),
    Findings(
        rows=(
            FindingRow(
                text="The battery does not hold its voltage under load: 8.40 V, allowed at least 9.30 V.",
                verdict="fail",
                urgency="before driving",
                basis="Load test at half the cold-cranking rating for 15 s, corrected to 4 °C.",
                stage="arrival",
            ),
            FindingRow(
                text="Something draws current with the key off: 380 mA, allowed at most 50 mA.",
                verdict="advice",
                urgency="this visit",
                basis="The limit is common practice without a source, so this is advice and no verdict.",
                stage="arrival",
            ),
        )
    ),
    Statement(title="Not looked at", words=("Brakes, tyres and steering; the acid level (sealed lid).",)),
)


def paper(
    rows: Sequence[AccountRow],
    *,
    answer: str,
    proof: str = "",
    said: str = "h-words",
    symptoms: str = "does not crank",
    total: str = "366.60",
    facts: tuple[tuple[str, str, bool], ...] | None = None,
    totals: tuple[tuple[str, str, bool], ...] | None = None,
    steps: tuple[tuple[str, tuple[str | Personal, ...]], ...] | None = None,
    approval: ApprovalForm | None = None,
    kind: DocumentKind = DocumentKind.INVOICE,
    title: str = "Invoice 2026-A0001",
    evidence: Sequence[Block] = EVIDENCE,
    code: bool = True,
    **change: object,
) -> Document:
    """A paper of form 2 with these rows."""
    blocks: list[Block] = [
        Pairs(rows=WHO),
        Answer(
            said=(Personal("words", said),),
            symptoms=symptoms,
            text=answer,
            proof=proof,
            facts=facts
            or (
                ("Total", f"{total} EUR", True),
                ("Paid", "in cash, nothing left to pay", False),
                ("Next", "nothing of what was tested", False),
            ),
        ),
        Account(rows=tuple(rows), currency="EUR"),
    ]
    if approval is not None:
        blocks.append(approval)
    blocks += [
        NextSteps(
            rows=steps
            or (
                ("Open", ("Nothing, of what was tested.",)),
                (
                    "Not looked at",
                    ("The acid level (sealed lid). We say nothing about the rest of the car.",),
                ),
                ("Guarantee", ("12 months on parts and work of this invoice, beside your rights by law.",)),
                ("Old parts", ("The old battery was taken back by us.",)),
            )
        ),
        Totals(
            rows=totals
            or (
                ("Work", "137.50", False),
                ("Parts", "168.00", False),
                ("Tax 20 % of 305.50", "61.10", False),
                ("Total EUR", total, True),
                ("Approved before the work", total, False),
                ("Paid in cash, 28 Nov 2026", total, False),
                ("Still to pay", "0.00", True),
            ),
            currency="EUR",
        ),
    ]
    if code:
        blocks.append(Code(document_id="b1f2c3d4", link=1, record_mark=MARK))
    if evidence:
        blocks += [Evidence(title="How we know"), *evidence]
    document = Document(
        id="b1f2c3d4",
        kind=kind,
        number="" if kind is DocumentKind.ESTIMATE else "2026-A0001",
        title=title,
        shop="Kerbside Example Mechanics",
        issued="28 Nov 2026",
        currency="EUR",
        total=total,
        blocks=tuple(blocks),
        demo=True,
        form=2,
    )
    return attrs.evolve(document, **change)  # type: ignore[arg-type]


def battery_and_drain() -> Document:
    return paper(
        (BATTERY, LAMP_STAYED_ON, VISIT),
        answer="Put right: a worn-out battery, and a lamp that stayed on and drained it.",
        proof=(
            "Both were measured again after the work and are now as they should be. Parked as it is, the car"
            " should still start after two months."
        ),
    )


def three_faults_and_a_lamp() -> Document:
    return paper(
        (CONNECTIONS, LEAD, PASSAGE, ENGINE_LAMP, VISIT),
        answer="Put right: three faults. Not checked again: the engine lamp.",
        proof="All three were measured again after the work and are now as they should be.",
        said="h-three",
        symptoms="starts badly; shakes at idle; engine lamp",
        steps=(
            ("Open", ("The engine lamp: read it again after a week of driving, 20.00.",)),
            ("Declined", ("Thermostat replaced, 84.00.",)),
            ("Not looked at", ("Brakes, tyres, steering. We say nothing about the rest of the car.",)),
            ("Guarantee", ("12 months on parts and work of this invoice, beside your rights by law.",)),
        ),
    )


def check_up() -> Document:
    return paper(
        (
            AccountRow(
                point="A check-up",
                what="Nothing wrong was found",
                proofs=(
                    ProofRow(
                        name="Voltage while it starts the engine",
                        now="10.3 V",
                        usual="at least 9.3 V",
                        strip=attrs.evolve(LOAD, before=None),
                    ),
                    ProofRow(name="Charging", now="14.3 V", usual="13.8 V to 14.9 V", strip=CHARGING),
                    ProofRow(
                        name="Drawn while parked and locked",
                        now="18 mA",
                        usual="at most 50 mA",
                        strip=attrs.evolve(DRAIN, before=None),
                    ),
                ),
                works=(WorkRow(text="Check of battery and charging", detail="0.5 h", net="31.25"),),
                state="In order",
            ),
        ),
        answer="Battery, its connections and the charging are as they should be.",
        proof="Parked as it is, the car should still start after two months.",
        said="h-check",
        total="37.50",
        totals=(
            ("Work", "31.25", False),
            ("Tax 20 % of 31.25", "6.25", False),
            ("Total EUR", "37.50", True),
            ("Paid by card, 28 Nov 2026", "37.50", False),
            ("Still to pay", "0.00", True),
        ),
        evidence=EVIDENCE[:2],
    )


def undecided() -> Document:
    return paper(
        (
            AccountRow(
                point="Cranks slowly",
                what="Not found yet",
                cause="The battery's reading is too close to the limit to say whether it is worn out.",
                proofs=(
                    ProofRow(
                        name="Voltage while it starts the engine",
                        before="9.46 V",
                        usual="at least 9.54 V",
                        strip=CLOSE_CALL,
                    ),
                ),
                works=(WorkRow(text="Diagnosis, flat rate", net="30.00"),),
                state="Not found",
                next="Charge it fully and test it once more: 45.00",
            ),
        ),
        answer="We cannot say yet whether the battery is worn out.",
        proof="Its reading lies too close to the limit; you paid for the search only.",
        total="36.00",
        facts=(
            ("Total", "36.00 EUR", True),
            ("Still to pay", "36.00 EUR", True),
            ("Next", "charge it fully and test it once more, 45.00", False),
        ),
        totals=(
            ("Work", "30.00", False),
            ("Tax 20 % of 30.00", "6.00", False),
            ("Total EUR", "36.00", True),
            ("Still to pay, by transfer until 12 Dec 2026", "36.00", True),
        ),
        steps=(
            ("Open", ("Cranks slowly: charge the battery fully and test it once more, 45.00.",)),
            ("Not looked at", ("Starter and its cables. We say nothing about the rest of the car.",)),
        ),
        evidence=EVIDENCE[:2],
    )


def estimate() -> Document:
    def proposed(row: AccountRow) -> AccountRow:
        proofs = tuple(
            attrs.evolve(
                proof,
                now="",
                strip=proof.strip
                and attrs.evolve(
                    proof.strip,
                    reading=proof.strip.before,
                    uncertainty=proof.strip.before_uncertainty,
                    before=None,
                ),
            )
            for proof in row.proofs
        )
        return attrs.evolve(row, proofs=proofs, state="Proposed")

    return paper(
        (proposed(BATTERY), proposed(LAMP_STAYED_ON)),
        answer="Found: a worn-out battery, and something that draws current while parked.",
        proof="Locked and parked, the car used about eight times as much current as usual.",
        kind=DocumentKind.ESTIMATE,
        title="Estimate repair 1",
        total="306.60",
        facts=(
            ("This estimate", "306.60 EUR", True),
            ("Approved before", "60.00 EUR", False),
            ("Together", "366.60 EUR", True),
        ),
        totals=(
            ("Work", "87.50", False),
            ("Parts", "168.00", False),
            ("Tax 20 % of 255.50", "51.10", False),
            ("This estimate EUR", "306.60", True),
            ("Approved before", "60.00", False),
            ("Together", "366.60", True),
        ),
        steps=(
            ("Not looked at", ("The acid level (sealed lid). We say nothing about the rest of the car.",)),
            ("Guarantee", ("12 months on parts and work, beside your rights by law.",)),
        ),
        approval=ApprovalForm(
            works=(
                ("Battery replaced, with battery 70 Ah, 720 A, AGM", "205.50"),
                ("Drain found and cured", "50.00"),
            ),
            valid_until="28 Dec 2026",
            otherwise="If nothing is done: the car will not start after about three days at the kerb.",
        ),
    )


def full_sheet() -> Document:
    """Long names, three faults and twelve lines: what one sheet must still bear."""
    rows = [
        attrs.evolve(
            CONNECTIONS,
            point="Starts badly in the morning, and after standing for two days",
            what="Connections between battery, earth strap and starter corroded",
            works=(
                WorkRow(text="Posts, clamps and earth strap cleaned", detail="0.4 h", net="25.00"),
                WorkRow(
                    text="Earth strap, battery to body", detail="part 8K0-971-250-DEMO, new", net="24.50"
                ),
                WorkRow(text="Terminal protection", net="4.50"),
            ),
        ),
        attrs.evolve(LEAD, works=(*LEAD.works,)),
        attrs.evolve(PASSAGE, works=PASSAGE.works),
        attrs.evolve(VISIT, works=VISIT.works),
    ]
    return paper(
        rows,
        answer=(
            "Put right: corroded connections, a cracked plug lead, and an exhaust return choked with carbon."
        ),
        proof="All three were measured again after the work and are now as they should be.",
        said="h-long",
        shop="Kerbside Example Mechanics and Vehicle Electrical Services of Nowhere",
        title="Invoice 2026-A0001",
        totals=(
            ("Work", "1,137.50", False),
            ("Parts", "168.00", False),
            ("Tax 20 % of 1,137.50", "227.50", False),
            ("Tax 5 % of 168.00", "8.40", False),
            ("Total EUR", "1,541.40", True),
            ("Approved before the work", "1,541.40", False),
            ("Paid in cash, 28 Nov 2026", "541.40", False),
            ("Still to pay", "1,000.00", True),
        ),
        total="1,541.40",
        steps=(
            ("Open", ("The engine lamp: read it again after a week of driving, 20.00.",)),
            ("Declined", ("Thermostat replaced, 84.00.",)),
            ("Not looked at", ("Brakes, tyres, steering. We say nothing about the rest of the car.",)),
            ("Guarantee", ("12 months on parts and work of this invoice, beside your rights by law.",)),
        ),
    )


ALL = {
    "battery": battery_and_drain,
    "three": three_faults_and_a_lamp,
    "check": check_up,
    "undecided": undecided,
    "estimate": estimate,
    "full": full_sheet,
}
