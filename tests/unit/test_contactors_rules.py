"""Mistakes round the contactors planted in the mended van: the intended rule speaks, no other, and gaps stay open."""

from pathlib import Path

import pytest

from tristrand.app import Workspace
from tristrand.app.check import judge_design
from tristrand.app.pipeline import Pipeline
from tristrand.design import Design, apply_edits, load_files, read_folder
from tristrand.findings import Edit, Finding, Report

MENDED = Path(__file__).parents[2] / "demos" / "van-mended"
FILES, _ = read_folder(MENDED)
HV, MAIN, SMALL = "high_voltage.yaml", "parts/contactor-250.yaml", "parts/contactor-20.yaml"
PIPELINE = Pipeline()
READ = (HV, "weld_check/auxiliary", "{voltage: 12 V, current: 15 mA}")
MIRROR = (MAIN, "auxiliary", "{kind: mirror, least_voltage: 8 V, least_current: 10 mA}")
Change = tuple[str, str, str]

PLANTED: dict[str, tuple[tuple[Change, ...], set[str]]] = {
    "a supply that sags too far for a hot coil": (((HV, "coil_supply/least", "9.9 V"),), {"HV210"}),
    "a hotter box": (((MAIN, "coil/rise", "70 K"),), {"HV210"}),
    "wiring as thin as a hair": (((HV, "coil_supply/wiring", "4 Ω"),), {"HV210"}),
    "a duty of the driver that holds no hot coil": (
        ((MAIN, "economiser", "{saving: 85 %, after: 200 ms, fitted: outside}"),),
        {"HV211"},
    ),
    "a driver that cuts back too soon": (
        ((MAIN, "economiser", "{saving: 40 %, after: 20 ms, fitted: outside}"),),
        {"HV210"},
    ),
    "a small contactor that cannot give up a precharge": (((SMALL, "break_current", "4 A"),), {"HV216"}),
    "a driver that leaks": (((HV, "coil_supply/residual", "1.1 V"),), {"HV212"}),
    "a plain diode across the coil": (((HV, "coil_supply/clamp", "0.7 V"),), {"HV212"}),
    "a coil made for less": (((MAIN, "coil/maximum_voltage", "14.4 V"),), {"HV213"}),
    "a fuse too small for all coils": (((HV, "coil_supply/current", "1.5 A"),), {"HV214"}),
    # The loop then feeds 5.5 Ω of coils and is counted with 11.5 Ω.
    "a strong coil without economiser": (((MAIN, "coil/resistance", "12 Ω"),), {"HV215", "HV222"}),
    "a main contactor that cannot open a climb": (((MAIN, "break_current", "190 A"),), {"HV207", "HV216"}),
    "a main contactor turned round": (((HV, "parts/k_minus/marked_plus", "a"),), {"HV217"}),
    "a car that starts fifty times a day": (((HV, "switching_duty/starts", "90000"),), {"HV218"}),
    "a contactor made for few moves": (((MAIN, "mechanical_life", "20000"),), {"HV218"}),
    "an auxiliary contact read with a trickle": (
        (MIRROR, (HV, "weld_check/auxiliary", "{voltage: 5 V, current: 15 mA}")),
        {"HV219"},
    ),
    "only one contactor ever opens first": (((HV, "weld_check/first", "[k_minus]"),), {"HV220"}),
    "a bus sensor at the wrong side": (
        ((HV, "voltage_sensors/bus_volts", "{plus: k_plus.a, minus: k_minus.a, error: 1 %}"),),
        {"HV220"},
    ),
    "a check in a hurry": (((HV, "weld_check/delay", "0.9 s"),), {"HV221"}),
    "a check without the discharge": (((HV, "weld_check/discharge", "false"),), {"HV221"}),
    "a sensor that errs by a fifth": (((HV, "voltage_sensors/bus_volts/error", "20 %"),), {"HV221"}),
}


def changed(*changes: Change) -> Design:
    loaded = load_files(apply_edits(FILES, [Edit(*change) for change in changes]), "van-mended")
    assert loaded.design is not None, [p.text() for p in loaded.problems]
    return loaded.design


def report(*changes: Change) -> Report:
    return Workspace().check_design(changed(*changes)).report


def failing(of: Report) -> set[str]:
    return {finding.code for finding in of.findings if finding.kind == "fail"}


