"""Jobs and invoices as lists show them; `listing` says what they follow from."""

from __future__ import annotations

from collections.abc import Iterator

import attrs

from ..model.personal import Personal
from ..model.records import Vehicle


@attrs.frozen(kw_only=True)
class JobRow:
    """A job as lists show it.

    Attributes:
        began: Place of its first entry in the file; a job that began later has a greater one.
        closed: Place of the entry that closed it; None while it is open.
        because: Why the last visit ended with the job open, how it ended without repair, or the letters of
            the van it was handed to, where that is its state.
        name: The name that its file or screen gave it last; its id once that was forgotten.
        description, plate, words: Hashes of the personal texts of vehicle and complaint; "" where none is.
        customer: Key of the customer by name and address; "" where no name is known (any more).
        approved: 1 when something was approved in it.
        paid: What was paid for it, and what of its invoice was credited or written off, in minor units.
        number, books_entry: The invoice it is on, and the id of that invoice's entry in the books; "" for
            none.
        who, phone, email, address: Hashes of what is known of the customer; "" where nothing is.
        day, at: When the mechanic means to be there next (YYYY-MM-DD, HH:MM), as it was planned or as it was
            said on leaving; "" where nobody said, and in a job that is closed.
        place, what: Hashes of where and what for, as it was planned.
        recall, recall_what: The day from which on the vehicle is to be looked at again, and a hash of why.
        asked: What the estimate that waits for an answer comes to, in minor units. granted: The same of the
            estimates that were approved. in_part: 1 where something on them was declined.
    """

    began: int
    id: str
    closed: int | None
    state: str
    because: str
    name: str
    description: str
    plate: str
    words: str
    customer: str
    approved: int
    paid: int
    number: str
    books_entry: str
    who: str
    phone: str
    email: str
    address: str
    day: str
    at: str
    place: str
    what: str
    recall: str
    recall_what: str
    asked: int
    granted: int
    in_part: int

    @property
    def vehicle(self) -> Vehicle:
        """The vehicle as far as the list knows it."""
        return Vehicle(
            description=_reference("description", self.description), plate=_reference("plate", self.plate)
        )

    def persons(self) -> Iterator[Personal]:
        """Every reference to personal text in it."""
        for column, kind in _PERSONS.items():
            if reference := _reference(kind, getattr(self, column)):
                yield reference


#: Columns that hold hashes → kind of the personal text.
_PERSONS = {
    "description": "description",
    "plate": "plate",
    "words": "words",
    "who": "name",
    "phone": "phone",
    "email": "email",
    "address": "address",
    "place": "address",
    "what": "note",
    "recall_what": "note",
}


@attrs.frozen(kw_only=True)
class InvoiceRow:
    """An invoice as look-ups need it.

    Attributes:
        written, entry: Place of its books entry in the file, and its id.
        waits: 1 while its page was neither published nor withdrawn.
        day, due_on: When it was issued, and until when it is to be paid; "" where it does not say.
        owed: What is still to be paid for it, in minor units, below zero what was paid too much; 0 where it
            stands no more.
    """

    written: int
    entry: str
    number: str
    document_id: str
    total: int
    currency: str
    waits: int
    day: str
    due_on: str
    owed: int


JOB_COLUMNS = tuple(attrs.fields_dict(JobRow))
INVOICE_COLUMNS = tuple(attrs.fields_dict(InvoiceRow))


def _reference(kind: str, hash_: str) -> Personal | None:
    return Personal(kind, hash_) if hash_ else None
