"""What the checks say of readings as a visit brings them.

Field and synthetic figures stand with their origin; the cars are invented.
"""

from __future__ import annotations

from typing import Any

import pytest
from corekit_ignition import ignition, supply

import corekit as ck
from corekit.testing import installed_plugins, shown

REST, CRANK, RUN = supply.battery_resting, supply.battery_cranking, supply.battery_running


def voltage_of(key: ck.Measurand, accuracy: str = "0.5 % + 0.02 V") -> ck.Measurand:
    """The battery's own measurand as its plugin would declare it: with places and uncertainty."""
    name = key.key.split(".")[1]
    places = ("posts", "clamps") if name == "cranking_voltage" else ()
    return ck.System("battery", "Battery").measurand(
        name, "V", key.title, possible=(0, 20), usual=(6, 15), accuracy=accuracy, places=places
    )


# ---- supply


def test_a_drop_read_across_the_feed_passes_or_speaks_for_the_wiring(four: Any) -> None:
    four.fit("drop_meter", "peak hold, scope or record")
    good = four.read("feed_drop", "0.12 V", using="meter").finding("ignition.feed")
    assert (good.verdict, good.urgency, good.calls_for, good.of) == (
        ck.Verdict.PASS,
        ck.Urgency.NOTHING,
        "",
        "ignition.feed_drop",
    )
    bad = four.read("feed_drop", "1.9 V", using="meter").finding("ignition.feed")
    assert bad.calls_for == "ignition.repair_supply"
    assert bad.probability is not None and bad.probability < 0.05
    assert "before any coil is judged" in str(bad)


def test_a_weak_supply_is_told_from_the_batterys_own_voltage_beside_it(four: Any) -> None:
    # computed case, invented car: 9.4 V at the coil and 13.9 V at the battery at 4500 rpm; (9.4/13.9)² =
    # 0.457
    four.read("supply_running", "9.4 V", using="meter", setup={"engine_speed": "4500 rpm"}).read(
        voltage_of(RUN), "13.9 V", using="meter"
    )
    found = four.finding("ignition.feed")
    assert found.value is not None and found.value.number == pytest.approx(4.5)
    assert "46 % of its energy" in str(found)
    assert found.calls_for == "ignition.repair_supply"
    assert set(found.evidence) == {"supply_running-here", "charging_voltage-here"}


def test_without_the_battery_beside_it_the_drop_stays_a_gap_that_names_the_batterys_reading(
    four: Any,
) -> None:
    four.read("supply_running", "9.4 V", using="meter")
    (gap,) = four.gaps("supply")
    assert (gap.reason, gap.wants) == (ck.Reason.NOT_MEASURED, "battery.charging_voltage")
    assert not four.findings("ignition.feed")


def test_while_cranking_the_posts_are_taken_and_a_ballast_resistor_does_not_matter(bench: Any) -> None:
    bench.fit("ballast", "fitted").fit("kind", "distributor").read("supply_cranking", "8.6 V", using="meter")
    bench.read(voltage_of(CRANK), "10.4 V", place="clamps", using="meter").read(
        voltage_of(CRANK), "10.6 V", place="posts", using="meter"
    )
    found = bench.finding("ignition.feed")
    assert found.value is not None and found.value.number == pytest.approx(2.0)


def test_a_ballast_resistor_takes_volts_on_purpose_and_not_knowing_of_one_leaves_it_open(bench: Any) -> None:
    bench.read("supply_running", "7.2 V", using="meter").read(voltage_of(RUN), "14.0 V", using="meter").fit(
        "kind", "distributor"
    )
    assert bench.gaps("supply")[0].wants == "ignition.ballast"
    bench.fit("ballast", "fitted")
    assert "by design" in bench.gaps("supply")[0].text
    assert not bench.findings("ignition.feed")


def test_a_batterys_rest_voltage_never_condemns_the_feed(four: Any) -> None:
    four.read("supply_key_on", "11.0 V", using="meter").read(voltage_of(REST), "12.6 V", using="meter")
    found = four.finding("ignition.feed")
    assert (found.verdict, found.next_test, found.calls_for) == (
        ck.Verdict.UNDECIDED,
        "ignition.feed_drop",
        "",
    )


def test_a_coil_that_shows_more_than_the_battery_loses_nothing(four: Any) -> None:
    four.read("supply_running", "13.9 V", using="meter").read(voltage_of(RUN), "13.88 V", using="meter")
    assert "engine running: none" in str(four.finding("ignition.feed"))


@pytest.mark.parametrize(
    ("battery", "says"),
    [
        ("7.3 V", "test battery and starter first"),
        ("10.5 V", "voltage drop in the wiring"),
        ("", "was not read"),
    ],
)
def test_too_little_while_cranking_names_battery_or_wiring(four: Any, battery: str, says: str) -> None:
    four.read("supply_cranking", "6.9 V", using="meter")  # 8.0 ± 1.0 V are asked for
    if battery:
        four.read(voltage_of(CRANK), battery, place="posts", using="meter")
    found = four.finding("ignition.cranking_supply")
    assert says in str(found)
    assert (found.verdict, found.calls_for) == (ck.Verdict.FAIL, "")


