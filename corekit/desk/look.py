"""Look at a visit without changing anything: from a file or from the store."""

from __future__ import annotations

from pathlib import Path

import attrs

from ..assess.assessment import Assessment, assess
from ..intake.declared import Declared
from ..intake.visit import read_visit
from ..plugin.host import Plugins, load
from . import paper
from .scratch import scratch_job
from .settings import SHOP_FILE, read_prices, read_settings
from .shop import Shop

#: ISO 4217 code of no currency at all: without a shop a file's payments are read and have none.
NO_CURRENCY = "XXX"


@attrs.frozen(kw_only=True)
class Seen:
    """An assessment and the plugins that made it."""

    assessment: Assessment
    plugins: Plugins


def look(visit: str, *, is_file: bool, folder: Path) -> Seen:
    """Assess a visit file, or a job of the shop in `folder`. For a file no shop is needed; its instruments are known if there is one."""
    plugins = load()
    if is_file:
        declared, settings = Declared.of(plugins, currency=NO_CURRENCY), None
        if (folder / SHOP_FILE).is_file():
            settings = read_settings(folder, demo=True)
            declared = Declared.of(plugins, settings.instruments, read_prices(folder).currency)
        read = read_visit(Path(visit), declared)
        job, _ = scratch_job(read, paper.instruments_for(read, settings) if settings else [])
        return Seen(assessment=assess(job, plugins), plugins=plugins)
    with Shop(folder, plugins=plugins) as shop:
        return Seen(assessment=shop.assess(visit), plugins=plugins)
