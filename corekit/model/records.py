"""What an entry's body says, one class per kind of statement.

Every field is plain JSON data (texts, numbers, lists, dicts) so that a body is `attrs.asdict(record)` and a
record is `Class(**body)`. Fields that may hold a person's words are `Personal` in memory and `{"personal":
kind, "hash": h}` in the body; on the way in they are `PersonalText`, which the store exchanges for a
reference.

Numbers stand in the coherent unit of their kind, with what was typed beside them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Any

import attrs

from .bounds import AtLeast, OneOf
from .personal import KeptWords, Personal, PersonalText
from .public_words import (
    CANNOT,
    CLEARED,
    HOW_APPROVED,
    HOW_PAID,
    NO_VIN,
    SWAPPED_WITH,
    WHERE_FROM,
    WHY_CHANGED,
    WHY_CREDITED,
    WHY_LESS,
    WHY_WITHDRAWN,
    WHY_WRITTEN_OFF,
    PublicWords,
)

_Person = Personal | PersonalText | None
#: How many, or the how-manieth: never below zero, whoever wrote it.
Count = Annotated[int, AtLeast(0)]


def _personal(raw: Any) -> _Person:
    if isinstance(raw, Mapping):
        return Personal(raw["personal"], raw["hash"])
    return raw  # type: ignore[no-any-return]


def _words() -> Any:
    """A field for a person's words, absent by default."""
    return attrs.field(default=None, converter=_personal)


def _origin() -> Any:
    """Where a statement comes from that nobody typed, in words; a file's name may name a person."""
    return attrs.field(default=None, converter=_personal, metadata={"later": True})


def _later(default: Any) -> Any:
    """A field that came after the first journals were written: as long as it says nothing it is not in the
    body either.
    """
    return attrs.field(default=default, metadata={"later": True})


def _public(words: PublicWords, *, required: bool = False, later: bool = False) -> Any:
    """A field that says one of a closed list; other words are a person's, and kept with the persons."""
    return attrs.field(
        default=attrs.NOTHING if required else "",
        converter=words.read,
        metadata={"public": words, "later": later},
    )


def _declared_or(words: PublicWords) -> Any:
    """A field that says what a plugin declares or one of a closed list; other words are a person's."""
    return attrs.field(default="", converter=words.kept, metadata={"public": words})


@attrs.frozen(kw_only=True)
class Opened:
    """A job begins. `origin` is the name that the file or screen gives it, which may name a person; a plain
    text in journals of before. `words`: the complaint.
    """

    origin: str | Personal | PersonalText = attrs.field(converter=_personal)
    words: _Person = _words()
    demo: bool = False


@attrs.frozen(kw_only=True)
class Complained:
    """What the customer told, of the closed list: keys of symptoms and of circumstances, and how steadily it
    shows. The words stand with the beginning of the job.
    """

    symptoms: list[str] = attrs.field(factory=list)
    circumstances: list[str] = attrs.field(factory=list)
    shows: str = ""


@attrs.frozen(kw_only=True)
class Retold:
    """The complaint, looked at again after something was done: `result` of the results of a trial (gone,
    stayed, less, worse).
    """

    result: str
    stage: Count = 0


@attrs.frozen(kw_only=True)
class Tried:
    """Something was changed to see what comes of it.

    `part`: key of the part; `how` and `result`: keys of shared/trials.toml; `swapped_with`: the place it was
    exchanged with, one of a closed list, or a person's own words for it. `before`: it was done before this
    visit, and the complaint stood before it and after it, unless `result` says otherwise. `ago`: how long
    since, in seconds, with what was typed. `words`: what came of it in words, where no result fits.
    """

    part: str
    how: str
    result: str
    place: str = ""
    swapped_with: str = _declared_or(SWAPPED_WITH)
    stage: Count = 0
    before: bool = False
    ago: float | None = _later(None)
    ago_typed: str = _later("")
    words: _Person = _words()


#: Why a vehicle has no VIN yet, where a price was given by phone; whoever stands before the vehicle says
#: which one it is.
NOT_SEEN = "not seen yet"


