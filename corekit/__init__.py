"""corekit: one driveway visit, from the complaint to an invoice that the customer can read and check.

The names below are the public face; each is loaded when it is first used, so that `import corekit` costs next
to nothing.
"""

from __future__ import annotations

import importlib

from ._version import DEPRECATED, __version__

TYPE_CHECKING = False  # importing typing for this one name would cost a third of a bare start
if TYPE_CHECKING:
    from .desk.shop import Shop as Shop
    from .desk.shop import open_shop as open_shop
    from .judge import Side as Side
    from .model.channel import Channel as Channel
    from .model.channel import LiveValue as LiveValue
    from .model.channel import Log as Log
    from .model.channel import Reader as Reader
    from .model.channel import Track as Track
    from .model.export import Exporter as Exporter
    from .model.export import InvoiceLine as InvoiceLine
    from .model.export import InvoiceParty as InvoiceParty
    from .model.export import InvoiceRate as InvoiceRate
    from .model.export import InvoiceValue as InvoiceValue
    from .model.figure import Band as Band
    from .model.figure import Dot as Dot
    from .model.figure import Figure as Figure
    from .model.figure import Label as Label
    from .model.figure import Polyline as Polyline
    from .model.finding import Finding as Finding
    from .model.finding import Gap as Gap
    from .model.finding import Reason as Reason
    from .model.finding import Says as Says
    from .model.finding import Tells as Tells
    from .model.finding import Urgency as Urgency
    from .model.finding import Verdict as Verdict
    from .model.limit import Limit as Limit
    from .model.measurand import Measurand as Measurand
    from .model.measurand import Observation as Observation
    from .model.measurand import Operation as Operation
    from .model.measurand import Part as Part
    from .model.measurand import Setting as Setting
    from .model.measurand import Trait as Trait
    from .model.possible import Possible as Possible
    from .model.possible import for_each as for_each
    from .model.possible import possible as possible
    from .model.sampling import Sampling as Sampling
    from .model.value import Value as Value
    from .model.value import exact as exact
    from .model.value import propagate as propagate
    from .plugin.addition import Addition as Addition
    from .plugin.api import API_VERSION as API_VERSION
    from .plugin.calculation import Calculation as Calculation
    from .plugin.calculation import Input as Input
    from .plugin.calculation import Output as Output
    from .plugin.case import Case as Case
    from .plugin.chart import Chart as Chart
    from .plugin.claim import Claim as Claim
    from .plugin.copper import copper_factor as copper_factor
    from .plugin.foreign import foreign as foreign
    from .plugin.hookspecs import hookimpl as hookimpl
    from .plugin.neighbours import Neighbours as Neighbours
    from .plugin.neighbours import SharedCauses as SharedCauses
    from .plugin.neighbours import neighbours as neighbours
    from .plugin.neighbours import shared_causes as shared_causes
    from .plugin.reading import Reading as Reading
    from .plugin.reading import Series as Series
    from .plugin.record import Record as Record
    from .plugin.record import Settled as Settled
    from .plugin.record import Slope as Slope
    from .plugin.system import System as System
    from .plugin.tables import interpolate as interpolate
    from .plugin.tables import interpolate_clamped as interpolate_clamped
    from .units import Scale as Scale
    from .units import show as show
    from .units import shown_scale as shown_scale
else:  # a type checker that saw this would let any misspelt name pass
    _loaded = {}  # a check names a dozen of them at every call

    def __getattr__(name):
        if name in _loaded and name not in DEPRECATED:
            return _loaded[name]
        if name not in _WHERE:
            from .plugin.api import API_VERSION

            raise AttributeError(
                f"corekit has no name {name!r}; it has {', '.join(sorted(_WHERE))} (API {API_VERSION})"
            )
        if name in DEPRECATED:
            import warnings

            instead, since = DEPRECATED[name]
            text = f"corekit.{name} is deprecated since API {since}; write {instead}"
            warnings.warn(text, DeprecationWarning, stacklevel=2)
            return getattr(importlib.import_module(f".{_WHERE[name]}", __name__), name)
        return _loaded.setdefault(name, getattr(importlib.import_module(f".{_WHERE[name]}", __name__), name))


_WHERE = {
    "Shop": "desk.shop",
    "open_shop": "desk.shop",
    "Side": "judge",
    "Channel": "model.channel",
    "LiveValue": "model.channel",
    "Log": "model.channel",
    "Reader": "model.channel",
    "Track": "model.channel",
    "Exporter": "model.export",
    "InvoiceLine": "model.export",
    "InvoiceParty": "model.export",
    "InvoiceRate": "model.export",
    "InvoiceValue": "model.export",
    "Band": "model.figure",
    "Dot": "model.figure",
    "Figure": "model.figure",
    "Label": "model.figure",
    "Polyline": "model.figure",
    "Finding": "model.finding",
    "Gap": "model.finding",
    "Reason": "model.finding",
    "Says": "model.finding",
    "Tells": "model.finding",
    "Urgency": "model.finding",
    "Verdict": "model.finding",
    "Limit": "model.limit",
    "Measurand": "model.measurand",
    "Observation": "model.measurand",
    "Operation": "model.measurand",
    "Part": "model.measurand",
    "Setting": "model.measurand",
    "Trait": "model.measurand",
    "Possible": "model.possible",
    "for_each": "model.possible",
    "possible": "model.possible",
    "Sampling": "model.sampling",
    "Value": "model.value",
    "exact": "model.value",
    "propagate": "model.value",
    "Addition": "plugin.addition",
    "API_VERSION": "plugin.api",
    "Calculation": "plugin.calculation",
    "Input": "plugin.calculation",
    "Output": "plugin.calculation",
    "Case": "plugin.case",
    "Chart": "plugin.chart",
    "Claim": "plugin.claim",
    "copper_factor": "plugin.copper",
    "foreign": "plugin.foreign",
    "hookimpl": "plugin.hookspecs",
    "Neighbours": "plugin.neighbours",
    "SharedCauses": "plugin.neighbours",
    "neighbours": "plugin.neighbours",
    "shared_causes": "plugin.neighbours",
    "Reading": "plugin.reading",
    "Series": "plugin.reading",
    "Record": "plugin.record",
    "Settled": "plugin.record",
    "Slope": "plugin.record",
    "System": "plugin.system",
    "interpolate": "plugin.tables",
    "interpolate_clamped": "plugin.tables",
    "Scale": "units",
    "show": "units",
    "shown_scale": "units",
}

__all__ = ["__version__", *_WHERE]  # noqa: PLE0604


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
