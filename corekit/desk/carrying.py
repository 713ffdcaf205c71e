"""What an invoice's carried code says, worked out once when the number is taken."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import attrs

from .. import units
from ..assess.assessment import Assessment
from ..assess.comparison import first_and_latest
from ..billing.line import Line
from ..languages import screen_language
from ..model.document import Document
from ..model.finding import Finding, Verdict
from ..model.limit import Limit
from ..model.money import total
from ..plugin.reading import Reading
from ..report.readings import judging_finding
from ..report.tongue import tongue_of
from ..share.carried import CarriedContent, Row, carried_code
from ..share.signing import SigningKey, create_signing_key, public_keys, read_signing_key
from .context import ShopContext
from .settings import SIGNING_KEY_FILE

_LETTERS = {Verdict.PASS: "p", Verdict.FAIL: "f", Verdict.UNDECIDED: "u", Verdict.ADVICE: "a"}
TOO_LONG = "No second code on this document: what it must hold is more than such a code takes."
SEVERAL = "No second code on this document: such a code holds one vehicle, and this is over several."


def signing_key(shop: ShopContext) -> SigningKey:
    """The shop's key; a shop that was set up before there were any draws one now.

    Raises:
        LinkKeyError: it cannot be read, or not be written.
    """
    path = shop.folder / SIGNING_KEY_FILE
    return read_signing_key(path) if path.exists() else create_signing_key(path)


def with_carried(
    shop: ShopContext, document: Document, assessment: Assessment | None, lines: Sequence[Line]
) -> Document:
    """The Document with its carried code, or with why it has none; as it is for a shop that prints none.

    Args:
        assessment: None for an invoice over several vehicles.
    """
    if not shop.settings.carried:
        return document
    if assessment is None:
        return attrs.evolve(document, no_carried=SEVERAL)
    code = carried_code(content_of(document, assessment, lines), signing_key(shop))
    if code is None:
        return attrs.evolve(document, no_carried=TOO_LONG)
    return attrs.evolve(document, carried=code.fragment, carried_mark=code.mark, carried_key=code.key)


def content_of(document: Document, assessment: Assessment, lines: Sequence[Line]) -> CarriedContent:
    """What the code says of an invoice, before anything is left out."""
    pairs = first_and_latest(assessment.readings)
    judged = {
        id(finding)
        for pair in pairs.values()
        for reading in pair
        if (finding := judging_finding(reading, assessment)) is not None
    }
    works: dict[str, list[Line]] = {}
    for line in lines:
        works.setdefault(line.operation or line.kind.value, []).append(line)
    return CarriedContent(
        number=document.number,
        issued=document.issued,
        currency=document.currency,
        total=document.total,
        rows=tuple(_row(first, latest, assessment) for first, latest in pairs.values()),
        found=tuple(_remaining_findings(assessment, judged)),
        works=tuple(
            (key, str(total((line.net for line in group), document.currency))) for key, group in works.items()
        ),
    )


def _row(first: Reading, latest: Reading, assessment: Assessment) -> Row:
    unit = first.measurand.unit
    findings = [judging_finding(reading, assessment) for reading in (first, latest)]
    limit = next((finding.limits[0] for finding in reversed(findings) if finding is not None), None)
    again = latest is not first
    late = first.stage > 0 and not again
    before = "" if late else _number(first)
    after = _number(latest) if again or late else ""
    verdicts = [_letter(finding) for finding in findings]
    return (
        first.measurand.key,
        first.place,
        units.declared_text(unit),
        before,
        after,
        *_ends(limit, unit),
        "" if late else verdicts[0],
        verdicts[1] if after else "",
    )


def _number(reading: Reading) -> str:
    shown = units.show(reading.value, reading.measurand.unit, uncertainty=False, as_typed=True)
    unit = units.declared_text(reading.measurand.unit)
    return shown.removesuffix(unit).strip() if unit else shown


def _ends(limit: Limit | None, unit: str) -> tuple[str, str]:
    low, high = (limit.low, limit.high) if limit is not None else (None, None)
    return (
        units.decimal_text(low.number, unit, 4) if low is not None else "",
        units.decimal_text(high.number, unit, 4) if high is not None else "",
    )


def _letter(finding: Finding | None) -> str:
    return "" if finding is None else _LETTERS[finding.verdict]


def _remaining_findings(assessment: Assessment, judged: set[int]) -> Iterator[tuple[str, str, str]]:
    """What failed or stayed undecided and stands in no row."""
    for finding in assessment.findings:
        if id(finding) not in judged and finding.verdict in (Verdict.FAIL, Verdict.UNDECIDED):
            yield finding.code, finding.place, _LETTERS[finding.verdict]


def known_keys(shop: ShopContext) -> dict[str, bytes]:
    """Fingerprint → public key of the present key and of every one before it."""
    key = signing_key(shop)
    return {key.name: key.public, **public_keys((shop.folder / SIGNING_KEY_FILE).parent)}


def titles(shop: ShopContext) -> dict[str, str]:
    """Key → title of everything that a carried code may name, and the charges, in the language of the shop's
    papers.
    """
    named = {
        key: what.title
        for shelf in (shop.plugins.measurands, shop.plugins.operations)
        for key, what in shelf.items()
    }
    english = {**named, "call-out": "Call-out", "travel": "Travel", "diagnosis": "Diagnosis"}
    tongue = tongue_of(
        screen_language(shop.settings.language), [one.folder for one in shop.plugins.systems.values()]
    )
    return english if tongue is None else {key: tongue.said(title) for key, title in english.items()}


def replace_key(shop: ShopContext) -> SigningKey:
    """Draw a new key; the public half of the old one stays, so that what it signed still verifies.

    Raises:
        LinkKeyError: the old key cannot be read, or the new one not be written.
    """
    path = shop.folder / SIGNING_KEY_FILE
    signing_key(shop)
    path.unlink()
    return create_signing_key(path)
