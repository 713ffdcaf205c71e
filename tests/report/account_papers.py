"""Papers of form 2 of an invented shop: an account, the bill, and the evidence behind.

Every figure is invented; sums by hand.
"""

from __future__ import annotations

from typing import Any

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
    Heading,
    NextSteps,
    Pairs,
    Paragraph,
    Picture,
    ProofRow,
    ReadingRow,
    Readings,
    Totals,
    WorkRow,
)
from corekit.model.figure import Strip
from corekit.model.personal import Personal

from .sample import MARK, drain_figure

WHO = (
    ("For", (Personal("name", "h-name"), ", ", Personal("phone", "h-phone"))),
    ("Vehicle", (Personal("description", "h-told"), ", plate ", Personal("plate", "h-plate"), ", 98 400 km")),
    ("Work done", ("28 Nov 2026",)),
)
SAID = (Personal("words", "h-words"),)

LOAD = Strip(
    unit="V",
    low_end=7,
    high_end=12,
    allowed_low=9.3,
    reading=10.3,
    uncertainty=0.07,
    before=8.4,
    before_uncertainty=0.06,
)
DRAW = Strip(
    unit="mA",
    low_end=0,
    high_end=400,
    allowed_high=50,
    reading=18,
    uncertainty=2,
    before=380,
    before_uncertainty=4,
)

BATTERY = AccountRow(
    point="It does not start after standing",
    what="Battery worn out",
    cause="Although charged, it dropped too low when loaded the way a starter loads it.",
    proofs=(
        ProofRow(
            name="Voltage while loaded like a starter",
            before="8.4 V",
            now="10.3 V",
            usual="a sound battery keeps 9.3 V",
            strip=LOAD,
        ),
    ),
    works=(
        WorkRow(text="Battery replaced", detail="0.6 h", net="37.50"),
        WorkRow(text="Starter battery", detail="AGM 70 Ah, new", net="168.00"),
    ),
    state="put right and shown",
)
LAMP = AccountRow(
    point="It does not start after standing",
    what="A lamp stayed on while parked",
    cause="The switch of the glove-box lamp did not open.",
    proofs=(
        ProofRow(
            name="Current used while locked and parked",
            before="380 mA",
            now="18 mA",
            usual="at most 50 mA",
            strip=DRAW,
        ),
    ),
    works=(WorkRow(text="Drain found and cured", detail="0.8 h", net="50.00"),),
    state="put right and shown",
)
CAME = AccountRow(
    point="",
    what="You asked us to come and look",
    works=(
        WorkRow(text="Call-out", net="20.00"),
        WorkRow(text="Diagnosis", detail="flat rate", net="30.00"),
    ),
)

BILL = Totals(
    currency="EUR",
    rows=(
        ("Work", "137.50", False),
        ("Parts", "168.00", False),
        ("Tax 20 % on 305.50", "61.10", False),
        ("Total", "366.60", True),
        ("Approved before the work", "366.60", False),
        ("Paid in cash, 28 Nov 2026", "366.60", False),
        ("Still to pay", "0.00", True),
    ),
)

READINGS = Readings(
    rows=(
        ReadingRow(
            name="Voltage under load",
            before="8.40 V",
            after="10.30 V",
            limit="at least 9.28 V after 15 s",
            source="Source 1",
            note="340 A for 15 s at 4 °C; after: 360 A",
            strip=LOAD,
        ),
        ReadingRow(
            name="Key-off drain",
            before="380 mA",
            after="18 mA",
            limit="at most 50 mA",
            source="Source 2",
            note="60 min after locking",
            strip=DRAW,
        ),
        ReadingRow(name="Odometer", before="98 400 km", note="as shown on the panel"),
    )
)

BEHIND: tuple[Block, ...] = (
    Evidence(title="How we know"),
    Heading(text="Readings"),
    READINGS,
    Picture(figure=drain_figure()),
    Heading(text="Sources"),
    Pairs(rows=(("1", ("Starter battery standard, load table",)), ("2", ("common practice, no source",)))),
    Heading(text="Not looked at", level=2),
    Paragraph(words=("The acid level could not be seen: the lid is sealed.",)),
)


