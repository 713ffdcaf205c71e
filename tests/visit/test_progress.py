"""Where a visit stands is read off the job alone: step by step through an everyday job, as a phone that died
would find it again.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.answering import Answer
from corekit.desk.shop import Shop
from corekit.plugin.host import Plugins
from corekit.plugin.system import System
from corekit.screens.forms import own_path
from corekit.visit.progress import Standing, Step, standing

COUNTED = itertools.count()


class Visit:
    """A job that is answered bit by bit."""

    def __init__(self, shop: Shop) -> None:
        self.shop = shop
        begun = shop.answer(
            None, Answer(id=self._id(), rows={"reason": "Does not crank.", "vehicle": {"plate": "DEMO-1"}})
        )
        self.job = begun.job

    def _id(self) -> str:
        return f"answer-of-the-test-{next(COUNTED):04}"

    def say(self, **step: Any) -> None:
        self.shop.answer(self.job, Answer(id=self._id(), rows={"step": [step]}))

    def agree(self, stage: str, *declined: str) -> None:
        self.shop.agree(self.shop.offer(self.job, stage), by="customer", how="in person", declined=declined)

    @property
    def stands(self) -> Standing:
        job = self.shop.store.job(self.job)
        return standing(job, self.shop.assessed(job))


@pytest.fixture
def visit(empty_shop: Path) -> Any:
    with Shop(empty_shop) as shop:
        yield Visit(shop)


WANTED = {"operation": "battery.clean_contacts", "ground": "customer"}


def test_a_visit_goes_from_step_to_step_as_it_is_answered(visit: Visit) -> None:
    assert visit.stands.step is Step.DIAGNOSIS
    visit.agree("diagnosis")
    assert visit.stands.step is Step.TEST
    visit.say(wanted=WANTED)
    visit.shop.offer(visit.job, "repair")
    assert (visit.stands.step, visit.stands.pending) == (Step.OFFER, ("repair 1",))
    visit.agree("repair")
    assert (visit.stands.step, visit.stands.to_do) == (Step.REPAIR, ("battery.clean_contacts",))
    visit.say(repaired={"operation": "battery.clean_contacts"})
    assert visit.stands.to_do == ()
    assert visit.stands.step in (Step.RETEST, Step.HAND_OVER)
    visit.shop.issue(visit.job)
    assert visit.stands.step is Step.HAND_OVER


def test_work_that_was_declined_is_not_to_be_done(visit: Visit) -> None:
    visit.agree("diagnosis")
    visit.say(wanted=WANTED)
    visit.agree("repair", "battery.clean_contacts")
    assert (visit.stands.step, visit.stands.to_do) == (Step.HAND_OVER, ())


def test_a_job_that_was_left_waits_until_somebody_comes_again(visit: Visit) -> None:
    visit.agree("diagnosis")
    visit.say(left={"because": "part missing"})
    assert visit.stands.away
    visit.say(came={})
    assert not visit.stands.away


def test_a_job_that_ended_is_handed_over(visit: Visit) -> None:
    visit.agree("diagnosis")
    visit.say(ended={"how": "no fault found", "because": "nobody was there"})
    assert visit.stands.step is Step.HAND_OVER


@pytest.mark.parametrize(
    ("path", "led"),
    [
        ("/job/abc/test?place=posts", "/job/abc/test?place=posts"),
        ("//elsewhere.example/x", "/"),
        ("/\\elsewhere.example", "/"),
        ("https://elsewhere.example/", "/"),
        ("javascript:alert(1)", "/"),
        ("/job/a\r\nX: y", "/"),
        ("", "/"),
    ],
)
def test_a_form_cannot_lead_anybody_elsewhere(path: str, led: str) -> None:
    # OWASP ASVS 5.0, chapter 3 (redirects stay on the own site; number of the item from memory: 3.7.2).
    assert own_path(path, "/") == led


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


def test_after_a_price_by_phone_the_first_thing_is_which_vehicle_it_is(visit: Visit) -> None:
    shop = visit.shop
    visit.job = shop.answer(
        None,
        Answer(
            id=visit._id(),
            rows={"reason": "Wants it clean.", "vehicle": {"told": "five-door", "no_vin": "not seen yet"}},
        ),
    ).job
    visit.say(wanted=WANTED)
    visit.shop.offer(visit.job, "repair")
    assert visit.stands.step is Step.OFFER, "nobody has to be there to agree"
    visit.agree("repair")
    assert visit.stands.step is Step.ARRIVE
    (vehicle,) = [noted for noted in shop.store.job(visit.job).standing if noted.entry.kind == "vehicle"]
    shop.answer(
        visit.job, Answer(id=visit._id(), rows={"vehicle": {"plate": "DEMO-1"}, "instead_of": vehicle.id})
    )
    assert visit.stands.step is Step.REPAIR


def test_nothing_is_to_show_that_work_helped_which_did_not_cure(visit: Visit) -> None:
    visit.agree("diagnosis")
    visit.say(wanted=WANTED)
    visit.agree("repair")
    visit.say(repaired={"operation": "battery.clean_contacts"})
    assert (visit.stands.step, visit.stands.unshown) == (Step.RETEST, ("battery.clean_contacts",))
    visit.say(waived={"operation": "battery.clean_contacts", "because": "did not fix"})
    assert (visit.stands.step, visit.stands.unshown) == (Step.HAND_OVER, ())


def test_work_that_no_reading_can_show_leads_on_to_the_hand_over(empty_shop: Path) -> None:
    horn = System("horn", "Horn")
    silent = horn.operation("tighten", "Tighten the horn's bracket").key
    with (empty_shop / "prices.toml").open("a", encoding="utf-8") as prices:
        prices.write(f'\n[operations."{silent}"]\nhours = "0.5"\n')
    with Shop(empty_shop, plugins=Plugins(systems={"horn": horn})) as shop:
        visit = Visit(shop)
        visit.agree("diagnosis")
        visit.say(wanted={"operation": silent, "ground": "customer"})
        visit.agree("repair")
        visit.say(repaired={"operation": silent})
        assert (visit.stands.step, visit.stands.unshown) == (Step.HAND_OVER, ())


def test_a_retest_that_cannot_be_read_does_not_hold_the_visit_up(visit: Visit) -> None:
    operation = next(
        one
        for key, one in visit.shop.plugins.operations.items()
        if one.shown_by and not one.replaces and key in visit.shop.book.operations
    )
    visit.agree("diagnosis")
    visit.say(wanted={"operation": operation.key, "ground": "customer"})
    visit.agree("repair")
    visit.say(repaired={"operation": operation.key})
    assert (visit.stands.step, visit.stands.unshown) == (Step.RETEST, (operation.key,))
    visit.say(seen=[{"of": operation.shown_by, "cannot": "no access"}])
    assert (visit.stands.step, visit.stands.unshown) == (Step.HAND_OVER, ())
