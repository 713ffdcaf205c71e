"""Supply that is missing or too high, how drops were read, codes that name a cylinder, things compared."""

from __future__ import annotations

from typing import Any

import pytest
from corekit_ignition import engine, ignition
from hypothesis import given
from hypothesis import strategies as st

import corekit as ck
from corekit.testing import installed_plugins

PEAK, AVERAGE, HELD = "peak hold, scope or record", "averaging meter", "current held on"


# ---- none at all, and too much


def test_no_supply_while_cranking_is_a_finding_by_itself(four: Any) -> None:
    found = four.read("supply_cranking", "0.1 V", using="meter").finding("ignition.supply_there")
    assert (found.verdict, found.calls_for, found.grade) == (
        ck.Verdict.FAIL,
        "ignition.repair_supply",
        "none",
    )
    assert "no spark" in str(found.for_customer)


@pytest.mark.parametrize(("volts", "grade"), [("1.9 V", "none"), ("2.6 V", ""), ("4.1 V", "there")])
def test_a_supply_is_there_from_3_v_on_with_its_width_allowed_for(four: Any, volts: str, grade: str) -> None:
    assert four.read("supply_cranking", volts, using="meter").finding("ignition.supply_there").grade == grade


def test_none_with_the_key_on_is_read_again_while_cranking_and_no_drop_is_spoken_of(four: Any) -> None:
    four.read("supply_key_on", "0.02 V", using="meter")
    found = four.finding("ignition.supply_there")
    assert (found.verdict, found.next_test) == (ck.Verdict.UNDECIDED, "ignition.supply_cranking")
    assert not [one for one in four.findings() if one.code == "ignition.feed"]


@pytest.mark.parametrize(
    ("volts", "verdict"),
    [("14.6 V", None), ("15.5 V", ck.Verdict.UNDECIDED), ("17.2 V", ck.Verdict.FAIL)],
)
def test_too_much_at_the_coil_is_the_charging_systems(four: Any, volts: str, verdict: Any) -> None:
    four.read("supply_running", volts, using="meter", setup={"engine_speed": "2500 rpm"})
    found = [one for one in four.findings() if one.code == "ignition.supply_high"]
    assert [one.verdict for one in found] == ([verdict] if verdict else [])
    assert all(not one.calls_for for one in found)


# ---- how a drop was read


@pytest.mark.parametrize("of", ["feed", "ground"])
@pytest.mark.parametrize(
    ("meter", "verdict"),
    [
        ("", ck.Verdict.UNDECIDED),
        (AVERAGE, ck.Verdict.UNDECIDED),
        (PEAK, ck.Verdict.PASS),
        (HELD, ck.Verdict.PASS),
    ],
)
def test_a_low_drop_passes_only_where_the_meter_can_show_a_high_one(
    four: Any, of: str, meter: str, verdict: ck.Verdict
) -> None:
    if meter:
        four.fit("drop_meter", meter)
    found = four.read(f"{of}_drop", "0.03 V", using="meter").finding(f"ignition.{of}")
    assert found.verdict is verdict
    asked = f"ignition.{of}_drop" if meter else "ignition.drop_meter"
    assert found.next_test == (asked if verdict is ck.Verdict.UNDECIDED else "")


@pytest.mark.parametrize("meter", ["", AVERAGE])
def test_a_high_drop_fails_however_it_was_read(four: Any, meter: str) -> None:
    if meter:
        four.fit("drop_meter", meter)
    assert (
        four.read("ground_drop", "0.9 V", using="meter").finding("ignition.ground").verdict is ck.Verdict.FAIL
    )


def test_closed_points_carry_their_current_for_half_of_the_time(bench: Any) -> None:
    bench.fit("kind", "distributor").fit("coil_type", "breaker points")
    assert (
        bench.read("ground_drop", "0.03 V", using="meter").finding("ignition.ground").verdict
        is ck.Verdict.PASS
    )


@pytest.mark.parametrize(
    ("speed", "verdict"), [("390 rpm", ck.Verdict.UNDECIDED), ("410 rpm", ck.Verdict.PASS)]
)
def test_in_a_running_engine_a_low_drop_is_taken_as_read(four: Any, speed: str, verdict: ck.Verdict) -> None:
    four.read("ground_drop", "0.03 V", using="meter", setup={"engine_speed": speed})
    assert four.finding("ignition.ground").verdict is verdict


