"""The study of contactors on changed starters: every number worked by hand here or printed on a sheet."""

import math
import re

import pytest

from tests.workings import evaluate
from tristrand.app.pipeline import Pipeline
from tristrand.app.starter import starter_files
from tristrand.design import Design, apply_edits, load_files
from tristrand.findings import Edit
from tristrand.rules.charging_view import WITH_DC
from tristrand.rules.view import WITH_CHARGER
from tristrand.studies.results import ContactorsResult, WeldWay

HV, MAIN, SMALL = "high_voltage.yaml", "parts/contactor-200.yaml", "parts/contactor-20.yaml"
PIPELINE = Pipeline()
CHARGER = tuple(Edit(*change) for change in WITH_CHARGER)
# A second way to see k_plus: its far side against pack minus, whatever the other pole does.
FAR_PLUS = Edit(HV, "voltage_sensors/far_plus", "{plus: k_plus.b, minus: pack.minus, error: 1 %, settling: 400 ms}")
INLET = (
    Edit(HV, "parts/inlet", "{kind: inlet, sheet: inlet}"),
    Edit("parts/inlet.yaml", "", "{schema_version: 1, kind: inlet, rated_voltage: 450 V, rated_current: 150 A}"),
    Edit(HV, "parts/kc_plus", "{kind: contactor, sheet: contactor-200, role: charge, marked_plus: a}"),
    Edit(HV, "parts/kc_minus", "{kind: contactor, sheet: contactor-200, role: charge, marked_plus: b}"),
    Edit(HV, "connections/I1", "{from: inlet.plus, to: kc_plus.a, cable: hv-35, length: 1 m}"),
    Edit(HV, "connections/I2", "{from: kc_plus.b, to: bus_plus.bar, cable: hv-35, length: 1 m}"),
    Edit(HV, "connections/I3", "{from: inlet.minus, to: kc_minus.a, cable: hv-35, length: 1 m}"),
    Edit(HV, "connections/I4", "{from: kc_minus.b, to: bus_minus.bar, cable: hv-35, length: 1 m}"),
)


def design(*edits: Edit) -> Design:
    loaded = load_files(apply_edits(starter_files(), list(edits)), "starter")
    assert loaded.design is not None, [p.text() for p in loaded.problems]
    return loaded.design


def studied(*edits: Edit) -> ContactorsResult:
    result: ContactorsResult = PIPELINE.run(design(*edits))["contactors"]
    return result


def coil(text: str) -> Edit:
    return Edit(MAIN, "coil", text)


def copper(celsius: float) -> float:
    return 1 + 0.00393 * (celsius - 20)


# --- coils ---


def test_the_hot_coil_of_the_printed_sheet_does_not_pull_in_at_a_sag() -> None:
    # A maker's sheet: 26 Ω ± 5 %, pull-in at most 8.8 V at 20 °C; at 85 °C that is 11.05 V, more than a sag to 10.5 V.
    sheet = coil(
        "{resistance: 26 Ω, pull_in_voltage: 8.8 V, hold_voltage: 7.15 V, release_voltage: 1 V, hottest: 85 °C}"
    )
    got = studied(sheet, Edit(HV, "coil_supply", "{least: 10.5 V, most: 12 V, wiring: 0 Ω}")).coils["k_plus"]
    assert got.pull_in_needed_v == pytest.approx(11.05, abs=0.005)
    assert got.pull_in_v == 10.5
    assert got.hold_needed_v == pytest.approx(7.15 * copper(85), rel=1e-12)
    # 12 V over 26 Ω at 20 °C are 0.4615 A and 5.54 W there; the starter's coldest air is -10 °C.
    assert got.peak_a == pytest.approx(12 / 26 / copper(-10), rel=1e-12)
    assert got.peak_w == pytest.approx(12 * 12 / 26 / copper(-10), rel=1e-12)
    assert got.release_v == pytest.approx(1.0 * copper(-10), rel=1e-12)


