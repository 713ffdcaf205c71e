"""What today's plugins make of a job: stages, gaps, specifications, before and after, retests,
disagreement.
"""

from __future__ import annotations

import math
from typing import Any

import attrs
import pytest

import corekit as ck
from corekit.assess import ruling
from corekit.assess.assessment import assess
from corekit.assess.comparison import Change
from corekit.assess.proof import Proof
from corekit.assess.proof import _proof_of as proof_of
from corekit.model.finding import Finding, Reason, Text, Urgency, Verdict
from corekit.model.limit import Scope
from corekit.model.records import Fitted, Seen, Withdrawn
from corekit.plugin.host import Failure, Plugins

from .brakes import PLUGINS, brakes
from .story import Story


def told(job: Story) -> list[tuple[str, str, int, str]]:
    return [
        (finding.code, finding.place, finding.stage, str(finding.verdict))
        for finding in job.assessment.findings
    ]


# ---- one stage


def test_each_check_says_what_its_readings_allow() -> None:
    story = (
        Story()
        .read("brakes.travel", "30 mm")
        .read("brakes.pressure", "10 bar", "right")
        .read("brakes.pressure", "90 bar", "left")
    )
    assert told(story) == [
        ("brakes.pressure", "right", 0, "fail"),  # before driving comes first
        ("brakes.travel", "", 0, "pass"),
        ("brakes.pressure", "left", 0, "pass"),
    ]


def test_a_finding_says_on_what_it_rests_and_by_which_rule() -> None:
    finding = Story().read("brakes.pressure", "10 bar", "right").finding("brakes.pressure")
    assert (
        str(finding.text) == "10.0 bar ± 2.3 bar (k = 2) at right, but allowed at least 40 bar."
    )  # U = 2 · 2 bar / √3 = 2.3 bar
    assert (finding.of, finding.place, finding.urgency) == (
        "brakes.pressure",
        "right",
        Urgency.BEFORE_DRIVING,
    )
    assert finding.limits[0].source.title == "An invented handbook"
    assert "95 %" in finding.rule
    assert len(finding.evidence) == 1
    assert finding.calls_for == "brakes.replace_master"


def test_a_pass_has_nothing_to_do_and_calls_for_nothing() -> None:
    finding = Story().read("brakes.pressure", "90 bar", "left").finding("brakes.pressure")
    assert (finding.urgency, finding.calls_for, finding.next_test) == (Urgency.NOTHING, "", "")


def test_an_undecided_finding_names_the_next_test_and_it_heads_the_list() -> None:
    story = Story().read("brakes.travel", "60 mm")
    assert (story.finding("brakes.travel").verdict, story.finding("brakes.travel").next_test) == (
        Verdict.UNDECIDED,
        "brakes.pedal",
    )
    assert story.assessment.next_tests[0].wants == "brakes.pedal"


def test_evidence_named_beside_a_reading_is_kept_each_once() -> None:
    story = Story().read("brakes.air", "20 °C").read("brakes.boiling", "230 °C")
    assert len(story.finding("brakes.fluid").evidence) == 2


def test_a_weak_limit_gives_advice_never_a_verdict() -> None:
    finding = Story().read("brakes.air", "20 °C").read("brakes.boiling", "90 °C").finding("brakes.fluid")
    assert (finding.verdict, finding.probability) == (Verdict.ADVICE, pytest.approx(0, abs=1e-9))
    assert "but allowed" in str(finding.text)  # what the number alone says


def test_no_reading_of_a_system_no_word_of_it() -> None:
    assessment = Story().assessment
    assert (assessment.findings, assessment.gaps, assessment.suspects, assessment.next_tests) == (
        (),
        (),
        (),
        (),
    )


def test_before_any_outcome_the_table_says_where_to_begin() -> None:
    assessment = Story().read("brakes.force", "200 N").assessment  # in no test of the table
    assert assessment.suspects == ()
    assert [test.key for test in assessment.next_tests] == ["pedal", "travel", "pressure"]


# ---- gaps


