"""The form of a visit file as records, which `datafile.structured` fills.

Every field may be absent here: which ones must be given depends on the row, and the row's own reader says so.
"""

from __future__ import annotations

from decimal import Decimal

from ..datafile import Count, Day, Moment, Quantity, Words, alone, table
from ..model.records import Instrument


@table
class CustomerRow:
    name: str | None = None
    phone: str | None = None
    address: str | None = None
    email: str | None = None
    tax_number: str | None = None
    order_number: str | None = None
    language: str | None = None


@table
class VehicleRow:
    plate: str | None = None
    vin: str | None = None
    description: str | None = None
    odometer: Quantity | None = None
    no_vin: str | None = None


@table
class InstrumentRow:
    kind: str | None = None
    accuracy: Quantity | None = None
    ranges: dict[str, Quantity | None] | None = None
    step: Quantity | None = None
    calibrated: Day | None = None
    interval: str | None = None
    for_: list[str | None] | None = None

    def record(self, name: str) -> Instrument:
        return Instrument(
            name=name,
            accuracy=self.accuracy or "",
            ranges={label: step for label, step in (self.ranges or {}).items() if step is not None},
            calibrated=self.calibrated or "",
            kind=self.kind or "",
            step=self.step or "",
            interval=self.interval or "",
        )


@table
class SpecificationRow:
    of: str | None = None
    low: Quantity | None = None
    high: Quantity | None = None
    from_: str | None = None
    confirmed: bool | None = None
    withdrawn: str | None = None


@table
class SetupValue:
    """A setup value; one that needs no more than its text is written as that."""

    is_: Quantity | None = alone(default=None)
    with_: str | None = None
    range_: str | None = None
    confirmed: bool | None = None


@table
class OriginRow:
    """Where a row comes from that nobody typed: a file with its hash and a stretch of it, or the bus and the
    control unit.
    """

    file: str | None = None
    sha256: str | None = None
    lines: str | None = None
    time: str | None = None
    bus: str | None = None
    said: str | None = None

    @property
    def words(self) -> str:
        lines = f"lines {self.lines}" if self.lines else ""
        digest = f"SHA-256 {self.sha256}" if self.sha256 else ""
        return ", ".join(filter(None, (self.file, self.bus, self.said, lines, self.time, digest)))


@table
class ReadingForm:
    of: str | None = None
    place: str | None = None
    is_: Quantity | None = None
    with_: str | None = None
    range_: str | None = None
    confirmed: bool | None = None
    taken: Moment | None = None
    origin: OriginRow | None = None
    withdrawn: str | None = None


@table
class RecordRow:
    """A record; each point is `"0 s: 2.1 A"` or `["0 s", "2.1 A"]`.

    `content` is what stands in the file, where it does not lie beside the visit file.
    """

    of: str | None = None
    place: str | None = None
    file: str | None = None
    content: str | None = None
    points: list[Words | None] | None = None
    units: list[str | None] | None = None
    decimal: str | None = None
    with_: str | None = None
    range_: str | None = None
    confirmed: bool | None = None
    taken: Moment | None = None
    origin: OriginRow | None = None
    withdrawn: str | None = None


@table
class SeenRow:
    of: str | None = None
    place: str | None = None
    is_: str | None = None
    cannot: str | None = None
    words: str | None = None
    cleared: str | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@table
class CodesRow:
    """Trouble codes by the list that the control unit gave them in; an empty list says that it was read and
    holds none.
    """

    stored: list[str | None] | None = None
    pending: list[str | None] | None = None
    permanent: list[str | None] | None = None
    cannot: str | None = None
    taken: Moment | None = None
    origin: OriginRow | None = None
    withdrawn: str | None = None


@table
class RequestedStep:
    operation: str | None = None
    work: str | None = None
    ground: str | None = None
    because: str | None = None
    of: str | None = None
    withdrawn: str | None = None


@table
class ServicedStep:
    work: str | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@table
class PricedPartRow:
    name: str | None = None
    price: str | None = None
    quantity: str | None = None
    unit: str | None = None
    number: str | None = None
    condition: str | None = None
    tax: str | None = None


