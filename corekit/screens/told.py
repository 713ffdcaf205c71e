"""The account of a job on the mechanic's own screens: the very rows that paper and page show.

A paper that was made shows its own; before there is one, it is told how the job stands now.
"""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from ..account.account import Account, account_of
from ..desk.assessing import Assessment
from ..desk.quote import Prospect, prices_in
from ..model.document import Document, NextSteps
from ..model.job import Job
from ..report.account_blocks import account_block, answer_block
from ..report.page import account_of_paper, render_account
from ..report.personal_text import resolver
from .context import Van

#: Tells the ids of these rows apart from those of a whole paper on the same screen.
_KEY = "rows"


def account_now(van: Van, job: Job, assessment: Assessment, ahead: Prospect | None = None) -> Account:
    """The account of a job as it stands, with what would be proposed as a proposal."""
    return account_of(
        job,
        assessment,
        van.shop.plugins,
        lines=[line for part in ahead.parts for line in part.lines] if ahead else (),
        is_proposal=ahead is not None,
        book=prices_in(van.shop, job),
    )


def told_now(van: Van, job: Job, assessment: Assessment, ahead: Prospect | None = None) -> Markup:
    """The answer, its rows and what next, as the paper that is made next would show them.

    Args:
        ahead: What would be proposed, where something would.
    """
    account, currency = account_now(van, job, assessment, ahead), van.shop.prices.currency
    facts = [("Total", f"{ahead.total} {currency}", True)] if ahead else []
    steps = NextSteps(rows=tuple((step.label, step.words) for step in account.steps))
    return Markup(
        render_account(
            answer_block(job, account, facts),
            account_block(account, assessment, currency),
            resolver(van.texts(job)),
            steps=steps,
            key=_KEY,
            with_prices=ahead is not None,
        )
    )


def told_on(document: Document, van: Van, jobs: Sequence[Job], *, with_prices: bool = False) -> Markup:
    """The answer and the rows of a paper; empty for one that was made before papers had an account."""
    texts = {hash_: text for job in jobs for hash_, text in van.texts(job).items()}
    return Markup(account_of_paper(document, resolver(texts), key=_KEY, with_prices=with_prices))
