"""All that is kept of a customer, on request."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from corekit.cli import main
from corekit.desk.jobs import photograph
from corekit.desk.person import person_data
from corekit.desk.shop import Shop
from corekit.store.errors import StoreError


def test_every_personal_text_and_picture_of_the_job_stands_in_it_and_nobody_elses(
    demo_copy: Path, tmp_path: Path
) -> None:
    with Shop(demo_copy) as shop:
        first, second = shop.store.jobs()[:2]
        photograph(shop.context, first, "aGVsbG8=", what="the worn post")
        theirs = shop.store.texts(shop.store.job(first).persons())
        others = shop.store.texts(shop.store.job(second).persons())
        name = shop.store.job(first).name
    out = tmp_path / "person.json"
    assert main(["person", name, "--shop", str(demo_copy), "--out", str(out)]) == 0
    assert out.stat().st_mode & 0o077 == 0
    text = out.read_text("utf-8")
    assert theirs
    for words in theirs.values():
        assert json.dumps(words, ensure_ascii=False)[1:-1] in text
    assert "aGVsbG8=" in text
    assert not [words for words in set(others.values()) - set(theirs.values()) if words in text]
    (job,) = json.loads(text)["jobs"]
    assert {"opened", "customer", "vehicle", "issued"} <= {entry["kind"] for entry in job["entries"]}
    assert [entry["kind"] for entry in job["books"]]
    assert job["links"][0]["link"] == 1


def test_what_was_destroyed_is_said_to_be_removed_and_an_unknown_job_is_refused(demo_copy: Path) -> None:
    with Shop(demo_copy) as shop:
        job = shop.store.jobs()[0]
        shop.forget(job)
        assert '"removed"' in json.dumps(person_data(shop.context, [job]))
        with pytest.raises(StoreError):
            person_data(shop.context, ["nobody"])