@table
class PricedStep:
    operation: str | None = None
    hours: str | None = None
    tax: str | None = None
    parts: list[PricedPartRow | None] | None = None
    withdrawn: str | None = None


@table
class RemarkedStep:
    words: str | None = None
    cleared: str | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@table
class ComplaintRow:
    symptoms: list[str | None] | None = None
    when: list[str | None] | None = None
    shows: str | None = None


@table
class ComplaintAgainStep:
    is_: str | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@table
class TriedStep:
    part: str | None = None
    place: str | None = None
    how: str | None = None
    with_: str | None = None
    result: str | None = None
    before: bool | None = None
    ago: Quantity | None = None
    words: str | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@table
class ArrivedStep:
    odometer: Quantity | None = None
    same_trip_as: str | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@table
class PlannedStep:
    on: Day | None = None
    time: str | None = None
    place: str | None = None
    what: str | None = None
    withdrawn: str | None = None


@table
class RecalledStep:
    on: Day | None = None
    what: str | None = None
    withdrawn: str | None = None


@table
class LeftStep:
    because: str | None = None
    back: Day | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@table
class StartedStep:
    of: str | None = None
    place: str | None = None
    wait: Quantity | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@table
class WaivedStep:
    operation: str | None = None
    charge: str | None = None
    because: str | None = None
    of: str | None = None
    withdrawn: str | None = None


@table
class EndedStep:
    how: str | None = None
    because: str | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@table
class ApprovedStep:
    estimate: str | None = None
    total: str | None = None
    by: str | None = None
    how: str | None = None
    declined: list[str | None] | None = None
    cancellation: str | None = None
    taken: Moment | None = None


@table
class ChargedStep:
    operation: str | None = None
    hours: Count | None = None
    part: str | None = None
    quantity: Count | None = None
    because: str | None = None
    withdrawn: str | None = None


@table
class ApprovedMoreStep:
    operation: str | None = None
    amount: str | None = None
    by: str | None = None
    how: str | None = None
    because: str | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@table
class PaidStep:
    amount: str | None = None
    how: str | None = None
    taken: Moment | None = None
    withdrawn: str | None = None


@table
class DiscountedStep:
    operation: str | None = None
    percent: Decimal | None = None
    because: str | None = None
    withdrawn: str | None = None


@table
class WrittenOffStep:
    amount: str | None = None
    because: str | None = None
    withdrawn: str | None = None


@table
class StepRow:
    arrived: ArrivedStep | None = None
    remarked: RemarkedStep | None = None
    approved: ApprovedStep | None = None
    setup: dict[str, SetupValue | None] | None = None
    readings: list[ReadingForm | None] | None = None
    records: list[RecordRow | None] | None = None
    seen: list[SeenRow | None] | None = None
    codes: CodesRow | None = None
    tried: TriedStep | None = None
    complaint_again: ComplaintAgainStep | None = None
    requested: RequestedStep | None = None
    planned: PlannedStep | None = None
    recalled: RecalledStep | None = None
    started: StartedStep | None = None
    repaired: dict[str, Quantity | None] | None = None
    serviced: ServicedStep | None = None
    priced: PricedStep | None = None
    waived: WaivedStep | None = None
    charged: ChargedStep | None = None
    approved_more: ApprovedMoreStep | None = None
    old_parts: str | None = None
    discounted: DiscountedStep | None = None
    paid: PaidStep | None = None
    refunded: PaidStep | None = None
    announced: PaidStep | None = None
    written_off: WrittenOffStep | None = None
    left: LeftStep | None = None
    ended: EndedStep | None = None


@table
class VisitForm:
    job: str | None = None
    demo: bool | None = None
    reason: str | None = None
    complaint: ComplaintRow | None = None
    customer: CustomerRow | None = None
    vehicle: VehicleRow | None = None
    traits: dict[str, Quantity | None] | None = None
    instruments: dict[str, InstrumentRow | None] | None = None
    specification: list[SpecificationRow | None] | None = None
    step: list[StepRow | None] | None = None
