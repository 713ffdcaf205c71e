"""A visit file that is only looked at: an odd row is set aside with its question, and the rest is read.

Nothing is lost by it. What was set aside is said first, with its place, and a file that is taken into a store
is still refused as a whole until every row is settled. Set aside is the whole row and never a part of it that
could turn its meaning round: a reading whose `withdrawn` is misspelt is not read as one that stands, a list
with one illegible code is not read as one without that code. Of a repair that cannot be read stays that one
was done: what stands behind it was read after it.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import attrs

from ..datafile import ABSENT, structured
from ..fault import Faults, Place
from ..model.job import stage_name
from ..model.records import Repaired, body_of
from .declared import Declared
from .evidence import CODE_STATES
from .fault import VisitError
from .file import folder_of, look_over, parsed
from .form import VisitForm
from .visit import JOB, Reader, VisitFile

#: Tables of which each key stands by itself.
_TABLES = frozenset({"vehicle", "customer", "traits", "instruments", "specification"})
#: Without these a reading is one of no named instrument, which is trusted less.
_INSTRUMENT = ("with", "range")
#: A file with more odd rows than this is of another kind, and is refused as a whole.
_ASIDE_AT_MOST = 200


def read_for_check(source: Path | bytes, declared: Declared) -> VisitFile:
    """What a visit file says without its odd rows, which stand in `set_aside`. It needs no name, neither for
    the job nor for the vehicle.

    Args:
        source, declared: As for `read_visit`.

    Raises:
        VisitError: the file cannot be read at all.
    """
    where = source.name if isinstance(source, Path) else ""
    name = source.stem if isinstance(source, Path) and JOB.fullmatch(source.stem) else "visit"
    whole = parsed(source)
    sifted = _Sifted(copy.deepcopy(whole))
    while True:
        sifted.data.setdefault("job", name)
        faults = Faults()
        look_over(sifted.data, faults)
        if not faults.found:
            form = structured(sifted.data, VisitForm, faults)
            visit = _Looked(declared, form, faults, sifted.unknown_repairs, folder_of(source)).visit()
            if not faults.found:
                return attrs.evolve(visit, set_aside=tuple(sifted.aside.in_order_of(whole)))
        if not sifted.take_out(faults):
            break
    raise VisitError(sifted.aside.in_order_of(whole), where)


class _Looked(Reader):
    """`unknown_repairs`: steps at which something was done, and nobody can read what."""

    only_looked_at = True

    def __init__(
        self,
        declared: Declared,
        form: VisitForm,
        faults: Faults,
        unknown_repairs: Mapping[int, str],
        folder: Path | None,
    ) -> None:
        super().__init__(declared, form, faults, folder)
        self.unknown_repairs = unknown_repairs

    def _read_repaired(self, path: Place, row: Mapping[str, str | None]) -> None:
        if path[1] not in self.unknown_repairs:
            super()._read_repaired(path, row)
            return
        self.stage += 1
        record = Repaired(operation=self.unknown_repairs[int(path[1])], stage=self.stage)
        self._say("repaired", f"{stage_name(self.stage)}/repaired", body_of(record), path)


@attrs.define
class _Sifted:
    """The data without what was set aside so far."""

    data: dict[str, Any]
    aside: Faults = attrs.field(factory=Faults)
    instruments: list[object] = attrs.field(factory=list)
    gone: list[Place] = attrs.field(factory=list)
    unknown_repairs: dict[int, str] = attrs.field(factory=dict)

    def take_out(self, faults: Faults) -> bool:
        """Set aside whatever these faults are about; False where that is the whole file, or much of it."""
        if len(self.aside.found) + len(faults.found) > _ASIDE_AT_MOST:
            self.aside.found += [one for one in faults.found if one[0] not in self.aside.places]
            return False
        self.aside.found += [
            one for one in faults.found if not self._follows(one[0]) and one not in self.aside.found
        ]
        self.gone = []
        return all(self._remove(place) for path, _ in faults.found for place in self._row(path))

    def _follows(self, path: Place) -> bool:
        """True where a reading only names an instrument whose own row was set aside."""
        return path[-1:] == ("with",) and self._at(path) in self.instruments

    def _row(self, path: Place) -> list[Place]:
        """What has to go where this is at fault."""
        if path[:1] != ("step",) or len(path) < 3:
            return [path[:2] if path[0] in _TABLES | {"step"} else path[:1]] if path else [()]
        key = path[2]
        if key in ("readings", "records", "seen"):
            if path[4:5] and path[4] in _INSTRUMENT and key != "seen":
                named = [(*path[:4], one) for one in _INSTRUMENT if self._at((*path[:4], one)) is not ABSENT]
                if (*path[:4], path[4]) in named:
                    return [one for one in named if path[4] == "with" or one[-1] == path[4]]
            return [path[:4]]
        if key == "setup" or (key == "codes" and path[3:4] and path[3] in CODE_STATES):
            return [path[:4]]
        if key == "repaired" and path[3:4] and path[3] != "operation":
            return [path[:4]]
        return [path[:3]]

    def _at(self, place: Place) -> Any:
        item: Any = self.data
        for part in place:
            if isinstance(item, list) and isinstance(part, int):
                item = item[part] if part < len(item) else ABSENT
            else:
                item = item.get(part, ABSENT) if isinstance(item, dict) else ABSENT
        return item

    def _remove(self, place: Place) -> bool:
        """Take it out; where it is not there (what is missing is at fault) what holds it goes instead. False
        where that is the whole file.
        """
        if any(place[: len(gone)] == gone for gone in self.gone):
            return True
        while place and self._at(place) is ABSENT:
            place = place[:-1]
        if not place:
            return False
        holder, part = self._at(place[:-1]), place[-1]
        self.gone.append(place)
        if self._leaves_repair(place):
            return True
        if isinstance(holder, list):
            holder[int(part)] = ABSENT  # the rows behind it keep their numbers
            return True
        if place[0] == "instruments" and len(place) == 2:
            self.instruments.append(part)
        del holder[part]
        if hasattr(holder, "twice"):
            holder.twice = tuple(key for key in holder.twice if key != part)
        is_codes = len(place) == 4 and place[2] == "codes"
        empty = not holder or (is_codes and not any(key in holder for key in (*CODE_STATES, "cannot")))
        return self._remove(place[:-1]) if empty and len(place) > 1 else True

    def _leaves_repair(self, place: Place) -> bool:
        """True where a step with a repair in it became one with the repair alone."""
        if len(place) < 2 or place[0] != "step" or not isinstance(self._at(place[:1]), list):
            return False
        step = self._at(place[:2])
        if not isinstance(step, dict) or "repaired" not in step:
            return False
        n = int(place[1])
        if len(place) == 2 and len(step) > 1:
            self._at(place[:1])[n] = {"repaired": step["repaired"]}
        elif (len(place) == 2 or place[2] == "repaired") and n not in self.unknown_repairs:
            row = step["repaired"]
            operation = row.get("operation") if isinstance(row, dict) else row
            self.unknown_repairs[n] = operation if isinstance(operation, str) else "something"
            step["repaired"] = {}
        else:
            return False
        return True