def invoice(*rows: AccountRow, **changes: Any) -> Document:
    """An invoice over these rows: a worn battery and a lamp that drained it, unless it is told otherwise."""
    answer: Answer = changes.pop("answer", None) or Answer(
        said=SAID,
        symptoms="It does not start after standing",
        text="Put right: a worn-out battery, and a lamp that stayed on and drained it.",
        proof="Parked as it is, the car should still start after two months.",
        facts=(
            ("Total", "366.60 EUR", True),
            ("Paid", "in cash, 28 Nov 2026", False),
            ("Next", "nothing, of what we tested", False),
        ),
    )
    next_steps = changes.pop("next_steps", None) or NextSteps(
        rows=(
            ("Open", ("Nothing, of what we tested: battery, connections, charging, drain while parked.",)),
            ("Not looked at", ("The acid level: the lid is sealed.",)),
            ("Guarantee", ("12 months on parts and work, beside your rights by law.",)),
            ("Removed parts", ("The old battery was taken back by us.",)),
        )
    )
    front = changes.pop("front", None) or (
        Pairs(rows=WHO),
        answer,
        Account(rows=rows or (BATTERY, LAMP, CAME), currency="EUR"),
        next_steps,
        changes.pop("bill", BILL),
        Code(document_id="b1f2c3d4", link=1, record_mark=MARK),
    )
    paper = Document(
        id="b1f2c3d4",
        kind=DocumentKind.INVOICE,
        title="Invoice 2026-A0001",
        number="2026-A0001",
        shop="Example Driveway Repairs",
        issued="28 Nov 2026",
        currency="EUR",
        total="366.60",
        blocks=(*front, *BEHIND),
        form=2,
    )
    return attrs.evolve(paper, **changes)


def three_faults() -> Document:
    """Three points of a complaint, three faults of three systems, and a lamp that was not read again."""

    def proof(name: str, before: str, now: str, usual: str, strip: Strip) -> tuple[ProofRow, ...]:
        return (ProofRow(name=name, before=before, now=now, usual=usual, strip=strip),)

    contact = AccountRow(
        point="It cranks slowly",
        what="Battery connections corroded",
        cause="Starting lost a tenth of the voltage on the way from the battery.",
        proofs=proof(
            "Voltage lost at the battery's connections",
            "0.90 V",
            "0.02 V",
            "next to nothing",
            Strip(
                unit="V",
                low_end=0,
                high_end=1,
                allowed_high=0.05,
                reading=0.02,
                uncertainty=0.01,
                before=0.9,
                before_uncertainty=0.02,
            ),
        ),
        works=(
            WorkRow(text="Posts and clamps cleaned and tightened", detail="0.4 h", net="25.00"),
            WorkRow(text="Terminal protection", detail="new", net="4.50"),
        ),
        state="put right and shown",
    )
    lead = AccountRow(
        point="It shakes at idle",
        what="Plug lead 2 cracked: cylinder 2 misfired",
        cause="The misfire moved with the lead to the next cylinder.",
        proofs=proof(
            "Sparks that failed in 1000 turns of the engine",
            "62",
            "1",
            "at most 20",
            Strip(
                unit="", low_end=0, high_end=80, allowed_high=20, reading=1, uncertainty=1, before=62,
                before_uncertainty=8,
            ),
        ),
        works=(
            WorkRow(text="Plug leads replaced", detail="0.5 h", net="31.25"),
            WorkRow(text="Set of plug leads", detail="new", net="58.00"),
        ),
        state="put right and shown",
    )  # fmt: skip
    passage = AccountRow(
        point="The engine lamp is on",
        what="Exhaust return passage choked with carbon",
        cause="The valve moved, but no exhaust gas came through.",
        proofs=proof(
            "Pressure rise with the valve open",
            "0.6 kPa",
            "9.0 kPa",
            "at least 3 kPa",
            Strip(
                unit="kPa", low_end=0, high_end=12, allowed_low=3, reading=9, uncertainty=0.3, before=0.6,
                before_uncertainty=0.3,
            ),
        ),
        works=(
            WorkRow(text="Valve and passages cleaned", detail="1.2 h", net="75.00"),
            WorkRow(text="Gasket", detail="new", net="6.50"),
        ),
        state="put right and shown",
    )  # fmt: skip
    lamp = AccountRow(
        point="The engine lamp is on",
        what="Codes P0302 and P0401 on arrival",
        state="not read again after the work",
        next="Read the codes again: no charge",
    )
    return invoice(
        contact,
        lead,
        passage,
        lamp,
        CAME,
        answer=Answer(
            said=(Personal("words", "h-words"),),
            symptoms="It cranks slowly; it shakes at idle; the engine lamp is on",
            text="Put right: three faults. Not checked again: the engine lamp.",
            proof="All three were measured again after the work and are within their limits.",
            facts=(
                ("Total", "300.30 EUR", True),
                ("Still to pay", "300.30 EUR", True),
                ("Next", "read the lamp's codes again, no charge", False),
            ),
        ),
        next_steps=NextSteps(
            rows=(
                ("Next", ("Read the codes of the engine lamp again: no charge.",)),
                ("Not looked at", ("Charging voltage, drain while parked.",)),
                ("Guarantee", ("12 months on parts and work, beside your rights by law.",)),
            )
        ),
        bill=Totals(
            currency="EUR",
            rows=(
                ("Work", "181.25", False),
                ("Parts", "69.00", False),
                ("Tax 20 % on 250.25", "50.05", False),
                ("Total", "300.30", True),
                ("Approved before the work", "300.30", False),
                ("Still to pay", "300.30", True),
            ),
        ),
        title="Invoice 2026-A0004",
        number="2026-A0004",
        total="300.30",
    )