def opened(*changes: Change) -> dict[str, set[str]]:
    of = changed(*changes)
    texts = judge_design(PIPELINE.run(of)).open
    return {code: {text.partition(" ")[0] for text in some} for code, some in texts.items()}


def one(of: Report, code: str, kind: str = "fail") -> Finding:
    return next(f for f in of.findings if f.code == code and f.kind == kind)


@pytest.mark.parametrize(("changes", "expected"), PLANTED.values(), ids=PLANTED)
def test_each_is_caught_by_its_rule_alone(changes: tuple[Change, ...], expected: set[str]) -> None:
    found = report(*changes)
    assert failing(found) == expected
    assert not found.coverage.open


def test_without_them_nothing_fails_and_nothing_is_open() -> None:
    found = report()
    assert failing(found) == set()
    assert not found.coverage.open


# What is taken away, the rules that must then stay open, and what they name.
GAPS: dict[str, tuple[Change, dict[str, str]]] = {
    "pull-in voltage": (
        (MAIN, "coil/pull_in_voltage", "null"),
        {"HV210": "parts/contactor-250/coil/pull_in_voltage"},
    ),
    "the coil of the small ones": (
        (SMALL, "coil", "null"),
        dict.fromkeys(("HV210", "HV211", "HV212", "HV213", "HV214", "HV215"), "parts/contactor-20/coil/"),
    ),
    "the whole supply": (
        (HV, "coil_supply", "null"),
        dict.fromkeys(("HV210", "HV211", "HV212", "HV213", "HV214", "HV215"), "high_voltage/coil_supply/"),
    ),
    "the clamp": ((HV, "coil_supply/clamp", "null"), {"HV212": "high_voltage/coil_supply/clamp"}),
    "whether it is polarised": ((MAIN, "polarised", "null"), {"HV217": "parts/contactor-250/polarised"}),
    "the mark of one": ((HV, "parts/k_plus/marked_plus", "null"), {"HV217": "high_voltage/parts/k_plus/marked_plus"}),
    "what the small one breaks": ((SMALL, "break_current", "null"), {"HV216": "parts/contactor-20/break_current"}),
    "when the driver cuts back": (
        (MAIN, "economiser", "{saving: 40 %, fitted: outside}"),
        {"HV210": "parts/contactor-250/economiser/after"},
    ),
    "what it breaks backward": (
        (MAIN, "break_current_reverse", "null"),
        {"HV208": "parts/contactor-250/break_current_reverse"},
    ),
    "the duty": (
        (HV, "switching_duty", "null"),
        {"HV218": "high_voltage/switching_duty/", "HV285": "high_voltage/switching_duty/"},
    ),
    "the life of making": ((MAIN, "making_life", "null"), {"HV218": "parts/contactor-250/making_life"}),
    "the sensors": (
        (HV, "voltage_sensors", "null"),
        {"HV220": "high_voltage/voltage_sensors", "HV221": "high_voltage/voltage_sensors"},
    ),
    "the weld check": (
        (HV, "weld_check", "null"),
        {"HV220": "high_voltage/weld_check", "HV221": "high_voltage/weld_check"},
    ),
    "its ratio": ((HV, "weld_check/ratio", "null"), {"HV221": "high_voltage/weld_check/ratio"}),
    "the error of a sensor": (
        (HV, "voltage_sensors/pack_volts/error", "null"),
        {"HV221": "high_voltage/voltage_sensors/pack_volts/error"},
    ),
}


@pytest.mark.parametrize(("change", "expected"), GAPS.values(), ids=GAPS)
def test_what_is_missing_opens_the_rules_that_need_it(change: Change, expected: dict[str, str]) -> None:
    if change[2] == "null" and change[1] == "voltage_sensors":
        change = (change[0], change[1], "{}")
    found = opened(change)
    assert found.keys() == expected.keys()
    for code, start in expected.items():
        assert any(pointer.startswith(start) for pointer in found[code]), (code, found[code])


def test_a_contactor_turned_round_is_named_with_the_mode_and_its_way_out_mends_it() -> None:
    found = one(report((HV, "parts/k_plus/marked_plus", "b")), "HV217")
    assert found.place.object == "high_voltage/parts/k_plus"
    assert "in case peak the current enters at k_plus.a" in found.message
    assert found.way_out is not None
    wrong = apply_edits(FILES, [Edit(HV, "parts/k_plus/marked_plus", "b")])
    mended = load_files(apply_edits(wrong, found.way_out.edits), "van-mended").design
    assert mended is not None
    assert failing(Workspace().check_design(mended).report) == set()


