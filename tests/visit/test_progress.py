"""Where a visit stands is read off the job alone: step by step through an everyday job, as a phone that died
would find it again.
"""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import pytest

from corekit.desk import issuing
from corekit.desk.assessing import assessment_of
from corekit.desk.rows import add_rows
from corekit.desk.shop import Shop
from corekit.plugin.host import Plugins
from corekit.plugin.system import System
from corekit.visit.progress import Standing, Step, standing

COUNTED = itertools.count()


class Visit:
    """A job that is answered bit by bit."""

    def __init__(self, shop: Shop) -> None:
        self.shop = shop
        begun = add_rows(
            shop.context,
            None,
            {"reason": "Does not crank.", "vehicle": {"plate": "DEMO-1"}},
            request_id=self._id(),
        )
        self.job = begun.job

    def _id(self) -> str:
        return f"answer-of-the-test-{next(COUNTED):04}"

    def say(self, **step: Any) -> None:
        add_rows(self.shop.context, self.job, {"step": [step]}, request_id=self._id())

    def approve(self, stage: str, *declined: str) -> None:
        self.shop.approve(
            self.shop.estimate(self.job, stage), by="customer", how="in person", declined=declined
        )

    @property
    def stands(self) -> Standing:
        job = self.shop.store.job(self.job)
        return standing(job, assessment_of(self.shop.context, job))


@pytest.fixture
def visit(empty_shop: Path) -> Any:
    with Shop(empty_shop) as shop:
        yield Visit(shop)


WANTED = {"operation": "battery.clean_contacts", "ground": "customer"}


def test_a_visit_goes_from_step_to_step_as_it_is_answered(visit: Visit) -> None:
    assert visit.stands.step is Step.DIAGNOSIS
    visit.approve("diagnosis")
    assert visit.stands.step is Step.TEST
    visit.say(requested=WANTED)
    visit.shop.estimate(visit.job, "repair")
    assert (visit.stands.step, visit.stands.pending) == (Step.ESTIMATE, ("repair 1",))
    visit.approve("repair")
    assert (visit.stands.step, visit.stands.to_do) == (Step.REPAIR, ("battery.clean_contacts",))
    visit.say(repaired={"operation": "battery.clean_contacts"})
    assert visit.stands.to_do == ()
    assert visit.stands.step in (Step.RETEST, Step.HAND_OVER)
    visit.shop.issue(visit.job)
    assert visit.stands.step is Step.HAND_OVER


def test_work_that_was_declined_is_not_to_be_done(visit: Visit) -> None:
    visit.approve("diagnosis")
    visit.say(requested=WANTED)
    visit.approve("repair", "battery.clean_contacts")
    assert (visit.stands.step, visit.stands.to_do) == (Step.HAND_OVER, ())


def test_a_job_that_was_left_waits_until_somebody_comes_again(visit: Visit) -> None:
    visit.approve("diagnosis")
    visit.say(left={"because": "part missing"})
    assert visit.stands.away
    visit.say(arrived={})
    assert not visit.stands.away


def test_a_job_that_ended_is_handed_over(visit: Visit) -> None:
    visit.approve("diagnosis")
    visit.say(ended={"how": "no fault found", "because": "nobody was there"})
    assert visit.stands.step is Step.HAND_OVER


def test_after_a_price_by_phone_the_first_thing_is_which_vehicle_it_is(visit: Visit) -> None:
    shop = visit.shop
    visit.job = add_rows(
        shop.context,
        None,
        {"reason": "Wants it clean.", "vehicle": {"description": "five-door", "no_vin": "not seen yet"}},
        request_id=visit._id(),
    ).job
    visit.say(requested=WANTED)
    visit.shop.estimate(visit.job, "repair")
    assert visit.stands.step is Step.ESTIMATE, "nobody has to be there to approve"
    visit.approve("repair")
    assert visit.stands.step is Step.ARRIVE
    (vehicle,) = [noted for noted in shop.store.job(visit.job).standing if noted.entry.kind == "vehicle"]
    add_rows(
        shop.context,
        visit.job,
        {"vehicle": {"plate": "DEMO-1"}, "instead_of": vehicle.id},
        request_id=visit._id(),
    )
    assert visit.stands.step is Step.REPAIR


def test_nothing_is_to_show_that_work_helped_which_did_not_cure(visit: Visit) -> None:
    visit.approve("diagnosis")
    visit.say(requested=WANTED)
    visit.approve("repair")
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
        visit.approve("diagnosis")
        visit.say(requested={"operation": silent, "ground": "customer"})
        visit.approve("repair")
        visit.say(repaired={"operation": silent})
        assert (visit.stands.step, visit.stands.unshown) == (Step.HAND_OVER, ())


def test_a_retest_that_cannot_be_read_does_not_hold_the_visit_up(visit: Visit) -> None:
    operation = next(
        one
        for key, one in visit.shop.context.plugins.operations.items()
        if one.shown_by and not one.replaces and key in visit.shop.context.prices.operations
    )
    visit.approve("diagnosis")
    visit.say(requested={"operation": operation.key, "ground": "customer"})
    visit.approve("repair")
    visit.say(repaired={"operation": operation.key})
    assert (visit.stands.step, visit.stands.unshown) == (Step.RETEST, (operation.key,))
    visit.say(seen=[{"of": operation.shown_by, "cannot": "no access"}])
    assert (visit.stands.step, visit.stands.unshown) == (Step.HAND_OVER, ())


def test_work_that_was_declined_on_a_later_estimate_is_not_the_next_step(visit: Visit) -> None:
    works = ["battery.clean_contacts", "battery.charge", "battery.trace_draw"]
    visit.approve("diagnosis")
    for operation in works[:2]:
        visit.say(requested={"operation": operation, "ground": "customer"})
    visit.approve("repair")
    assert visit.stands.to_do == tuple(works[:2])
    visit.say(requested={"operation": works[2], "ground": "customer"})
    visit.approve("repair", works[0])
    assert (visit.stands.step, visit.stands.to_do) == (Step.REPAIR, tuple(works[1:]))
    titles = [visit.shop.context.plugins.operations[key].title for key in works]
    left_out = issuing.left_out(visit.shop.context, visit.shop.store.job(visit.job))
    assert [any(sentence.startswith(title) for sentence in left_out) for title in titles] == [
        False,
        True,
        True,
    ]