# ---- windings


def test_a_primary_within_its_own_figures_passes_after_correction(four: Any) -> None:
    # computed case, invented car: 0.59 to 0.61 Ω at 22 °C are 0.585 to 0.605 Ω at 20 °C, allowed 0.50 to 0.70
    # Ω
    four.describe("four wires", "0.5 % + 2 digits", **{"2 Ω": "0.001 Ω"}).specify(
        "primary_resistance", low="0.50 Ω", high="0.70 Ω"
    )
    for place, ohms in enumerate(("0.60 Ω", "0.59 Ω", "0.61 Ω", "0.60 Ω"), 1):
        four.read(
            "primary_resistance",
            ohms,
            place=f"coil {place}",
            using="four wires",
            setup={"winding_temperature": "22 °C"},
        )
    found = four.findings("ignition.primary")
    assert [finding.verdict for finding in found] == [ck.Verdict.PASS] * 4
    assert found[1].value is not None and found[1].value.number == pytest.approx(0.5854, abs=1e-4)


def test_a_two_lead_meter_cannot_decide_a_primary_of_half_an_ohm(four: Any) -> None:
    four.specify("primary_resistance", low="0.50 Ω", high="0.70 Ω").read(
        "primary_resistance", "0.9 Ω", place="coil 1", setup={"winding_temperature": "22 °C"}
    )
    found = four.finding("ignition.primary")
    assert found.verdict is ck.Verdict.UNDECIDED
    assert "four wires" in str(found)


def test_a_hot_winding_is_not_condemned_for_its_heat(four: Any) -> None:
    four.describe("four wires", "0.5 % + 2 digits", **{"2 Ω": "0.001 Ω"}).specify(
        "primary_resistance", low="0.50 Ω", high="0.70 Ω"
    )
    four.read(
        "primary_resistance",
        "0.76 Ω",
        place="coil 1",
        using="four wires",
        setup={"winding_temperature": "90 °C"},
    )
    assert four.finding("ignition.primary").verdict is ck.Verdict.PASS


def test_without_its_temperature_a_winding_is_decided_only_where_the_coldest_and_the_hottest_agree(
    four: Any,
) -> None:
    # 0.60 Ω at -10 °C is 0.68 Ω at 20 °C, at 110 °C it is 0.44 Ω
    four.describe("four wires", "0.5 % + 2 digits", **{"2 Ω": "0.001 Ω"})
    four.read("primary_resistance", "0.60 Ω", place="coil 1", using="four wires")
    wide = four.specify("primary_resistance", low="0.40 Ω", high="0.70 Ω").finding("ignition.primary")
    assert wide.verdict is ck.Verdict.PASS
    narrow = four.specify("primary_resistance", low="0.50 Ω", high="0.70 Ω").finding("ignition.primary")
    assert (narrow.verdict, narrow.next_test) == (ck.Verdict.UNDECIDED, "ignition.winding_temperature")
    assert "winding temperature" in str(narrow.text)
    assert "how warm the ignition coil is" in str(narrow.for_customer)
    outside = four.specify("primary_resistance", low="0.80 Ω", high="0.90 Ω").finding("ignition.primary")
    assert outside.verdict is ck.Verdict.FAIL


def test_a_winding_outside_what_any_kind_of_coil_has_needs_no_kind_to_be_named(bench: Any) -> None:
    # 3 to 4 Ω, 1.2 to 2 Ω and 0.3 to 1 Ω are usual by kind; ohms only advise
    bench.read(
        "primary_resistance", "20 Ω", place="coil 1", using="meter", setup={"winding_temperature": "20 °C"}
    )
    found = bench.finding("ignition.primary_usual")
    assert found.verdict is ck.Verdict.ADVICE and found.probability is not None and found.probability < 0.05
    assert (found.next_test, found.calls_for) == ("", "")


def test_what_is_usual_depends_on_coil_and_ballast(bench: Any) -> None:
    # a ballast coil of 1.6 Ω is sound, and would be half of what a coil without ballast has (a field case's
    # figure)
    bench.read(
        "primary_resistance", "1.6 Ω", place="coil 1", using="meter", setup={"winding_temperature": "20 °C"}
    )
    # outside what electronic coils and such without ballast have, inside what one with ballast has
    unknown = bench.finding("ignition.primary_usual")
    assert (unknown.verdict, unknown.next_test) == (ck.Verdict.UNDECIDED, "ignition.coil_type")
    assert unknown.calls_for == ""
    with_points = bench.fit("coil_type", "breaker points").finding("ignition.primary_usual")
    assert (with_points.verdict, with_points.next_test) == (ck.Verdict.UNDECIDED, "ignition.ballast")
    bench.fit("ballast", "fitted")
    assert bench.finding("ignition.primary_usual").urgency is ck.Urgency.NOTHING
    bench.fit("ballast", "not fitted")
    found = bench.finding("ignition.primary_usual")
    assert (found.verdict, found.calls_for) == (ck.Verdict.ADVICE, "")
    assert "Shorted turns read low" in str(found)


