"""What an assessment claims, in the codes of the cases: the mapping read against findings, gaps, calls,
repairs and questions of intake.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from corekit.assess.proof import Proof
from corekit.model.finding import Finding, Reason, Verdict

from .loader import Tried, table

SIGN_KEYS = {
    "finding",
    "place",
    "of",
    "leans",
    "side",
    "band",
    "calls",
    "gap",
    "next",
    "proof",
    "change",
    "fault",
    "says",
    "suspect",
    "test",
}
PASS_AT, FAIL_AT = 0.95, 0.05
ENOUGH = 0.75
LISTED = 0.05  # a cause is on the list from this chance on; below it is only counted
SHOWN = 4  # next steps that are shown with how they are made; the others by their question


def leans(finding: Finding) -> str:
    """`pass`, `fail`, `open`, or `plain` for a statement that was held against nothing.

    Readings that are said to disagree decide nothing.
    """
    if "readings disagree" in str(finding.text):
        return "open"
    if finding.verdict in (Verdict.PASS, Verdict.FAIL):
        return str(finding.verdict)
    if finding.probability is None:
        return "plain"
    return "pass" if finding.probability >= PASS_AT else "fail" if finding.probability <= FAIL_AT else "open"


def side(finding: Finding) -> str:
    """The end of its first limit that the value lies nearer to, seen from the middle."""
    limit = finding.limits[0] if finding.limits else None
    if limit is None or finding.value is None:
        return ""
    if limit.low is None or limit.high is None:
        return "low" if limit.high is None else "high"
    return "low" if finding.value.number < (limit.low.number + limit.high.number) / 2 else "high"


def band(finding: Finding) -> set[str]:
    """Of a state of charge: `low` when its whole band (9 in 10) lies below 75 %, `ok` when it lies above,
    `full` when it reaches full and the finding is no longer held open.
    """
    assert finding.value is not None
    low, high = finding.value.number - 1.645 * finding.value.u, finding.value.number + 1.645 * finding.value.u
    if finding.verdict is Verdict.UNDECIDED and finding.probability is None:
        return set()
    found = {"low"} if high < ENOUGH else set()
    return (
        found | ({"ok"} if low >= ENOUGH else set()) | ({"full"} if low >= ENOUGH and high >= 1.0 else set())
    )


def holds(sign: Mapping[str, str], tried: Tried) -> bool:
    """Does anything that was said bear this sign?"""
    assert set(sign) <= SIGN_KEYS, f"unknown parts: {set(sign) - SIGN_KEYS}"
    made = tried.assessment
    if "fault" in sign:
        return any(re.search(sign["fault"], str(fault)) for fault in tried.faults)
    if "suspect" in sign:
        return any(
            f"{one.system}.{one.fault}" == sign["suspect"] and one.probability >= LISTED
            for one in made.suspects
        )
    if "test" in sign:
        return any(f"{one.system}.{one.key}" == sign["test"] for one in made.next_tests[:SHOWN])
    if "calls" in sign:
        return any(call.met and re.fullmatch(sign["calls"], call.operation) for call in made.calls)
    if "proof" in sign:
        return any(proof.proof is Proof(sign["proof"]) for proof in made.repairs)
    if "change" in sign:
        compared = [
            one
            for one in made.comparisons
            if (one.after.measurand.key, one.after.place) == (sign["of"], sign.get("place", ""))
        ]
        return any(one.change == sign["change"] for one in compared)
    if "gap" in sign:
        open_gaps = [
            gap for gap in made.gaps if gap.reason is Reason.NOT_MEASURED and gap.wants == sign["gap"]
        ]
        return any(re.search(sign.get("says", ""), gap.text) for gap in open_gaps)
    return any(_bears(finding, sign) for finding in made.findings)


def _bears(finding: Finding, sign: Mapping[str, str]) -> bool:
    return (
        sign.get("finding", finding.code) == finding.code
        and sign.get("place", finding.place) == finding.place
        and sign.get("of", finding.of) == finding.of
        and sign.get("next", finding.next_test) == finding.next_test
        and ("leans" not in sign or sign["leans"] == leans(finding))
        and ("side" not in sign or sign["side"] == side(finding))
        and ("band" not in sign or sign["band"] in band(finding))
        and re.search(sign.get("says", ""), str(finding.text), re.DOTALL) is not None
    )


def stronger(code: str) -> set[str]:
    """The code and every stronger one that includes it, through several steps."""
    found, waiting = set(), [code]
    while waiting:
        one = waiting.pop()
        if one not in found:
            found.add(one)
            waiting += table("claims.toml")[one].get("also_met_by", ())
    return found


def said(code: str, tried: Tried) -> bool:
    """Is the claim made, itself or by a stronger one? What has no sign is said by nothing; for battery cases
    a test refuses that.
    """
    known: dict[str, list[dict[str, str]]] = table("mapping.toml")["claims"]
    signs = [sign for one in stronger(code) for sign in known.get(one, ())]
    return any(holds(sign, tried) for sign in signs)


def any_holds(signs: Iterable[Mapping[str, Any]], tried: Tried) -> bool:
    return any(holds(sign, tried) for sign in signs)


def overall(tried: Tried) -> str:
    """What the whole comes to: a reading to be put right first, a fault, nothing wrong, or not decided."""
    signs = table("mapping.toml")["overall"]
    if any_holds(signs["data"], tried):
        return "data_problem"
    if any_holds(signs["faults"], tried):
        return "fault_found"
    if any_holds(signs["asked"], tried) and not any_holds(signs["pointed"], tried):
        return "data_problem"
    if not tried.case.complaint:
        return "healthy"
    made = tried.assessment
    asks = any(finding.next_test for finding in made.findings) or bool(made.repairs or made.next_tests)
    return "undetermined" if asks else "left without a next test"