@attrs.frozen(kw_only=True)
class Vehicle:
    """Which vehicle; a VIN may be missing, then `why_no_vin` says why.

    `vin_check` is `agrees`, `differs` or empty; `model_years` are the candidates that a VIN leaves open;
    `odometer` is in metres, `odometer_typed` as typed.
    """

    plate: _Person = _words()
    vin: _Person = _words()
    description: _Person = _words()
    why_no_vin: str = _public(NO_VIN)
    vin_check: str = ""
    model_years: list[int] = attrs.field(factory=list)
    odometer: float | None = None
    odometer_typed: str = ""


@attrs.frozen(kw_only=True)
class Customer:
    name: _Person = _words()
    phone: _Person = _words()
    address: _Person = _words()
    email: _Person = attrs.field(default=None, converter=_personal, metadata={"later": True})
    tax_number: _Person = attrs.field(default=None, converter=_personal, metadata={"later": True})
    order_number: _Person = attrs.field(default=None, converter=_personal, metadata={"later": True})
    language: str = _later("")


@attrs.frozen(kw_only=True)
class Fitted:
    """A trait's answer.

    `answer` for closed lists; kind and number for values; neither: don't know. True from stage `stage` on.
    """

    of: str
    typed: str
    stage: Count = 0
    answer: str = ""
    kind: str = ""
    number: float | None = None


@attrs.frozen(kw_only=True)
class Specified:
    """This vehicle's own limit.

    `where_from` is what it was read off (label, handbook); `confirmed`: odd, and really printed so.
    """

    of: str
    where_from: str = _public(WHERE_FROM, required=True)
    kind: str
    low: float | None = None
    high: float | None = None
    low_typed: str = ""
    high_typed: str = ""
    confirmed: bool = _later(False)


@attrs.frozen(kw_only=True)
class Instrument:
    """An instrument in use: accuracy as on its sheet, ranges as {"20 V": "0.01 V"} (range → its step).

    `kind` says in words what it is; `step` is that of a display with one range; `calibrated` is the day,
    `interval` how long that holds (`12 months`, which is also what is taken when it is empty).
    """

    name: str
    accuracy: str
    ranges: dict[str, str] = attrs.field(factory=dict)
    calibrated: str = ""
    kind: str = _later("")
    step: str = _later("")
    interval: str = _later("")


@attrs.frozen(kw_only=True)
class Measured:
    """One reading.

    `setup` is the subject of the `Setup` entry it was read with; `span` the instrument's range, if named.

    `half_width` is what the way of typing allows for to both sides (a range, *about*, a ± of its own:
    `loosely` says which), in the coherent unit. `usual`: the reading named no instrument, and `instrument` is
    the one the shop uses for it. `origin`: the file and its stretch, or the bus, where nobody typed it.
    """

    of: str
    typed: str
    kind: str
    number: float
    place: str = ""
    stage: Count = 0
    instrument: str = ""
    span: str = ""
    setup: str = ""
    confirmed: bool = False
    half_width: float = _later(0.0)
    loosely: str = _later("")
    usual: bool = _later(False)
    origin: _Person = _origin()


@attrs.frozen(kw_only=True)
class Recorded:
    """One record: samples of a measurand over time or over another quantity, `samples[n]` at `over[n]`.

    Both are in the coherent unit of their kind; `unit` and `over_unit` are those they came in. `typed` are
    the points as they were typed by hand, two texts each; else `file` is the name of the file that they were
    read from and `sha256` the hash of its content. `instrument`, `span` and `usual` as of a reading.
    """

    of: str
    kind: str
    over_kind: str
    over: Sequence[float]
    samples: Sequence[float]
    unit: str
    over_unit: str
    place: str = ""
    stage: Count = 0
    instrument: str = ""
    span: str = ""
    usual: bool = False
    confirmed: bool = False
    typed: Sequence[Sequence[str]] = ()
    file: _Person = _words()
    sha256: str = ""
    origin: _Person = _origin()


@attrs.frozen(kw_only=True)
class Setup:
    """Readings that belong to others: measurand key → the body of a `Measured`."""

    stage: Count = 0
    values: dict[str, dict[str, Any]] = attrs.field(factory=dict)


@attrs.frozen(kw_only=True)
class Seen:
    """An observation, or a measurand that could not be reached: `answer` of the closed list, free `words`, or
    `cannot` with the reason. `cleared` answers the words: what became of them.
    """

    of: str
    place: str = ""
    stage: Count = 0
    answer: str = ""
    cannot: str = _public(CANNOT)
    words: _Person = _words()
    cleared: str = _public(CLEARED, later=True)