def test_each_gap_gives_one_of_four_reasons() -> None:
    story = (
        Story()
        .fit("brakes.hose", "braided")
        .see("brakes.boiling", cannot="the lid is seized")
        .read("brakes.force", "200 N")
        .read("brakes.air", "20 °C")
    )
    assert {gap.check: (gap.reason, gap.wants) for gap in story.assessment.gaps} == {
        "Pedal travel": (Reason.NOT_MEASURED, "brakes.travel"),
        "Line pressure": (Reason.NOT_MEASURED, "brakes.pressure"),
        "Fluid": (Reason.COULD_NOT_REACH, "brakes.boiling"),
        "Hoses": (Reason.DOES_NOT_APPLY, ""),
    }
    assert "the lid is seized" in story.gap("Fluid").text
    failed = attrs.evolve(
        PLUGINS,
        failures=(
            Failure(plugin="gone", what="ImportError: no", cost="Its system is not assessed in this visit."),
        ),
    )
    (gap,) = [gap for gap in assess(story.job, failed).gaps if gap.reason is Reason.PLUGIN_FAILED]
    assert gap.system == "gone"
    assert "not assessed in this visit" in gap.text


def test_an_unknown_trait_is_a_gap_and_a_want_is_none() -> None:
    story = Story().read("brakes.force", "200 N").see("brakes.pedal", "firm")
    assert story.gap("Hoses").wants == "brakes.hose"
    assert str(story.finding("brakes.foot").text).endswith("bore not known.")


def test_dont_know_is_an_answer_that_reaches_a_check_as_nothing() -> None:
    story = Story().read("brakes.force", "200 N").fit("brakes.bore", "20 mm")
    assert str(story.finding("brakes.foot").text).endswith("bore 20 mm.")
    story.say(Fitted(of="brakes.bore", typed="don't know"), "fitted/later")
    assert str(story.finding("brakes.foot").text).endswith("bore not known.")


def test_readings_that_no_system_knows_are_named_once_and_kept() -> None:
    story = (
        Story()
        .read("clutch.play", "3 V")
        .read("clutch.play", "4 V")
        .see("clutch.noise", "none")
        .read("brakes.travel", "30 mm")
    )
    named = [gap for gap in story.assessment.gaps if gap.check == "Readings"]
    assert [(gap.wants, gap.reason) for gap in named] == [
        ("clutch.play", Reason.DOES_NOT_APPLY),
        ("clutch.noise", Reason.DOES_NOT_APPLY),
    ]
    assert all("is kept and not judged" in gap.text for gap in named)
    assert [noted.record.of for noted in story.assessment.job.measured(0)] == [
        "clutch.play",
        "clutch.play",
        "brakes.travel",
    ]
    assert told(story) == [("brakes.travel", "", 0, "pass")]


def test_an_answer_outside_the_closed_list_counts_as_not_looked_at() -> None:
    story = Story().see("brakes.pedal", "made of cheese").fit("brakes.hose", "rubber")
    assert "not tried" in str(story.finding("brakes.hose").text)
    assert story.assessment.suspects == ()


# ---- what it was read with, and what outlasts a repair


def test_a_reading_brings_the_conditions_it_was_taken_under() -> None:
    story = Story().under(air="25 °C").read("brakes.boiling", "230 °C")
    (reading,) = story.assessment.readings[0]
    assert {key: beside.typed for key, beside in reading.setup.items()} == {"brakes.air": "25 °C"}
    assert len(story.finding("brakes.fluid").evidence) == 2


def test_what_a_reading_was_taken_with_comes_before_what_was_read_elsewhere() -> None:
    story = Story().read("brakes.air", "35 °C").under(air="-5 °C").read("brakes.boiling", "230 °C")
    setup = next(entry.id for entry in story.entries if entry.kind == "setup")
    assert setup in story.finding("brakes.fluid").evidence


def test_needs_never_fall_back_to_an_earlier_stage() -> None:
    story = (
        Story()
        .under(force="300 N")
        .read("brakes.travel", "90 mm")
        .read("brakes.air", "20 °C")
        .repair("brakes.bleed")
        .read("brakes.boiling", "230 °C")
    )
    assert sorted((stage, code) for code, _, stage, _ in told(story)) == [
        (0, "brakes.foot"),
        (0, "brakes.travel"),
        (1, "brakes.fluid"),
    ]
    assert story.gap("Pedal travel", 1).reason is Reason.NOT_MEASURED
    assert (
        story.gap("Foot against line", 1).wants == "brakes.force"
    )  # the force stood beside an arrival reading


