"""One job as lists show it: vehicle and customer, where it stands, what it comes to, how to reach them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from urllib.parse import quote

import attrs

from ..desk import jobs as desk_jobs
from ..desk.jobs import JobRow
from ..model.job import Job
from ..model.job_state import JobState
from ..model.money import Money
from ..report.dates import day_words
from ..visit.progress import TITLES, Step
from .context import Van, note_own_texts
from .page import vehicle_words

#: What comes next in a job, as far as its journal alone tells; the job's own screen says it to the step.
NEXT = {
    JobState.DIAGNOSIS: TITLES[Step.DIAGNOSIS],
    JobState.ARRIVE: TITLES[Step.ARRIVE],
    JobState.TEST: "Find the cause",
    JobState.ESTIMATE: TITLES[Step.ESTIMATE],
    JobState.REPAIR: TITLES[Step.REPAIR],
    JobState.DONE: "Test again or hand over",
    JobState.HAND_OVER: TITLES[Step.HAND_OVER],
}


@attrs.frozen(kw_only=True)
class Reach:
    """How a customer is reached: addresses that the phone opens, empty where nothing is known."""

    call: str = ""
    message: str = ""
    mail: str = ""
    navigate: str = ""

    @classmethod
    def of(cls, phone: str, email: str, address: str, subject: str = "", words: str = "") -> Reach:
        """The addresses, with what a message is to say."""
        number = re.sub(r"[^0-9+]", "", phone)
        body = f"?body={quote(words)}" if words else ""
        told = "&".join(
            f"{name}={quote(text)}" for name, text in (("subject", subject), ("body", words)) if text
        )
        return cls(
            call=f"tel:{number}" if number else "",
            message=f"sms:{number}{body}" if number else "",
            mail=f"mailto:{quote(email, safe='@')}{'?' if told else ''}{told}" if "@" in email else "",
            navigate=f"geo:0,0?q={quote(address)}" if address else "",
        )


@attrs.frozen(kw_only=True)
class Row:
    """One job as it stands in a list.

    Attributes:
        words: The complaint. who: The customer's name. money: What it comes to, where that is known.
        when: Day and time of the appointment, in words; `day` and `time` as they are kept.
        where: As it was planned, else the customer's address. what: What for.
    """

    id: str
    name: str
    vehicle: str
    who: str
    words: str
    step: str
    money: str = ""
    when: str = ""
    day: str = ""
    time: str = ""
    where: str = ""
    what: str = ""
    recall: str = ""
    reach: Reach = Reach()


def rows_of(van: Van, jobs: Sequence[JobRow]) -> list[Row]:
    """Jobs as they stand in a list; their texts are read in one go."""
    texts = texts_for(van, jobs)
    return [row_of(van, job, texts) for job in jobs]


def row_of(van: Van, job: JobRow, texts: Mapping[str, str], subject: str = "", message: str = "") -> Row:
    def text(hash_: str) -> str:
        return texts.get(hash_, "removed") if hash_ else ""

    where = text(job.place) or text(job.address)
    return Row(
        id=job.id,
        name=job.name,
        vehicle=vehicle_words(job, texts),
        who=text(job.who),
        words=text(job.words),
        step=step_words(van, job),
        money=money_words(van, job),
        when=" ".join(filter(None, (day_words(job.day), job.at))),
        day=job.day,
        time=job.at,
        where=where,
        what=text(job.what),
        recall=text(job.recall_what),
        reach=Reach.of(text(job.phone), text(job.email), where, subject, message),
    )


def step_words(van: Van, job: JobRow) -> str:
    """What comes next in a job, or how it ended."""
    state = JobState(job.state)
    if state is JobState.INVOICED:
        owed = desk_jobs.amount_due(van.shop, job)
        if owed.minor < 0:
            return f"Invoice {job.number}, refund due {-owed} {owed.currency}"
        return f"Invoice {job.number}" + (f", {owed} {owed.currency} to pay" if owed.minor else "")
    if state is JobState.OVER:
        return f"Ended: {job.because}"
    if state is JobState.HANDED:
        return f"Handed to van {job.because}"
    return f"Left: {job.because}" if state is JobState.LEFT else f"Next: {NEXT[state]}"


def money_words(van: Van, job: JobRow) -> str:
    """What a job that is not invoiced comes to so far."""
    currency = van.shop.prices.currency
    if job.closed is not None or not (job.asked or job.granted):
        return ""
    if job.asked:
        return f"{Money(job.asked, currency)} {currency} to approve"
    return f"{'part of ' if job.in_part else ''}{Money(job.granted, currency)} {currency} approved"


def texts_for(van: Van, jobs: Iterable[Job | JobRow]) -> dict[str, str]:
    """The personal texts of many rows, read in one go."""
    texts = desk_jobs.texts_of(van.shop, *jobs)
    note_own_texts(texts.values())
    return texts