def test_the_weld_that_nobody_sees_says_which_sensor_would() -> None:
    found = one(report((HV, "weld_check/first", "[k_minus]")), "HV220")
    assert found.place.object == "high_voltage/parts/k_plus"
    assert "a sensor from k_plus.b to pack.minus would" in found.message
    assert found.way_out is not None
    (edit,) = found.way_out.edits
    assert (edit.pointer, edit.new) == ("weld_check/first", "[k_minus, k_plus]")


def test_the_sensor_it_asks_for_does_see_the_weld() -> None:
    asked = (HV, "voltage_sensors/far", "{plus: k_plus.b, minus: pack.minus, error: 1 %, settling: 500 ms}")
    found = report((HV, "weld_check/first", "[k_minus]"), asked)
    assert failing(found) == set()
    assert not found.coverage.open


def test_a_check_in_a_hurry_is_told_how_long_to_wait() -> None:
    found = one(report((HV, "weld_check/delay", "0.5 s")), "HV221")
    assert found.way_out is not None
    # 2.2 kΩ + 5 % beside 150 kΩ and 1072.5 µF: 2.415 s; -ln(0.7 * 0.99 - 0.01) = 0.381; 15 ms until the discharge
    # contactor has closed: 0.936 s.
    assert [(e.pointer, e.new) for e in found.way_out.edits] == [("weld_check/delay", "1 s")]


def test_a_mirror_contact_that_is_read_is_a_second_way() -> None:
    alone = (HV, "weld_check/first", "[k_minus]")
    assert failing(report(alone, MIRROR)) == {"HV220"}
    assert failing(report(alone, MIRROR, READ)) == set()
    plain = (MAIN, "auxiliary", "{kind: plain, least_voltage: 8 V, least_current: 10 mA}")
    assert failing(report(alone, plain, READ)) == {"HV220"}


def test_a_contactor_that_breaks_alike_needs_no_reverse_rating_and_no_mark() -> None:
    alike = (
        (MAIN, "polarised", "false"),
        (MAIN, "break_current_reverse", "null"),
        (MAIN, "breaking_life_reverse", "null"),
        (HV, "parts/k_plus/marked_plus", "null"),
        (HV, "parts/k_minus/marked_plus", "null"),
    )
    found = report(*alike)
    assert "HV217" not in failing(found)
    assert opened(*alike) == {}
    # Without a table backward the forward one counts; where it begins above the 18.7 A of charging, life is open.
    short = (
        MAIN,
        "breaking_life",
        "{voltage: [100 V, 450 V], current: [20 A, 1500 A], operations: [[9000, 50], [900, 5]]}",
    )
    assert opened(*alike, short) == {"HV218": {"parts/contactor-250/breaking_life"}}


def test_an_inlet_with_more_current_than_the_mains_open_backward() -> None:
    inlet = (
        (HV, "parts/inlet", "{kind: inlet, sheet: inlet}"),
        ("parts/inlet.yaml", "", "{schema_version: 1, kind: inlet, rated_voltage: 450 V, rated_current: 300 A}"),
        (HV, "parts/kc", "{kind: contactor, sheet: contactor-250, role: charge, marked_plus: b}"),
        (HV, "connections/I1", "{from: inlet.plus, to: kc.a, cable: hv-50, length: 1 m}"),
        (HV, "connections/I2", "{from: kc.b, to: bus_plus.bar, cable: hv-50, length: 1 m}"),
        (HV, "connections/I3", "{from: inlet.minus, to: bus_minus.bar, cable: hv-50, length: 1 m}"),
    )
    of = changed(*inlet)
    bad = {
        (v.finding.code, v.finding.place.object.rpartition("/")[2])
        for v in judge_design(PIPELINE.run(of)).verdicts
        if v.finding.kind == "fail" and v.finding.code[:4] in ("HV21", "HV22")
    }
    # 300 A against 250 A backward: in both mains, and in the charge contactor whose plus lies at the bus.
    assert bad == {("HV217", "k_plus"), ("HV217", "k_minus"), ("HV217", "kc"), ("HV220", "kc")}