def test_a_good_supply_never_stands_beside_a_ground_loss_that_was_read(four: Any) -> None:
    four.fit("drop_meter", PEAK).see("spark", "weak or intermittent", "cylinder 1")
    four.read("feed_drop", "0.1 V", using="meter").read("ground_drop", "0.9 V", using="meter")
    found = four.finding("ignition.spark")
    assert "supply is good" not in str(found) and "ground side loses 0.900 V" in str(found)


def test_a_good_supply_is_not_said_of_a_drop_that_an_averaging_meter_may_hide(four: Any) -> None:
    four.see("spark", "none", "cylinder 1").read("feed_drop", "0.1 V", using="meter")
    assert "supply is good" not in str(four.finding("ignition.spark"))


# ---- sparks that nobody asks for


@pytest.mark.parametrize(("of", "answer"), [("rpm", "none"), ("switching", "stays high")])
def test_no_spark_that_nobody_asked_for_speaks_against_no_coil(four: Any, of: str, answer: str) -> None:
    four.see("spark", "none", "cylinder 1").see(of, answer)
    found = four.finding("ignition.spark")
    assert found.verdict is ck.Verdict.ADVICE and not found.next_test
    assert "are not judged by that" in str(found)


def test_a_coil_that_stays_on_is_no_bad_feed_where_a_supply_was_read(bench: Any) -> None:
    bench.fit("coil_wires", "two wires").see("switching", "stays low")
    assert "or the feed" in str(bench.finding("ignition.switching"))
    found = bench.read("supply_key_on", "11.2 V", using="meter").finding("ignition.switching")
    assert "never switched off" in str(found) and "or the feed" not in str(found)


def test_of_one_spark_alone_nothing_is_said_of_what_belongs_to_its_cylinder(four: Any) -> None:
    four.fit("drop_meter", PEAK).see("spark", "none", "cylinder 1").read("feed_drop", "0.1 V", using="meter")
    assert "others have one was not looked at" in str(four.finding("ignition.spark"))


def test_a_spark_that_the_coil_makes_every_time_asks_for_no_supply(bench: Any) -> None:
    bench.fit("kind", "distributor").see("spark_at_coil", "every time").see("spark", "none", "cylinder 1")
    found = bench.finding("ignition.spark")
    assert "supply and coil make it" in str(found) and not found.next_test


# ---- codes that name a cylinder


def coded(bench: Any, *codes: str, **traits: str) -> ck.Finding:
    for key, answer in traits.items():
        bench.fit(key, answer)
    (check,) = [
        key for key, one in ignition.checks.items() if one.title == "Cylinders that trouble codes name"
    ]
    (found,) = bench.store(*codes).run(check)
    assert isinstance(found, ck.Finding)
    return found


SIX = "1 with 4, 2 with 5, 3 with 6"


@pytest.mark.parametrize(
    ("codes", "traits", "grade"),
    [
        (("P0302",), {}, "one"),
        (
            ("P0302", "P0305"),
            {"kind": "wasted spark", "cylinders": "6", "coil_pairs": SIX},
            "two on one coil",
        ),
        (("P0302", "P0303"), {"kind": "wasted spark", "cylinders": "6", "coil_pairs": SIX}, "several"),
        (("P0301", "P0302", "P0303"), {"cylinders": "6", "banks": "first half and second half"}, "one bank"),
        (("P0301", "P0303", "P0305"), {"cylinders": "6", "banks": "odd and even"}, "one bank"),
        (("P0301", "P0302", "P0303", "P0304"), {"cylinders": "4"}, "all"),
        (("P0300", "P0302"), {}, ""),  # others may misfire too: that is counted first
        (("P0300",), {}, ""),
        (("P0352",), {}, ""),
    ],
)
def test_codes_say_where_as_far_as_they_do(
    bench: Any, codes: tuple[str, ...], traits: dict[str, str], grade: str
) -> None:
    found = coded(bench, *codes, **traits)
    assert found.grade == grade and not found.calls_for


def test_testing_starts_at_the_cylinder_that_the_code_names(bench: Any) -> None:
    assert "starts at cylinder 3" in str(coded(bench, "P0303"))
    alone = str(coded(bench, "P0300"))
    assert "one, some or all" in alone and "Nothing is swapped before" in alone


def test_two_codes_ask_which_cylinders_share_a_coil(bench: Any) -> None:
    found = coded(bench, "P0301", "P0304", kind="wasted spark", cylinders="6")
    assert (found.verdict, found.next_test) == (ck.Verdict.UNDECIDED, "ignition.coil_pairs")


