"""What a use of corekit can refuse, in words for the person who asked.

Errors of the rooms below are named here too, for whoever tells one from another.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..billing.errors import ConsentError
from ..errors import CorekitError
from ..fault import DataFault
from ..intake.fault import VisitError
from ..store.errors import RequestConflictError, StoreError

__all__ = [
    "STAGES",
    "ApprovalError",
    "ConsentError",
    "DataFault",
    "DeskError",
    "EstimateAwaitedError",
    "RequestConflictError",
    "StoreError",
    "VisitError",
]

STAGES = ("diagnosis", "repair")


class DeskError(CorekitError):
    """One clear text: what, where, and what to do."""


class ApprovalError(DeskError):
    """An approval that cannot be taken down; `field` is the field of its row that is wrong, if it is one."""

    def __init__(self, text: str, field: str = "") -> None:
        super().__init__(text)
        self.field = field


class EstimateAwaitedError(DeskError):
    """A visit file speaks of an approval of an estimate that was not made yet. Everything before it is kept.

    Attributes:
        job, name: Id and name of the job.
        estimate: The estimate's name, as the file gives it.
    """

    def __init__(self, job: str, name: str, estimate: str, made: Sequence[str] = ()) -> None:
        self.job, self.name, self.estimate = job, name, estimate
        stage, _, count = estimate.partition(" ")
        before = sum(other.startswith(f"{stage} ") for other in made)
        if stage in STAGES and count == str(before + 1):
            what = f"The file approves the estimate {estimate!r}, which was not made yet."
            cure = (
                f"Make the estimate with `corekit estimate {name} --stage {stage}`, show it, then add the"
                " file again."
            )
        else:
            known = f"made were {', '.join(map(repr, made))}" if made else "none was made yet"
            what = f"The file approves an estimate {estimate!r}, and there is none of that name: {known}."
            cure = "Write the name that is printed on the estimate, e.g. 'diagnosis 1' or 'repair 1'."
        super().__init__(f"{what} Everything before it is kept. {cure}")