def test_a_secondary_that_reads_open_fails_only_where_no_diode_can_be(four: Any) -> None:
    four.see("secondary_path", "reads open", "coil 1").see("secondary_path", "reads open", "coil 2")
    left_open = four.findings("ignition.secondary_open")
    assert [finding.verdict for finding in left_open] == [ck.Verdict.UNDECIDED] * 2
    assert all(
        "good coil too" in str(finding) and finding.next_test == "ignition.spark" for finding in left_open
    )
    four.fit("diode", "not fitted")
    assert [finding.verdict for finding in four.findings("ignition.secondary_open")] == [ck.Verdict.FAIL] * 2


def test_a_secondary_is_corrected_and_only_advised_without_its_own_figure(four: Any) -> None:
    # 13.93 kΩ at 120 °C are 10 kΩ at 20 °C (worked example X17)
    four.read(
        "secondary_resistance",
        "13.93 kΩ",
        place="coil 1",
        using="meter",
        setup={"winding_temperature": "120 °C"},
    )
    found = four.finding("ignition.secondary_usual")
    assert found.value is not None and found.value.number == pytest.approx(10000, rel=1e-6)
    assert (found.verdict, found.urgency, found.calls_for) == (ck.Verdict.ADVICE, ck.Urgency.NOTHING, "")


@pytest.mark.parametrize("own", [False, True])
def test_a_secondary_noted_in_ohm_is_read_again_and_condemns_no_coil(bench: Any, own: bool) -> None:
    # a field case's figure: "9.6 ohms" typed for 9.6 kΩ
    if own:
        bench.specify("secondary_resistance", low="8 kΩ", high="11 kΩ")
    bench.read(
        "secondary_resistance", "9.6 Ω", place="coil 1", using="meter", setup={"winding_temperature": "15 °C"}
    )
    (found,) = bench.findings()
    assert (found.verdict, found.next_test, found.calls_for) == (
        ck.Verdict.UNDECIDED,
        "ignition.secondary_resistance",
        "",
    )
    assert "the display showed kΩ" in str(found)


# ---- current, energy, speed


def current_bench(four: Any, amps: str) -> Any:
    """0.6 Ω, 4 mH, 13.5 V, 3 ms: 8.153 A and 133 mJ (worked example X03)."""
    four.describe("four wires", "0.5 % + 2 digits", **{"2 Ω": "0.001 Ω"}).fit("inductance", "4 mH")
    four.read("dwell", "3 ms").read("supply_running", "13.5 V", using="meter")
    four.read(
        "primary_resistance",
        "0.60 Ω",
        place="coil 1",
        using="four wires",
        setup={"winding_temperature": "20 °C"},
    )
    return four.read("peak_current", amps, place="coil 1")


def test_a_coil_that_takes_what_it_should_is_told_from_one_that_is_starved(four: Any) -> None:
    good = current_bench(four, "8.1 A").finding("ignition.current_short")
    assert "about 8.2 A can be expected" in str(good) or "about 8.15 A can be expected" in str(good)
    assert good.urgency is ck.Urgency.NOTHING
    bad = current_bench(four, "4.2 A").finding("ignition.current_short")
    assert (bad.verdict, bad.calls_for) == (ck.Verdict.ADVICE, "")
    assert "peaks at only 4.2 A" in str(bad)


def test_the_stored_energy_counts_the_currents_uncertainty_twice(four: Any) -> None:
    found = current_bench(four, "8.153367 A").finding("ignition.energy")
    assert found.value is not None
    assert found.value.number == pytest.approx(0.1329548, rel=1e-6)
    u_current = (0.03 * 8.153367 + 0.2) / 3**0.5 / 8.153367
    assert found.value.u / found.value.number == pytest.approx(
        (0.05**2 + (2 * u_current) ** 2) ** 0.5, rel=1e-3
    )


def test_a_current_limit_caps_what_is_expected(four: Any) -> None:
    four.fit("current_limit", "6.5 A")
    assert current_bench(four, "6.4 A").finding("ignition.current_short").urgency is ck.Urgency.NOTHING


def test_a_peak_with_its_own_figure_is_decided_and_the_missing_inductance_named(four: Any) -> None:
    four.specify("peak_current", low="7 A", high="9 A").read("peak_current", "4.0 A", place="coil 2")
    assert four.finding("ignition.current").verdict is ck.Verdict.FAIL
    assert any(gap.wants == "ignition.inductance" for gap in four.gaps("current"))