def test_the_setup_of_a_lasting_reading_does_not_last() -> None:
    story = (
        Story()
        .under(force="300 N")
        .read("brakes.air", "20 °C")
        .repair("brakes.bleed")
        .read("brakes.boiling", "230 °C")
    )
    assert story.findings("brakes.foot", 1) == []
    assert story.gap("Foot against line", 1).wants == "brakes.force"


@pytest.mark.parametrize("beside", [False, True], ids=["read by itself", "read with another"])
def test_what_lasts_is_carried_into_later_stages(beside: bool) -> None:
    story = Story()
    story = (
        story.under(air="20 °C").read("brakes.travel", "90 mm").under()
        if beside
        else story.read("brakes.air", "20 °C").read("brakes.travel", "90 mm")
    )
    story.repair("brakes.bleed").read("brakes.boiling", "230 °C")
    assert story.finding("brakes.fluid").stage == 1


def test_what_lasts_gives_way_to_a_newer_reading_also_beside_another() -> None:
    story = (
        Story()
        .read("brakes.air", "20 °C")
        .repair("brakes.bleed")
        .under(air="35 °C")
        .read("brakes.travel", "30 mm")
    )
    story.under().read("brakes.boiling", "230 °C")
    setup = next(entry.id for entry in story.entries if entry.kind == "setup")
    assert setup in story.finding("brakes.fluid", 1).evidence


def test_a_repair_ends_the_traits_of_the_part_it_replaces_and_no_others() -> None:
    story = Story().fit("brakes.bore", "20 mm").fit("brakes.hose", "rubber").read("brakes.force", "200 N")
    story.repair("brakes.bleed").read("brakes.force", "200 N")
    story.repair("brakes.replace_master").read("brakes.force", "200 N")
    bores = [str(story.finding("brakes.foot", stage).text).rsplit("bore ", 1)[1] for stage in range(3)]
    assert bores == ["20 mm.", "20 mm.", "not known."]
    assert len(story.findings("brakes.hose", 2)) == 1
    story.fit("brakes.bore", "22 mm")  # said of the new part
    assert str(story.finding("brakes.foot", 2).text).endswith("bore 22 mm.")
    assert str(story.finding("brakes.foot", 0).text).endswith("bore 20 mm.")


# ---- limits of this vehicle


def test_this_vehicle_s_own_limit_wins_and_the_beaten_one_stays_visible() -> None:
    story = Story().specify("brakes.travel", high="25 mm").read("brakes.travel", "40 mm")
    finding = story.finding("brakes.travel")
    assert finding.verdict is Verdict.FAIL  # the general limit of 60 mm would have passed it
    assert [(limit.scope, limit.high.number) for limit in finding.limits if limit.high] == [
        (Scope.THIS_VEHICLE, 0.025),
        (Scope.GENERAL, 0.06),
    ]
    assert "label" in finding.limits[0].source.title
    specified = next(entry.id for entry in story.entries if entry.kind == "specified")
    assert specified in finding.evidence


def test_an_own_limit_decides_where_the_general_one_only_advises() -> None:
    story = (
        Story()
        .specify("brakes.boiling", low="200 °C")
        .read("brakes.air", "20 °C")
        .read("brakes.boiling", "90 °C")
    )
    assert story.finding("brakes.fluid").verdict is Verdict.FAIL


# ---- instruments


@pytest.mark.parametrize(
    ("accuracy", "ranges", "halfwidth"),
    [
        ("0.5 mm", {}, 0.5e-3),
        ("1 %", {}, 0.4e-3),
        ("1 % + 2 digits", {"100 mm": "0.1 mm"}, 0.6e-3),
        (
            "2 digits",
            {"200 mm": "1 mm", "50 mm": "0.1 mm"},
            0.2e-3,
        ),  # the smallest range that holds the reading
    ],
)
def test_the_instrument_s_own_sheet_gives_the_uncertainty(
    accuracy: str, ranges: dict[str, str], halfwidth: float
) -> None:
    (reading,) = (
        Story()
        .own("gauge", accuracy, **ranges)
        .read("brakes.travel", "40 mm", using="gauge")
        .assessment.readings[0]
    )
    assert reading.value.u == pytest.approx(halfwidth / math.sqrt(3))  # JCGM 100:2008, 4.3.7
    assert reading.uncertainty_from.startswith("gauge, ")


