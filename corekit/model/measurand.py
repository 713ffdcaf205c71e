"""What can be measured, seen, fitted and done: the declarations of a system."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum

import attrs

from .limit import Span


@attrs.frozen
class Accuracy:
    """What an instrument's sheet promises: ± (percent of reading + digits of the display + a fixed amount).

    Attributes:
        percent: Of the reading; for temperatures and other kinds with an offset use `amount` instead.
        digits: Counts of the display's last place; means something only with the range's step.
        amount: A fixed half-width in the coherent unit.
        text: As it was written, for paper.
    """

    percent: float = 0.0
    digits: float = 0.0
    amount: float = 0.0
    text: str = ""


@attrs.frozen(kw_only=True)
class Part:
    """What can fail, be renewed or be swapped.

    Attributes:
        key: `system.name`.
        title: What people call it.
        places: Closed list of the like ones (`front left`, …); empty when there is one only.
        places_by: Key of the trait that counts them: a vehicle has the first so many.
    """

    key: str
    title: str
    places: tuple[str, ...] = ()
    places_by: str = ""


@attrs.frozen(kw_only=True)
class Measurand:
    """A quantity that a system wants measured (JCGM 200).

    Attributes:
        key: `system.name`.
        unit: The unit people use for it, as declared (`V`, `bar gauge`); readings are printed in it.
        kind: Kind of quantity that the unit names.
        title: What paper calls it.
        possible: Outside: refused. usual: outside: asked once. Both in the coherent unit.
        accuracy: Of the worst ordinary instrument; used, and shown as such, when none is named.
        places: Closed list of the like things it can be taken at (`posts`, `clamps`); empty when there is one
            only.
        places_by: Key of the trait that counts the places: a vehicle has the first so many.
        conditions: Keys of measurands it must be read with (temperature, load current).
        lasting: Stays true through a repair (ambient temperature).
        stands_until: Keys of parts: it stays true until one of them is worked on, so what is read after some
            other repair may be held against it.
        only: Trait → the answers under which it can be read at all; an unknown trait bars nothing.
        part: Key of the part that it is read on; what was found on a part is past once the part is exchanged.
        where, how, hazard: For the person with the probe; the hazard is shown before the step.
        tells: What the customer reads in place of the title; empty where that is plain enough.
    """

    key: str
    unit: str
    kind: str
    title: str
    possible: Span
    usual: Span
    accuracy: Accuracy
    places: tuple[str, ...] = ()
    places_by: str = ""
    conditions: tuple[str, ...] = ()
    lasting: bool = False
    stands_until: tuple[str, ...] = ()
    only: Mapping[str, tuple[str, ...]] = attrs.field(factory=dict, hash=False)
    part: str = ""
    where: str = ""
    how: str = ""
    hazard: str = ""
    tells: str = ""

    @property
    def for_customer(self) -> str:
        """Its name in the customer's words."""
        return self.tells or self.title


@attrs.frozen(kw_only=True)
class Observation:
    """Something seen: one of closed answers.

    Members of `answers` carry the words people type and read; `stands_until`, `only`, `part`, `tells` as for
    a measurand.
    `tells_each` has for the words of an answer the sentence that the customer reads in their place;
    `formerly` for words that an answer had before the answer that they mean.
    """

    key: str
    title: str
    answers: type[Enum]
    places: tuple[str, ...] = ()
    places_by: str = ""
    stands_until: tuple[str, ...] = ()
    only: Mapping[str, tuple[str, ...]] = attrs.field(factory=dict, hash=False)
    part: str = ""
    how: str = ""
    hazard: str = ""
    tells: str = ""
    tells_each: Mapping[str, str] = attrs.field(factory=dict, hash=False)
    formerly: Mapping[str, Enum] = attrs.field(factory=dict, hash=False)

    @property
    def for_customer(self) -> str:
        """Its name in the customer's words."""
        return self.tells or self.title

    def told(self, answer: str) -> str:
        """What the customer is told of an answer, given by its words."""
        return self.tells_each.get(answer) or f"{self.for_customer}: {answer}."