def test_wiring_takes_its_share_and_the_low_end_of_the_resistance_counts() -> None:
    sheet = coil(
        "{resistance: 30 Ω ± 10 %, pull_in_voltage: 8 V ± 5 %, hold_voltage: 5 V, rise: 30 K, reference: 25 °C}"
    )
    got = studied(sheet, Edit(HV, "coil_supply", "{least: 11 V, wiring: 2 Ω ± 50 %}")).coils["k_minus"]
    hot = 27 * copper(70) / copper(25)
    assert got.hottest_c == 70
    assert got.pull_in_v == pytest.approx(11 * hot / (hot + 3), rel=1e-12)
    assert got.pull_in_needed_v == pytest.approx(8.4 * copper(70) / copper(25), rel=1e-12)


def test_the_rise_stands_on_the_air_round_the_part() -> None:
    part = "{kind: contactor, sheet: contactor-200, role: main, marked_plus: a, ambient: 61 °C}"
    coils = studied(Edit(HV, "parts/k_plus", part)).coils
    assert (coils["k_plus"].hottest_c, coils["k_minus"].hottest_c) == (61 + 35, 40 + 35)


@pytest.mark.parametrize(
    ("fitted", "volts", "needed"),
    [
        # Switched from outside at a duty of one half (75 % saved): half of the supply on average, and the coil is hot.
        ("outside", 0.5 * 10.5 * 34.660275 / 34.960275, 4.5 * copper(75)),
        # Electronics inside: the terminals see the supply, the sheet's hold voltage is for the terminals.
        ("inside", 10.5 * 34.660275 / 34.960275, 4.5),
    ],
)
def test_an_economiser_changes_what_holds(fitted: str, volts: float, needed: float) -> None:
    got = studied(Edit(MAIN, "economiser", f"{{saving: 75 %, after: 200 ms, fitted: {fitted}}}")).coils["k_plus"]
    # 30 Ω - 5 % at 75 °C
    assert pytest.approx(34.660275) == 28.5 * copper(75)
    assert (got.hold_v, got.hold_needed_v) == (pytest.approx(volts, rel=1e-9), pytest.approx(needed, rel=1e-12))
    plain = studied().coils["k_plus"]
    assert (got.pull_in_v, got.pull_in_needed_v, got.peak_w) == (
        plain.pull_in_v,
        plain.pull_in_needed_v,
        plain.peak_w,
    )
    assert got.hold_w == pytest.approx(0.25 * 15**2 / (28.5 * copper(-10)), rel=1e-12)


def test_the_supply_gives_all_coils_at_once_cold() -> None:
    result = studied()
    big, small = 15 / (28.5 * copper(-10)), 15 / (54 * copper(-10))
    assert result.peak_a == pytest.approx(2 * big + 2 * small, rel=1e-12)
    # While driving the precharge contactor is off; the discharge contactor rests closed and is held open.
    assert result.hold_a == pytest.approx(2 * big + small, rel=1e-12)


def test_what_is_missing_keeps_only_its_own_question_open() -> None:
    got = studied(coil("{resistance: 30 Ω, hold_voltage: 4.5 V, rise: 35 K}")).coils["k_plus"]
    assert {q: [m.pointer for m in gaps] for q, gaps in got.missing.items()} == {
        "pull_in": ["parts/contactor-200/coil/pull_in_voltage"],
        "release": ["parts/contactor-200/coil/release_voltage"],
    }
    assert math.isnan(got.pull_in_v)
    assert got.hold_v > got.hold_needed_v
    assert studied(Edit("vehicle.yaml", "ambient", "null")).coils["k_plus"].missing.keys() == {
        "pull_in", "hold", "release", "power",
    }  # fmt: skip


# --- what is opened, and which way round ---


