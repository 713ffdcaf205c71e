"""A demo shop, and the visit of a demo file answered row by row as a screen would."""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from corekit.desk.errors import EstimateAwaitedError
from corekit.desk.jobs import job_named, pictures_of, texts_of
from corekit.desk.rows import RowsResult, add_rows
from corekit.desk.setup import create_shop
from corekit.desk.shop import Shop
from corekit.model.entry import Entry
from corekit.reference import data_path

VISIT = data_path("demo") / "jobs" / "1-worn-battery.toml"


def demo_shop(folder: Path) -> Shop:
    """A new demo shop in this folder, open."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("shop.toml", "prices.toml"):
        shutil.copy(data_path("demo") / "shop" / name, folder / name)
    create_shop(folder, demo=True)
    return Shop(folder)


def by_file(shop: Shop, path: Path) -> str:
    """The file taken in, with an estimate made wherever it speaks of one; the job."""
    while True:
        try:
            return shop.import_visit(path)
        except EstimateAwaitedError as awaited:
            shop.estimate(awaited.job, awaited.estimate.split(" ", 1)[0])


def fragments(path: Path = VISIT) -> Iterator[dict[str, Any]]:
    """The rows of a visit file, a few at a time, in the order in which they are asked on the way."""
    data = tomllib.loads(path.read_text("utf-8"))
    yield {key: data[key] for key in ("reason", "complaint", "customer", "vehicle") if key in data}
    for key, typed in data.get("traits", {}).items():
        yield {"traits": {key: typed}}
    for row in data.get("specification", []):
        yield {"specification": [row]}
    for step in data["step"]:
        lists = [(name, row) for name in ("readings", "seen") for row in step.get(name, [])]
        if not lists:
            yield {"step": [step]}
        for name, row in lists:
            yield {
                "step": [
                    {
                        name: [row],
                        **({"setup": step["setup"]} if "setup" in step and name == "readings" else {}),
                    }
                ]
            }


def answered(shop: Shop, job: str | None, number: int, rows: dict[str, Any]) -> RowsResult:
    """One fragment sent under an id of its own; where it approves an estimate that is made first."""
    for step in rows.get("step", []):
        if job is not None and "approved" in step:
            shop.estimate(
                job,
                step["approved"]["estimate"].split(" ", 1)[0],
                request_id=f"estimate-for-answer-{number:04}",
            )
    return add_rows(shop.context, job, rows, request_id=f"answer-number-{number:04}")


def by_answers(shop: Shop, path: Path = VISIT, job: str | None = None) -> str:
    """The whole visit row by row; the job."""
    for number, rows in enumerate(fragments(path)):
        job = answered(shop, job, number, rows).job
    assert job is not None
    return job


def told(shop: Shop, job: str) -> list[tuple[str, str, Any, str]]:
    """The journal as it reads to a person: kind, subject, body and reason of each entry, personal texts in
    their places.

    What is drawn at random is left out, and so are the names of the job and where the sheet of an instrument
    stands: a file is known whole, and names its instruments first.
    """
    texts = texts_of(shop.context, shop.store.job(job)) | pictures_of(
        shop.context, job_named(shop.context, job)
    )
    entries = shop.store.journal(job)
    opened = [entry for entry in entries if entry.kind == "opened"]
    names = {texts[entry.body["origin"]["hash"]] for entry in opened}
    names |= {entry.subject.partition(":")[0] for entry in opened}
    lines = [_line(entry, texts, names) for entry in entries if entry.kind not in ("issued", "published")]
    return [line for line in lines if line[0] != "instrument"] + sorted(
        line for line in lines if line[0] == "instrument"
    )


def _line(entry: Entry, texts: dict[str, str], names: set[str]) -> tuple[str, str, Any, str]:
    body = {
        key: value
        for key, value in entry.body.items()
        if key not in ("document", "document_id", "document_hash", "heads", "versions")
    }
    return entry.kind, _nameless(entry.subject, names), _plain(body, texts, names), entry.reason


def _nameless(text: str, names: set[str]) -> str:
    origin, mark, rest = text.partition(":")
    return f"JOB:{rest}" if mark and origin in names else "JOB" if text in names else text


def _plain(data: Any, texts: dict[str, str], names: set[str]) -> Any:
    if isinstance(data, dict):
        if set(data) == {"personal", "hash"}:
            return {"personal": data["personal"], "text": _nameless(texts[data["hash"]], names)}
        # evidence names entries by their ids, which are drawn with the salts
        return {key: _plain(item, texts, names) for key, item in data.items() if key != "evidence"}
    if isinstance(data, list):
        return [_plain(item, texts, names) for item in data]
    return _nameless(data, names) if isinstance(data, str) else data