@attrs.frozen(kw_only=True)
class CodesRead:
    """The trouble codes of one list, as the control unit gave them.

    An empty list is a reading too: none was set.

    `state` is `stored`, `pending` or `permanent`; empty when nothing could be read, and then `cannot` says
    why.
    """

    stage: Count = 0
    state: str = ""
    codes: list[str] = attrs.field(factory=list)
    cannot: str = _public(CANNOT)
    origin: _Person = _origin()


#: Why work is asked for without a finding.
REQUESTED_ON = ("customer", "scheduled", "judgement", "rework")
#: Why a visit ended with the job open. How a job ended without (further) repair. Why work is not charged.
LEFT_BECAUSE = ("part missing", "charging", "customer decides", "no time left")
ENDED_HOW = ("no fault found", "declined", "referred")
WAIVED_BECAUSE = ("did not fix", "guarantee", "goodwill")
#: What becomes of the parts that were taken out.
OLD_PARTS = ("given back", "shown and left with us", "left with us", "exchanged", "none were taken out")
#: What may be waived that is no operation: the lines of call-out and diagnosis, by their kind.
WAIVED_CHARGES = ("call-out", "travel", "diagnosis")


@attrs.frozen(kw_only=True)
class Requested:
    """Work asked for without a finding: `ground` is one of `REQUESTED_ON`.

    `operation` is a system's, or the name of work of the shop's own (`model.own_work`). A judgement needs a
    reason; a rework makes good what an earlier invoice (`invoice`, its number) was for, and is not charged.
    """

    operation: str
    ground: Annotated[str, OneOf(REQUESTED_ON)]
    because: str = ""
    invoice: str = _later("")


@attrs.frozen(kw_only=True)
class Remarked:
    """What was noted about the vehicle in free words: its state on arrival, a scratch that was there before.

    Nobody judges it. `cleared` answers it: what became of it.
    """

    words: _Person = _words()
    stage: Count = 0
    cleared: str = _public(CLEARED, later=True)


@attrs.frozen(kw_only=True)
class Left:
    """One visit ends and the job stays open: `because` of `LEFT_BECAUSE`, `back` the day of the next visit
    (YYYY-MM-DD) if one was named.
    """

    because: Annotated[str, OneOf(LEFT_BECAUSE)]
    stage: Count = 0
    back: str = ""


@attrs.frozen(kw_only=True)
class Planned:
    """When the mechanic means to be at the vehicle: `on` a day (YYYY-MM-DD), `time` (HH:MM) if one was named.

    `place` is where, if it is not the customer's address; `what` says what for.
    """

    on: str
    time: str = ""
    place: _Person = _words()
    what: _Person = _words()


@attrs.frozen(kw_only=True)
class Recalled:
    """The vehicle is to be looked at again from a day on (YYYY-MM-DD): `what` says why."""

    on: str
    what: _Person = _words()


@attrs.frozen(kw_only=True)
class Arrived:
    """The mechanic is at the vehicle: a further visit of the job, or a first one worth a word.

    `odometer` is in metres. `same_trip_as` names the job whose customer pays for the call-out already
    (another vehicle in the same driveway).
    """

    stage: Count = 0
    odometer: float | None = None
    odometer_typed: str = ""
    same_trip_as: str = ""


@attrs.frozen(kw_only=True)
class Started:
    """A test that takes waiting was begun: it is over once `of` was read or could not be.

    `wait` is in seconds, `wait_typed` as typed.
    """

    of: str
    wait: float
    wait_typed: str
    place: str = ""
    stage: Count = 0


@attrs.frozen(kw_only=True)
class Ended:
    """The job ends without (further) repair: `how` of `ENDED_HOW`, `because` in words that are printed."""

    how: Annotated[str, OneOf(ENDED_HOW)]
    because: str
    stage: Count = 0


@attrs.frozen(kw_only=True)
class Waived:
    """Work (`operation`) or a part of call-out and diagnosis (`charge` of `WAIVED_CHARGES`) is not charged:
    `because` of `WAIVED_BECAUSE`.

    `invoice` is the number of the earlier invoice that the guarantee was given on.
    """

    because: Annotated[str, OneOf(WAIVED_BECAUSE)]
    operation: str = ""
    charge: Annotated[str, OneOf(("", *WAIVED_CHARGES))] = ""
    invoice: str = ""