@pytest.fixture
def towing(bench: Any) -> Any:
    """A computed case, invented car: V8, one coil; fitted 6.0 mH, 0.65 Ω, 6.5 A; proposed 3.9 mH, 0.45 Ω, 9.0
    A; 13.2 V, 1.2 ms off.
    """
    bench.fit("cylinders", "8").fit("kind", "distributor").fit("off_time", "1.2 ms")
    bench.fit("inductance", "6.0 mH").fit("coil_resistance", "0.65 Ω").fit("current_limit", "6.5 A")
    return bench.read("supply_running", "13.2 V", using="meter").read("engine_speed", "3600 rpm")


def test_energy_at_the_speed_of_the_complaint_comes_out_as_computed_elsewhere(towing: Any) -> None:
    found = towing.finding("ignition.energy_by_speed")
    assert found.value is not None and 1000 * found.value.number == pytest.approx(93.5, abs=0.5)
    assert "Up to about 3150 rpm" in str(found)  # 3151 ± 15 rpm
    assert towing.finding("ignition.dwell").verdict is ck.Verdict.ADVICE
    assert "each spark gets less" in str(towing.finding("ignition.dwell"))


def test_a_proposed_coil_is_shown_with_its_speed_and_never_called_for(towing: Any) -> None:
    towing.fit("proposed_inductance", "3.9 mH").fit("proposed_resistance", "0.45 Ω").fit(
        "proposed_limit", "9.0 A"
    )
    found = towing.finding("ignition.energy_by_speed")
    assert "141 mJ" in str(found) and "1.51 times" in str(found) and "1.25 times at 1200 rpm" in str(found)
    assert found.calls_for == ""
    assert (
        found.figure is not None
        and len(
            [mark for mark in found.figure.marks if isinstance(mark, ck.Polyline) and len(mark.points) > 50]
        )
        == 2
    )


def test_a_supply_at_which_the_limit_is_never_reached_is_said_so(towing: Any) -> None:
    towing.read("supply_running", "4.0 V", using="meter")
    assert "never reaches its current limit" in str(towing.finding("ignition.dwell"))
    assert towing.finding("ignition.energy_by_speed").value is not None


@pytest.mark.parametrize(
    ("how", "period"), [("distributor", 2.5), ("wasted spark", 10.0), ("coil on plug", 20.0)]
)
def test_the_time_to_charge_follows_from_the_kind_of_ignition(towing: Any, how: str, period: float) -> None:
    # at 6000 rpm a spark of one coil comes every 120/(rpm · 8), 60/rpm or 120/rpm seconds; 1.2 ms of it burn
    # and recover
    towing.fit("kind", how).read("engine_speed", "6000 rpm")
    found = towing.finding("ignition.dwell")
    assert found.value is not None and 1000 * found.value.number == pytest.approx(period - 1.2)
    always = "at any speed" in str(towing.finding("ignition.energy_by_speed"))
    assert always is (how != "distributor")


def test_one_coil_and_an_unknown_number_of_cylinders_leave_the_speed_open(bench: Any) -> None:
    bench.fit("kind", "distributor").fit("inductance", "6.0 mH").fit("coil_resistance", "0.65 Ω").fit(
        "current_limit", "6.5 A"
    )
    bench.read("supply_running", "13.2 V").read("engine_speed", "3600 rpm")
    assert bench.gaps("energy_by_speed")[0].wants == "ignition.cylinders"


# ---- gaps


def test_a_gap_is_judged_by_this_engines_own_figure_only(four: Any) -> None:
    four.read("plug_gap", "1.65 mm", place="cylinder 1").read("plug_gap", "1.1 mm", place="cylinder 2")
    assert four.gaps("plug_gaps")[0].wants == "ignition.plug_gap"
    four.specify("plug_gap", low="1.0 mm", high="1.2 mm")
    wide, right = (
        four.finding("ignition.plug_gap", "cylinder 1"),
        four.finding("ignition.plug_gap", "cylinder 2"),
    )
    assert (wide.verdict, wide.calls_for) == (ck.Verdict.FAIL, "ignition.replace_plugs")
    assert right.verdict is ck.Verdict.PASS
    narrow = four.read("plug_gap", "0.5 mm", place="cylinder 1").finding("ignition.plug_gap", "cylinder 1")
    assert narrow.calls_for == "ignition.set_gaps"


def test_what_a_gap_asks_for_is_a_wide_span_and_decides_nothing(four: Any) -> None:
    # compression 10, 1.1 mm, top dead centre: 19.22 kV by the engine correlation (worked example X16), good
    # to a third
    four.fit("compression_ratio", "10").read("plug_gap", "1.1 mm", place="cylinder 1").read(
        "plug_gap", "0.9 mm", place="cylinder 2"
    )
    found = four.finding("ignition.reserve")
    assert found.value is not None and found.value.number == pytest.approx(19221.21, rel=1e-5)
    assert found.value.u / found.value.number > 0.34
    assert (found.verdict, found.calls_for, found.limits) == (ck.Verdict.ADVICE, "", ())
    assert "12 to 26 kV" in str(found) and "ordinary coils reach 25 to 40 kV" in str(found)