def test_a_step_on_a_scale_that_does_not_begin_at_nought_is_a_difference() -> None:
    (reading,) = (
        Story()
        .own("probe", "0.5 °C + 2 digits", **{"100 °C": "0.1 °C"})
        .read("brakes.air", "20 °C", using="probe")
        .assessment.readings[0]
    )
    assert reading.value.u == pytest.approx((0.5 + 2 * 0.1) / math.sqrt(3))


@pytest.mark.parametrize(
    ("using", "word"),
    [("", "no instrument named"), ("gauge", "not described"), ("short", "no range that holds")],
    ids=["unnamed", "not described", "off the scale"],
)
def test_without_a_fitting_sheet_the_worst_ordinary_instrument_is_assumed_and_said(
    using: str, word: str
) -> None:
    story = (
        Story().own("short", "2 digits", **{"20 mm": "0.1 mm"}).read("brakes.travel", "40 mm", using=using)
    )
    (reading,) = story.assessment.readings[0]
    assert reading.value.u == pytest.approx(0.002 / math.sqrt(3))
    assert word in reading.uncertainty_from


def test_readings_of_one_range_share_its_gain_and_of_two_instruments_nothing() -> None:
    def apart(first: str, second: str) -> float:
        story = Story().own("one", "5 %").own("two", "5 %")
        story.read("brakes.pressure", "90 bar", "left", using=first).read(
            "brakes.pressure", "80 bar", "right", using=second
        )
        left, right = story.assessment.readings[0]
        return (left.value - right.value).u

    assert apart("one", "one") == pytest.approx(10e5 * 0.05 / math.sqrt(3))
    assert apart("one", "two") == pytest.approx(math.hypot(90e5, 80e5) * 0.05 / math.sqrt(3))


# ---- repeated readings


def test_the_latest_of_readings_that_agree_counts_and_all_are_counted() -> None:
    story = Story().read("brakes.travel", "40.5 mm").read("brakes.travel", "40 mm")
    (reading,) = story.assessment.readings[0]
    assert (reading.typed, reading.count, reading.disagrees) == ("40 mm", 2, False)
    assert story.finding("brakes.travel").verdict is Verdict.PASS
    assert len(story.finding("brakes.travel").evidence) == 2


@pytest.mark.parametrize("order", [("20 mm", "90 mm"), ("90 mm", "20 mm")], ids=" then ".join)
def test_readings_that_disagree_decide_nothing_and_say_so(order: tuple[str, str]) -> None:
    story = Story().read("brakes.travel", order[0]).read("brakes.travel", order[1])
    finding = story.finding("brakes.travel")
    assert finding.verdict is Verdict.UNDECIDED
    assert (
        "the 2 readings, from 20.0 mm to 90.0 mm, disagree by more than their uncertainty; read it again"
        in str(finding.text)
    )
    assert finding.probability == pytest.approx(0.5)
    assert finding.urgency is not Urgency.NOTHING
    assert not any(call.met for call in story.assessment.calls)


def test_readings_that_disagree_are_no_direct_test_against_a_part() -> None:
    plain = (
        Story()
        .see("brakes.pedal", "firm")
        .read("brakes.pressure", "3 bar", "left")
        .see("brakes.pedal", "sinks")
    )
    assert plain.assessment.may_propose("brakes.replace_master")
    torn = (
        Story()
        .read("brakes.pressure", "9 bar", "left")
        .read("brakes.pressure", "3 bar", "left")
        .read("brakes.travel", "90 mm")
        .fit("brakes.hose", "rubber")
    )
    assert torn.finding("brakes.pressure").verdict is Verdict.UNDECIDED  # though both lie far below the limit
    (call,) = [call for call in torn.assessment.calls if call.operation == "brakes.replace_master"]
    assert not call.met
    assert "No test that speaks directly" in call.why


