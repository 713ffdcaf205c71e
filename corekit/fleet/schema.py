"""The published tables: a closed list of columns, each public by its kind (shared/tables.toml)."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Set
from enum import StrEnum
from functools import lru_cache

import attrs

from ..datafile import read_toml, required_field, structured, table
from ..fault import Faults
from ..reference import data_path

_ID = re.compile(r"[a-z0-9-]{1,64}")
_MONTH = re.compile(r"[0-9]{4}-(0[1-9]|1[0-2])")
_CURRENCY = re.compile(r"[A-Z]{3}")


class ColumnKind(StrEnum):
    """What a column can hold; none of them holds a person's words."""

    ID = "id"
    VEHICLE = "vehicle"
    KEY = "key"
    ANSWER = "answer"
    WORD = "word"
    MONTH = "month"
    CURRENCY = "currency"
    NUMBER = "number"
    COUNT = "count"
    MONEY = "money"
    YES_NO = "yes_no"

    @property
    def is_text(self) -> bool:
        return self not in (self.NUMBER, self.COUNT, self.MONEY, self.YES_NO)


@attrs.frozen(kw_only=True)
class Known:
    """What a value may name: ids of this record, declared keys, declared answers."""

    ids: Set[str] = frozenset()
    keys: frozenset[str] = frozenset()
    answers: frozenset[str] = frozenset()


@attrs.frozen(kw_only=True)
class Column:
    """One column of a published table."""

    name: str
    kind: ColumnKind
    what: str
    words: tuple[str, ...] = ()
    empty: bool = False

    def holds(self, value: object, known: Known) -> bool:
        """Whether a value is of the column's kind; what is not is never written."""
        if value is None:
            return self.empty
        if self.kind is ColumnKind.YES_NO:
            return isinstance(value, bool)
        if isinstance(value, bool):
            return False
        if self.kind is ColumnKind.NUMBER:
            return isinstance(value, (int, float)) and math.isfinite(value)
        if not self.kind.is_text:
            return isinstance(value, int) and abs(value) < 2**63
        return isinstance(value, str) and self._may_say(value, known)

    def _may_say(self, text: str, known: Known) -> bool:
        match self.kind:
            case ColumnKind.ID | ColumnKind.VEHICLE:
                return text in known.ids and _ID.fullmatch(text) is not None
            case ColumnKind.KEY:
                return text in known.keys
            case ColumnKind.ANSWER:
                return text in known.answers
            case ColumnKind.WORD:
                return text in self.words
            case ColumnKind.MONTH:
                return _MONTH.fullmatch(text) is not None
            case _:
                return _CURRENCY.fullmatch(text) is not None


@attrs.frozen(kw_only=True)
class TableSchema:
    """One published table."""

    name: str
    what: str
    columns: tuple[Column, ...]

    def row(self, values: Mapping[str, object], known: Known) -> dict[str, object] | None:
        """The row as it may be written: what does not fit its column is left empty where that is allowed;
        None where the row cannot be without it.
        """
        row: dict[str, object] = {}
        for column in self.columns:
            value = values.get(column.name)
            if not column.holds(value, known):
                if not column.empty:
                    return None
                value = None
            row[column.name] = value
        return row


@table
class _ColumnRow:
    kind: ColumnKind = required_field("what it holds", default=ColumnKind.COUNT)
    what: str = required_field("what it means", default="")
    words: list[str] = attrs.field(factory=list)
    empty: bool = False


@table
class _TableRow:
    what: str = required_field("what a row is", default="")
    columns: dict[str, _ColumnRow] = required_field("its columns", factory=dict)


@lru_cache(maxsize=1)
def schemas() -> Mapping[str, TableSchema]:
    """The published tables by name.

    Raises:
        DataFileError: everything that is wrong with the file, at once.
    """
    name = "shared/tables.toml"
    data, faults, found = read_toml(data_path(name), name), Faults(), {}
    for key, raw in data.items():
        form = structured(raw, _TableRow, faults, (key,))
        found[key] = TableSchema(
            name=key,
            what=form.what,
            columns=tuple(
                Column(
                    name=column,
                    kind=row.kind,
                    what=row.what,
                    words=tuple(row.words),
                    empty=row.empty,
                )
                for column, row in form.columns.items()
            ),
        )
    faults.refuse(data, name)
    return found
