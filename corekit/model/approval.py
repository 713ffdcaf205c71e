"""What the customer approved of a job, what was declined, what is done and what is still open.

This is the one place where that is worked out. The next step, the papers and the bill ask it and count
nothing themselves.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import attrs

from .records import Approved, Estimated, Repaired, Serviced


@attrs.frozen(kw_only=True)
class Decision:
    """What the customer decided on one estimate, and what of it stands.

    Attributes:
        estimate, approval: The estimate, and the latest word on it.
        approved: Operations that stand approved by this decision, in the estimate's order; `done`: those of
            them that were done under it.
        has_diagnosis: Its call-out, travel and diagnosis stand: no later decision replaced them.
    """

    estimate: Estimated
    approval: Approved
    approved: tuple[str, ...] = ()
    done: frozenset[str] = frozenset()
    has_diagnosis: bool = True


@attrs.frozen(kw_only=True)
class Approval:
    """What stands approved in a job, and what came of it.

    The latest word on an estimate counts, and so does the latest word on a piece of work that was on more
    than once. What was done stays approved by the word under which it was done: a later no is about doing it
    again, and so is a later yes.

    Attributes:
        decisions: Every estimate that has an answer, in the order of the answers.
        approved: Operations that were approved, done or not; `open`: those that are still to be done.
        declined: Operations of which the latest word is no.
        done: Operations that were done, approved or not; `unapproved`: those that nobody approved.
        pending: Names of the estimates that wait for an answer; a newer estimate of the same stage takes the
            place of an older one.
    """

    decisions: tuple[Decision, ...]
    approved: tuple[str, ...]
    open: tuple[str, ...]
    declined: tuple[str, ...]
    done: tuple[str, ...]
    unapproved: tuple[str, ...]
    pending: tuple[str, ...]

    @classmethod
    def of(cls, estimates: Sequence[Estimated], acts: Iterable[Approved | Repaired | Serviced]) -> Approval:
        """What stands after these estimates and these acts, both in the journal's order.

        An approval of an estimate that was never made approves nothing here; a bill refuses it by name.
        """
        acts = tuple(acts)
        latest = {act.estimate: place for place, act in enumerate(acts) if isinstance(act, Approved)}
        works: dict[str, _Work] = {}
        decided: list[tuple[Estimated, Approved]] = []
        for place, act in enumerate(acts):
            if isinstance(act, (Repaired, Serviced)):
                works.setdefault(act.operation, _Work()).do()
            elif latest[act.estimate] == place and (estimate := estimate_of(act, estimates)) is not None:
                for key in operations_of(estimate):
                    works.setdefault(key, _Work()).decide(len(decided), no=key in act.declined)
                decided.append((estimate, act))
        asked = dict.fromkeys(key for estimate, _ in decided for key in operations_of(estimate))
        answered = {act.document_hash for act in acts if isinstance(act, Approved)}
        newest = {estimate.stage: estimate for estimate in estimates}
        return cls(
            decisions=tuple(
                _decision(n, estimate, approval, works, [later for later, _ in decided[n + 1 :]])
                for n, (estimate, approval) in enumerate(decided)
            ),
            approved=tuple(key for key in asked if works[key].is_approved),
            open=tuple(key for key in asked if works[key].open_by is not None),
            declined=tuple(key for key in asked if works[key].declined),
            done=tuple(key for key, work in works.items() if work.is_done),
            unapproved=tuple(key for key, work in works.items() if work.is_done and not work.done_by),
            pending=tuple(
                estimate.name for estimate in newest.values() if estimate.document_hash not in answered
            ),
        )


@attrs.define
class _Work:
    """One piece of work through the journal: which decision leaves it open, under which it was done."""

    open_by: int | None = None
    done_by: list[int] = attrs.field(factory=list)
    before_approval: bool = False
    declined: bool = False

    @property
    def is_done(self) -> bool:
        return bool(self.done_by) or self.before_approval

    @property
    def is_approved(self) -> bool:
        return bool(self.done_by) or self.open_by is not None

    def do(self) -> None:
        if self.open_by is None:
            self.before_approval = True
        else:
            self.done_by.append(self.open_by)
            self.open_by = None

    def decide(self, decision: int, *, no: bool) -> None:
        self.declined = no
        if no:
            self.open_by = None
        elif self.before_approval:  # it was done already: the approval is of that, and asks for nothing more
            self.done_by.append(decision)
            self.before_approval = False
        else:
            self.open_by = decision


def _decision(
    n: int, estimate: Estimated, approval: Approved, works: Mapping[str, _Work], later: Iterable[Estimated]
) -> Decision:
    keys = operations_of(estimate)
    done = frozenset(key for key in keys if n in works[key].done_by)
    return Decision(
        estimate=estimate,
        approval=approval,
        approved=tuple(key for key in keys if key in done or works[key].open_by == n),
        done=done,
        # Call-out, travel and diagnosis stand together: a later price of them replaces all of an earlier one.
        has_diagnosis=not any(line.get("kind") == "diagnosis" for other in later for line in other.lines),
    )


def estimate_of(approval: Approved, estimates: Iterable[Estimated]) -> Estimated | None:
    """The estimate that an approval is bound to by name and hash; None where there is none."""
    return next(
        (
            estimate
            for estimate in estimates
            if (estimate.name, estimate.document_hash) == (approval.estimate, approval.document_hash)
        ),
        None,
    )


def operations_of(estimate: Estimated) -> tuple[str, ...]:
    """Keys of the work that an estimate holds, each once."""
    lines: Sequence[Mapping[str, Any]] = estimate.lines
    return tuple(dict.fromkeys(str(line["operation"]) for line in lines if line.get("operation")))