def test_bins_count_each_of_the_readings_that_disagree_alike() -> None:
    torn = Story().read("brakes.travel", "20 mm").read("brakes.travel", "90 mm").assessment
    turned = Story().read("brakes.travel", "90 mm").read("brakes.travel", "20 mm").assessment
    assert [(s.fault, pytest.approx(s.probability)) for s in torn.suspects] == [
        (s.fault, s.probability) for s in turned.suspects
    ]


def test_a_weak_limit_whose_readings_disagree_still_says_that_they_do() -> None:
    story = (
        Story().read("brakes.air", "20 °C").read("brakes.boiling", "100 °C").read("brakes.boiling", "250 °C")
    )
    finding = story.finding("brakes.fluid")
    assert (finding.verdict, finding.probability) == (Verdict.ADVICE, pytest.approx(0.5))
    assert "disagree" in str(finding.text)
    assert finding.urgency is not Urgency.NOTHING


def test_a_withdrawn_reading_does_not_count() -> None:
    story = Story().read("brakes.travel", "90 mm")
    wrong = story.entries[-1]
    story.read("brakes.travel", "20 mm")
    story.say(Withdrawn(), wrong.subject, replaces=(wrong,))
    assert story.finding("brakes.travel").verdict is Verdict.PASS


# ---- disputes


def test_what_rests_on_a_dispute_is_undecided_until_it_is_settled() -> None:
    story = Story().see("brakes.pedal", "sinks")
    one = story.say(story.measured("brakes.pressure", "3 bar", "left"), "p")
    other = story.say(story.measured("brakes.pressure", "4 bar", "left"), "p", chain="phone")
    finding = story.finding("brakes.pressure")
    assert finding.verdict is Verdict.UNDECIDED
    assert "Two records disagree" in str(finding.text)
    assert "records disagree" in str(finding.for_customer)
    assert story.assessment.may_propose(
        "brakes.replace_master"
    )  # the pedal alone speaks directly, and enough
    story.say(story.measured("brakes.pressure", "3 bar", "left"), "p", replaces=(one, other))
    assert story.finding("brakes.pressure").verdict is Verdict.FAIL


def test_a_disputed_sight_is_no_direct_test_against_a_part() -> None:
    def ruled(other: str) -> str:
        story = Story().read("brakes.pressure", "41 bar", "left")
        for chain, answer in (("phone", other), ("van", "sinks")):
            story.say(Seen(of="brakes.pedal", answer=answer), "look", chain=chain)
        (call,) = [call for call in story.assessment.calls if call.operation == "brakes.replace_master"]
        return call.why

    assert "No test that speaks directly" in ruled("spongy")
    assert "No test that speaks directly" not in ruled("sinks")


# ---- before and after, and whether the work is shown


@pytest.mark.parametrize(
    ("before", "after", "change"),
    [
        ("90 mm", "30 mm", Change.IMPROVED),
        ("30 mm", "90 mm", Change.WORSE),
        ("90 mm", "90.5 mm", Change.UNCHANGED),
        (
            "3 mm",
            "4 mm",
            Change.CANNOT_TELL,
        ),  # by less than the uncertainties, which are as wide as the reading
        # Each reading has ±2 mm, evenly spread: u = 2 / √3 mm, of the difference √2 · 2 / √3 = 1.633 mm, and
        # 20 of these are 32.66 mm.
        ("33 mm", "33.5 mm", Change.UNCHANGED),
        ("3 mm", "3 mm", Change.UNCHANGED),  # the same number, however wide
        ("32 mm", "32.5 mm", Change.CANNOT_TELL),
        ("120 mm", "140 mm", Change.WORSE),  # both far outside, and further
        ("140 mm", "120 mm", Change.IMPROVED),
        ("30 mm", "10 mm", Change.CHANGED),  # both well inside: neither is better
    ],
)
def test_a_quantity_is_compared_before_and_after_with_both_uncertainties(
    before: str, after: str, change: Change
) -> None:
    story = Story().read("brakes.travel", before).repair("brakes.bleed").read("brakes.travel", after)
    (comparison,) = story.assessment.comparisons
    assert (comparison.before.typed, comparison.after.typed, comparison.change) == (before, after, change)


