"""The day: whom to go to, what waits for a part, what is owed, whose vehicle is to be seen again."""

from __future__ import annotations

import flask

from ..desk.day import Owed, day_list
from ..model.job import Job
from ..report.dates import day_words
from .context import Van
from .job_rows import Row, row_of, texts_for
from .page import job_page, personal_words

#: Months after which a vehicle is usually to be seen again, as keys.
AGAIN_IN = (3, 6, 12)


def add(app: flask.Flask, van: Van) -> None:
    @app.get("/day")
    def day() -> str:
        """All that the day holds, on one screen."""
        held = day_list(van.shop)
        jobs = [*held.today, *held.later, *held.without_part, *held.recalls, *(one.job for one in held.owed)]
        texts = texts_for(van, jobs)
        today = held.day.isoformat()
        return flask.render_template(
            "day.html",
            day=day_words(today),
            today=[row_of(van, job, texts) for job in held.today],
            late={job.id for job in held.today if job.day < today},
            later=[row_of(van, job, texts) for job in held.later],
            without_part=[row_of(van, job, texts) for job in held.without_part],
            owed=[_owing(one, texts) for one in held.owed],
            recalls=[(row_of(van, job, texts), day_words(job.recall)) for job in held.recalls],
            is_cut=held.is_cut,
        )

    def _owing(one: Owed, texts: dict[str, str]) -> tuple[Row, Owed, str]:
        issuer = van.shop.settings.issuer
        amount = f"{one.amount} {one.amount.currency}"
        words = (
            f"Invoice {one.number} of {day_words(one.day)}: {amount} is still open. Thank you. {issuer.name}"
        )
        row = row_of(van, one.job, texts, f"Invoice {one.number}", words)
        age = (
            f"{one.days} days overdue"
            if one.days > 1
            else "1 day overdue"
            if one.days == 1
            else f"due {day_words(one.due_on)}"
            if one.due_on
            else "due now"
        )
        return row, one, age

    @app.get("/job/<job>/plan")
    def plan(job: str) -> str:
        """When to be there next, and from when on the vehicle is to be seen again."""
        record = van.job(job)
        texts = van.texts(record)
        planned = record.planned.record if record.planned is not None else None
        return job_page(
            "plan.html",
            record,
            van,
            planned=planned,
            place=(personal_words(planned.place, texts) if planned else "")
            or personal_words(record.customer.address, texts),
            what=personal_words(planned.what, texts) if planned else "",
            recalls=_recalls(record, texts),
            again_in=[(months, _in_months(months)) for months in AGAIN_IN],
        )

    def _recalls(job: Job, texts: dict[str, str]) -> list[tuple[str, str, str]]:
        return [
            (noted.id, day_words(noted.record.on), personal_words(noted.record.what, texts))
            for noted in job.recalls
        ]

    def _in_months(months: int) -> str:
        """The same day so many months on, or the last one of that month."""
        today = van.shop.now.date()
        year, month = divmod(today.year * 12 + today.month - 1 + months, 12)
        for last in (today.day, 30, 29, 28):
            try:
                return today.replace(year=year, month=month + 1, day=last).isoformat()
            except ValueError:
                continue
        return today.isoformat()
