"""What a customer can tell and what a mechanic can try: symptoms, circumstances, hazards and ways of trial.

They stand in shared/symptoms.toml and shared/trials.toml; systems say in their fault tables how they bear on
each symptom.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from functools import lru_cache

import attrs

from .errors import InputError
from .kept import kept
from .reference import data_path

#: The two symptoms that are no symptom of a fault.
CHECK_UP, SOMETHING_ELSE = "check_up", "something_else"
#: What can be said of the complaint when it is looked at again: results of a trial.
AGAIN = ("gone", "less", "stayed", "worse")


@attrs.frozen(kw_only=True)
class Symptom:
    """What a customer notices, in a customer's words.

    Attributes:
        none: The chance that somebody tells it whose vehicle has no fault; `why` gives the reason.
        outside: The chance under something that no installed system speaks of.
        first_step: What to do first where no installed system speaks to it.
        codes: The vehicle's own trouble codes speak of it: it is settled by reading them again.
    """

    key: str
    words: str
    none: float
    why: str
    outside: float
    first_step: str = ""
    codes: bool = False


@attrs.frozen(kw_only=True)
class SymptomGroup:
    """A heading with the symptoms below it."""

    key: str
    words: str
    symptoms: tuple[Symptom, ...]


@attrs.frozen(kw_only=True)
class Hazard:
    """What comes before everything else: how it shows, and what to do now.

    `symptoms` are those that it belongs to; empty: it is asked with every complaint.
    """

    key: str
    words: str
    do: str
    symptoms: tuple[str, ...] = ()


@attrs.frozen(kw_only=True)
class Shows:
    """How steadily something shows: the share of the time in which it can be seen."""

    key: str
    words: str
    share: float


@attrs.frozen(kw_only=True)
class SymptomList:
    """All of shared/symptoms.toml, in its order.

    `outside_per_1000`: how many of 1000 vehicles have something that no installed system speaks of. `groups`:
    the headings under which symptoms are offered; every symptom stands below one of them.
    """

    symptoms: Mapping[str, Symptom]
    groups: tuple[SymptomGroup, ...]
    hazards: tuple[Hazard, ...]
    circumstances: Mapping[str, str]
    shows: Mapping[str, Shows]
    outside_per_1000: float

    def hazards_of(self, told: Collection[str]) -> tuple[tuple[Hazard, ...], tuple[Hazard, ...]]:
        """The hazards that belong to these symptoms, and those that are asked about with every complaint;
        none of either for a mere check-up.
        """
        if not set(told) - {CHECK_UP}:
            return (), ()
        own = tuple(hazard for hazard in self.hazards if not set(hazard.symptoms).isdisjoint(told))
        return own, tuple(hazard for hazard in self.hazards if not hazard.symptoms)


@attrs.frozen(kw_only=True)
class Way:
    """A way of trying something: what is done to a part, and what can come of it.

    Attributes:
        fails: The chance that the work itself fails, or that the new part is bad.
        provokes: It shows or hides the fault and changes nothing (heated, wetted, moved by hand).
        telling: The results that speak by themselves (*came*, *worse*, *moved with the part*).
        this_part, other, none: Their chance where the fault is this part's, another's, or nobody's.
        undone: What was tried does not stay (a bypass, a known good part put in for the test).
        trap: What goes wrong with it, in one sentence.
    """

    key: str
    words: str
    results: tuple[str, ...]
    fails: float = 0.0
    fails_why: str = ""
    provokes: bool = False
    this_part: float = 0.0
    other: float = 0.0
    none: float = 0.0
    telling: tuple[str, ...] = ()
    undone: bool = False
    trap: str = ""


@attrs.frozen(kw_only=True)
class TrialList:
    """All of shared/trials.toml: result → words, and the ways in order."""

    results: Mapping[str, str]
    ways: Mapping[str, Way]


@attrs.frozen(kw_only=True)
class OwnSymptom:
    """A symptom that a system declares for itself, and the heading below which it stands."""

    symptom: Symptom
    group: str


class SymptomError(InputError):
    """A symptom cannot be meant, or says what another says."""


@attrs.define
class _Added:
    """What the installed systems have added, and the list with it once somebody asked."""

    own: tuple[OwnSymptom, ...] = ()
    listed: SymptomList | None = None


_ADDED = _Added()


def symptoms() -> SymptomList:
    """The symptoms that come with corekit, and those that the installed systems add.

    Raises:
        DataFileError: everything that is wrong with the file, at once.
    """
    if _ADDED.listed is None:
        _ADDED.listed = _with_own(_shared_symptoms(), _ADDED.own)
    return _ADDED.listed


def own_symptoms() -> tuple[OwnSymptom, ...]:
    """What the systems of this process have declared for themselves."""
    return _ADDED.own


def set_own_symptoms(own: Iterable[OwnSymptom]) -> None:
    """From now on the list has these besides its own: what the host does when plugins come and go.

    Raises:
        SymptomError: two of them, or one and the list, say the same; or there is no such heading.
    """
    wanted = tuple({one.symptom.key: one for one in own}.values())
    shared = _shared_symptoms()
    said = {symptom.words.casefold(): key for key, symptom in shared.symptoms.items()}
    headings = [group.key for group in shared.groups]
    for one in wanted:
        other = said.setdefault(one.symptom.words.casefold(), one.symptom.key)
        if other != one.symptom.key:
            raise SymptomError(
                f"The symptom {one.symptom.key} says what {other} says ({one.symptom.words}); use that one,"
                " or other words."
            )
        if one.group not in headings:
            raise SymptomError(
                f"The symptom {one.symptom.key} stands below {one.group!r}; the headings are"
                f" {', '.join(headings)}."
            )
    _ADDED.own, _ADDED.listed = wanted, None


def _with_own(shared: SymptomList, own: Iterable[OwnSymptom]) -> SymptomList:
    added = tuple(own)
    if not added:
        return shared
    return attrs.evolve(
        shared,
        symptoms={**shared.symptoms, **{one.symptom.key: one.symptom for one in added}},
        groups=tuple(
            attrs.evolve(
                group,
                symptoms=(*group.symptoms, *(one.symptom for one in added if one.group == group.key)),
            )
            for group in shared.groups
        ),
    )


@lru_cache(maxsize=1)
def _shared_symptoms() -> SymptomList:
    """Those of shared/symptoms.toml."""
    name = "shared/symptoms.toml"

    def read() -> SymptomList:
        from .complaints_file import read_symptoms  # its forms are wanted when nothing is kept

        return read_symptoms(name)

    return kept("symptoms", [data_path(name)], read)


@lru_cache(maxsize=1)
def trials() -> TrialList:
    """The ways of trial that come with corekit.

    Raises:
        DataFileError: everything that is wrong with the file, at once.
    """
    name = "shared/trials.toml"

    def read() -> TrialList:
        from .complaints_file import read_trials

        return read_trials(name)

    return kept("trials", [data_path(name)], read)