def test_a_gap_that_asks_for_more_than_a_coil_was_read_to_reach_warns_of_misfires(four: Any) -> None:
    four.fit("compression_ratio", "12").read("plug_gap", "1.9 mm", place="cylinder 3").read(
        "available_voltage", "12 kV", place="coil 3"
    )
    found = four.finding("ignition.reserve")
    assert "more than is available" in str(found)
    assert found.urgency is ck.Urgency.THIS_VISIT


def test_the_cylinder_whose_firing_voltage_stands_out_is_named(four: Any) -> None:
    for place, volts in enumerate(("10 kV", "10.4 kV", "24 kV", "9.8 kV"), 1):
        four.read("firing_voltage", volts, place=f"cylinder {place}")
    found = four.finding("ignition.firing_apart")
    assert "Cylinder 3 needs 24" in str(found) and found.verdict is ck.Verdict.FAIL
    even = four.read("firing_voltage", "10.2 kV", place="cylinder 3").finding("ignition.firing_apart")
    assert "close" in str(even) and even.calls_for == ""


def test_two_firing_voltages_are_not_compared(four: Any) -> None:
    four.read("firing_voltage", "10 kV", place="cylinder 1").read(
        "firing_voltage", "24 kV", place="cylinder 2"
    )
    assert four.gaps("firing")[0].wants == "ignition.firing_voltage"


def test_a_second_cylinder_that_stands_out_is_named_too_and_hides_neither(four: Any) -> None:
    for place, volts in enumerate(("24 kV", "10.4 kV", "25 kV", "9.8 kV", "10 kV", "10.2 kV"), 1):
        four.read("firing_voltage", volts, place=f"cylinder {place}")
    found = four.finding("ignition.firing_apart")
    assert found.verdict is ck.Verdict.FAIL
    assert "Cylinder 3 needs 25" in str(found) and "So does cylinder 1." in str(found)


def test_a_cylinder_among_others_that_scatter_as_widely_does_not_stand_out(four: Any) -> None:
    # 8, 10 and 13 kV scatter by 2 kV · 1.4826 · 1.495 = 4.4 kV; 15 kV is half as much again as 10 kV
    for place, volts in enumerate(("8 kV", "10 kV", "13 kV", "15 kV"), 1):
        four.read("firing_voltage", volts, place=f"cylinder {place}")
    found = four.finding("ignition.firing_apart")
    assert found.verdict is ck.Verdict.UNDECIDED and "scatter by 44 %" in str(found)


def test_firing_voltages_at_another_speed_are_not_compared(four: Any) -> None:
    for place, (volts, rpm) in enumerate(
        (("10 kV", "800 rpm"), ("10 kV", "800 rpm"), ("24 kV", "3000 rpm")), 1
    ):
        four.read("firing_voltage", volts, place=f"cylinder {place}", setup={"engine_speed": rpm})
    assert four.gaps("firing")[0].wants == "ignition.firing_voltage"


# ---- leads


def leads_of(bench: Any, third: str) -> Any:
    """A computed case, invented car: carbon lead of 14 kΩ/m; the third noted as given."""
    for place, (ohms, metres) in enumerate(
        (("6.30 kΩ", "0.45 m"), ("7.28 kΩ", "0.52 m"), (third, "0.60 m"), ("9.80 kΩ", "0.70 m")), 1
    ):
        bench.read("lead_resistance", ohms, place=f"lead {place}", using="meter").read(
            "lead_length", metres, place=f"lead {place}"
        )
    return bench


def test_a_lead_noted_in_ohm_beside_three_in_kiloohm_is_read_again_not_renewed(bench: Any) -> None:
    found = leads_of(bench, "8.40 ohm").finding("ignition.lead_usual", "lead 3")
    assert (found.verdict, found.next_test, found.calls_for) == (
        ck.Verdict.UNDECIDED,
        "ignition.lead_resistance",
        "",
    )
    assert "the display showed kΩ" in str(found)
    healthy = leads_of(bench, "8.40 kohm").findings("ignition.lead_usual")
    assert [finding.urgency for finding in healthy] == [ck.Urgency.NOTHING] * 4


def test_a_lead_over_its_length_is_advice_without_and_a_verdict_with_its_own_figure(bench: Any) -> None:
    found = leads_of(bench, "60 kohm").finding("ignition.lead_usual", "lead 3")
    assert found.verdict is ck.Verdict.ADVICE and found.urgency is ck.Urgency.THIS_VISIT
    assert found.limits[0].high is not None and found.limits[0].high.number == pytest.approx(
        0.6 * 39370.08, rel=1e-6
    )
    own = (
        leads_of(bench, "60 kohm")
        .specify("lead_resistance", low="3 kΩ", high="12 kΩ")
        .finding("ignition.lead", "lead 3")
    )
    assert (own.verdict, own.calls_for) == (ck.Verdict.FAIL, "ignition.replace_leads")


