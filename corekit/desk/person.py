"""All that a shop keeps of one customer, for whoever asks for it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from ..model.entry import Entry
from ..model.job import Job
from ..model.personal import PICTURE_KINDS
from .context import ShopContext
from .jobs import job_named, pictures_of, texts_of
from .publishing import links_of


def person_data(shop: ShopContext, jobs: list[str]) -> dict[str, Any]:
    """Every entry of these jobs with its personal texts and pictures in their places, what the books say of
    them, and which links lead to their pages.

    Raises:
        StoreError: there is no such job.
    """
    records = [job_named(shop, job) for job in jobs]
    return {"jobs": [_job(shop, record) for record in records]}


def person_text(shop: ShopContext, jobs: list[str]) -> str:
    """The same as text that a program and a person can read."""
    return json.dumps(person_data(shop, jobs), indent=1, ensure_ascii=False) + "\n"


def _job(shop: ShopContext, job: Job) -> dict[str, Any]:
    texts = {**texts_of(shop, job), **pictures_of(shop, job)}
    books = [entry for entry in shop.store.books() if entry.job == job.id or job.id in _over(entry)]
    links = [
        {"invoice": noted.record.number, "link": known.link, "published": known.published_at,
         "until": known.expires, "taken down": known.revoked}
        for noted in job.issued
        for known, _ in links_of(shop, noted.record.number)
    ]  # fmt: skip
    return {
        "name": job.name,
        "entries": [_entry(entry, texts) for entry in job.entries],
        "books": [_entry(entry, texts) for entry in books],
        "links": links,
    }


def _over(entry: Entry) -> tuple[str, ...]:
    return tuple(map(str, entry.body.get("jobs", ())))


def _entry(entry: Entry, texts: Mapping[str, str]) -> dict[str, Any]:
    return {
        "recorded": entry.recorded,
        "taken": entry.taken,
        "kind": entry.kind,
        "reason": entry.reason,
        "says": _with_texts(entry.body, texts),
    }


def _with_texts(data: Any, texts: Mapping[str, str]) -> Any:
    if isinstance(data, Mapping):
        if set(data) == {"personal", "hash"}:
            kind = data["personal"]
            form = "base64" if kind in PICTURE_KINDS else "text"
            return {"personal": kind, form: texts.get(data["hash"], "removed")}
        return {key: _with_texts(item, texts) for key, item in data.items()}
    if isinstance(data, (list, tuple)):
        return [_with_texts(item, texts) for item in data]
    return data