def test_driving_current_enters_plus_at_a_and_minus_at_b() -> None:
    found = studied().opened
    # The starter's k_plus has the pack at a, k_minus has the pack at a too: there the current comes back out.
    assert (found["k_plus"].marked, found["k_minus"].marked) == ("a", "b")
    for one in (found["k_plus"], found["k_minus"]):
        assert one.driving_against.current_a == 0.0
        assert one.forward.case == one.driving.case == "peak"
        # 36 kW and 500 W of the converter, from 84 cells of 3.4 V at the least: about 137 A with their drop.
        assert 36.5e3 / (84 * 3.4) < one.forward.current_a < 36.5e3 / (84 * 2.8)
    turned = studied(Edit(HV, "parts/k_minus/marked_plus", "a")).opened["k_minus"]
    assert turned.driving_against == found["k_minus"].forward
    assert turned.forward.current_a == 0.0


def test_precharge_given_up_at_once_is_opened_at_the_current_that_it_began_with() -> None:
    found = studied().opened["k_pre"]
    # 348.6 V over the low end of 100 Ω ± 5 %, and the pack and cables of less than 1 Ω.
    assert 348.6 / 96 < found.forward.current_a < 348.6 / 95
    assert found.forward.case == "precharge given up"
    marked = Edit(SMALL, "polarised", "true")
    pre = "{{kind: contactor, sheet: contactor-20, role: precharge, marked_plus: {}}}"
    # The starter's k_pre hangs at the pack with its a.
    right = studied(marked, Edit(HV, "parts/k_pre", pre.format("a"))).opened["k_pre"]
    assert (right.forward, right.driving_against.current_a) == (found.forward, 0.0)
    wrong = studied(marked, Edit(HV, "parts/k_pre", pre.format("b"))).opened["k_pre"]
    assert (wrong.forward.current_a, wrong.driving_against) == (0.0, found.forward)
    # Its other end at the pack: what was wrong is right.
    ends = Edit(HV, "connections/W5/to", "k_pre.b"), Edit(HV, "connections/W6/from", "k_pre.a")
    turned = studied(marked, Edit(HV, "parts/k_pre", pre.format("b")), *ends).opened["k_pre"]
    assert turned.driving_against.current_a == 0.0


def test_charging_runs_the_other_way() -> None:
    found = studied(*CHARGER).opened["k_plus"]
    assert found.charging_against.case == "charge"
    assert found.charging_against == found.charging
    # At most 18 A by the charger's limit.
    assert 0 < found.charging_against.current_a <= 18.0 + 1e-9
    assert found.forward.case == "peak"
    alike = studied(*CHARGER, Edit(MAIN, "polarised", "false")).opened["k_plus"]
    assert alike.charging_against.current_a == 0.0
    assert alike.forward == found.forward


def test_a_case_may_run_both_ways_over_the_corners_of_the_pack() -> None:
    # With the pack full the charger gives nothing any more, and the converter's 300 W come out of the pack.
    fed = Edit(HV, "parts/dcdc/power/charge", "300 W")
    case = PIPELINE.run(design(*CHARGER, fed))["operating"].cases["charge"]
    out_a, in_a = case.through["k_plus"]
    assert out_a == pytest.approx(300 / 348.6, rel=0.02)
    assert 15 < in_a <= 18
    assert case.through["k_minus"] == (pytest.approx(in_a, rel=1e-6), pytest.approx(out_a, rel=1e-6))
    # The larger of both says whether the charging current runs against the mark.
    found = studied(*CHARGER, fed).opened["k_plus"]
    assert found.charging.current_a == found.charging_against.current_a == pytest.approx(in_a)


def test_without_a_precharge_what_closes_and_what_is_given_up_is_not_known() -> None:
    gone = Edit(HV, "parts/r_pre", "{kind: junction}")
    leads = Edit(HV, "connections/W6/to", "r_pre.bar"), Edit(HV, "connections/W7/from", "r_pre.bar")
    result = studied(gone, *leads)
    assert result.opened["k_pre"].missing
    assert result.life["k_plus"].missing
    assert result.opened["k_plus"].missing == ()