def test_the_first_is_compared_with_the_last_and_what_was_read_once_with_nothing() -> None:
    story = (
        Story()
        .read("brakes.travel", "90 mm")
        .read("brakes.force", "200 N")
        .repair("brakes.bleed")
        .read("brakes.travel", "80 mm")
    )
    story.repair("brakes.bleed").read("brakes.travel", "30 mm")
    (comparison,) = story.assessment.comparisons
    assert (comparison.before.typed, comparison.after.typed) == ("90 mm", "30 mm")


def proof(story: Story) -> tuple[Proof, str]:
    shown = story.assessment.repairs[-1]
    return shown.proof, shown.why


@pytest.mark.parametrize(
    ("after", "expected"),
    [("30 mm", Proof.SHOWN), ("90 mm", Proof.NOT_YET), ("60 mm", Proof.NOT_SHOWN), ("", Proof.NOT_SHOWN)],
    ids=["shown", "not yet", "open", "unread"],
)
def test_the_retest_says_whether_the_work_is_shown(after: str, expected: Proof) -> None:
    story = Story().read("brakes.travel", "90 mm").repair("brakes.bleed")
    if after:
        story.read("brakes.travel", after)
    assert proof(story)[0] is expected


@pytest.mark.parametrize(
    ("chance", "expected"),
    [
        (0.95, Proof.SHOWN),
        (0.949, Proof.NOT_SHOWN),
        (0.051, Proof.NOT_SHOWN),
        (0.05, Proof.NOT_YET),
        (None, Proof.NOT_SHOWN),
    ],
)
def test_a_retest_that_only_advises_speaks_where_it_is_nearly_sure(
    chance: float | None, expected: Proof
) -> None:
    (found,) = Story().read("brakes.travel", "90 mm").findings("brakes.travel", 0)
    assert proof_of(attrs.evolve(found, verdict=Verdict.ADVICE, probability=chance)) is expected
    assert proof_of(attrs.evolve(found, verdict=Verdict.UNDECIDED, probability=chance)) is Proof.NOT_SHOWN


def test_before_and_after_exchanged_say_not_repaired_yet() -> None:
    story = Story().read("brakes.travel", "30 mm").repair("brakes.bleed").read("brakes.travel", "90 mm")
    assert proof(story)[0] is Proof.NOT_YET


def test_of_several_places_the_worst_retest_speaks() -> None:
    def after(left: str, right: str) -> Proof:
        story = (
            Story()
            .read("brakes.pressure", "3 bar", "left")
            .read("brakes.pressure", "3 bar", "right")
            .repair("brakes.replace_master")
        )
        for place, typed in (("left", left), ("right", right)):
            if typed:
                story.read("brakes.pressure", typed, place)
        return proof(story)[0]

    assert after("90 bar", "90 bar") is Proof.SHOWN
    assert (
        after("90 bar", "3 bar")
        is after("3 bar", "90 bar")
        is after("40 bar", "3 bar")
        is after("3 bar", "40 bar")
        is Proof.NOT_YET
    )
    assert after("90 bar", "40 bar") is after("40 bar", "90 bar") is Proof.NOT_SHOWN
    assert (
        after("90 bar", "") is after("", "90 bar") is Proof.NOT_SHOWN
    )  # the other wheel called for the work too


def test_a_retest_at_a_later_stage_counts_for_the_place_it_was_made_at() -> None:
    story = (
        Story()
        .read("brakes.pressure", "3 bar", "left")
        .read("brakes.pressure", "3 bar", "right")
        .repair("brakes.replace_master")
    )
    story.read("brakes.pressure", "90 bar", "left").read("brakes.pressure", "3 bar", "right").repair(
        "brakes.bleed"
    ).read("brakes.pressure", "90 bar", "right")
    first, second = story.assessment.repairs
    assert (first.proof, second.proof) == (Proof.SHOWN, Proof.NOT_SHOWN)


def test_a_repair_is_judged_by_its_own_retest_and_not_by_what_a_later_one_cured() -> None:
    story = (
        Story()
        .read("brakes.travel", "90 mm")
        .repair("brakes.bleed")
        .read("brakes.travel", "90 mm")
        .repair("brakes.bleed")
        .read("brakes.travel", "30 mm")
    )
    assert [repair.proof for repair in story.assessment.repairs] == [Proof.NOT_YET, Proof.SHOWN]
    story = (
        Story()
        .read("brakes.travel", "90 mm")
        .repair("brakes.bleed")
        .read("brakes.travel", "30 mm")
        .repair("brakes.bleed")
        .read("brakes.travel", "90 mm")
    )
    assert [repair.proof for repair in story.assessment.repairs] == [Proof.SHOWN, Proof.NOT_YET]


