"""What the program said of a practice car that the car contradicts."""

from __future__ import annotations

import attrs

from ..assess.assessment import Assessment
from ..assess.proof import Proof
from ..assess.suspect import Suspect
from ..model.finding import Finding, Verdict
from .car import Car

#: From here on the program is held to a cause that it names, and what is somebody else's work is passed on.
NAMED_AT = 0.8


@attrs.frozen(kw_only=True)
class Untrue:
    """Something the program said that the car contradicts: the kind of statement, and its words."""

    kind: str
    words: str

    def __str__(self) -> str:
        return f"{self.kind}: {self.words}"


def untrue_statements(assessment: Assessment, car: Car) -> list[Untrue]:
    """What is said of the car as it stands, and is not so; each statement once, by its kind and what it is
    about.
    """
    said: list[tuple[str, str]] = []
    for call in assessment.calls_at(assessment.job.stage):
        if call.met and car.needs(call.operation) is False and call.operation not in car.done:
            said.append(("proposes work that is not needed", f"{call.operation}: {call.why}"))
    for finding in assessment.current:
        if finding.stage == assessment.job.stage and _calls_for_what_is_sound(finding, car):
            said.append(("finding calls for what is sound", f"{finding.code}: {finding.text}"))
    for proof in assessment.repairs:
        if proof.proof is Proof.SHOWN and car.needs(proof.operation):
            said.append(("shown to be put right, and is not", f"{proof.operation}: {proof.why}"))
    first = assessment.suspects[0] if assessment.suspects else None
    if first is not None and first.probability >= NAMED_AT and not is_there(first, car):
        said.append(("names a cause that is not there", f"{first.fault} at {first.probability:.0%}"))
    return [Untrue(kind=kind, words=words) for kind, words in said]


def added(known: dict[tuple[str, str], Untrue], said: list[Untrue]) -> None:
    """Keep what was not said before; the same of the same thing counts once."""
    for one in said:
        known.setdefault((one.kind, one.words.partition(":")[0]), one)


def is_there(suspect: Suspect, car: Car) -> bool:
    """Whether a cause is one of those made, or its work is needed by what the others have done."""
    if not suspect.system:
        return True
    named = {fault for one in car.hidden for fault in one.defect.faults}
    key = suspect.fault if "." in suspect.fault else f"{suspect.system}.{suspect.fault}"
    return key in named or bool(suspect.calls_for and car.needs(suspect.calls_for) is not False)


def _calls_for_what_is_sound(finding: Finding, car: Car) -> bool:
    return (
        finding.verdict is Verdict.FAIL and bool(finding.calls_for) and car.needs(finding.calls_for) is False
    )