@attrs.frozen(kw_only=True)
class Photographed:
    """A photo: the picture as base64 text, kept with the persons.

    `of` is the key of what it shows, or empty for the vehicle; `what` says it in words.
    """

    image: _Person = _words()
    of: str = ""
    place: str = ""
    stage: Count = 0
    what: _Person = _words()


@attrs.frozen(kw_only=True)
class PhotoChosen:
    """A photo (`photo` is its entry) stands on the evidence sheet of the papers made from now on: `image` is
    the small copy for it as base64 text, kept with the persons, `width` and `height` its pixels.
    """

    photo: str
    width: Count
    height: Count
    image: _Person = _words()


@attrs.frozen(kw_only=True)
class Brought:
    """A document of another shop that the customer brought: its masked content as canonical text, and the
    record mark that this leads to. Nothing here is judged by it.
    """

    content: str
    mark: str


@attrs.frozen(kw_only=True)
class Estimated:
    """A Document that was handed over for approval, kept whole.

    `tax_on_earlier`: what of `total` is tax on work approved before it, because parts are supplied with both.
    """

    name: str
    stage: str
    document_id: str
    document: dict[str, Any]
    document_hash: str
    total: int
    currency: str
    lines: list[dict[str, Any]]
    versions: dict[str, str]
    heads: list[str]
    tax_on_earlier: int = _later(0)


@attrs.frozen(kw_only=True)
class Approved:
    """Who approved which estimate's Document (its hash), and what was declined with it.

    `signature` is a drawn one, as text; `said` what was said or written word for word, where that was not in
    person. `cancellation`: what was said of it, one of `CancellationAnswer`, where the law of
    the place gives a right to cancel.
    """

    estimate: str
    document_hash: str
    total: int
    currency: str
    by: str
    how: str = _public(HOW_APPROVED, required=True)
    declined: list[str] = attrs.field(factory=list)
    signature: _Person = attrs.field(default=None, converter=_personal, metadata={"later": True})
    said: _Person = attrs.field(default=None, converter=_personal, metadata={"later": True})
    cancellation: str = _later("")


@attrs.frozen(kw_only=True)
class Repaired:
    """Work done; what follows it is stage `stage`.

    `cause` is what it was, in plain words; it is printed and published, so it names nobody.
    """

    operation: str
    stage: Count
    cause: str = _later("")


@attrs.frozen(kw_only=True)
class Serviced:
    """Work of the shop's own was done: nothing that was read rests on it, so no stage follows it."""

    operation: str
    stage: Count = 0


@attrs.frozen(kw_only=True)
class Priced:
    """What a piece of work costs in this job alone, in place of what the price book says of it.

    `hours` is a decimal number as text, `tax` names a rate for the labour where it is not the usual one. Each
    of `parts` has the texts name, price, quantity, condition, and unit, number and tax where they say
    something.
    """

    operation: str
    hours: str = ""
    tax: str = ""
    parts: list[dict[str, str]] = attrs.field(factory=list)


@attrs.frozen(kw_only=True)
class Charged:
    """An approved piece of work took another quantity than estimated: `hours` of labour, or `quantity` of
    `part`, decimal numbers as text; `because` is printed.
    """

    operation: str
    because: str = _public(WHY_CHANGED, required=True)
    hours: str = ""
    part: str = ""
    quantity: str = ""


@attrs.frozen(kw_only=True)
class ApprovedMore:
    """More was approved for a piece of work than on its estimate: `amount`, tax included, in minor units.

    `because` says what for; it is printed. `by` and `how` as of an approval.
    """

    operation: str
    amount: int
    currency: str
    by: str
    because: str = _public(WHY_CHANGED, required=True)
    how: str = _public(HOW_APPROVED, required=True)


@attrs.frozen(kw_only=True)
class Discounted:
    """So many `percent` less for a piece of work (`operation`), or, without one, for everything that is
    charged; `because` is printed.
    """

    percent: str
    because: str = _public(WHY_LESS, required=True)
    operation: str = ""


@attrs.frozen(kw_only=True)
class OldParts:
    """What becomes of the parts that were taken out, as the customer chose: one of `OLD_PARTS`."""

    choice: Annotated[str, OneOf(OLD_PARTS)]