def test_a_long_lead_may_still_not_read_more_than_any_lead_may(bench: Any) -> None:
    bench.read("lead_resistance", "34 kΩ", place="coil lead", using="meter").read(
        "lead_length", "0.9 m", place="coil lead"
    )
    assert bench.finding("ignition.lead_usual").limits[0].key == "ignition.lead_total"


@pytest.mark.parametrize(
    ("look", "calls"),
    [
        ("burnt or tracked", "ignition.replace_leads"),
        ("cracked, chafed or hard", "ignition.replace_leads"),
        ("loose or not seated", ""),
    ],
)
def test_a_lead_seen_to_leak_is_plain_and_a_loose_one_is_pushed_home(
    bench: Any, look: str, calls: str
) -> None:
    found = (
        bench.see("lead_look", look, "lead 3")
        .see("lead_look", "sound", "lead 1")
        .finding("ignition.lead_look", "lead 3")
    )
    assert (found.verdict, found.calls_for, found.evidence) == (
        ck.Verdict.FAIL,
        calls,
        ("seen-lead_look-lead 3",),
    )


# ---- what was seen


def test_plugs_are_read_together_and_soot_alone_renews_none(four: Any) -> None:
    for place in (1, 2, 4):
        four.see("plug_face", "tan or pale grey", f"cylinder {place}")
    sooty = four.see("plug_face", "dry black soot", "cylinder 3").finding("ignition.plug_face")
    assert (sooty.verdict, sooty.calls_for) == (ck.Verdict.ADVICE, "")
    assert "cylinders 1, 2 and 4: tan" in str(sooty) and "cylinder 3: dry black soot" in str(sooty)
    cracked = four.see("plug_face", "cracked insulator", "cylinder 3").finding("ignition.plug_face")
    assert (cracked.verdict, cracked.calls_for) == (ck.Verdict.FAIL, "ignition.replace_plugs")
    sound = four.see("plug_face", "tan or pale grey", "cylinder 3").finding("ignition.plug_face")
    assert (sound.verdict, len(sound.evidence)) == (ck.Verdict.PASS, 4)


def test_a_weak_spark_asks_for_the_supply_first_and_is_explained_by_a_weak_one(four: Any) -> None:
    four.fit("drop_meter", "peak hold, scope or record")
    four.see("spark", "weak or intermittent", "cylinder 1").see("spark", "every time", "cylinder 2")
    first = four.finding("ignition.spark")
    assert (first.verdict, first.next_test, first.calls_for) == (
        ck.Verdict.UNDECIDED,
        "ignition.feed_drop",
        "",
    )
    explained = four.read("feed_drop", "3.0 V", using="meter").finding("ignition.spark")
    assert explained.verdict is ck.Verdict.UNDECIDED and "explains it" in str(explained)
    beyond = four.read("feed_drop", "0.1 V", using="meter").finding("ignition.spark")
    assert "coil supply is good" in str(beyond) and "belongs to it alone" in str(beyond)


def test_no_spark_anywhere_with_a_good_supply_points_to_what_all_share(four: Any) -> None:
    four.fit("drop_meter", "peak hold, scope or record")
    for place in (1, 2, 3, 4):
        four.see("spark", "none", f"cylinder {place}")
    assert "what all cylinders share" in str(
        four.read("feed_drop", "0.1 V", using="meter").finding("ignition.spark")
    )


@pytest.mark.parametrize(
    ("swapped", "went", "calls"),
    [
        ("coil", "followed it", "ignition.replace_coil"), ("plug", "followed it", "ignition.replace_plugs"),
        ("lead", "followed it", "ignition.replace_leads"), ("coil", "stayed with the cylinder", ""),
        ("plug", "gone since the swap", ""),
    ],
)  # fmt: skip
def test_a_misfire_speaks_against_the_part_that_it_follows(
    four: Any, swapped: str, went: str, calls: str
) -> None:
    found = four.see(f"{swapped}_swap", went).finding(f"ignition.{swapped}_swap")
    assert found.calls_for == calls and swapped in str(found)


def test_a_coil_that_was_swapped_in_vain_clears_no_plug_and_a_plug_no_coil() -> None:
    before = shown(ignition, None, ["misses_under_load"]).chances
    coil = shown(ignition, None, ["misses_under_load"], coil_swap="stayed")
    assert coil.chances["bad_coil"] < before["bad_coil"] / 3
    assert coil.chances["worn_plugs"] > before["worn_plugs"]
    assert coil.chances["bad_lead"] > before["bad_lead"]
    assert "plug_swap" in [test.key for test in coil.next_tests]
    plug = shown(ignition, None, ["misses_under_load"], plug_swap="stayed").chances
    assert plug["bad_coil"] > before["bad_coil"]


def test_a_coil_never_switched_speaks_for_what_switches_it_not_for_the_coil(four: Any) -> None:
    unknown = four.see("switching", "stays high").finding("ignition.switching")
    assert unknown.verdict is ck.Verdict.FAIL and not unknown.calls_for  # nor may it be asked to switch
    assert four.see("rpm", "shown").finding("ignition.switching").calls_for == "ignition.repair_switching"
    assert four.see("switching", "pulses").finding("ignition.switching").verdict is ck.Verdict.PASS


