"""What each installed plugin adds, its hooks, its package, where that lies and how long it takes to load."""

from __future__ import annotations

import time
from collections.abc import Iterator
from importlib.metadata import EntryPoint, entry_points

import attrs

from ..errors import InputError
from .guard import listen
from .host import GROUP, LOADING, Plugins, load
from .system import System


@attrs.define
class _Stopwatch:
    """Hears when each plugin begins to load and when it came back."""

    taken: dict[str, float] = attrs.field(factory=dict)
    _running: tuple[str, float] | None = None

    def begins(self, plugin: str, what: str, seconds: float, where: str) -> None:
        if what == LOADING:
            self._running = plugin, time.perf_counter()

    def ends(self) -> None:
        if self._running is not None:
            plugin, since = self._running
            self.taken[plugin] = time.perf_counter() - since
            self._running = None

    def overran(self, plugin: str, what: str, place: str) -> None:
        self.ends()


def explanation(key: str | None = None) -> Iterator[str]:
    """Line by line, of one plugin or of all.

    Raises:
        InputError: no plugin of that name is installed.
    """
    points = sorted(entry_points(group=GROUP), key=lambda point: point.name)
    if key is not None:
        points = [point for point in points if point.name == key]
        if not points:
            raise InputError(f"There is no plugin {key!r}; `corekit plugins` lists those that are installed.")
    watch = _Stopwatch()
    listen(watch)
    plugins = load()
    for point in points:
        yield from _of(point, plugins, watch.taken.get(point.name))


def _of(point: EntryPoint, plugins: Plugins, seconds: float | None) -> Iterator[str]:
    system = plugins.systems.get(point.name) or plugins.additions.get(point.name)
    took = "" if seconds is None else f", loaded in {seconds * 1000:.0f} ms"
    yield f"{point.name}  {system.title if system else 'failed to load'}{took}"
    distribution = point.dist
    if distribution is not None:
        yield f"  package   {distribution.name} {distribution.version}, in {distribution.locate_file('')}"
    yield f"  module    {point.value}"
    if hooks := plugins.hooks.get(point.name):
        yield f"  hooks     {', '.join(hooks)}"
    if system is not None:
        yield f"  api       {system.api or 'not declared'}"
    for failure in plugins.failures:
        if failure.plugin == point.name:
            yield f"  failed    {failure}"
    if system is not None:
        yield from _adds(system)


def _adds(system: System) -> Iterator[str]:
    named = {
        "symptoms": list(system.symptoms),
        "parts": list(system.parts),
        "measured": list(system.measurands),
        "records": list(system.records),
        "derives": list(system.derived),
        "observed": list(system.observations),
        "traits": list(system.traits),
        "settings": list(system.settings),
        "work": list(system.operations),
        "computes": list(system.calculations),
        "checks": [check.title for check in system.checks.values()],
        "limits": list(system.limits),
        "faults": [fault.name for fault in system.faults.faults.values()] if system.faults else [],
        "units": [own.unit.text for own in system.units],
        "channels": list(system.channels),
        "wants": [f"{one.key} of another system" for one in system.foreign_wants],
    }
    for what, names in named.items():
        if names:
            short = [name.removeprefix(f"{system.key}.") for name in names]
            yield f"  {what:<10}{len(short)}: {', '.join(short)}"