def test_an_inlet_brings_its_rated_current_through_charge_and_main_contactors() -> None:
    found = studied(*INLET).opened
    # In at the inlet's plus: with the mark of kc_plus; on into the pack: against the mark of k_plus.
    assert (found["kc_plus"].forward.current_a, found["kc_plus"].charging_against.current_a) == (150.0, 0.0)
    # Out of the bus into the inlet's minus: it enters kc_minus at b, where plus is marked.
    assert (found["kc_minus"].forward.current_a, found["kc_minus"].charging_against.current_a) == (150.0, 0.0)
    for name in ("k_plus", "k_minus"):
        assert found[name].charging_against.current_a == 150.0
        assert found[name].charging_against.case == "charge by the inlet"
    swapped = studied(*INLET, Edit(HV, "parts/kc_plus/marked_plus", "b")).opened["kc_plus"]
    assert (swapped.forward.current_a, swapped.charging_against.current_a) == (0.0, 150.0)


def test_an_inlet_ahead_of_the_main_contactors_leaves_them_alone() -> None:
    past = (
        Edit(HV, "connections/I2/to", "main_fuse.b"),
        Edit(HV, "connections/I4/to", "disconnect.b"),
    )
    found = studied(*INLET, *past).opened
    assert found["k_plus"].charging.current_a == found["k_minus"].charging.current_a == 0.0
    assert found["kc_plus"].forward.current_a == found["kc_minus"].forward.current_a == 150.0


def test_a_main_contactor_between_others_asks_which_way_the_inlet_flows() -> None:
    middle = (
        Edit(HV, "parts/k_mid", "{kind: contactor, sheet: contactor-200, role: main, marked_plus: a}"),
        Edit(HV, "connections/W8/to", "k_mid.a"),
        Edit(HV, "connections/W18", "{from: k_mid.b, to: bus_plus.bar, cable: hv-35, length: 0.3 m}"),
    )
    found = studied(*INLET, *middle).opened["k_mid"]
    assert [m.pointer for m in found.missing] == ["high_voltage/parts/k_mid"]
    assert studied(*middle).opened["k_mid"].missing == ()


def test_a_charge_contactor_without_an_inlet_has_no_known_current() -> None:
    alone = [e for e in INLET if "inlet" not in e.pointer and "I1" not in e.pointer and "I3" not in e.pointer]
    found = studied(*(e for e in alone if e.file == HV)).opened["kc_plus"]
    assert [m.pointer for m in found.missing] == ["high_voltage/parts/kc_plus"]
    unrated = studied(*INLET, Edit("parts/inlet.yaml", "rated_current", "null")).opened
    assert {m.pointer for m in unrated["k_plus"].missing} == {"parts/inlet/rated_current"}


# --- life ---


def test_life_between_the_points_of_the_sheet() -> None:
    life = studied(
        Edit(HV, "parts/drive/power/peak", "20 kW"),
        Edit(MAIN, "breaking_life", "{voltage: [100 V, 500 V], current: [10 A, 1000 A], "
             "operations: [[100000, 1000], [10000, 100]]}"),
    ).life["k_minus"]  # fmt: skip
    (opening,) = life.kinds
    assert (opening.operations, opening.voltage_v) == (10, pytest.approx(84 * 4.15, rel=1e-12))
    # Both rows fall by a hundred over a hundredfold current, both columns by ten over a fivefold voltage.
    by_hand = 1e5 * (opening.current_a / 10) ** -1 * (opening.voltage_v / 100) ** (-math.log(10) / math.log(5))
    assert opening.life == pytest.approx(by_hand, rel=1e-9)
    assert life.electrical == pytest.approx(10 / by_hand, rel=1e-9)
    assert life.mechanical == 30000 / 200000