@pytest.mark.parametrize(
    ("wires", "says"),
    [
        ("two wires", "never switched off"),
        ("three or four wires", "no spark is ever asked for"),
        ("", "With three or four wires at the coil"),
    ],
)
def test_a_command_that_stays_low_means_something_else_where_the_driver_is_inside(
    four: Any, wires: str, says: str
) -> None:
    if wires:
        four.fit("coil_wires", wires)
    assert says in str(four.see("switching", "stays low").finding("ignition.switching"))


def test_a_tracked_cap_is_plain(bench: Any) -> None:
    assert (
        bench.see("cap_look", "cracked or tracked").finding("ignition.cap").calls_for
        == "ignition.replace_cap"
    )


NEW = [
    pytest.param(key, answer.value, id=f"{key}-{answer.value}")
    for key, observation in ignition.observations.items()
    if observation.answers.__module__.endswith(".observations")
    for answer in observation.answers
]


@pytest.mark.parametrize(("key", "answer"), NEW)
def test_each_look_says_what_it_means_in_two_voices_or_that_it_was_not_reached(
    bench: Any, key: str, answer: str
) -> None:
    place = next(iter(ignition.observations[key].places), "")
    bench.see(key.removeprefix("ignition."), answer, place)
    if answer == "not reached":
        (gap,) = [gap for gap in bench.gaps() if gap.wants == key]
        assert "says nothing" in str(gap)
    else:
        finding = bench.finding(key)
        assert finding.customer_text is not None and finding.evidence


# ---- misfires


def misfires(bench: Any, *counts: str, turns: str = "1000") -> Any:
    for place, count in enumerate(counts, 1):
        bench.read("misfires", count, place=f"cylinder {place}", setup={"revolutions": turns})
    return bench


@pytest.mark.parametrize(
    ("counts", "says"),
    [
        (("2", "118", "1", "0"), "Nearly all are on cylinder 2"),
        (("60", "55", "64", "58"), "over all cylinders alike"),
        (("60", "0", "0", "70"), "mainly on cylinder 1, cylinder 4"),
        (("60", "0"), "Only 2 of 4 cylinders were recorded"),
    ],
)
def test_the_pattern_of_misfires_says_where_to_look_and_calls_for_nothing(
    four: Any, counts: tuple[str, ...], says: str
) -> None:
    found = misfires(four, *counts).finding("ignition.misfire")
    assert says in str(found)
    assert (found.verdict, found.calls_for) == (ck.Verdict.ADVICE, "")


SHARE = "share a coil: that coil, its supply or its leads come first"
CLEARED = "so that coil's primary side, its driver and its supply are hardly the cause"


@pytest.mark.parametrize(
    ("counts", "pairs", "says", "says_not"),
    [
        (("60", "0", "0", "70"), "1 with 4, 2 with 3", f"Cylinder 1 and cylinder 4 {SHARE}", CLEARED),
        # 1 and 3 are on two coils, and a companion fires well on each
        (("60", "0", "70", "0"), "1 with 4, 2 with 3", "Cylinder 2 fires well on the coil of", SHARE),
        (
            ("60", "0", "70", "0"),
            "1 with 4, 2 with 3",
            "Cylinder 4 fires well on the coil of",
            "Two cylinders",
        ),
        (("0", "118", "0", "0"), "1 with 4, 2 with 3", f"cylinders 2 and 3, {CLEARED}", SHARE),
        # 8 of 500 firings are 1.6 %, ± 1.1 %: cylinder 3 is neither plainly bad nor plainly well
        (("0", "118", "8", "0"), "1 with 4, 2 with 3", "Nearly all are on cylinder 2", CLEARED),
        (("60", "0", "0", "70"), "", "Two cylinders on one coil point to that coil", SHARE),
        (("60", "0", "0", "70"), "paired otherwise", "Two cylinders on one coil point to that coil", SHARE),
    ],
)
def test_two_cylinders_on_one_coil_point_to_it_and_one_that_fires_well_clears_it(
    four: Any, counts: tuple[str, ...], pairs: str, says: str, says_not: str
) -> None:
    four.fit("kind", "wasted spark")
    if pairs:
        four.fit("coil_pairs", pairs)
    text = str(misfires(four, *counts).finding("ignition.misfire"))
    assert says in text and says_not not in text


def test_where_each_plug_has_its_coil_pairs_say_nothing(four: Any) -> None:
    four.fit("kind", "coil on plug").fit("coil_pairs", "1 with 4, 2 with 3")
    assert "coil of cylinders" not in str(misfires(four, "0", "118", "0", "0").finding("ignition.misfire"))


