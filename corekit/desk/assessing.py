"""What today's plugins make of a job."""

from __future__ import annotations

from collections.abc import Collection

from ..assess.assessment import Assessment
from ..model.job import Job
from .context import ShopContext


def assessment_of(
    shop: ShopContext, job: Job, minutes_left: float | None = None, about: Collection[str] = ()
) -> Assessment:
    """What today's plugins make of a job, which need not be in the store.

    Args:
        minutes_left: Of a visit; next tests that take longer are set apart.
        about: Keys of systems whose next tests are asked for although nothing of them was read yet.
    """
    return shop.assessor(job, shop.plugins, minutes_left, about)