def test_only_the_bypassed_contactor_closes_onto_the_surge() -> None:
    result = studied(
        Edit(MAIN, "making_life", "{voltage: [348.6 V], current: [10 A, 1000 A], operations: [[60000, 60000]]}")
    )
    closing = result.life["k_plus"].kinds[0]
    assert (closing.kind, closing.operations, closing.life) == ("closing after precharge", 30000, 60000)
    assert closing.share == pytest.approx(0.5, rel=1e-12)
    assert [k.kind for k in result.life["k_minus"].kinds] == ["opening while driving"]
    assert result.life["k_pre"].electrical == 0.0


def test_life_that_no_point_covers_is_open_and_never_carried_on() -> None:
    small = Edit(
        MAIN, "breaking_life", "{voltage: [100 V, 450 V], current: [200 A, 1200 A], operations: [[9, 8], [7, 6]]}"
    )
    life = studied(small).life["k_plus"]
    assert [m.pointer for m in life.missing] == ["parts/contactor-200/breaking_life"]
    # To the last digit that tells it from a point of the table, not rounded onto one.
    said = re.search(r"cover ([0-9.]+) A at 349 V", life.missing[0].what)
    assert said is not None
    assert float(said[1]) == pytest.approx(138, abs=0.5)
    assert said[1] != "138"
    assert studied(small, Edit(HV, "switching_duty/openings_under_load", "0")).life["k_plus"].missing == ()


def test_charging_is_never_taken_as_none_where_nothing_says_so() -> None:
    unsaid = Edit(HV, "switching_duty", "{starts: 30000, openings_under_load: 10}")
    gaps = {m.pointer for m in studied(*CHARGER, unsaid).life["k_plus"].missing}
    assert gaps == {"high_voltage/switching_duty/charges", "high_voltage/switching_duty/openings_while_charging"}
    # Charged from outside the vehicle its contactors close all the same; no charger of its own loads their opening.
    gaps = {m.pointer for m in studied(unsaid).life["k_plus"].missing}
    assert gaps == {"high_voltage/switching_duty/charges"}
    planned = Edit(
        HV, "switching_duty", "{starts: 100, charges: 20, openings_under_load: 1, openings_while_charging: 3}"
    )
    life = studied(*CHARGER, planned).life["k_plus"]
    assert life.operations == 120
    # Against the mark: the forward table does not count for it.
    assert [m.pointer for m in life.missing] == ["parts/contactor-200/breaking_life_reverse"]


MAKES = "{voltage: [100 V, 450 V], current: [10 A, 2000 A], operations: [[100000, 50], [100000, 50]]}"
PLANNED = "{starts: 100, charges: 20, openings_under_load: 0, openings_while_charging: 0}"
DC = (*(Edit(*change) for change in WITH_DC), Edit(HV, "switching_duty", PLANNED), Edit(MAIN, "making_life", MAKES))


def test_contactors_of_an_inlet_count_what_they_close_onto() -> None:
    results = PIPELINE.run(design(*DC))
    surge_a = results["charging"].fast.surge_a
    for name in ("k_dc_plus", "k_dc_minus"):
        life = results["contactors"].life[name]
        (closing,) = life.kinds
        assert (closing.kind, closing.operations, closing.current_a) == ("closing onto a supply", 20, surge_a)
        # Straight in logarithms from 100000 at 10 A to 50 at 2000 A, at any voltage: 2000 times over 200 times.
        by_hand = 1e5 * (surge_a / 10.0) ** (-math.log(2000.0) / math.log(200.0))
        assert life.electrical == pytest.approx(20 / by_hand, rel=1e-9)
        assert life.missing == ()
    # A main contactor closes after precharge, as before, and what shares no name with the inlet counts nothing of it.
    assert [k.kind for k in results["contactors"].life["k_plus"].kinds] == ["closing after precharge"]
    assert results["contactors"].life["k_minus"].kinds == ()


