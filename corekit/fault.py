"""What can be wrong with a data file, each fault with its place, all of them at once."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

import attrs

from .errors import CorekitError

#: A file with more faults than this is of another kind; the rest are counted.
SHOWN = 100
#: So many are kept of one file; looking for more of them helps nobody and takes its time.
KEPT = 1000

#: So many keys are named as perhaps meant, and from this likeness of their words (0 to 1) on; of
#: words that were run together from the second. Estimates of ours.
NEAR_SHOWN = 3
_ALIKE, _ALIKE_TOGETHER = 0.75, 0.85


@attrs.frozen
class DataFault:
    """One thing that is wrong.

    Attributes:
        path: Where, as keys (`step[3].readings[0].is`) or, for a syntax error, `line 3, column 5`.
        expected: What belongs there. got: What stands there, and what is wrong with it.
        write: What to write instead; empty when nobody can guess.
        asked: It is only odd and may be so: the same row with `confirmed = true` is taken.
        guesses: What was probably meant, each a whole text to be put in its place (`1.73 V`).
        row: Key of the row that it stands in, where rows of the file have keys: nobody counts to `limit[37]`.
    """

    path: str
    expected: str
    got: str
    write: str = ""
    asked: bool = False
    guesses: tuple[str, ...] = ()
    row: str = ""

    @property
    def text(self) -> str:
        """What is wrong and what to do, without the place."""
        if self.got.endswith("?"):
            return f"{self.got} {self.write}"
        cure = (
            f"; write {self.write}" if self.write else f"; expected {self.expected}" if self.expected else ""
        )
        return f"{self.got}{cure}"

    @property
    def data(self) -> dict[str, Any]:
        """The same for programs: where, what, and what to do."""
        return {
            "where": f"{self.path} ({self.row})" if self.row else self.path,
            "what": self.got,
            "do": self.write or (f"expected {self.expected}" if self.expected else ""),
            "asked": self.asked,
            "guesses": list(self.guesses),
        }

    def __str__(self) -> str:
        return f"{self.path} ({self.row}): {self.text}" if self.row else f"{self.path}: {self.text}"


class DataFileError(CorekitError, ValueError):
    """A data file cannot be used.

    `faults` are all that is wrong with it, in the order of the file's parts. `where` is the file's name, for
    the line above them.
    """

    #: The line above the faults: which file, where it has no name, and what became of it.
    file = "The file"
    outcome = "cannot be used: {count}."

    def __init__(self, faults: Iterable[DataFault], where: str = "") -> None:
        self.faults = tuple(faults)
        self.where = where
        count = f"{len(self.faults)} faults" if len(self.faults) > 1 else "one fault"
        counted = " Rows are counted from 0." if any("[" in fault.path for fault in self.faults) else ""
        lines = [f"{where or self.file} {self.outcome.format(count=count)}{counted}"]
        lines += [f"  {fault}" for fault in self.faults[:SHOWN]]
        if len(self.faults) > SHOWN:
            lines.append(f"  … and {len(self.faults) - SHOWN} more")
        super().__init__("\n".join(lines))


Place = tuple[str | int, ...]


@attrs.define
class Faults:
    """The list while it grows, each fault with its place: the keys and numbers that lead to it."""

    found: list[tuple[Place, DataFault]] = attrs.field(factory=list)
    places: set[Place] = attrs.field(factory=set)

    def add(
        self,
        path: Place,
        got: str,
        expected: str = "",
        write: str = "",
        *,
        asked: bool = False,
        guesses: Iterable[str] = (),
    ) -> None:
        if len(self.found) > KEPT:
            return
        if len(self.found) == KEPT:
            path, got = (), f"has more than {KEPT} faults; the rest was not looked for"
            expected = write = ""
            asked, guesses = False, ()
        self.found.append((path, DataFault(path_text(path), expected, got, write, asked, tuple(guesses))))
        self.places.add(path)

    def at(self, path: Place) -> bool:
        """True when something is known to be wrong there already, or the whole is of another kind."""
        return path in self.places or () in self.places

    def below(self, path: Place) -> bool:
        """True when something is known to be wrong there, or with anything in it."""
        return any(place[: len(path)] == path for place in self.places)

    def refuse(self, data: Mapping[str, Any], where: str) -> None:
        """Nothing, where nothing was wrong.

        Raises:
            DataFileError: with every fault, in the order of the data.
        """
        if self.found:
            raise DataFileError(self.in_order_of(data), where)

    def in_order_of(self, data: Mapping[str, Any]) -> list[DataFault]:
        """The faults in the order in which their places stand in the data; what is missing comes after what
        is there.
        """
        ranks_of: dict[int, dict[str, int]] = {}

        def rank(table: Any, key: str) -> int:
            if not isinstance(table, Mapping):
                return 0
            if id(table) not in ranks_of:
                ranks_of[id(table)] = {name: place for place, name in enumerate(table)}
            return ranks_of[id(table)].get(key, len(table))

        def order(path: Place) -> tuple[list[int], str]:
            """The rank of each step of a path, and the key of the innermost row that has one."""
            here: Any = data
            ranks: list[int] = []
            row = ""
            for part in path:
                if isinstance(part, int):
                    ranks.append(part)
                    here = here[part] if isinstance(here, list) and part < len(here) else None
                    key = here.get("key") if isinstance(here, Mapping) else None
                    row = quotation(key)[1:-1] if isinstance(key, str) and key else row
                else:
                    ranks.append(rank(here, part))
                    here = here.get(part) if isinstance(here, Mapping) else None
            return ranks, row

        placed = [(*order(path), fault) for path, fault in self.found]
        placed.sort(key=lambda one: one[0])
        return [attrs.evolve(fault, row=row) if row else fault for _, row, fault in placed]


_BARE = re.compile(r"[A-Za-z0-9_-]+")


def path_text(path: Iterable[str | int]) -> str:
    """`("step", 3, "setup", "a.b")` → `step[3].setup."a.b"`; the empty path is `file`."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            text += ("." if text else "") + (part if _BARE.fullmatch(part) else quotation(part))
    return text or "file"


