"""A visit file that is only looked at: an odd row is set aside with its question, and the rest is read.

Nothing is lost by it. What was set aside is said first, with its place, and a file that is taken into a store
is still refused as a whole until every row is settled. Set aside is the whole row and never a part of it that
could turn its meaning round: a reading whose `withdrawn` is misspelt is not read as one that stands, a list
with one illegible code is not read as one without that code.
"""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import attrs

from ..datafile import ABSENT, structured
from ..fault import DataFault, Faults, Place, path_text
from .declared import Declared
from .evidence import CODE_STATES
from .fault import VisitError
from .file import look_over, parsed
from .form import VisitForm
from .visit import JOB, Reader, VisitFile

#: Tables of which each key stands by itself.
_TABLES = frozenset({"vehicle", "customer", "traits", "instruments", "specification"})
#: Without these a reading is one of no named instrument, which is trusted less.
_INSTRUMENT = ("with", "range")
#: More rounds than a file can need: each sets at least one row aside.
_ROUNDS = 10_000


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
    sifted = _Sifted(copy.deepcopy(parsed(source)))
    for _ in range(_ROUNDS):
        sifted.data.setdefault("job", name)
        faults = Faults()
        look_over(sifted.data, faults)
        form = structured(sifted.data if not faults.found else {}, VisitForm, faults)
        visit = _Looked(declared, form, faults).visit() if not faults.found else None
        if visit is not None and not faults.found:
            return attrs.evolve(visit, set_aside=tuple(sifted.aside))
        if not sifted.take_out(faults):
            break
    raise VisitError(sifted.aside, where)


class _Looked(Reader):
    only_looked_at = True


@attrs.define
class _Sifted:
    """The data without what was set aside so far."""

    data: dict[str, Any]
    aside: list[DataFault] = attrs.field(factory=list)
    instruments: set[str] = attrs.field(factory=set)

    def take_out(self, faults: Faults) -> bool:
        """Set aside whatever these faults are about; False where that is the whole file."""
        new = [fault for fault in faults.in_order_of(self.data) if not self._follows(fault, faults)]
        self.aside += [fault for fault in new if fault not in self.aside]
        places = [place for path, _ in faults.found for place in self._row(path)]
        repairs = [place for place in places if self._holds_repair(place)]
        if not all(self._remove(place) for place in dict.fromkeys(places)):
            return False
        if repairs:
            self._cut(min(int(place[1]) for place in repairs))
        return True

    def _follows(self, fault: DataFault, faults: Faults) -> bool:
        """True where a reading only names an instrument whose own row was set aside."""
        place = next((path for path, found in faults.found if found.path == fault.path), ())
        return bool(place) and place[-1] == "with" and self._at(place) in self.instruments

    def _row(self, path: Place) -> list[Place]:
        """What has to go where this is at fault."""
        if path[:1] != ("step",) or len(path) < 3:
            return [path[:2] if path[0] in _TABLES | {"step"} else path[:1]] if path else [()]
        key = path[2]
        if key in ("readings", "seen"):
            if path[4:5] and path[4] in _INSTRUMENT and key == "readings":
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
            try:
                item = item[part] if isinstance(item, (dict, list)) else ABSENT
            except (LookupError, TypeError):
                return ABSENT
        return item

    def _remove(self, place: Place) -> bool:
        """Take it out; where it is not there (what is missing is at fault) what holds it goes instead."""
        while place and self._at(place) is ABSENT:
            place = place[:-1]
        if not place:
            return False
        holder, part = self._at(place[:-1]), place[-1]
        if isinstance(holder, list):
            holder[int(part)] = ABSENT  # the rows behind it keep their numbers
            return True
        if place[0] == "instruments" and len(place) == 2:
            self.instruments.add(str(part))
        del holder[part]
        if hasattr(holder, "twice"):
            holder.twice = tuple(key for key in holder.twice if key != part)
        is_codes = len(place) == 4 and place[2] == "codes"
        empty = not holder or (is_codes and not any(key in holder for key in (*CODE_STATES, "cannot")))
        return self._remove(place[:-1]) if empty and len(place) > 1 else True

    def _holds_repair(self, place: Place) -> bool:
        item = self._at(place)
        is_step = len(place) == 2 and place[0] == "step"
        return (is_step and isinstance(item, dict) and "repaired" in item) or (
            len(place) == 3 and place[2] == "repaired"
        )

    def _cut(self, at: int) -> None:
        """What stands behind a repair that was set aside belongs to a stage that nobody knows."""
        steps = self.data.get("step")
        behind = (
            [n for n in range(at + 1, len(steps)) if steps[n] is not ABSENT]
            if isinstance(steps, list)
            else []
        )
        if not behind or not isinstance(steps, list):
            return
        for n in behind:
            steps[n] = ABSENT
        last = f" to {path_text(('step', behind[-1]))}" if len(behind) > 1 else ""
        self.aside.append(
            DataFault(
                f"{path_text(('step', behind[0]))}{last}",
                "a repair before it that can be read",
                f"stands behind the repair in {path_text(('step', at))}, which was set aside: it was read"
                " after it, and is not judged as if nothing had been done",
                f"{path_text(('step', at))} as it was done",
            )
        )