def test_a_retest_after_two_repairs_of_one_kind_speaks_for_both_and_says_so() -> None:
    story = (
        Story()
        .read("brakes.travel", "90 mm")
        .repair("brakes.bleed")
        .repair("brakes.bleed")
        .read("brakes.travel", "30 mm")
    )
    first, second = story.assessment.repairs
    assert (first.proof, second.proof) == (Proof.SHOWN, Proof.SHOWN)
    assert first.why.endswith(
        "It was read only after this was done as well: Bleed the brakes. So it speaks for both together."
    )
    assert "both together" not in second.why


def test_a_later_repair_of_another_kind_does_not_end_the_retest() -> None:
    story = (
        Story()
        .read("brakes.travel", "90 mm")
        .repair("brakes.bleed")
        .repair("brakes.replace_hose")
        .read("brakes.travel", "30 mm")
    )
    assert (story.assessment.repairs[0].proof, "both together" in story.assessment.repairs[0].why) == (
        Proof.SHOWN,
        False,
    )


def test_work_that_no_reading_can_show_and_work_that_nobody_knows_say_so() -> None:
    story = Story().read("brakes.travel", "90 mm").repair("brakes.replace_hose").repair("clutch.adjust")
    first, second = story.assessment.repairs
    assert (first.proof, first.why) == (Proof.NOT_SHOWN, "No reading can show it.")
    assert (second.proof, second.title) == (Proof.NOT_SHOWN, "clutch.adjust")


@pytest.mark.parametrize(
    ("verdict", "again", "stands"),
    [
        (Verdict.UNDECIDED, (), True),
        (Verdict.UNDECIDED, ("left",), True),
        (Verdict.UNDECIDED, ("left", "right"), False),
        (Verdict.FAIL, ("left", "right"), True),
    ],
)
def test_what_was_undecided_is_past_once_everything_that_it_rests_on_was_read_again(
    verdict: Verdict, again: tuple[str, ...], stands: bool
) -> None:
    story = Story().read("brakes.pressure", "20 bar", "left").read("brakes.pressure", "20 bar", "right")
    rests_on = tuple(entry.id for entry in story.entries if entry.kind == "measured")
    found = Finding(
        system="brakes",
        code="brakes.even",
        check="Evenness",
        verdict=verdict,
        urgency=Urgency.THIS_VISIT,
        text=Text("Left and right are too close to call."),
        evidence=rests_on,
    )
    story.repair("brakes.bleed")
    for place in again:
        story.read("brakes.pressure", "100 bar", place)
    assert (found in attrs.evolve(story.assessment, findings=(found,)).current) is stands


def test_the_current_findings_are_the_latest_of_each_code_and_place() -> None:
    story = (
        Story()
        .read("brakes.travel", "90 mm")
        .read("brakes.pressure", "90 bar", "left")
        .repair("brakes.bleed")
        .read("brakes.travel", "30 mm")
    )
    assert {(finding.code, finding.stage) for finding in story.assessment.current} == {
        ("brakes.travel", 1),
        ("brakes.pressure", 0),
    }


# ---- suspects and calls over the stages


def test_a_repair_ends_its_own_fault_but_for_one_in_ten_and_forgets_nothing_of_the_others() -> None:
    story = Story().see("brakes.pedal", "sinks")
    before = story.chances
    after = story.repair("brakes.replace_master").chances
    # A renewed part fails in 1 of 10 (shared/trials.toml); no fault of the table names it as its part, so
    # none is brought in.
    assert after["worn_master"] == pytest.approx(before["worn_master"] / 10)
    for fault in ("air", "soft_hose", "outside"):
        assert after[fault] == pytest.approx(before[fault])
    spongy = story.see("brakes.pedal", "spongy").chances
    assert spongy["air"] > 3 * after["air"] and spongy["worn_master"] < after["worn_master"]