def test_life_says_that_its_sum_is_from_memory() -> None:
    found = one(report((HV, "switching_duty/starts", "150000")), "HV218")
    (evidence,) = found.evidence
    assert evidence.source == "MEMORY#linear damage sum"
    assert "closing after precharge" in evidence.note


# ---------------------------------------------------------------- not known is not small
def judged(of: Report, code: str, name: str) -> list[str]:
    return [f.kind for f in of.findings if f.code == code and f.place.object == f"high_voltage/parts/{name}"]


def test_the_largest_saving_of_its_tolerance_counts_for_holding() -> None:
    # 27 Ω - 5 % at 80 °C (40 °C and 40 K), copper 1.2358: 31.70 Ω beside 0.4 Ω of 10.8 V. Saved 50 % leave
    # 0.7071 * 10.665 = 7.54 V, 80 % leave 0.4472 * 10.665 = 4.77 V; the coil needs 4.5 * 1.2358 = 5.56 V.
    small = (MAIN, "economiser", "{saving: 0.5, after: 200 ms, fitted: outside}")
    assert failing(report(small)) == set()
    wide = (MAIN, "economiser", "{saving: 0.5 ± 0.3, after: 200 ms, fitted: outside}")
    found = one(report(wide), "HV211")
    assert found.evidence[0].value == pytest.approx(4.77, abs=0.005)


def test_a_winding_is_no_colder_than_the_air_round_it() -> None:
    coil = (
        "{resistance: 27 Ω ± 5 %, pull_in_voltage: 8 V, hold_voltage: 4.5 V, release_voltage: 1 V, "
        "maximum_voltage: 16 V, hottest: 20 °C, suppression: 40 V}"
    )
    found = report((MAIN, "coil", coil), (HV, "parts/k_plus/ambient", "120 °C"))
    # 8 V * (1 + 0.00393 * 100) = 11.14 V are more than the 10.8 V of the supply.
    assert one(found, "HV210").evidence[0].limit == pytest.approx(11.144)
    assert {f.place.object for f in found.findings if f.code == "HV210" and f.kind == "fail"} == {
        "high_voltage/parts/k_plus"
    }


def test_a_case_without_operating_point_passes_nothing_that_opens_its_current() -> None:
    unsolved = (HV, "parts/drive/power", "{continuous: 500 kW, peak: 600 kW, heat: 14 kW}")
    assert {"HV216", "HV217", "HV218"} <= opened(unsolved).keys()
    assert "studies/operating" in opened(unsolved)["HV216"]


def test_without_any_case_a_contactor_turned_round_is_not_passed_over() -> None:
    idle = ("vehicle.yaml", "modes", "{parked: {high_voltage: [idle]}}")
    found = opened(idle, (HV, "parts/k_plus/marked_plus", "b"))
    assert [found[code] for code in ("HV216", "HV217", "HV218")] == [{"vehicle/modes"}] * 3


def test_a_contactor_that_no_case_runs_a_current_through_is_not_called_right() -> None:
    # A second pair of contactors to a bus on which nothing stands.
    more = (
        (HV, "parts/k_spare", "{kind: contactor, sheet: contactor-250, role: main, marked_plus: b}"),
        (HV, "parts/far", "{kind: junction}"),
        (HV, "connections/S1", "{from: bus_plus.bar, to: k_spare.a, cable: hv-50, length: 0.1 m}"),
        (HV, "connections/S2", "{from: k_spare.b, to: far.bar, cable: hv-50, length: 0.1 m}"),
    )
    found = opened(*more)
    assert found["HV217"] == found["HV216"] == {"high_voltage/parts/k_spare"}
    assert judged(report(*more), "HV217", "k_spare") == ["open"]