@pytest.mark.parametrize(
    ("counts", "where"),
    [
        (("0", "1", "0", "0"), "none seen"),
        (("2", "118", "1", "0"), "one"),
        (("60", "0", "0", "70"), "several"),
        (("60", "55", "64", "58"), "all"),
        (("60", "0"), ""),
    ],
)
def test_a_count_of_all_cylinders_is_graded_by_where_they_lie(
    four: Any, counts: tuple[str, ...], where: str
) -> None:
    assert misfires(four, *counts).finding("ignition.misfire").grade == where


# by hand: widest 0.80 mm, plainly wide from 0.2 mm above it on
@pytest.mark.parametrize(
    ("read", "grade"),
    [
        ("0.65 mm", "right"),
        ("0.80 mm", "near"),
        ("0.99 mm", "near"),
        ("1.01 mm", "wide"),
        ("0.40 mm", "near"),
    ],
)
def test_a_gap_is_plainly_wide_from_two_tenths_of_a_millimetre_above_its_widest_on(
    four: Any, read: str, grade: str
) -> None:
    four.specify("plug_gap", low="0.5 mm", high="0.8 mm").read("plug_gap", read, place="cylinder 1")
    assert four.finding("ignition.plug_gap").grade == grade


@pytest.mark.parametrize(("read", "grade"), [("99 kΩ", "off its figure"), ("101 kΩ", "open")])
def test_a_lead_is_open_from_a_hundred_kiloohm_on(bench: Any, read: str, grade: str) -> None:
    bench.specify("lead_resistance", high="12 kΩ").read("lead_resistance", read, place="lead 1")
    assert bench.finding("ignition.lead").grade == grade


@pytest.mark.parametrize(
    ("read", "grade"),
    [("0.6 Ω", ""), ("90 Ω", "off its figure"), ("120 Ω", "open or shorted"), ("0.02 Ω", "off its figure")],
)
def test_a_primary_is_open_beyond_any_design_only_with_its_uncertainty_allowed_for(
    four: Any, read: str, grade: str
) -> None:
    # two leads are good to 0.3 Ω, so that a short cannot be told from a low winding
    four.specify("primary_resistance", low="0.5 Ω", high="0.7 Ω")
    four.read("primary_resistance", read, place="coil 1", setup={"winding_temperature": "20 °C"})
    assert four.finding("ignition.primary").grade == grade


def test_the_share_of_misfires_comes_out_as_by_hand_and_counts_chance(four: Any) -> None:
    # 20 in 1000 revolutions of four cylinders: 1.0 % (worked example X21); √20 of them is chance
    found = misfires(four, "20", "0", "0", "0").finding("ignition.misfire")
    assert found.value is not None
    assert found.value.number == pytest.approx(0.01)
    assert found.value.u > 20**0.5 / 2000
    assert 0.05 < (found.probability or 0) < 0.95


def test_no_misfires_pass_and_without_revolutions_or_cylinders_nothing_is_said(four: Any, bench: Any) -> None:
    assert "in 1000 revolutions: 0," in str(misfires(four, "0", "0", "0", "0").finding("ignition.misfire"))
    four.readings.clear()
    four.read("misfires", "40", place="cylinder 1")
    assert four.gaps("misfire")[0].wants == "ignition.revolutions"
    four.fitted.pop("ignition.cylinders")
    assert misfires(four, "40").gaps("misfire")[0].wants == "ignition.cylinders"


def test_one_cylinder_has_no_pattern(bench: Any) -> None:
    assert "Nearly all" not in str(misfires(bench.fit("cylinders", "1"), "40").finding("ignition.misfire"))


# ---- all together


def test_every_check_says_something_and_none_breaks_when_everything_at_once_was_noted(towing: Any) -> None:
    misfires(leads_of(towing, "8.40 kΩ"), *["3"] * 8)
    for key, observation in ignition.observations.items():
        for place in observation.places or ("",):
            towing.see(key.split(".")[1], next(iter(observation.answers)).value, place)
    for name in ("supply_cranking", "feed_drop", "ground_drop", "supply_key_on"):
        towing.read(name, "2 V")
    towing.read("peak_current", "6 A", place="coil 1").fit("compression_ratio", "9").read(
        "plug_gap", "1 mm", place="cylinder 1"
    )
    results = towing.run()
    assert {result.check for result in results} == {check.title for check in ignition.checks.values()}
    assert all("{" not in str(result) for result in results)


def test_the_keys_asked_of_the_battery_are_those_that_the_battery_declares() -> None:
    plugins = installed_plugins()
    assert "ignition" in plugins.systems
    assert not [failure for failure in plugins.failures if failure.plugin == "ignition"]
    for wanted in ignition.foreign_wants:
        assert plugins.measurands[wanted.key].kind == wanted.kind


def test_a_gap_too_close_to_its_widest_to_call_asks_for_setting_and_for_no_plugs(four: Any) -> None:
    four.specify("plug_gap", low="0.7 mm", high="0.9 mm").read("plug_gap", "0.905 mm", place="cylinder 1")
    finding = four.finding("ignition.plug_gap")
    assert (finding.verdict, finding.calls_for) == (ck.Verdict.UNDECIDED, "ignition.set_gaps")