def test_what_an_inlet_s_contactors_close_onto_is_asked_for() -> None:
    none = Edit(HV, "fast_charging/closing_difference", "null")
    gaps = {m.pointer for m in studied(*DC, none).life["k_dc_plus"].missing}
    assert gaps == {"high_voltage/fast_charging/closing_difference"}
    beyond = Edit(HV, "fast_charging/closing_difference", "100 V")
    assert {m.pointer for m in studied(*DC, beyond).life["k_dc_plus"].missing} == {"parts/contactor-200/making_life"}
    planned = Edit(HV, "switching_duty", PLANNED)
    assert "high_voltage/fast_charging" in {m.pointer for m in studied(*INLET, planned).life["kc_plus"].missing}
    # What is never closed closes onto nothing.
    idle = Edit(HV, "switching_duty/charges", "0")
    assert studied(*DC, none, idle).life["k_dc_plus"].missing == ()


def test_a_charge_contactor_of_no_inlet_is_not_taken_to_close_onto_nothing() -> None:
    behind = (
        Edit(HV, "parts/k_ac", "{kind: contactor, sheet: contactor-200, role: charge, marked_plus: a}"),
        Edit(HV, "connections/W97", "{from: bus_plus.bar, to: k_ac.a, cable: hv-16, length: 1 m}"),
        Edit(HV, "connections/W99", "{from: k_ac.b, to: obc.plus, cable: hv-16, length: 1 m}"),
    )
    result = studied(*CHARGER, *behind, Edit(HV, "switching_duty", PLANNED))
    assert "high_voltage/parts/k_ac" in {m.pointer for m in result.life["k_ac"].missing}


# --- welds ---


def only(result: ContactorsResult, name: str) -> WeldWay:
    (way,) = result.welds[name].ways
    return way


def test_one_contactor_opens_first_and_the_bus_sensor_tells() -> None:
    result = studied()
    # Discharge 2.2 kΩ + 5 % beside 200 kΩ; 680 µF + 10 % and the converter's 30 µF + 10 %.
    ohm, farad = 1 / (1 / 2310 + 1 / 200e3), 748e-6 + 33e-6
    for name, other in (("k_plus", "k_minus"), ("k_minus", "k_plus")):
        way = only(result, name)
        assert (way.sensor, way.held, way.pack_v) == ("bus_volts", (other,), pytest.approx(348.6))
        assert (way.ohm, way.farad) == (pytest.approx(ohm, rel=1e-12), pytest.approx(farad, rel=1e-12))
        # The discharge contactor closes within 20 ms, later than the other has opened.
        # Both sensors may err by 0.5 %: the bus must truly be below 0.7 (1 - 0.005) - 0.005 of the pack.
        assert way.wait_s == pytest.approx(0.020 - ohm * farad * math.log(0.7 * 0.995 - 0.005), rel=1e-9)
        assert way.opened_v == pytest.approx(348.6 * math.exp(-1.48 / (ohm * farad)), rel=1e-9)


def test_without_the_discharge_only_the_built_in_resistance_drains() -> None:
    way = only(studied(Edit(HV, "weld_check/discharge", "false")), "k_plus")
    assert way.ohm == pytest.approx(200e3, rel=1e-12)
    # 10 ms to open; no discharge contactor has to close.
    assert way.start_s == 0.010
    bled = Edit("parts/inverter-60.yaml", "bleed_resistance", "null")
    bare = only(studied(Edit(HV, "weld_check/discharge", "false"), bled), "k_plus")
    assert [m.pointer for m in bare.missing] == ["high_voltage/voltage_sensors/bus_volts/settling"]


def test_a_discharge_contactor_that_rests_open_does_not_drain_when_all_is_switched_off() -> None:
    rests = Edit(HV, "parts/k_dis", "{kind: contactor, sheet: contactor-20, role: discharge, rests: open}")
    result = studied(rests, FAR_PLUS)
    ways = {way.step: way for way in result.welds["k_plus"].ways}
    assert ways["all told to open"].ohm == pytest.approx(200e3, rel=1e-12)
    assert ways["opens first, the others held"].ohm == pytest.approx(1 / (1 / 2310 + 1 / 200e3), rel=1e-12)