@pytest.mark.parametrize(
    ("count", "urgency"), [("60", ck.Urgency.THIS_VISIT), ("160", ck.Urgency.BEFORE_DRIVING)]
)
def test_misfires_that_ruin_a_catalyst_come_before_driving(
    four: Any, count: str, urgency: ck.Urgency
) -> None:
    # of 2000 firings 5 % are 100; 160 less twice their own chance and clock are more
    for n in range(1, 5):
        four.read("misfires", count if n == 2 else "0", place=f"cylinder {n}", setup={"revolutions": "1000"})
    assert four.finding("ignition.misfire").urgency is urgency


def test_all_cylinders_of_one_bank_point_to_what_the_bank_shares(bench: Any) -> None:
    bench.fit("cylinders", "6").fit("kind", "coil on plug").fit("banks", "first half and second half")
    for n, count in enumerate(("60", "55", "62", "0", "1", "0"), 1):
        bench.read("misfires", count, place=f"cylinder {n}", setup={"revolutions": "1000"})
    found = bench.finding("ignition.misfire")
    assert found.grade == "one bank" and "of one bank and no other" in str(found)


# ---- like things beside each other


def each(bench: Any, key: str, values: tuple[str, ...], word: str = "cylinder", **how: Any) -> Any:
    for n, value in enumerate(values, 1):
        bench.read(key, value, place=f"{word} {n}", **how)
    return bench


def test_the_cylinder_that_does_not_work_is_named_by_the_speed_lost_without_it(four: Any) -> None:
    found = each(four, "speed_drop", ("62 rpm", "58 rpm", "3 rpm", "59 rpm")).finding("ignition.balance")
    assert (found.place, found.grade) == ("cylinder 3", "one") and not found.calls_for


def test_a_cylinder_that_works_a_little_is_cut_again(four: Any) -> None:
    # worked example X23: 21 of a median of 59 are 36 %, against 50 % ± 20 %
    found = each(four, "speed_drop", ("62 rpm", "58 rpm", "21 rpm", "59 rpm")).finding("ignition.balance")
    assert (found.place, found.grade) == ("cylinder 3", "") and "36 %" in str(found)


def test_a_cylinder_that_compresses_too_little_is_referred_and_calls_for_nothing(four: Any) -> None:
    low = each(four, "compression", ("12.1 bar", "7.0 bar", "12.3 bar", "11.9 bar"))
    found = low.finding("ignition.compression")
    assert (found.verdict, found.grade, found.place) == (ck.Verdict.FAIL, "one low", "cylinder 2")
    assert not found.calls_for and "No spark cures that" in str(found)


def test_even_compression_passes(four: Any) -> None:
    found = each(four, "compression", ("12.1 bar", "11.5 bar", "12.3 bar", "11.9 bar")).finding(
        "ignition.compression"
    )
    assert (found.verdict, found.grade) == (ck.Verdict.PASS, "even")


def test_a_coil_that_takes_half_of_what_the_others_do_is_its_wiring_first(four: Any) -> None:
    each(
        four, "peak_current", ("4.1 A", "7.9 A", "7.8 A", "7.9 A"), "coil", setup={"engine_speed": "1500 rpm"}
    )
    found = four.finding("ignition.current_apart")
    assert (found.place, found.grade) == ("coil 1", "apart") and not found.calls_for
    assert "supply, ground, connector or dwell" in str(found)


@pytest.mark.parametrize(
    ("times", "means"),
    [
        (("0.5 ms", "1.5 ms", "1.6 ms", "1.5 ms"), "Its way is long"),
        (("3.0 ms", "1.5 ms", "1.6 ms", "1.5 ms"), "gets away too easily"),
    ],
)
def test_a_short_spark_has_a_long_way_and_a_long_one_gets_away(
    four: Any, times: tuple[str, ...], means: str
) -> None:
    each(four, "burn_time", times, setup={"engine_speed": "1500 rpm"})
    found = four.finding("ignition.burn_apart")
    assert found.grade == "apart" and found.place == "cylinder 1" and means in str(found)


def test_sparks_that_burn_alike_are_said_so(four: Any) -> None:
    each(four, "burn_time", ("1.5 ms", "1.4 ms", "1.6 ms", "1.5 ms"), setup={"engine_speed": "1500 rpm"})
    assert four.finding("ignition.burn_apart").grade == "alike"


