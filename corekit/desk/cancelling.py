"""The right to cancel a contract that was made at the customer's home: the shop's words on it stand on the
estimate, and whoever approves says what holds. It is no legal advice; the words are the shop's to supply.
"""

from __future__ import annotations

from collections.abc import Iterator

from ..fault import any_of, quotation
from ..model.cancellation import CancellationAnswer
from ..model.job import Job
from ..model.jurisdiction import Cancellation
from ..model.records import Approved, Estimated
from .context import ShopContext
from .errors import ApprovalError, DeskError
from .settings import SHOP_FILE


def words_missing(shop: ShopContext) -> Iterator[str]:
    """The shop's own words, where its law asks for them and they are not there."""
    rule = shop.jurisdiction.cancellation
    if rule is not None and rule.statement not in shop.settings.statements:
        yield (
            f"the words that the law prescribes on the right to cancel ({rule.origin.source}): write"
            f' statements.{rule.statement} = "…" in {SHOP_FILE}'
        )


def answer_missing(rule: Cancellation, approval: Approved) -> Iterator[str]:
    """What the customer says, where that is not said."""
    if approval.cancellation not in rule.answers:
        got = f"; got {quotation(approval.cancellation)}" if approval.cancellation else ""
        yield (
            f"what the customer says on cancelling {approval.estimate!r} within {rule.days} days:"
            f" {any_of(map(quotation, map(str, rule.answers)))}{got}; write it as cancellation of the"
            " approval (`corekit approve … --cancellation`)"
        )


def refuse_without_words(shop: ShopContext) -> None:
    """Return when an estimate can carry all that it must on the right to cancel.

    Raises:
        DeskError: the shop has not supplied the words.
    """
    missing = list(words_missing(shop))
    if missing:
        raise DeskError(_told(shop, "The estimate", missing, "Nothing was made"))


def refuse_unsaid(shop: ShopContext, job: Job, approval: Approved) -> None:
    """Return when an approval may be written as far as the right to cancel goes.

    Raises:
        DeskError: with everything that is missing.
        ApprovalError: no law asks, and what is said is none of the answers there are.
    """
    rule = shop.jurisdiction.cancellation
    if rule is None or not job.approves_something(approval):
        answers = tuple(map(str, CancellationAnswer))
        if approval.cancellation and approval.cancellation not in answers:
            raise ApprovalError(
                f"{approval.cancellation!r} would stand in the record for good, so what is said on cancelling"
                f" is never in words of one's own. Write one of {', '.join(answers)}, or omit it."
                " Nothing was recorded.",
                "cancellation",
            )
        return
    missing = [*words_missing(shop), *answer_missing(rule, approval)]
    estimated = next((noted.record for noted in job.estimates if _is_of(noted.record, approval)), None)
    if not missing and estimated is not None and not carries_words(shop, estimated):
        missing.append(
            f"the shop's words on the right to cancel, on the estimate {approval.estimate!r}, which is older:"
            f" make a new one with `corekit estimate {job.name}`"
        )
    if missing:
        raise DeskError(_told(shop, "The approval", missing, "Nothing was recorded"))


def carries_words(shop: ShopContext, estimated: Estimated) -> bool:
    """True when an estimate's paper carries what it must on the right to cancel."""
    rule = shop.jurisdiction.cancellation
    if rule is None:
        return True
    said = shop.settings.statements.get(rule.statement, "")
    return any(said in (block.get("words") or ()) for block in estimated.document["blocks"])


def unsaid(shop: ShopContext, job: Job) -> Iterator[str]:
    """What an invoice over this job lacks on the right to cancel. What was approved on an estimate of before
    the words stood on it is left alone: nobody can be asked afterwards.
    """
    rule = shop.jurisdiction.cancellation
    made = {noted.record.document_hash: noted.record for noted in job.estimates}
    for noted in job.approvals if rule is not None else ():
        estimated = made.get(noted.record.document_hash)
        asked = estimated is not None and carries_words(shop, estimated)
        if rule is not None and asked and job.approves_something(noted.record):
            yield from answer_missing(rule, noted.record)


def _is_of(estimated: Estimated, approval: Approved) -> bool:
    return estimated.document_hash == approval.document_hash


def _told(shop: ShopContext, what: str, missing: list[str], so: str) -> str:
    rows = "\n".join(f"  {one}" for one in missing)
    return f"{what} ({shop.jurisdiction.code}) lacks what it must carry. {so}.\n{rows}"