def test_all_open_no_weld_shows_between_the_links_poles() -> None:
    result = studied(Edit(HV, "weld_check/first", "[k_plus]"))
    assert result.welds["k_plus"].ways
    assert result.welds["k_minus"].ways == ()
    assert result.welds["k_minus"].between == ("k_minus.b", "pack.plus")
    assert result.welds["k_plus"].between == ("k_plus.b", "pack.minus")


def test_a_sensor_from_the_far_side_to_the_other_pole_sees_its_contactor_alone() -> None:
    result = studied(FAR_PLUS, Edit(HV, "weld_check", "{ratio: 70 %, delay: 2 s}"))
    way = only(result, "k_plus")
    assert (way.sensor, way.held) == ("far_plus", ())
    assert result.welds["k_minus"].ways == ()
    # The link must discharge, then the sensor must pull the floating side down.
    ohm, farad = 1 / (1 / 2310 + 1 / 200e3), 781e-6
    assert way.wait_s == pytest.approx(0.02 + 0.4 - ohm * farad * math.log(0.7 * 0.99 - 0.01), rel=1e-9)
    unsettled = Edit(HV, "voltage_sensors/far_plus", "{plus: k_plus.b, minus: pack.minus, error: 1 %}")
    way = only(studied(unsettled, Edit(HV, "weld_check", "{ratio: 70 %, delay: 2 s}")), "k_plus")
    assert [m.pointer for m in way.missing] == ["high_voltage/voltage_sensors/far_plus/settling"]


def test_a_sensor_with_its_ends_exchanged_sees_the_same() -> None:
    turned = Edit(HV, "voltage_sensors/bus_volts", "{plus: bus_minus.bar, minus: bus_plus.bar, error: 0.5 %}")
    assert studied(turned).welds == studied().welds


def test_offset_counts_most_at_the_lowest_pack_voltage() -> None:
    sensor = Edit(
        HV, "voltage_sensors/bus_volts", "{plus: drive.plus, minus: drive.minus, error: 1 %, offset: 4.704 V}"
    )
    # 84 cells of 2.8 V: 235.2 V, of which 4.704 V are 2 %.
    assert only(studied(sensor), "k_plus").error == pytest.approx(0.03, rel=1e-9)


def test_errors_that_hide_the_difference() -> None:
    # At a ratio of 90 % a welded pack may read (1 - e)/(1 + e): down to 0.9 at e = 0.1/1.9.
    edits = Edit(HV, "weld_check/ratio", "90 %"), Edit(HV, "voltage_sensors/bus_volts/error", "5.3 %")
    result = studied(*edits)
    assert result.allowed_error == pytest.approx(0.1 / 1.9, rel=1e-12)
    assert math.isnan(only(result, "k_plus").wait_s)
    assert math.isfinite(only(studied(edits[0], Edit(HV, "voltage_sensors/bus_volts/error", "5.2 %")), "k_plus").wait_s)
    # At a low ratio it is the opened bus that can never read low enough: e below r/(1 + r).
    assert studied(Edit(HV, "weld_check/ratio", "10 %")).allowed_error == pytest.approx(0.1 / 1.1, rel=1e-12)


def test_without_a_sensor_across_the_pack_there_is_nothing_to_compare_with() -> None:
    far = Edit(HV, "voltage_sensors", "{bus_volts: {plus: bus_plus.bar, minus: bus_minus.bar, error: 0.5 %}}")
    assert [m.pointer for m in only(studied(far), "k_plus").missing] == ["high_voltage/voltage_sensors"]


