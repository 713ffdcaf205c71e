"""The units in which a shop wants quantities shown, for whoever shows something that is on no paper."""

from __future__ import annotations

from contextlib import AbstractContextManager

from .. import units
from ..plugin.host import Plugins

#: The shop's unit in place of a declared one, inside `in_units_of`.
shown_unit = units.shown_unit
#: The same for units that the shop's file names, where no plugin is loaded.
shown_in = units.shown_in


def in_units_of(plugins: Plugins) -> AbstractContextManager[None]:
    """Inside, quantities are shown in the units that the shop of these plugins wants."""
    return units.shown_in(plugins.units)