def test_calls_are_kept_by_the_stage_they_were_made_at() -> None:
    story = Story().see("brakes.pedal", "sinks").read("brakes.pressure", "3 bar", "left")
    story.repair("brakes.replace_master").read("brakes.pressure", "90 bar", "left")
    assert [(call.operation, call.met, call.stage) for call in story.assessment.calls] == [
        ("brakes.replace_master", True, 0)
    ]
    assert story.assessment.calls_at(1) == ()


def test_work_that_exchanges_no_part_is_offered_on_a_plain_failure() -> None:
    assert Story().read("brakes.travel", "90 mm").assessment.may_propose("brakes.bleed")
    assert not Story().read("brakes.travel", "60 mm").assessment.may_propose("brakes.bleed")
    assert not Story().read("brakes.travel", "30 mm").assessment.may_propose("brakes.bleed")


@pytest.mark.parametrize(
    ("verdict", "chance", "met"),
    [
        (Verdict.FAIL, 0.04, True),
        (Verdict.ADVICE, None, True),
        (Verdict.ADVICE, 0.05, True),
        (Verdict.ADVICE, 0.051, False),
        (Verdict.UNDECIDED, 0.04, False),
    ],
)
def test_advice_offers_work_where_it_is_as_sure_as_a_verdict(
    monkeypatch: pytest.MonkeyPatch, verdict: Verdict, chance: float | None, met: bool
) -> None:
    monkeypatch.setattr(ruling, "work_is_likely", lambda *_: 0.0)
    (found,) = Story().read("brakes.travel", "90 mm").findings("brakes.travel", 0)
    found = attrs.evolve(found, verdict=verdict, probability=chance)
    evidence: Any = None  # nothing of it is asked but how likely the work is
    assert ruling._plain_call(found, 0, evidence).met is met


def test_a_system_without_a_fault_table_calls_for_no_part() -> None:
    bare = Plugins(systems={"brakes": brakes})
    table = brakes.faults
    brakes.__dict__["faults"] = None
    try:
        failing = (
            Story(plugins=bare)
            .see("brakes.pedal", "sinks")
            .read("brakes.pressure", "3 bar", "left")
            .read("brakes.pressure", "3 bar", "right")
        )
        assessment = failing.assessment
        still = Story(plugins=bare).read("brakes.travel", "60 mm").assessment
        cured = (
            Story(plugins=bare)
            .read("brakes.travel", "60 mm")
            .repair("brakes.bleed")
            .read("brakes.travel", "30 mm")
            .assessment
        )
    finally:
        brakes.__dict__["faults"] = table
    (call,) = assessment.calls
    assert (call.met, call.why) == (False, "The system has no fault table, so no part may be called for.")
    assert [test.wants for test in still.next_tests] == ["brakes.pedal"]
    assert cured.next_tests == ()


def test_halving_a_declared_accuracy_decides_what_was_open() -> None:
    finer = ck.System("brakes", "Brakes", folder=brakes.folder)
    same = finer.measurand("travel", "mm", "Pedal travel", possible=(0, 300), usual=(0, 150), accuracy="1 mm")
    finer.operation("bleed", "Bleed", shown_by=same)
    finer.__dict__["faults"] = None
    finer.checks["pedal_travel"] = brakes.checks["pedal_travel"]

    def verdict(plugins: Plugins) -> Verdict:
        return Story(plugins=plugins).read("brakes.travel", "58.5 mm").finding("brakes.travel").verdict

    # 1.5 mm inside: 1.645 · 2 mm / √3 = 1.90 mm is more, half of it less.
    assert verdict(PLUGINS) is Verdict.UNDECIDED
    assert verdict(Plugins(systems={"brakes": finer})) is Verdict.PASS


def test_what_was_found_on_a_part_is_past_once_the_part_is_exchanged() -> None:
    """The finding called for nothing; the part it spoke of is gone all the same."""
    story = Story().read("brakes.travel", "90 mm").repair("brakes.replace_master")
    finding = story.finding("brakes.travel")
    on_part = attrs.evolve(finding, part="brakes.master", calls_for="")
    assert story.assessment.is_dealt_with(on_part)
    assert not story.assessment.is_dealt_with(attrs.evolve(on_part, part="brakes.pads"))
    assert not story.assessment.is_dealt_with(attrs.evolve(on_part, part=""))
