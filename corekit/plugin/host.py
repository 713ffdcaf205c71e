"""The host: finds plugins, loads them one by one, and keeps one's failure away from the others."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any, TypeVar

import attrs
import pluggy

from ..channels import ChannelList, channels
from ..complaints import own_symptoms, set_own_symptoms
from ..jurisdictions import described_codes, read_jurisdiction
from ..model.channel import FromChannel, Reader
from ..model.limit import Limit
from ..model.measurand import Measurand, Observation, Operation, Part, Setting, Trait
from ..model.sampling import Sampling
from ..model.source import Source
from ..unit_table import own_units, set_own_units
from . import hookspecs, intact, set_aside
from .addition import Addition
from .calculation import Calculation
from .cures import cure_of
from .guard import failure_words, guarded
from .installed import Distribution, Point, entry_points
from .system import System

TYPE_CHECKING = False
if TYPE_CHECKING:
    from ..model.export import Exporter
    from ..model.jurisdiction import Jurisdiction
    from .learned import Learned

T = TypeVar("T")
GROUP = "corekit"
LOAD_SECONDS = 10.0
LOADING = "loading it"  # how a listener hears of it
_IN_MODULE = re.compile(r" in plugin <module .*?>")  # the host says whose plugin it is


@attrs.frozen(kw_only=True)
class Failure:
    """A plugin that did not make it, and what that costs the visit.

    Attributes:
        distribution: The package that it came in and its version, as far as known.
        is_wished: It was left out because somebody said so.
    """

    plugin: str
    what: str
    cost: str
    distribution: str = ""
    is_wished: bool = False

    @property
    def for_author(self) -> str:
        """The same with what its author does about it."""
        return str(self) if self.is_wished else " ".join(filter(None, (str(self), cure_of(self.what))))

    def __str__(self) -> str:
        where = f" ({self.distribution})" if self.distribution else ""
        return f"Plugin {self.plugin}{where}: {self.what.removesuffix('.')}. {self.cost}"


#: Among what the shop says of settings: the units that it wants printed, one behind the other.
UNITS = "shop.units"


@attrs.frozen(kw_only=True)
class Plugins:
    """The systems and jurisdictions that are there, and the plugins that failed.

    Attributes:
        readers: (plugin, reader) of every kind of file that a plugin reads. exporters: (plugin, exporter) of
            every form that a plugin writes invoices in.
        versions: System → version of its distribution. distributions: System → distribution and version.
        lost: Key of each system that is installed and did not load → why.
        hooks: Plugin → the hooks that it has.
        said: Key of a setting → what the shop says of it; under `UNITS` the units that it wants printed.
        additions: Name of the entry point → what it adds to another's system.
        learned: What of its retested jobs the shop took over into the systems' fault tables.
    """

    systems: Mapping[str, System] = attrs.field(factory=dict)
    jurisdictions: Mapping[str, Jurisdiction] = attrs.field(factory=dict)
    readers: tuple[tuple[str, Reader], ...] = ()
    exporters: tuple[tuple[str, Exporter], ...] = ()
    failures: tuple[Failure, ...] = ()
    versions: Mapping[str, str] = attrs.field(factory=dict)
    distributions: Mapping[str, str] = attrs.field(factory=dict)
    lost: Mapping[str, str] = attrs.field(factory=dict)
    hooks: Mapping[str, tuple[str, ...]] = attrs.field(factory=dict)
    said: Mapping[str, str] = attrs.field(factory=dict)
    additions: Mapping[str, Addition] = attrs.field(factory=dict)
    learned: tuple[Learned, ...] = ()

    @property
    def units(self) -> tuple[str, ...]:
        """The units that the shop wants printed."""
        return tuple(self.said.get(UNITS, "").split())

    @cached_property
    def parts(self) -> dict[str, Part]:
        return _merge(system.parts for system in self.systems.values())

    @cached_property
    def measurands(self) -> dict[str, Measurand]:
        return _merge(system.measurands for system in self.systems.values())

    @cached_property
    def records(self) -> dict[str, Sampling]:
        return _merge(system.records for system in self.systems.values())

    @cached_property
    def observations(self) -> dict[str, Observation]:
        return _merge(system.observations for system in self.systems.values())

    @cached_property
    def traits(self) -> dict[str, Trait]:
        return _merge(system.traits for system in self.systems.values())

    @cached_property
    def settings(self) -> dict[str, Setting]:
        return _merge(system.settings for system in self.systems.values())

    @cached_property
    def operations(self) -> dict[str, Operation]:
        return _merge(system.operations for system in self.systems.values())

    def title(self, key: str) -> str:
        """How paper and screen call a measurand, record, observation, trait, operation or part; of what no
        system declares the key itself.
        """
        declared = (
            self.measurands.get(key)
            or self.records.get(key)
            or self.observations.get(key)
            or self.traits.get(key)
            or self.operations.get(key)
            or self.parts.get(key)
        )
        return declared.title if declared is not None else key

    def for_customer(self, key: str) -> str:
        """The same in the customer's words: the name of a measurand, record, observation or trait, and what
        is done by an operation.
        """
        declared = (
            self.measurands.get(key)
            or self.records.get(key)
            or self.observations.get(key)
            or self.traits.get(key)
            or self.operations.get(key)
        )
        return declared.for_customer if declared is not None else self.title(key)

    @cached_property
    def calculations(self) -> dict[str, Calculation[Any]]:
        return _merge(system.calculations for system in self.systems.values())

    @cached_property
    def channels(self) -> ChannelList:
        """What a column or a live value can be: the channels of corekit and those of the systems."""
        return channels().with_own(
            one for system in self.systems.values() for one in system.channels.values()
        )

    @cached_property
    def from_channels(self) -> tuple[FromChannel, ...]:
        """Where readings of each system come from in a log or in the vehicle's own data."""
        return tuple(one for system in self.systems.values() for one in system.from_channels)

    @cached_property
    def limits(self) -> dict[str, Limit]:
        return _merge(dict(system.limits) for system in self.systems.values())

    @cached_property
    def sources(self) -> dict[str, Source]:
        return _merge(dict(system.sources) for system in self.systems.values())


