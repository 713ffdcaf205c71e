"""Checks that mean nothing while another's finding stands."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

import attrs

from ..model.finding import Finding, Gap, Reason, Text, Urgency, Verdict

#: What the trade reads of a check that is barred, and of one whose bar is not decided.
BARRED = "{check}: says nothing while this stands: {bar}"
HELD_OPEN = " What this means is open as long as this is: {bar}"
#: The same for the customer.
BARRED_PLAIN = "Not judged yet: another fault has to be put right first."
HELD_OPEN_PLAIN = "What this means is open until something else is decided."


def bars(codes: Collection[str], findings: Iterable[Finding]) -> list[Finding]:
    """Those of the findings that bar: failed, or not decided."""
    return [
        finding
        for finding in findings
        if finding.code in codes and finding.verdict in (Verdict.FAIL, Verdict.UNDECIDED)
    ]


def under_bars(
    results: Iterable[Finding | Gap],
    barring: Sequence[Finding],
    system: str,
    check: str,
    stage: int,
    places: Mapping[str, Collection[str]],
) -> Iterator[Finding | Gap]:
    """What a check says while these findings stand: nothing where one failed, nothing decided where one is
    undecided. A bar at one of several like places leaves the others alone.

    Args:
        places: Key of a measurand or an observation → its places.
    """
    if not barring:
        yield from results
        return
    said: dict[str, Finding] = {}
    for result in results:
        place = result.place if isinstance(result, Finding) else ""
        here = [bar for bar in barring if _reaches(bar, place, places)]
        failed = next((bar for bar in here if bar.verdict is Verdict.FAIL), None)
        if failed is not None:
            said.setdefault(f"{failed.code} {failed.place}", failed)
        elif here and isinstance(result, Finding):
            yield _open(result, here[0])
        else:
            yield result
    for bar in said.values():
        yield Gap(
            system=system,
            check=check,
            reason=Reason.DOES_NOT_APPLY,
            text=BARRED.format(check=check, bar=bar.text),
            stage=stage,
            tells=BARRED_PLAIN,
        )


def _reaches(bar: Finding, place: str, places: Mapping[str, Collection[str]]) -> bool:
    return not (bar.place and place and place != bar.place and place in places.get(bar.of, ()))


def _open(finding: Finding, bar: Finding) -> Finding:
    """A finding that decides nothing, calls for nothing and is no evidence."""
    return attrs.evolve(
        finding,
        verdict=finding.verdict if finding.verdict is Verdict.ADVICE else Verdict.UNDECIDED,
        urgency=Urgency.THIS_VISIT if finding.urgency is Urgency.NOTHING else finding.urgency,
        text=Text(finding.text.template + HELD_OPEN, {**finding.text.values, "bar": str(bar.text)}),
        customer_text=Text(HELD_OPEN_PLAIN, {}),
        probability=None,
        calls_for="",
        grade="",
    )