def test_a_busbar_round_a_contactor_hides_its_weld() -> None:
    bridge = Edit(HV, "connections/X1", "{from: k_minus.a, to: k_minus.b, resistance: 1 mΩ}")
    result = studied(bridge)
    assert result.welds["k_minus"].ways == ()
    assert result.welds["k_minus"].between == ("", "")
    assert result.welds["k_plus"].ways


def test_two_packs_in_series_are_one_voltage() -> None:
    second = (
        Edit(HV, "parts/pack2", "{kind: pack, sheet: pack-84s, state_of_charge: {minimum: 10 %, maximum: 100 %}, "
             "temperature: {minimum: 0 °C, maximum: 45 °C}}"),
        Edit(HV, "connections/W3/from", "pack2.minus"),
        Edit(HV, "connections/W18", "{from: pack.minus, to: pack2.plus, resistance: 0.1 mΩ}"),
        Edit(HV, "voltage_sensors/pack_volts/minus", "pack2.minus"),
    )  # fmt: skip
    assert only(studied(*second), "k_minus").pack_v == pytest.approx(2 * 348.6)


def test_charge_contactors_are_looked_at_while_driving() -> None:
    sensor = Edit(
        HV, "voltage_sensors/inlet_plus", "{plus: inlet.plus, minus: bus_minus.bar, error: 1 %, settling: 300 ms}"
    )
    result = studied(*INLET, sensor)
    way = only(result, "kc_plus")
    assert (way.sensor, way.held, way.farad) == ("inlet_plus", ("k_plus", "k_minus"), 0.0)
    # Nothing hangs on the open inlet but the sensor: its opening time and the sensor's own settling.
    assert way.wait_s == pytest.approx(0.010 + 0.300, rel=1e-12)
    assert result.welds["kc_minus"].ways == ()
    assert result.welds["kc_minus"].between == ("kc_minus.a", "pack.plus")


def test_a_mirror_contact_counts_only_where_it_is_read() -> None:
    fitted = Edit(MAIN, "auxiliary", "{kind: mirror}")
    assert not studied(fitted).welds["k_plus"].mirror
    read = Edit(HV, "weld_check/auxiliary", "{voltage: 12 V}")
    assert studied(fitted, read).welds["k_plus"].mirror
    assert not studied(Edit(MAIN, "auxiliary", "{kind: plain}"), read).welds["k_plus"].mirror


# --- the whole ---


def test_every_working_gives_its_value() -> None:
    for edits in ((), (*INLET, FAR_PLUS), (Edit(MAIN, "economiser", "{saving: 70 %, fitted: outside}"),)):
        lines = [w for w in studied(*edits).workings if w.formula]
        assert len(lines) > 20
        assert {w.symbol for w in lines} >= {"V_pull_in", "V_hold_hot", "I_peak", "P_hold", "D_1", "t_weld_1"}
        for line in lines:
            assert evaluate(line) == pytest.approx(line.value, rel=1e-9), line
    symbols = [w.symbol for w in studied(Edit(MAIN, "economiser", "{saving: 70 %}")).workings if w.about == "k_plus"]
    assert "V_hold_hot" not in symbols


def test_a_design_without_contactors_asks_nothing() -> None:
    bar = "{kind: junction}"
    gone = ("k_plus", "k_minus", "k_pre", "k_dis")
    files = dict(starter_files())
    text = files[HV].decode()
    for name in gone:
        text = text.replace(f"{name}.a", f"{name}.bar").replace(f"{name}.b,", f"{name}.bar,")
    files[HV] = text.encode()
    edits = [Edit(HV, f"parts/{name}", bar) for name in gone]
    edits.append(Edit(HV, "weld_check", "{ratio: 70 %}"))
    edits.append(Edit(HV, "parts/main_fuse/overload_by", "[]"))
    edits.append(Edit(HV, "loops", "{}"))
    loaded = load_files(apply_edits(files, edits), "bare")
    assert loaded.design is not None, [p.text() for p in loaded.problems]
    assert PIPELINE.run(loaded.design)["contactors"] == ContactorsResult()
