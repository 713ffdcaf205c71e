"""What a test is worth: for the test that it opens, and on a complaint that shows now and then."""

from __future__ import annotations

from copy import deepcopy
from typing import Any

import attrs
import corekit_battery
import pytest

from corekit.assess.hypotheses import Complaint, joint
from corekit.assess.inference import start
from corekit.assess.ranking import Ranking, information
from corekit.assess.steps import with_what_findings_ask
from corekit.assess.suspect import NextTest, next_tests
from corekit.plugin.faults import FaultTable
from corekit.testing.evidence import shown as shown_by_tests

from .story import Story
from .test_fault_finding import TABLE, fan, shown, story

BATTERY = corekit_battery.battery


def only_power_and_spins(needed: str, *, asks_first: bool = True) -> dict[str, Any]:
    """The fan's table where power tells nothing of any fault, and spinning can be looked at only after it."""
    raw = deepcopy(TABLE)
    raw["test"] = {key: raw["test"][key] for key in ("power", "spins", "loud")}
    raw["test"]["loud"]["spoils"] = []
    raw["test"]["power"] |= {"given": {}, "outside": [0.95, 0.05]}
    raw["test"]["spins"]["after"] = {"power": [needed]} if asks_first else {}
    return raw


def steps(raw: dict[str, Any], **answers: str) -> dict[str, NextTest]:
    """What is left to be made once somebody has listened to it."""
    return {test.key: test for test in next_tests(shown(fan.fault_table(raw, "here"), loud="no", **answers))}


def test_a_test_that_tells_nothing_is_made_for_the_test_that_it_opens() -> None:
    found = steps(only_power_and_spins("yes"))
    alone = steps(only_power_and_spins("yes", asks_first=False))["spins"]
    assert [*found] == ["power"]
    power = found["power"]
    assert (power.opens, power.then, power.minutes) == ("Does it spin?", 1, 3)
    # Power arrives in 95 of 100 whatever is wrong, and the four minutes are those of both.
    assert power.bits == pytest.approx(0.95 * alone.bits)
    assert power.rate == pytest.approx(0.95 * alone.bits / 4)


def test_a_test_that_hardly_ever_opens_the_other_is_not_made_for_it() -> None:
    # It fails to arrive in 5 of 100.
    assert not steps(only_power_and_spins("no"))


def test_once_it_has_opened_the_other_it_is_not_asked_again() -> None:
    found = steps(only_power_and_spins("yes"), power="yes")
    assert [*found] == ["spins"] and not found["spins"].opens


def test_after_a_charge_the_voltage_is_read_for_the_load_test_that_shows_a_worn_battery() -> None:
    signs = {"told": "flat soon after a full charge", "cranks": "slowly", "age": "over 5 years"}
    worn = shown_by_tests(BATTERY, None, ("cranks_slowly",), **signs, cell_spread="alike")
    evidence = attrs.evolve(worn._evidence, done=frozenset({"battery.charge"}))
    step = next(test for test in next_tests(evidence) if test.key == "charged_voltage")
    assert step.opens == "Does the battery pass the load test?" and step.then == 8


# ---- a complaint that shows now and then


def now_and_then(table: FaultTable, key: str) -> tuple[float, float]:
    """What a test promises where the complaint always shows, and where it shows three times in ten."""
    tables = (joint({"fan": table}, Complaint(shows=shows), {}, {"fan"}) for shows in (1.0, 0.3))
    always, seldom = (information(Ranking(start(one)), "fan", table.tests[key]) for one in tables)
    return always, seldom


@pytest.mark.parametrize("lasts", [True, False])
def test_a_look_at_what_does_not_come_and_go_tells_as_much_of_a_complaint_that_does(lasts: bool) -> None:
    raw = deepcopy(TABLE)
    raw["test"]["loud"]["lasting"] = lasts
    always, seldom = now_and_then(fan.fault_table(raw, "here"), "loud")
    # What was told weighs a little less where it shows seldom, whatever is tested.
    assert seldom > 0.9 * always if lasts else seldom < 0.5 * always


def test_a_code_once_stored_stays() -> None:
    raw = deepcopy(TABLE)
    del raw["test"]["loud"]["seen"]
    raw["test"]["loud"] |= {"codes": ["P0480"], "outcomes": ["set", "not set"], "sound": "not set"}
    always, seldom = now_and_then(fan.fault_table(raw, "here"), "loud")
    assert seldom > 0.9 * always


@pytest.mark.parametrize("symptom", ["cranks_slowly", "flat_standing"])
def test_a_complaint_that_shows_now_and_then_was_seen_all_the_same_when_it_was_told(symptom: str) -> None:
    # What is told is no look at the car: of that alone nobody concludes sooner that nothing is wrong.
    always, seldom = (
        joint(
            {"battery": BATTERY.faults}, Complaint(symptoms=(symptom,), shows=shows), {}, {"battery"}
        ).told_each
        for shows in (1.0, 0.3)
    )
    assert always == seldom


def test_without_a_complaint_nothing_is_told_whatever_is_wrong() -> None:
    tables = joint({"battery": BATTERY.faults}, None, {}, {"battery"}, asked={"battery"})
    assert len(tables.hypotheses) > 10
    assert set(tables.told_each) == {1.0} == {tables.told(one) for one in tables.hypotheses}


def test_what_showed_before_the_work_on_its_part_opens_no_other_test() -> None:
    def offered(story: Story) -> dict[str, str]:
        return {test.key: test.opens for test in story.assessment.next_tests}

    # Power arrived through the old fuse; whether it does through the new one is to be seen first.
    before = story().see("fan.power", "yes")
    assert "power" not in offered(before) and offered(before)["spins"] == ""
    after = offered(before.repair("fan.replace_fuse"))
    assert after["power"] == "Does it spin?" and "spins" not in after


def test_what_findings_ask_for_comes_by_what_it_tells_in_a_minute() -> None:
    def asked(key: str) -> NextTest:
        return NextTest(system="fan", key=f"fan.{key}", question=key, minutes=1, bits=0.0, wants=f"fan.{key}")

    # Both tell a worn bearing; the stiffness takes twenty minutes and the noise one.
    found = with_what_findings_ask(shown(), [asked("cold"), asked("loud")], [])
    assert [one.question for one in found] == ["loud", "cold"]


def test_a_test_that_opens_nothing_takes_its_own_minutes() -> None:
    test = NextTest(system="fan", key="power", question="?", minutes=10, bits=2, wants="fan.power")
    assert test.rate == 0.2