@attrs.frozen(kw_only=True)
class Issued:
    """The invoice's place in the job's own journal: the books hold the Document, under `books_entry`.

    `date_said` tells how the clock had jumped when somebody said that the date was right. `credits`: it is a
    credit note on the invoice of this number; `whole`: on all of it, which then stands no more; `credited`:
    by how much, and `because`: why, in the journal of the invoice's first job. `shared`: it is over several
    jobs.
    """

    number: str
    document_id: str
    document_hash: str
    books_entry: str
    date_said: str = _later("")
    credits: str = _later("")
    whole: bool = _later(False)
    because: str = _public(WHY_CREDITED, later=True)
    credited: int = _later(0)
    shared: bool = _later(False)


@attrs.frozen(kw_only=True)
class Paid:
    """Money received, in minor units; below zero it was given back.

    `rounded`: so much more of an invoice is settled by it than was paid (below zero: less), because cash has
    no smaller coins.
    """

    amount: int
    currency: str
    how: str = _public(HOW_PAID, required=True)
    rounded: int = _later(0)


@attrs.frozen(kw_only=True)
class Announced:
    """Money that is said to be on its way (a transfer, a cheque), in minor units: nothing is received yet."""

    amount: int
    currency: str
    how: str = _public(HOW_PAID, required=True)


@attrs.frozen(kw_only=True)
class WrittenOff:
    """So much of an invoice is not asked for any more, in minor units; `invoice` is its number where the job
    has several and it is not the last one.
    """

    amount: int
    currency: str
    because: str = _public(WHY_WRITTEN_OFF, required=True)
    invoice: str = _later("")


@attrs.frozen(kw_only=True)
class Receipted:
    """A receipt was handed over, a Document kept whole.

    `payment` is the id of the entry that says what was paid; `name` is how the receipt is filed.
    """

    payment: str
    name: str
    document_id: str
    document: dict[str, Any]
    document_hash: str
    versions: dict[str, str]
    heads: list[str]


@attrs.frozen(kw_only=True)
class Reminded:
    """The customer was reminded of an overdue invoice (`number`): for the `nth` time, on `day`, of `due` in
    minor units, to be paid until `until`. The Document is kept whole.
    """

    number: str
    nth: Count
    day: str
    due: int
    currency: str
    until: str
    document_id: str
    document: dict[str, Any]
    document_hash: str
    versions: dict[str, str]
    heads: list[str]


@attrs.frozen(kw_only=True)
class Withdrawn:
    """The subject no longer stands; the entry's reason says why. Own words are kept with the persons, in
    `because`, and the reason says what stands for them.
    """

    because: str = _public(WHY_WITHDRAWN, later=True)


@attrs.frozen(kw_only=True)
class Forgotten:
    """The persons of this job were destroyed: how many texts of which kinds, and why before the end of
    retention, of a closed list.
    """

    counts: dict[str, int]
    because: str = _later("")


@attrs.frozen(kw_only=True)
class Handed:
    """The job goes on in another van: `to` are the letters of that device."""

    to: str


@attrs.frozen(kw_only=True)
class Published:
    """A masked Document went to the page server under this token hash."""

    document_id: str
    link: Count
    token_hash: str


@attrs.frozen(kw_only=True)
class InvoiceIssued:
    """In the books: one numbered invoice, whole.

    `place` is its number in this chain, from 1 and without gaps.

    `jobs` are the ids of the jobs it is over, where there are several, in the order in which it tells of
    them. `date_said`, `credits`, `whole`, `because`: as in `Issued`; the total of a credit note is below
    zero. `corrects`: the invoice that was credited whole and that this one replaces. `day`: of issue, by the
    shop's zone; `due_on`: until when it is to be paid. `net`, `tax`: what the total is made of, beside a
    rounding amount. `lines`: as data; `rates`: name of a tax rate → percent. `paid`: what was paid of it
    before it was issued, as it says. `job_name` stands in books of before alone.
    """

    place: Count
    number: str
    document_id: str
    document: dict[str, Any]
    document_hash: str
    total: int
    currency: str
    versions: dict[str, str]
    heads: list[str]
    job_name: str = _later("")
    jobs: Sequence[str] = _later(())
    date_said: str = _later("")
    credits: str = _later("")
    whole: bool = _later(False)
    because: str = _public(WHY_CREDITED, later=True)
    corrects: str = _later("")
    day: str = _later("")
    due_on: str = _later("")
    net: int | None = _later(None)
    tax: int | None = _later(None)
    lines: Sequence[dict[str, Any]] = _later(())
    rates: Mapping[str, str] | None = _later(None)
    paid: int | None = _later(None)