def test_a_sensor_between_two_packs_that_nothing_joins_needs_its_own_settling() -> None:
    halves = (
        (HV, "parts/pack_low", "{kind: pack, sheet: pack-96s, state_of_charge: {minimum: 10 %, maximum: 100 %}, "
         "temperature: {minimum: 0 °C, maximum: 45 °C}}"),
        (HV, "parts/k_mid", "{kind: contactor, sheet: contactor-250, role: main, marked_plus: b}"),
        (HV, "connections/M1", "{from: pack.minus, to: k_mid.a, cable: hv-50, length: 0.3 m}"),
        (HV, "connections/M2", "{from: k_mid.b, to: pack_low.plus, cable: hv-50, length: 0.3 m}"),
        (HV, "connections/W2/from", "pack_low.minus"),
        (HV, "voltage_sensors/low_volts", "{plus: pack_low.plus, minus: pack_low.minus, error: 0.5 %}"),
    )  # fmt: skip
    whole = "{plus: pack.plus, minus: pack_low.minus, error: 0.5 %}"
    found = opened(*halves, (HV, "voltage_sensors/whole", whole))
    assert "high_voltage/voltage_sensors/whole/settling" in found["HV221"]
    slow = whole.replace("}", ", settling: 5 s}")
    waits = [f for f in report(*halves, (HV, "voltage_sensors/whole", slow)).findings if f.code == "HV221"]
    # 15 ms until the discharge contactor has closed, and the 5 s of the sensor.
    assert any("whole proves that k_mid" in f.evidence[0].quantity and f.evidence[0].value == pytest.approx(5.015)
               for f in waits if f.kind == "fail")  # fmt: skip


def test_an_inlet_made_for_more_than_the_vehicle_asks_for_counts_with_what_it_asks_for() -> None:
    inlet = (
        (HV, "parts/inlet", "{kind: inlet, sheet: inlet}"),
        ("parts/inlet.yaml", "", "{schema_version: 1, kind: inlet, rated_voltage: 450 V, rated_current: 300 A}"),
        (HV, "parts/kc", "{kind: contactor, sheet: contactor-250, role: charge, marked_plus: a}"),
        (HV, "connections/I1", "{from: inlet.plus, to: kc.a, cable: hv-50, length: 1 m}"),
        (HV, "connections/I2", "{from: kc.b, to: bus_plus.bar, cable: hv-50, length: 1 m}"),
        (HV, "connections/I3", "{from: inlet.minus, to: bus_minus.bar, cable: hv-50, length: 1 m}"),
    )

    def bad(*more: Change) -> set[tuple[str, str]]:
        of = report(*inlet, *more)
        return {
            (f.code, f.place.object.rpartition("/")[2])
            for f in of.findings
            if f.kind == "fail" and f.code in ("HV216", "HV217")
        }

    # 300 A into mains that open 250 A backward; the vehicle asks for no more than 40 A, or for 260 A.
    asks = "{inlet: inlet, contactors: [kc], current: %s}"
    assert bad() == {("HV217", "k_plus"), ("HV217", "k_minus")}
    assert bad((HV, "fast_charging", asks.replace("%s", "40 A"))) == set()
    assert bad((HV, "fast_charging", asks.replace("%s", "260 A"))) == {("HV217", "k_plus"), ("HV217", "k_minus")}


def test_the_voltage_of_another_pack_is_nothing_to_compare_with() -> None:
    # A second pack beside the first, by contactors of its own; a sensor behind its plus contactor, against its minus.
    beside = (
        (HV, "parts/pack_b", "{kind: pack, sheet: pack-96s, state_of_charge: {minimum: 10 %, maximum: 100 %}, "
         "temperature: {minimum: 0 °C, maximum: 45 °C}}"),
        (HV, "parts/kb", "{kind: contactor, sheet: contactor-250, role: main, marked_plus: a}"),
        (HV, "parts/kc", "{kind: contactor, sheet: contactor-250, role: main, marked_plus: b}"),
        (HV, "connections/M1", "{from: pack_b.plus, to: kb.a, cable: hv-50, length: 0.3 m}"),
        (HV, "connections/M2", "{from: kb.b, to: bus_plus.bar, cable: hv-50, length: 0.3 m}"),
        (HV, "connections/M3", "{from: pack_b.minus, to: kc.a, cable: hv-50, length: 0.3 m}"),
        (HV, "connections/M4", "{from: kc.b, to: bus_minus.bar, cable: hv-50, length: 0.3 m}"),
        (HV, "voltage_sensors/behind", "{plus: kb.b, minus: pack_b.minus, error: 1 %, settling: 1 s}"),
    )  # fmt: skip
    assert any(
        "across pack_b" in m.what for m in PIPELINE.run(changed(*beside))["contactors"].welds["kb"].ways[0].missing
    )
    own = (HV, "voltage_sensors/b_volts", "{plus: pack_b.plus, minus: pack_b.minus, error: 0.5 %}")
    assert not PIPELINE.run(changed(*beside, own))["contactors"].welds["kb"].ways[0].missing