def _merge(shelves: Iterable[dict[str, Any]]) -> dict[str, Any]:
    everything: dict[str, Any] = {}
    for shelf in shelves:
        everything.update(shelf)
    return everything


def load(found: Iterable[Point] | None = None) -> Plugins:
    """Load every plugin under entry point group `corekit`, one at a time and under a time limit.

    A plugin that fails to import, raises, returns the wrong thing, mistypes a hook, adds nothing, has another
    name than its system's key, claims a key that is taken, changes the core or another system, or disagrees
    with another on a unit becomes a `Failure`; everything else is as if it were not installed. So does what
    this process leaves out (`set_aside`).
    """
    systems: dict[str, System] = {}
    places: dict[str, Jurisdiction] = {}
    readers: list[tuple[str, Reader]] = []
    exporters: list[tuple[str, Exporter]] = []
    failures: list[Failure] = []
    distributions: dict[str, str] = {}
    versions: dict[str, str] = {}
    taken: dict[str, Point] = {}
    lost: dict[str, str] = {}
    hooks: dict[str, tuple[str, ...]] = {}
    additions: dict[str, Addition] = {}
    described_here = described_codes()
    original = intact.Original()
    for point in sorted(found if found is not None else entry_points(group=GROUP), key=_rank):
        before, told_before = own_units(), own_symptoms()
        try:
            if point.name in set_aside.plugins:
                raise _LeftOutError(set_aside.plugins[point.name])
            if "." in point.name and point.name in set_aside.checks:
                raise _LeftOutError(set_aside.checks[point.name])
            if point.name in taken:
                raise ValueError(
                    f"its name is taken by {_origin(taken[point.name])}; of several the first alone is loaded"
                )
            taken[point.name] = point
            with guarded(point.name, LOADING, LOAD_SECONDS, f"{point.value} (its module)"):
                added = _added_by(point)
            system, described = added.system, added.jurisdictions
            if changed := original.put_back():
                raise intact.AlteredError(intact.altered_words(changed))
            if isinstance(system, Addition):
                whole = _added_to(systems.get(system.key), system, point)
                set_own_units((*before, *system.units))
                set_own_symptoms((*told_before, *system.symptoms.values()))
                original.follow()
                original.add_system(whole)
                systems[system.key], additions[point.name] = whole, system
                with_it = f", with {_distribution_name(point) or point.name}"
                versions[system.key] += with_it
                distributions[system.key] += with_it
                hooks[point.name] = added.hooks
                continue
            if system is not None and system.key != point.name:
                raise ValueError(
                    f"its entry point is called {point.name!r} and its system {system.key!r}; give the entry"
                    " point the system's key"
                )
            if taken_names := {one.name for one in added.exporters} & {one.name for _, one in exporters}:
                raise ValueError(f"the exporter {sorted(taken_names)[0]!r} is another plugin's")
            if again := [code for code in described if code in places or code in described_here]:
                raise ValueError(f"the jurisdiction {again[0]!r} is described already")
            set_own_units((*before, *(system.units if system is not None else ())))
            set_own_symptoms((*told_before, *(system.symptoms.values() if system is not None else ())))
        except KeyboardInterrupt:
            raise
        except BaseException as error:
            set_own_units(before)
            set_own_symptoms(told_before)
            original.put_back()
            failures.append(_failure(point, error))
            if point.name not in systems and "." not in point.name:
                lost.setdefault(point.name, failures[-1].what)
            continue
        original.follow()
        places.update(described)
        readers += [(point.name, reader) for reader in added.readers]
        exporters += [(point.name, exporter) for exporter in added.exporters]
        hooks[point.name] = added.hooks
        if system is not None:
            original.add_system(system)
            systems[system.key] = system
            versions[system.key], distributions[system.key] = _version(point), _distribution_name(point)
    intact.watch(original)
    failures += _without_checks_here(systems, distributions)
    return Plugins(
        systems=systems,
        jurisdictions=places,
        readers=tuple(readers),
        exporters=tuple(exporters),
        failures=(*failures, *_missing_declarations(systems)),
        versions=versions,
        distributions=distributions,
        lost=lost,
        hooks=hooks,
        additions=additions,
    )