@pytest.mark.parametrize(("volts", "grade"), [("11 kV", "low"), ("20 kV", ""), ("32 kV", "enough")])
def test_the_voltage_that_a_coil_reaches_speaks_of_it_once_supply_and_dwell_are_known(
    four: Any, volts: str, grade: str
) -> None:
    found = four.read("available_voltage", volts, place="coil 1").finding("ignition.available")
    assert found.grade == grade and not found.calls_for


def test_gaps_that_are_all_worn_alike_are_wear(four: Any) -> None:
    four.specify("plug_gap", low="0.7 mm", high="0.8 mm")
    each(four, "plug_gap", ("1.25 mm", "1.30 mm", "1.25 mm", "1.30 mm"))
    found = [one for one in four.findings() if one.code == "ignition.plug_gap"]
    assert [(one.verdict, one.grade, one.calls_for) for one in found] == [
        (ck.Verdict.FAIL, "wide", "ignition.replace_plugs")
    ] * 4
    assert not any("meter" in str(one) or "gauge" in str(one) for one in found)


@pytest.mark.parametrize(("third", "grade"), [("17 kΩ", "alike"), ("20 kΩ", "apart"), ("48 kΩ", "apart")])
def test_a_lead_that_reads_three_times_the_others_stands_out_and_is_not_condemned(
    bench: Any, third: str, grade: str
) -> None:
    # the others' median is 6.2 kΩ: three times that is 18.6 kΩ
    each(bench.fit("kind", "distributor"), "lead_resistance", ("6 kΩ", "6.4 kΩ", third, "6.2 kΩ"), "lead")
    found = bench.finding("ignition.lead_apart")
    assert found.grade == grade and not found.calls_for


def test_a_low_current_names_what_eats_it_before_what_switches_it(four: Any) -> None:
    four.specify("peak_current", low="7 A", high="9 A").read("peak_current", "4 A", place="coil 1")
    unread = four.finding("ignition.current")
    assert not unread.calls_for and "Not read yet: supply, ground, dwell" in str(unread)
    named = four.read("ground_drop", "1.2 V", using="meter").finding("ignition.current")
    assert "Lost on the way: ground 1.20 V" in str(named)


def test_a_running_figure_is_never_held_against_a_cranking_one(four: Any) -> None:
    four.fit("inductance", "4 mH").read("dwell", "3 ms").read("primary_resistance", "0.6 Ω", place="coil 1")
    four.read("supply_running", "13.9 V", using="meter", setup={"engine_speed": "2500 rpm"})
    four.read("peak_current", "4 A", place="coil 1", setup={"engine_speed": "250 rpm"})
    assert not [one for one in four.findings() if one.code == "ignition.current_short"]


# ---- what this system does not know


@pytest.mark.parametrize("kind", ["magneto", "capacitor discharge"])
def test_what_is_out_of_scope_is_said_so_by_name(bench: Any, kind: str) -> None:
    found = bench.fit("kind", kind).finding("ignition.out_of_scope")
    assert kind in str(found) and "out of this system's scope" in str(found)
    table = ignition.faults
    assert table is not None
    for fault in ("weak_supply", "bad_ground", "bad_coil", "no_switching", "no_crank_signal"):
        assert kind not in table.faults[fault].only["ignition.kind"]


@pytest.mark.parametrize("cylinders", ["1", "2", "3", "5", "8", "10", "12"])
def test_engines_from_one_to_twelve_cylinders_are_counted(bench: Any, cylinders: str) -> None:
    bench.fit("cylinders", cylinders).fit("kind", "coil on plug")
    for n in range(1, int(cylinders) + 1):
        bench.read("misfires", "0", place=f"cylinder {n}", setup={"revolutions": "1000"})
    assert "Misfires counted in 1000 revolutions: 0" in str(bench.finding("ignition.misfire"))


@given(st.floats(1, 300), st.floats(0.05, 1), st.floats(5, 200))
def test_a_missed_firing_costs_less_of_the_speed_the_faster_it_turns(
    work: float, inertia: float, speed: float
) -> None:
    if (6.283 * speed) ** 2 > 2 * work / inertia:
        slow, fast = (engine.share_of_speed_lost.si(work, inertia, one) for one in (speed, 1.5 * speed))
        assert fast <= slow


def test_a_crankshaft_without_so_much_work_in_it_is_refused() -> None:
    with pytest.raises(ValueError, match="would stand"):
        engine.speed_lost.si(1000.0, 0.01, 1.0)


def test_every_key_that_is_asked_of_the_battery_is_there() -> None:
    assert "battery.charging_voltage" in installed_plugins().measurands
