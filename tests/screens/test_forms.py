"""A form as a browser sends it: what is taken, what comes back with its faults, and where it leads."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

#: What a form of ours never leads to (OWASP ASVS 5.0.0, 3.7.2); `//[` and `http://[` are what urlsplit raises
#: a ValueError for.
ELSEWHERE = [
    "",
    "job",
    "//elsewhere.example/x",
    "///elsewhere.example/x",
    "https://elsewhere.example/",
    "javascript:alert(1)",
    "//[",
    "http://[",
    "//[::1",
    "/\\elsewhere.example",
    "\\\\elsewhere.example",
    "/job\\..\\x",
    "/job/a\r\nX: y",
    "/\t/elsewhere.example",
    "/\0",
    "/\x7f",
    "/é",
    "/" + "a" * 2000,
]


@pytest.mark.parametrize("path", ELSEWHERE)
def test_a_form_leads_nowhere_else_after_its_answer_was_written(
    empty_shop: Path, screens: Callable[..., Any], path: str
) -> None:
    served = screens(empty_shop)
    client, job = served.app.test_client(), served.shop.store.new_job()
    begun = {"reason": "Does not crank.", "vehicle.plate": "DEMO-1", "answer": secrets.token_urlsafe(18)}
    reply = client.post(f"/job/{job}/answer", data=begun | {"next": path})
    assert (reply.status_code, reply.headers["Location"]) == (303, f"/job/{job}")
    assert served.shop.store.jobs() == [job]


def test_a_form_leads_on_to_the_screen_that_it_names(empty_shop: Path, screens: Callable[..., Any]) -> None:
    served = screens(empty_shop)
    client, job = served.app.test_client(), served.shop.store.new_job()
    begun = {"reason": "Does not crank.", "vehicle.plate": "DEMO-1", "answer": secrets.token_urlsafe(18)}
    reply = client.post(f"/job/{job}/answer", data=begun | {"next": "/job/abc/test?place=posts"})
    assert (reply.status_code, reply.headers["Location"]) == (303, "/job/abc/test?place=posts")


@pytest.mark.parametrize("path", ELSEWHERE)
def test_a_refused_form_that_names_no_screen_of_ours_is_still_refused_in_words(
    empty_shop: Path, screens: Callable[..., Any], path: str
) -> None:
    served = screens(empty_shop)
    job = served.shop.store.new_job()
    typed = {"reason": "", "answer": secrets.token_urlsafe(18), "screen": path}
    assert served.app.test_client().post(f"/job/{job}/answer", data=typed).status_code == 422
    assert served.shop.store.jobs() == []


def test_an_answer_that_is_refused_brings_its_screen_back_with_everything_that_was_typed(
    empty_shop: Path, screens: Callable[..., Any]
) -> None:
    served = screens(empty_shop)
    client = served.app.test_client()
    job = served.shop.store.new_job()
    typed = {
        "reason": "Does not crank.",
        "vehicle.plate": "DEMO-1",
        "vehicle.odometer": "12O",
        "answer": "a" * 20,
        "guard": "",
        "screen": "/new",
    }
    reply = client.post(f"/job/{job}/answer", data=typed)
    shown = reply.get_data(as_text=True)
    assert reply.status_code == 422
    assert "Does not crank." in shown
    assert 'value="12O"' in shown
    assert served.shop.store.jobs() == []
    reply = client.post(
        f"/job/{job}/answer", data=typed | {"vehicle.odometer": "120", "vehicle.odometer|unit": "km"}
    )
    assert (reply.status_code, reply.headers["Location"]) == (303, f"/job/{job}")
    again = client.post(
        f"/job/{job}/answer", data=typed | {"vehicle.odometer": "120", "vehicle.odometer|unit": "km"}
    )
    assert again.status_code == 303
    assert len(served.shop.store.job(job).entries) == 2
    other = client.post(
        f"/job/{job}/answer", data=typed | {"vehicle.odometer": "121", "vehicle.odometer|unit": "km"}
    )
    assert other.status_code == 409