class _LeftOutError(Exception):
    """It is not to be loaded in this process."""


def _failure(point: Point, error: BaseException) -> Failure:
    left_out = isinstance(error, _LeftOutError)
    return Failure(
        plugin=point.name,
        what=str(error) if left_out else failure_words(error, f"{point.value} (its module)"),
        cost="What it adds is not assessed in this visit."
        if "." in point.name
        else "Its system is not assessed in this visit.",
        distribution=_distribution_name(point),
        is_wished=left_out and str(error) == set_aside.BY_WISH,
    )


def _rank(point: Point) -> tuple[str, bool, str]:
    """By name; of two with one name those that come with the core are first, then the distribution's name
    decides.
    """
    distribution = getattr(point, "dist", None)
    name = _name_and_version(distribution)[0] if distribution is not None else ""
    return point.name, name != "corekit", name


def _without_checks_here(systems: dict[str, System], distributions: Mapping[str, str]) -> list[Failure]:
    """Exchange each system whose checks must not run in this process for one that only declares."""
    failures = []
    for key, why in set_aside.checks.items():
        if key in systems:
            systems[key] = systems[key].without_checks()
            failures.append(
                Failure(
                    plugin=key,
                    what=why,
                    cost=f"{systems[key].title} is not assessed here; every reading is kept.",
                    distribution=distributions.get(key, ""),
                )
            )
    return failures


def _missing_declarations(systems: Mapping[str, System]) -> list[Failure]:
    """What a check wants of a system that is there and does not offer it: said once, because such a reading
    would never arrive.
    """
    found = []
    for system in systems.values():
        for key, kind in _foreign_wants(system):
            other = systems.get(key.split(".", 1)[0])
            if other is None:
                continue
            declared = other.measurands.get(key)
            if declared is not None and declared.kind == kind:
                continue
            has = (
                f"declares it as a {declared.kind}, not a {kind}"
                if declared is not None
                else "declares no such measurand"
            )
            found.append(
                Failure(
                    plugin=system.key,
                    what=f"it asks for {key}, but {other.key} {has}",
                    cost="It does without that reading.",
                )
            )
    return found


def _foreign_wants(system: System) -> Iterable[tuple[str, str]]:
    """(key, kind) of what its checks want of other systems."""
    known = system.found_right.foreign(system)
    return known if known is not None else ((one.key, one.kind) for one in system.foreign_wants)


@attrs.frozen
class _Added:
    """What one plugin adds, and the hooks that it has."""

    system: System | None
    jurisdictions: dict[str, Jurisdiction]
    readers: tuple[Reader, ...]
    exporters: tuple[Exporter, ...]
    hooks: tuple[str, ...]


