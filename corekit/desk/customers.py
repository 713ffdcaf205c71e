"""Customers that a shop had before its first job here, taken in from a CSV: a list beside the store that is
looked up when a job is begun.
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterable, Sequence
from itertools import islice
from pathlib import Path

import attrs

from ..errors import CorekitError
from ..fault import any_of
from ..files import write_over
from ..model.search_words import PHONE_TAIL, compact, search_words
from ..signs import text_fault
from .errors import DeskError

CUSTOMER_FILE = "customers.csv"
#: Larger files are no list of one shop's customers.
LARGEST, MOST_ROWS = 5_000_000, 20_000
#: Lines of a file, its first and empty ones among them.
_MOST_LINES = 2 * MOST_ROWS
_SHORTEST = {"name": 3, "phone": PHONE_TAIL, "plate": 3}
_MOST_FAULTS = 20


@attrs.frozen(kw_only=True)
class ListedCustomer:
    """One row of the list; what is not known is empty."""

    name: str = ""
    phone: str = ""
    email: str = ""
    address: str = ""
    plate: str = ""
    vehicle: str = ""

    @property
    def id(self) -> str:
        """Names the row in an address without a word of it."""
        said = "\0".join(attrs.astuple(self))
        return hashlib.sha256(said.encode("utf-8")).hexdigest()[:16]


COLUMNS = tuple(attrs.fields_dict(ListedCustomer))


class CustomerListError(DeskError):
    """A CSV that is not taken in, with everything that is wrong with it."""


def read_customers(data: bytes, name: str) -> list[ListedCustomer]:
    """The customers in a CSV: comma or semicolon, UTF-8, a first row that names the columns.

    Raises:
        CustomerListError: all that is wrong with it, by its rows. None of it is taken.
    """
    if len(data) > LARGEST:
        raise CustomerListError(f"{name} has {len(data)} bytes; a list of customers has at most {LARGEST}.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise CustomerListError(
            f"{name} is not UTF-8 (byte {error.start}); save it again as CSV, UTF-8."
        ) from error
    head = text.partition("\n")[0]
    try:
        read = csv.reader(io.StringIO(text, newline=""), delimiter=";" if ";" in head else ",", strict=True)
        rows = list(islice(read, _MOST_LINES + 1))  # millions of short ones would take half a gibibyte
    except csv.Error as error:
        raise CustomerListError(f"{name} is no CSV: {error}. Save it again as CSV.") from error
    if len(rows) > _MOST_LINES:
        raise CustomerListError(
            f"{name} has more than {_MOST_LINES} lines; at most {MOST_ROWS} customers are taken. Divide it."
        )
    columns = [column.strip().lower() for column in rows[0]] if rows else []
    strange = [column for column in columns if column not in COLUMNS]
    if strange or len(set(columns)) < len(columns) or not {"name", "phone"} & set(columns):
        got = ", ".join(columns)[:200] or "nothing"
        raise CustomerListError(
            f"{name}: the first row names the columns, of {any_of(COLUMNS)}, each once, name or phone among"
            f" them; got {got}. Name them so, and take out what has no place here."
        )
    found, faults = [], []
    for number, row in enumerate(rows[1:], 2):
        said = [cell.strip() for cell in row]
        if not any(said):
            continue
        if len(said) != len(columns):
            faults.append(f"row {number} has {len(said)} cells; the first row has {len(columns)}")
            continue
        customer = ListedCustomer(**dict(zip(columns, said, strict=True)))
        faults += [f"row {number}, {at}: it {odd}" for at, odd in _odd(customer)]
        if not (customer.name or customer.phone):
            faults.append(f"row {number} has neither a name nor a phone number")
        found.append(customer)
    if len(found) > MOST_ROWS:
        faults.append(f"there are {len(found)} rows; at most {MOST_ROWS} are taken")
    if faults:
        more = f"\nAnd {len(faults) - _MOST_FAULTS} more." if len(faults) > _MOST_FAULTS else ""
        raise CustomerListError("\n".join(f"{name}: {fault}." for fault in faults[:_MOST_FAULTS]) + more)
    return found


def _odd(customer: ListedCustomer) -> Iterable[tuple[str, str]]:
    for column in COLUMNS:
        if fault := text_fault(str(getattr(customer, column))):
            yield column, fault


def take_in(folder: Path, data: bytes, name: str) -> int:
    """Add the customers of a CSV to the shop's list; who is on it already, word for word, is there once.

    Returns:
        How many are on it now.

    Raises:
        CustomerListError: something is wrong with the CSV, or the list would be too long.
    """
    there = listed_customers(folder)
    rows = list(dict.fromkeys([*there, *read_customers(data, name)]))
    if len(rows) > MOST_ROWS:
        raise CustomerListError(f"With {name} the list would have {len(rows)} rows; at most {MOST_ROWS} fit.")
    _write(folder, rows)
    return len(rows)


def listed_customers(folder: Path) -> list[ListedCustomer]:
    """The shop's list; empty where nobody took one in.

    Raises:
        CustomerListError: somebody wrote into it what cannot be read.
    """
    path = folder / CUSTOMER_FILE
    return read_customers(path.read_bytes(), CUSTOMER_FILE) if path.is_file() else []


def found_customers(
    folder: Path, *, name: str = "", phone: str = "", plate: str = "", most: int = 3
) -> list[ListedCustomer]:
    """Who on the list has this plate, this phone number, or a name with all of these words, at most so many;
    nobody while too little is typed. A list that cannot be read knows nobody.
    """
    wanted = {"plate": compact(plate), "phone": _tail(phone), "name": compact(name)}
    if all(len(text) < _SHORTEST[kind] for kind, text in wanted.items()):
        return []
    try:
        listed = listed_customers(folder)
    except (CorekitError, OSError):
        return []
    words = search_words("name", name) if len(wanted["name"]) >= _SHORTEST["name"] else set()

    def fits(one: ListedCustomer) -> bool:
        if len(wanted["plate"]) >= _SHORTEST["plate"] and compact(one.plate) == wanted["plate"]:
            return True
        if len(wanted["phone"]) >= _SHORTEST["phone"] and _tail(one.phone) == wanted["phone"]:
            return True
        theirs = search_words("name", one.name)
        return bool(words) and all(any(own.startswith(word) for own in theirs) for word in words)

    return [one for one in listed if fits(one)][:most]


def forget_listed(folder: Path, names: Iterable[str], phones: Iterable[str]) -> int:
    """Take a customer off the list, by name or by phone number.

    Returns:
        How many rows were taken off.
    """
    own_names = {compact(name) for name in names} - {""}
    own_phones = {tail for phone in phones if len(tail := _tail(phone)) >= PHONE_TAIL}
    listed = listed_customers(folder)
    kept = [
        one for one in listed if compact(one.name) not in own_names and _tail(one.phone) not in own_phones
    ]
    if len(kept) < len(listed):
        _write(folder, kept)
    return len(listed) - len(kept)


def _write(folder: Path, rows: Sequence[ListedCustomer]) -> None:
    out = io.StringIO()
    made = csv.writer(out, lineterminator="\n")
    made.writerow(COLUMNS)
    made.writerows(attrs.astuple(row) for row in rows)
    write_over(folder / CUSTOMER_FILE, out.getvalue().encode("utf-8"))


def _tail(phone: str) -> str:
    return next(iter(search_words("phone", phone)), "")
