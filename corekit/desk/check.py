"""Look at a visit without changing anything: from a file or from the store."""

from __future__ import annotations

from pathlib import Path

import attrs

from ..assess.assessment import Assessment, assess
from ..intake.declared import Declared
from ..intake.visit import read_visit
from ..plugin.host import Plugins, load
from .in_memory import scratch_job

#: ISO 4217 code of no currency at all: without a shop a file's payments are read and have none.
NO_CURRENCY = "XXX"


@attrs.frozen(kw_only=True)
class CheckView:
    """An assessment, the plugins that made it, and what is odd in the file but no fault."""

    assessment: Assessment
    plugins: Plugins
    remarks: tuple[str, ...] = ()


def look(visit: str, *, is_file: bool, folder: Path, minutes_left: float | None = None) -> CheckView:
    """Assess a visit file, or a job of the shop in `folder`.

    For a file no shop is needed; its instruments are known if there is one.

    Args:
        minutes_left: Next tests that do not fit into these are set apart.
    """
    plugins = load()
    if not is_file:
        from .assessing import assessment_of
        from .context import open_context
        from .jobs import job_named

        shop = open_context(folder, plugins=plugins)
        with shop.store:
            assessment = assessment_of(shop, job_named(shop, visit), minutes_left)
            return CheckView(assessment=assessment, plugins=plugins)
    if not (folder / "shop.toml").is_file():  # settings and papers are loaded only where there is a shop
        read = read_visit(Path(visit), Declared.of(plugins, currency=NO_CURRENCY))
        job, _ = scratch_job(read)
        return CheckView(assessment=assess(job, plugins, minutes_left), plugins=plugins, remarks=read.remarks)
    from . import paper
    from .settings import declared, read_prices, read_settings

    settings = read_settings(folder, demo=True)
    read = read_visit(Path(visit), declared(plugins, settings, read_prices(folder).currency))
    job, _ = scratch_job(read, paper.instruments_for(read, settings))
    return CheckView(assessment=assess(job, plugins, minutes_left), plugins=plugins, remarks=read.remarks)