def _added_by(point: Point) -> _Added:
    """What a plugin adds.

    Raises:
        TypeError: it adds nothing, or a hook gives something else than it has to.
    """
    module = point.load()
    manager = pluggy.PluginManager(hookspecs.PROJECT)
    manager.add_hookspecs(hookspecs)
    if manager.register(module, name=point.name) is None:
        raise TypeError("it is blocked")
    try:
        manager.check_pending()
    except pluggy.PluginValidationError as error:
        known = ", ".join(name for name in vars(hookspecs) if name.startswith(f"{hookspecs.PROJECT}_"))
        raise pluggy.PluginValidationError(
            error.plugin,
            f"{_IN_MODULE.sub('', str(error))}; there are {known}. A hook that only newer corekits have is"
            " marked @corekit.hookimpl(optionalhook=True)",
        ) from error
    systems = manager.hook.corekit_system.get_hookimpls()
    files = manager.hook.corekit_jurisdictions.get_hookimpls()
    readers = manager.hook.corekit_readers.get_hookimpls()
    exporters = manager.hook.corekit_exporters.get_hookimpls()
    if not (systems or files or readers or exporters):
        raise TypeError("it adds nothing: no function marked @corekit.hookimpl is called corekit_system")
    return _Added(
        _system_of(systems[0].function) if systems else None,
        _jurisdictions_of(files[0].function) if files else {},
        _all_of(readers[0].function, Reader) if readers else (),
        _exporters_of(exporters[0].function) if exporters else (),
        tuple(name for name in vars(hookspecs) if name in _named_in(manager)),
    )


def _exporters_of(call: Callable[[], Any]) -> tuple[Exporter, ...]:
    from ..model.export import Exporter

    return _all_of(call, Exporter)


def _named_in(manager: pluggy.PluginManager) -> set[str]:
    return {
        caller.name for plugin in manager.get_plugins() for caller in manager.get_hookcallers(plugin) or ()
    }


def _all_of(call: Callable[[], Any], kind: type[T]) -> tuple[T, ...]:
    """What a hook gives, all of one kind."""
    found = call()
    if not isinstance(found, (list, tuple)) or not all(isinstance(one, kind) for one in found):
        name = getattr(call, "__name__", "the hook")
        raise TypeError(f"{name} must return a list of {kind.__name__}; it returned {found!r}")
    return tuple(found)


def _jurisdictions_of(call: Callable[[], Any]) -> dict[str, Jurisdiction]:
    paths = call()
    if not isinstance(paths, (list, tuple)) or not all(isinstance(path, Path) for path in paths):
        raise TypeError(f"corekit_jurisdictions must return paths of files; it returned {paths!r}")
    described: dict[str, Jurisdiction] = {}
    for path in paths:
        read = read_jurisdiction(path)
        if not read.code or read.code in described:
            raise ValueError(f"{path.name} describes {read.code or 'no place'!r} a second time, or none")
        described[read.code] = read
    return described


def _system_of(call: Callable[[], Any]) -> System:
    # Called singly, never through the hook itself: pluggy would let one plugin's failure cost the others
    # their answers.
    system = call()
    if not isinstance(system, System):
        raise TypeError(f"corekit_system must return a System; it returned {type(system).__name__}")
    if isinstance(system, Addition):
        return system  # its table means something on the system alone
    _ = system.limits, system.faults
    if system.found_right.foreign(system) is None:
        _refuse_loose_ends(system)
        system.found_right.note(system)
    return system


def _refuse_loose_ends(system: System) -> None:
    if ends := system.loose_ends():
        raise ValueError("; ".join(ends))


def _added_to(base: System | None, added: Addition, point: Point) -> System:
    """The system with what a plugin adds to it."""
    if point.name != added.entry_point:
        raise ValueError(
            f"its entry point is called {point.name!r}; what {added.name!r} adds to {added.key!r} is called"
            f" {added.entry_point!r}"
        )
    if base is None:
        raise ValueError(f"it adds to {added.key!r}, which is not loaded")
    whole = added.onto(base)
    _refuse_loose_ends(whole)
    return whole


def _version(point: Point) -> str:
    distribution = getattr(point, "dist", None)
    return _name_and_version(distribution)[1] if distribution is not None else "unknown"


def _distribution_name(point: Point) -> str:
    """The distribution that it came in, with its version; empty when none is known."""
    distribution = getattr(point, "dist", None)
    return " ".join(_name_and_version(distribution)) if distribution is not None else ""


@lru_cache(maxsize=64)
def _name_and_version(distribution: Distribution) -> tuple[str, str]:
    """Parsed once: of one distribution with several plugins its whole description is read each time."""
    return distribution.name, distribution.version


def _origin(point: Point) -> str:
    """The distribution and where it lies, or else the module."""
    distribution = getattr(point, "dist", None)
    if distribution is None:
        return f"another plugin (module {point.value})"
    return f"the distribution {_distribution_name(point)} in {distribution.locate_file('')}"
