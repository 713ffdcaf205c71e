"""Look at a visit without changing anything: from a file or from the store."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import attrs

from ..assess.assessment import Assessment, assess
from ..assess.suspect import Call, NextTest
from ..fault import DataFault
from ..intake.declared import Declared
from ..intake.lenient import read_for_check
from ..intake.visit import VisitFile
from ..model.entry import Draft
from ..plugin.host import Plugins, load
from ..plugin.reading import Reading
from .in_memory import scratch_job
from .next_step import tests_to_make

if TYPE_CHECKING:
    from ..billing.book import PriceBook

#: ISO 4217 code of no currency at all: without a shop a file's payments are read and have none.
NO_CURRENCY = "XXX"


@attrs.frozen(kw_only=True)
class CheckView:
    """An assessment and the plugins that made it.

    Attributes:
        remarks: What is odd in the file but no fault.
        set_aside: What was wrong or odd with rows of the file that were not judged, each a question.
        texts: Hash → personal text of the job, for what was noted in own words.
        prices: The shop's, where there is one.
    """

    assessment: Assessment
    plugins: Plugins
    remarks: tuple[str, ...] = ()
    set_aside: tuple[DataFault, ...] = ()
    texts: Mapping[str, str] = attrs.field(factory=dict)
    prices: PriceBook | None = None

    @property
    def calls(self) -> list[Call]:
        """What is called for now: what may be done first, and of that what cures most for its price; by its
        chance alone where one of them has no price.
        """
        calls = self.assessment.calls_at(self.assessment.job.stage)
        costs = {call.operation: self.net(call.operation) for call in calls}
        priced = all(costs[call.operation] for call in calls if call.met)

        def worth(call: Call) -> float:
            return call.chance / float(costs[call.operation] or 1) if priced else call.chance

        return sorted(calls, key=lambda call: (not call.met, -worth(call)))

    def net(self, operation: str) -> Decimal | None:
        """What it usually costs without tax; None where the shop has no price for it, or there is no shop."""
        return usual_net(self.prices, operation) if self.prices is not None else None

    def to_make(self, tests: Iterable[NextTest]) -> list[NextTest]:
        """Those of the next tests that can be said and made here."""
        return tests_to_make(tests, self.assessment.job, self.plugins)

    @property
    def readings(self) -> list[Reading]:
        """Every reading, of all stages."""
        return [reading for stage in self.assessment.readings for reading in stage]


def usual_net(prices: PriceBook, operation: str) -> Decimal | None:
    """As the billing says it, loaded only where there are prices."""
    from ..billing.estimate import usual_net as net

    return net(prices, operation)


def look(visit: str, *, is_file: bool, folder: Path, minutes_left: float | None = None) -> CheckView:
    """Assess a visit file, or a job of the shop in `folder`.

    For a file no shop is needed; its instruments are known if there is one. Its odd rows are set aside, and
    the rest is judged.

    Args:
        minutes_left: Next tests that do not fit into these are set apart.

    Raises:
        VisitError: the file cannot be read at all.
    """
    plugins = load()
    if not is_file:
        from .assessing import assessment_of
        from .context import open_context
        from .jobs import job_named, texts_of

        shop = open_context(folder, plugins=plugins)
        with shop.store:
            job = job_named(shop, visit)
            texts = texts_of(shop, job)
            assessment = assessment_of(shop, job.in_words(texts), minutes_left)
            return CheckView(assessment=assessment, plugins=shop.plugins, texts=texts, prices=shop.prices)
    if not (folder / "shop.toml").is_file():  # settings and papers are loaded only where there is a shop
        read = read_for_check(Path(visit), Declared.of(plugins, currency=NO_CURRENCY))
        return _view(read, plugins, minutes_left)
    from . import paper
    from .learned import with_learned
    from .settings import declared, read_prices, read_settings, with_settings

    settings = read_settings(folder, demo=True)
    plugins = with_learned(with_settings(plugins, settings), folder)
    prices = read_prices(folder)
    read = read_for_check(Path(visit), declared(plugins, settings, prices.currency, prices))
    instruments, now = paper.instruments_for(read, settings), settings.local(datetime.now(UTC))
    view = _view(read, plugins, minutes_left, instruments, now)
    return attrs.evolve(view, prices=prices)


def _view(
    read: VisitFile,
    plugins: Plugins,
    minutes_left: float | None,
    instruments: list[Draft] | None = None,
    now: datetime | None = None,
) -> CheckView:
    job, texts = scratch_job(read, instruments, now=now)
    return CheckView(
        assessment=assess(job.in_words(texts), plugins, minutes_left),
        plugins=plugins,
        remarks=read.remarks,
        set_aside=read.set_aside,
        texts=texts,
    )
