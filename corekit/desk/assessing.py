"""What today's plugins make of a job, and the names of what comes out for whoever shows it."""

from __future__ import annotations

from collections.abc import Collection

from ..assess.assessment import Assessment
from ..assess.proof import Proof, RepairProof
from ..assess.suspect import NextTest
from ..billing.waiver import did_not_fix
from ..model.job import Job
from ..plugin.host import Plugins
from ..plugin.reading import Reading
from .context import ShopContext

__all__ = [
    "Assessment",
    "NextTest",
    "Plugins",
    "Proof",
    "Reading",
    "RepairProof",
    "assessment_of",
    "did_not_fix",
]


def assessment_of(
    shop: ShopContext, job: Job, minutes_left: float | None = None, about: Collection[str] = ()
) -> Assessment:
    """What today's plugins make of a job, which need not be in the store.

    Args:
        minutes_left: Of a visit; next tests that take longer are set apart.
        about: Keys of systems whose next tests are asked for although nothing of them was read yet.
    """
    return shop.assessor(job, shop.plugins, minutes_left, about)