@attrs.frozen(kw_only=True)
class PaymentTaken:
    """In the books: money received for a job, before or after its invoice; below zero where one was corrected
    down or withdrawn. `job_name` stands in books of before alone.
    """

    amount: int
    currency: str
    how: str
    job_name: str = _later("")


@attrs.frozen(kw_only=True)
class DrawerNoted:
    """In the books: what was put into the cash drawer or, below zero, taken out of it, beside customers'
    payments, and why; or, `counted`, how much lay in it. In minor units.
    """

    amount: int
    currency: str
    because: str = ""
    counted: bool = False


#: Kind of entry → its record.
RECORDS: dict[str, type] = {
    "opened": Opened,
    "complaint": Complained,
    "complaint_again": Retold,
    "tried": Tried,
    "vehicle": Vehicle,
    "customer": Customer,
    "fitted": Fitted,
    "specified": Specified,
    "instrument": Instrument,
    "measured": Measured,
    "recorded": Recorded,
    "setup": Setup,
    "seen": Seen,
    "codes": CodesRead,
    "requested": Requested,
    "estimated": Estimated,
    "remarked": Remarked,
    "planned": Planned,
    "recalled": Recalled,
    "left": Left,
    "arrived": Arrived,
    "started": Started,
    "ended": Ended,
    "waived": Waived,
    "photo": Photographed,
    "photo_chosen": PhotoChosen,
    "brought": Brought,
    "approved": Approved,
    "repaired": Repaired,
    "serviced": Serviced,
    "priced": Priced,
    "charged": Charged,
    "approved_more": ApprovedMore,
    "old_parts": OldParts,
    "discounted": Discounted,
    "issued": Issued,
    "paid": Paid,
    "announced": Announced,
    "written_off": WrittenOff,
    "receipted": Receipted,
    "reminded": Reminded,
    "withdrawn": Withdrawn,
    "forgotten": Forgotten,
    "handed": Handed,
    "published": Published,
    "invoice": InvoiceIssued,
    "payment": PaymentTaken,
    "drawer": DrawerNoted,
}


def body_of(record: Any) -> dict[str, Any]:
    """A record as the plain JSON data of an entry's body; references become dicts, PersonalText stays for the
    store.

    A field that was added later is left out while it holds its default: what an older program wrote and what
    this one writes of the same thing are one body.
    """
    body: dict[str, Any] = {}
    for field in attrs.fields(type(record)):
        value = getattr(record, field.name)
        if field.metadata.get("later") and value == field.default:
            continue
        said = value.said if isinstance(value, KeptWords) else value
        body[field.name] = {"personal": said.kind, "hash": said.hash} if isinstance(said, Personal) else said
    return body


def with_kept_words(kind: str, body: Mapping[str, Any]) -> dict[str, Any]:
    """A body as it may be written down: own words where a closed list is asked for stand as personal text."""
    record = RECORDS[kind](**body)
    kept = {
        field.name: getattr(record, field.name).said
        for field in attrs.fields(type(record))
        if isinstance(getattr(record, field.name), KeptWords)
    }
    return {**body, **kept}


def with_kept_reason(kind: str, body: Mapping[str, Any], reason: str) -> tuple[dict[str, Any], str]:
    """Body and reason of an entry as they may be written down: own words for why something is withdrawn stand
    as personal text.
    """
    if kind != "withdrawn" or not reason.strip() or WHY_WITHDRAWN.holds(reason):
        return dict(body), reason
    return {**body, "because": PersonalText("note", reason)}, WHY_WITHDRAWN.instead


def as_the_file_says(body: Mapping[str, Any]) -> dict[str, Any]:
    """A body without what the shop's own file added to it, so that a visit file can be held against what it
    said before.

    Which instrument is the usual one may change; a reading keeps the one of its day. So does what cash was
    rounded by.
    """
    said = dict(body)
    said.pop("rounded", None)
    if said.pop("usual", False):
        said["instrument"] = ""
    if isinstance(said.get("values"), Mapping):
        said["values"] = {
            key: as_the_file_says(value) if isinstance(value, Mapping) else value
            for key, value in said["values"].items()
        }
    return said