def undecided() -> Document:
    """One reading too close to its limit, nothing done, and the next step with its price."""
    row = AccountRow(
        point="It does not start after standing",
        what="Battery: too close to call",
        cause="Its reading is too close to the limit to say whether it is worn out.",
        proofs=(
            ProofRow(
                name="Voltage while loaded like a starter",
                before="9.46 V",
                usual="a sound battery keeps 9.54 V",
                strip=Strip(unit="V", low_end=7, high_end=12, allowed_low=9.54, reading=9.46,
                            uncertainty=0.12),
            ),
        ),
        state="not found yet",
        next="Charge it fully, then test once more: 30.00",
    )  # fmt: skip
    return invoice(
        row,
        CAME,
        answer=Answer(
            said=SAID,
            symptoms="It does not start after standing",
            text="We cannot say yet whether the battery is worn out.",
            facts=(
                ("Total", "60.00 EUR", True),
                ("Paid", "by card, 28 Nov 2026", False),
                ("Next", "charge fully and test once more, 36.00 EUR", False),
            ),
        ),
        next_steps=NextSteps(rows=(("Next", ("Charge fully and test once more: 36.00 EUR.",)),)),
        bill=Totals(
            currency="EUR",
            rows=(("Tax 20 % on 50.00", "10.00", False), ("Total", "60.00", True), ("Paid", "60.00", False)),
        ),
        title="Invoice 2026-A0003",
        number="2026-A0003",
        total="60.00",
    )


def all_normal() -> Document:
    """A check-up: nothing wrong was found."""
    row = AccountRow(
        point="A check before a long trip",
        what="Battery, connections and charging",
        proofs=(
            ProofRow(
                name="Charging voltage",
                now="14.3 V",
                usual="14.2 to 14.9 V",
                strip=Strip(
                    unit="V", low_end=13, high_end=15.5, allowed_low=14.2, allowed_high=14.9, reading=14.3,
                    uncertainty=0.05,
                ),
            ),
            ProofRow(name="Posts and clamps", seen="clean and tight"),
        ),
        works=(WorkRow(text="Check-up", net="", reason="under guarantee"),),
        state="in order",
    )  # fmt: skip
    return invoice(
        row,
        answer=Answer(
            said=("Please check it before the holiday.",),
            symptoms="",
            text="All that we tested is in order.",
            facts=(("Total", "0.00 EUR", True),),
        ),
        next_steps=NextSteps(rows=()),
        bill=Totals(currency="EUR", rows=(("Total", "0.00", True),)),
        total="0.00",
    )


def estimate() -> Document:
    """What was found, what is proposed and why, what it costs with what was approved before."""
    battery = attrs.evolve(
        BATTERY,
        proofs=(
            attrs.evolve(
                BATTERY.proofs[0],
                now="",
                strip=attrs.evolve(LOAD, reading=8.4, uncertainty=0.06, before=None, before_uncertainty=0.0),
            ),
        ),
        works=(
            WorkRow(text="Replace the battery", detail="0.6 h", net="37.50"),
            WorkRow(text="Starter battery", detail="AGM 70 Ah, new", net="168.00"),
        ),
        state="proposed",
    )
    return Document(
        id="e5f6a7b8",
        kind=DocumentKind.ESTIMATE,
        title="Estimate 1 of job A17",
        shop="Example Driveway Repairs",
        issued="28 Nov 2026",
        currency="EUR",
        total="246.60",
        blocks=(
            Pairs(rows=WHO),
            Answer(
                said=SAID,
                symptoms="It does not start after standing",
                text="Proposed: replace the worn-out battery.",
                facts=(
                    ("This work", "246.60 EUR", True),
                    ("With what you approved before", "306.60 EUR", False),
                ),
            ),
            Account(rows=(battery,), currency="EUR"),
            ApprovalForm(
                works=(("Replace the battery", "205.50"),),
                valid_until="28 Dec 2026",
                otherwise="The car may not start after a cold night.",
            ),
            NextSteps(rows=(("Not looked at", ("Charging voltage.",)),)),
            Totals(currency="EUR", rows=(("Tax 20 % on 205.50", "41.10", False), ("Total", "246.60", True))),
            *BEHIND,
        ),
        form=2,
    )  # fmt: skip


PAPERS = {
    "worn battery and drain": invoice,
    "three faults and a lamp": three_faults,
    "undecided": undecided,
    "all normal": all_normal,
    "estimate": estimate,
}