def quotation(text: str, limit: int = 60) -> str:
    """A text in quotation marks, shortened, with nothing in it that could disturb a terminal."""
    short = text if len(text) <= limit else text[: limit - 1] + "…"
    return '"' + "".join(sign if sign.isprintable() else f"\\u{ord(sign):04x}" for sign in short) + '"'


def any_of(names: Iterable[str]) -> str:
    listed = list(names)
    return listed[0] if len(listed) == 1 else f"{', '.join(listed[:-1])} or {listed[-1]}" if listed else ""


def near(key: str, keys: Iterable[str]) -> tuple[str, ...]:
    """The keys that `key` may be a slip of the pen for, the likeliest first.

    For keys of a file and verbs only, never for answers: of those all are listed. A key is near when it has
    the same words, each with a slip at most; a word more or a syllable in front (*not repaired*, *unpublish*)
    turns the meaning round and is no slip.

    >>> near("vehicel", ["vehicle", "customer"])
    ('vehicle',)
    >>> near("unpublish", ["publish"])
    ()
    """
    typed = _words(key)
    ranked = [(_likeness_of_words(typed, _words(choice)), choice) for choice in keys]
    found = sorted((one for one in ranked if one[0] >= _ALIKE), key=lambda one: -one[0])
    return tuple(choice for _, choice in found[:NEAR_SHOWN])


def _likeness_of_words(typed: list[str], words: list[str]) -> float:
    """The least of each word; words that were run together may be so, but then hardly anything else."""
    if len(typed) == len(words):
        return min(map(_likeness, typed, words), default=0.0)
    together = _likeness("".join(typed), "".join(words)) if len(typed) < len(words) else 0.0
    return together if together >= _ALIKE_TOGETHER else 0.0


def _words(key: str) -> list[str]:
    return [word for word in re.split(r"[\W_]+", key.casefold()) if word]


def _likeness(typed: str, word: str) -> float:
    """How alike two words are, 0 to 1; 0 where they begin otherwise: *un-* or *de-* turn a word round."""
    ends = typed != word and (typed.endswith(word) or word.endswith(typed)) and min(len(typed), len(word)) > 2
    if ends or typed[:1] != word[:1]:
        return 0.0
    import difflib  # only for what was mistyped

    return difflib.SequenceMatcher(None, typed, word).ratio()