@attrs.frozen(kw_only=True)
class Trait:
    """What the vehicle is fitted with: closed answers, or a value in one of the units given.

    *Don't know* is always an answer and reaches a check as None.

    Attributes:
        answers: Enum of closed answers, or None for a value.
        units: Accepted units of a value, each naming its kind (`A SAE`, `A EN`); the first is the usual one.
        possible: In the coherent unit.
        part: Key of the part that the trait belongs to; an operation that replaces the part ends it.
        tells: What the customer reads in place of the title; empty where that is plain enough.
        formerly: Words that an answer had before → the answer.
    """

    key: str
    title: str
    answers: type[Enum] | None = None
    units: tuple[str, ...] = ()
    possible: Span = Span()
    part: str = ""
    how: str = ""
    tells: str = ""
    formerly: Mapping[str, Enum] = attrs.field(factory=dict, hash=False)

    @property
    def for_customer(self) -> str:
        """Its name in the customer's words."""
        return self.tells or self.title


@attrs.frozen(kw_only=True)
class Setting:
    """What a shop says once for all its vehicles, in shop.toml: closed answers, or a value in one of the
    units given.

    Attributes:
        default: As it would be written there; what holds where the shop says nothing.
        units, possible: As of a trait.
    """

    key: str
    title: str
    default: str
    answers: type[Enum] | None = None
    units: tuple[str, ...] = ()
    possible: Span = Span()
    how: str = ""


@attrs.frozen(kw_only=True)
class Operation:
    """A piece of repair work.

    Attributes:
        key: `system.name`; the price book prices it under this key.
        shown_by: Key of the measurand whose reading after the work shows that it worked; empty for a search.
        or_shown_by: Keys of measurands: where a finding of one of them called for the work, it is that one
            which shows it.
        replaces: Key of the part that is exchanged; it makes the operation a *call for a part*, which needs
            the strict rule, and ends the traits of the old part.
        way: How it is done, one of the ways of a trial (renewed, repaired, cleaned): how often such work
            fails hangs on it.
        as_test: Hands-on minutes and minutes of waiting, for harmless work that may be done to find out
            (charge it, tighten it, then test again).
        asks: Keys of the traits that say how it was done, asked for with the work.
        tells: What the work does, in one sentence for the customer that is as true of a proposal as of a
            bill; empty where the title says it plainly.
    """

    key: str
    title: str
    shown_by: str = ""
    or_shown_by: tuple[str, ...] = ()
    replaces: str = ""
    way: str = "repaired"
    as_test: tuple[float, float] | None = None
    asks: tuple[str, ...] = ()
    hazard: str = ""
    tells: str = ""

    @property
    def for_customer(self) -> str:
        """What the customer is told of the work."""
        return self.tells or f"{self.title}."


def places_counted(declared: Measurand | Observation | Part, count: float | None) -> tuple[str, ...]:
    """The places of a thing that a vehicle has: the first so many where a trait counts them, all where nobody
    knows how many.
    """
    if not declared.places_by or count is None:
        return declared.places
    return declared.places[: max(0, round(count))]


def ruled_out_by(declared: Measurand | Observation, fitted: Mapping[str, str]) -> str:
    """Key of the trait whose known answer rules a thing out on this vehicle; empty where none does.

    Args:
        fitted: Trait → the words of its answer; empty or absent where it is not known.
    """
    return next(
        (key for key, answers in declared.only.items() if fitted.get(key) and fitted[key] not in answers), ""
    )


DONT_KNOW = "don't know"


def answers_of(declared: type[Enum]) -> Mapping[str, Enum]:
    """The words of a closed list → its members, in order."""
    return {str(member.value): member for member in declared}


def answer_in(declared: Observation | Trait, words: str) -> Enum | None:
    """The answer with these words, today's or an earlier version's; None where there is none."""
    return words_of_answers(declared).get(words)


def words_of_answers(declared: Observation | Trait) -> Mapping[str, Enum]:
    """All words that mean an answer, today's before those of earlier versions → the answer."""
    if declared.answers is None:
        return {}
    return {**answers_of(declared.answers), **declared.formerly}
