"""Which fuses end a short circuit: odd but real circuits, each against what can be said by hand."""

import math

import pytest

from tests.analytic.test_study_faults import HV, SECOND_STRING, design, protected, studied
from tristrand.app import Workspace
from tristrand.design import Design
from tristrand.findings import Edit
from tristrand.rules.charging_view import WITH_DC
from tristrand.studies import faults, pack
from tristrand.studies.clearing import _share
from tristrand.studies.opening import fullest
from tristrand.studies.results import FaultCurrent

PAST_THE_FUSE = Edit(HV, "connections/W1/to", "k_plus.a")


def said(of: Design, code: str) -> dict[str, str]:
    """The worst that a rule says about each object: fail, review, open or pass."""
    found = [f for f in Workspace().check_design(of).report.findings if f.code == code]
    order = ("pass", "open", "review", "fail")
    found.sort(key=lambda finding: order.index(finding.kind))
    return {f.place.object.rpartition("/")[2]: f.kind for f in found}


def test_what_no_fuse_ends_is_never_said_to_be_borne() -> None:
    of = design(PAST_THE_FUSE)
    found = protected(of)
    assert math.isinf(found.leads["W10"].worst_a2s)
    assert found.leads["W10"].fuse == ""
    assert "drive across" in found.unfused
    assert said(of, "HV204")["W10"] == "fail"
    assert said(of, "HV205")["k_plus"] == "fail"
    assert said(of, "HV307") == {"drive": "fail", "dcdc": "pass"}
    # The converter's lead has a fuse of its own.
    assert said(of, "HV204")["W13"] == "pass"


def test_a_design_without_any_fuse_fails_at_every_device() -> None:
    bare = (Edit(HV, "connections/W12/to", "dcdc.plus"), Edit(HV, "connections/W13/from", "fuse_dcdc.a"))
    bare = (*bare, Edit(HV, "connections/W13/to", "fuse_dcdc.b"))
    assert said(design(PAST_THE_FUSE, *bare), "HV307") == {"drive": "fail", "dcdc": "fail"}


def test_without_a_melting_curve_the_weak_short_circuit_is_open() -> None:
    of = design(Edit("parts/fuse-160.yaml", "melting", "[]"))
    assert math.isnan(protected(of).contactors["k_plus"].worst_a2s)
    assert "open" in said(of, "HV205").values()
    assert "pass" not in said(of, "HV205").values()


def test_a_curve_that_does_not_reach_down_tells_nothing() -> None:
    of = design(Edit("parts/fuse-160.yaml", "melting", "[{current: 2 kA, time: 5 ms}, {current: 4 kA, time: 1 ms}]"))
    assert math.isnan(protected(of).leads["W10"].worst_a2s)
    assert "fail" not in said(of, "HV204").values()


def test_two_fuses_that_share_a_current_leave_the_sum_of_their_minima_to_the_contactor() -> None:
    left = protected(design(*SECOND_STRING)).left["k_plus"]
    # Two equal strings, each fuse with 640 A: below 1280 A neither need clear its half. The strings' leads differ
    # by half a metre in 0.55 mΩ/m, beside some 90 mΩ of a warm pack, so the halves differ by less than 1 %.
    forward = next(item for item in left if not item.reverse)
    assert forward.current_a == pytest.approx(1280, rel=0.01)
    assert forward.current_a >= 1280


def test_one_string_feeding_back_is_a_reverse_current() -> None:
    own = (Edit(HV, "parts/k_two", "{kind: contactor, sheet: contactor-200, role: main}"),
           Edit(HV, "connections/S2/to", "k_two.a"),
           Edit(HV, "connections/S9", "{from: k_two.b, to: bus_plus.bar, cable: hv-35, length: 0.2 m}"))  # fmt: skip
    of = design(*SECOND_STRING, *own)
    assert {item.reverse for item in protected(of).left["k_plus"]} == {False, True}
    weak = design(*SECOND_STRING, *own, Edit("parts/contactor-200.yaml", "break_current_reverse", "20 A"))
    assert said(weak, "HV207")["k_plus"] == "fail"


CROSSING = (
    Edit("parts/fuse-15.yaml", "rated_current", "100 A"),
    Edit("parts/fuse-15.yaml", "melting", "[{current: 500 A, time: 200 s}, {current: 1 kA, time: 0.6 s}, "
         "{current: 4 kA, time: 0.2 ms}]"),
    Edit("parts/fuse-15.yaml", "melting_joule_integral", "3000 A²s"),
    Edit("parts/fuse-15.yaml", "clearing_joule_integral", "4000 A²s"),
)  # fmt: skip


def test_where_curves_cross_the_other_fuse_has_the_weak_fault_to_clear() -> None:
    of = design(*CROSSING, Edit("parts/fuse-160.yaml", "minimum_breaking_current", "950 A"))
    found = protected(of)
    # The weak fault drives some 912 A: the main fuse, quick there, melts before the other's 0.6 s at 1 kA.
    assert found.fuses["main_fuse"].smallest_at == "dcdc across"
    assert said(of, "HV203")["main_fuse"] == "fail"
    assert said(of, "HV206")["fuse_dcdc"] == "fail"


def test_a_sheet_that_says_too_little_leaves_every_fuse_in_the_way_to_be_judged() -> None:
    gaps = (Edit("parts/fuse-15.yaml", "rated_current", "null"), Edit("parts/fuse-15.yaml", "melting", "[]"))
    gaps = (*gaps, Edit("parts/fuse-15.yaml", "melting_joule_integral", "null"))
    of = design(*gaps, Edit("parts/fuse-15.yaml", "minimum_breaking_current", "2 kA"))
    assert said(of, "HV203")["fuse_dcdc"] == "fail"


@pytest.mark.parametrize("strong_first", [True, False])
def test_each_string_s_own_lead_gets_what_its_own_fuse_lets_through(strong_first: bool) -> None:
    weak = "main" if not strong_first else "second"
    lead = {"main": "connections/W1/length", "second": "connections/S1/length"}[weak]
    found = protected(design(*SECOND_STRING, Edit(HV, lead, "400 m")))
    clears = 12800.0
    assert found.leads["S2"].worst_a2s >= clears
    assert found.leads["W1"].worst_a2s >= clears
    # Both together at most (sqrt X + sqrt X)^2 where both have to clear the strong fault.
    strong = [found.leads[name].worst_a2s for name in ("W10", "W8")]
    assert all(x >= clears for x in strong)


def test_a_string_fuse_stays_whole_for_its_share_of_what_the_fuse_behind_lets_through() -> None:
    pairs = {(p.upstream, p.downstream): p for p in protected(design(*SECOND_STRING)).pairs}
    assert set(pairs) == {("main_fuse", "fuse_dcdc"), ("fuse2", "fuse_dcdc")}
    share = [math.sqrt(pairs[name, "fuse_dcdc"].clearing_a2s / 112.5) for name in ("main_fuse", "fuse2")]
    # At the fuse itself one string may carry more than half, never less than what the sum of both leaves it.
    assert sum(share) >= 1 - 1e-9
    assert max(share) <= 1


def test_equal_fuses_in_both_poles_are_no_pair() -> None:
    second = (Edit(HV, "parts/fuse_m", "{kind: fuse, sheet: fuse-160}"),
              Edit(HV, "connections/W3/to", "fuse_m.a"),
              Edit(HV, "connections/S8", "{from: fuse_m.b, to: disconnect.a, resistance: 0.1 mΩ}"))  # fmt: skip
    found = protected(design(*second))
    assert {frozenset((p.upstream, p.downstream)) for p in found.pairs} == {
        frozenset(("main_fuse", "fuse_dcdc")), frozenset(("fuse_m", "fuse_dcdc"))
    }  # fmt: skip
    assert "fail" not in said(design(*second), "HV206").values()


def test_an_inductance_that_is_not_known_leaves_the_time_constant_open() -> None:
    assert set(said(design(Edit("parts/pack-84s.yaml", "inductance", "null")), "HV202").values()) == {"open"}
    assert "open" in said(design(Edit("parts/hv-4.yaml", "inductance", "null")), "HV202").values()
    assert "open" not in said(design(Edit("parts/pack-84s.yaml", "inductance", "0 H")), "HV202").values()


def test_more_inductance_than_the_sheet_knows_leaves_what_is_let_through_open() -> None:
    of = design(Edit("parts/pack-84s.yaml", "inductance", "2 mH"))
    assert "fail" in said(of, "HV202").values()
    assert "pass" not in said(of, "HV205").values()


def test_the_end_of_a_tolerance_that_drives_more_counts_for_the_strong_fault() -> None:
    wide = studied(design(Edit("parts/fuse-15.yaml", "resistance", "400 mΩ ± 99 %"))).faults["dcdc across"]
    low = studied(design(Edit("parts/fuse-15.yaml", "resistance", "4 mΩ"))).faults["dcdc across"]
    high = studied(design(Edit("parts/fuse-15.yaml", "resistance", "796 mΩ"))).faults["dcdc across"]
    assert wide.strongest.current_a == pytest.approx(low.strongest.current_a, rel=1e-12)
    assert wide.weakest.current_a == pytest.approx(high.weakest.current_a, rel=1e-12)


def test_a_cable_of_unknown_temperature_is_not_taken_as_cold() -> None:
    result = studied(design(Edit("parts/hv-35.yaml", "temperature_rating", "null")))
    assert not result.faults
    assert any(m.pointer == "parts/hv-35/temperature_rating" for m in result.missing)


def test_one_string_alone_is_the_weakest() -> None:
    one, two = studied(design()), studied(design(*SECOND_STRING))
    fault = two.faults["dcdc across"]
    assert fault.weakest.current_a > one.faults["dcdc across"].weakest.current_a
    # The first string alone is the car with one pack; the other has half a metre more of lead each way.
    alone = dict(fault.alone)
    assert alone["pack"].current_a == pytest.approx(one.faults["dcdc across"].weakest.current_a, rel=1e-6)
    assert fault.least_a == alone["pack2"].current_a < alone["pack"].current_a


SERIES = (
    Edit(HV, "parts/pack2", "{kind: pack, sheet: pack-84s, state_of_charge: {minimum: 10 %, maximum: 100 %}, "
         "temperature: {minimum: 0 °C, maximum: 45 °C}}"),
    Edit(HV, "connections/W3/to", "pack2.plus"),
    Edit(HV, "connections/S1", "{from: pack2.minus, to: disconnect.a, cable: hv-35, length: 0.4 m}"),
)  # fmt: skip


def test_packs_in_series_are_shorted_one_by_one_and_together() -> None:
    of = design(*SERIES)
    faults = studied(of).faults
    figures = pack.study(pack.inputs(of)).packs["pack"]
    volts, ohm = fullest(figures).open_circuit_v, figures.fault_ohm
    # W1 and the fuse cold lie in both ways; S1 and W3 of 0.4 m and the second pack in that round the whole stack.
    lead = 0.4 * 0.554e-3
    upper = faults["main_fuse.b to pack.minus"].strongest.current_a
    whole = faults["main_fuse.b to pack2.minus"].strongest.current_a
    sheet = of.sheets["fuse-160"].resistance.value
    assert upper == pytest.approx(volts / (ohm + lead + sheet), rel=1e-6)
    assert whole == pytest.approx(2 * volts / (2 * ohm + 2 * lead + sheet), rel=1e-6)


def test_parallel_contactors_may_not_count_on_each_other() -> None:
    twin = (Edit(HV, "parts/k_twin", "{kind: contactor, sheet: contactor-200, role: main}"),
            Edit(HV, "connections/S5", "{from: k_plus.a, to: k_twin.a, resistance: 0.01 mΩ}"),
            Edit(HV, "connections/S6", "{from: k_plus.b, to: k_twin.b, resistance: 0.01 mΩ}"))  # fmt: skip
    alone, both = protected(design()).contactors["k_plus"], protected(design(*twin)).contactors["k_plus"]
    assert both.worst_a2s == pytest.approx(alone.worst_a2s, rel=0.01)


def test_what_lies_behind_the_precharge_contactor_is_shorted_too() -> None:
    found = protected(design())
    assert {"W5", "W6", "W7", "W15", "W16"} <= set(found.leads)
    assert "r_pre.a" in studied(design()).faults


def test_the_largest_current_of_all_may_come_from_a_capacitor() -> None:
    peak = protected(design()).peaks["k_plus"]
    of = studied(design())
    packs = max(abs(dict(f.strongest.through).get("k_plus", 0.0)) for f in of.faults.values())
    held = max(c.peak_a for f in of.faults.values() for c in f.capacitors if "k_plus" in c.through)
    assert peak.current_a == max(packs, held)
    assert held > 10300.0
    assert said(design(Edit("parts/contactor-200.yaml", "withstand_peak", "null")), "HV306")["k_plus"] == "fail"


def test_a_lead_in_the_pole_without_a_fuse_bears_what_the_main_fuse_lets_through() -> None:
    # The converter's own fuse lies in the plus: touched by the plus bus, its minus lead has the main fuse alone.
    found = protected(design()).leads
    assert (found["W13"].fuse, found["W14"].fuse) == ("fuse_dcdc", "main_fuse")
    assert found["W14"].worst_a2s >= 12800
    assert found["W17"].fuse == "main_fuse"
    thin = design(Edit("parts/hv-4.yaml", "cross_section", "1.5 mm²"))
    assert said(thin, "HV204")["W14"] == "fail"
    fault = studied(design()).faults["dcdc.minus to bus_plus.bar"]
    assert {"main_fuse", "k_plus", "k_minus", "W14"} <= dict(fault.strongest.through).keys()
    assert "fuse_dcdc" not in dict(fault.strongest.through)


def test_a_string_without_a_fuse_feeds_the_fault_for_ever() -> None:
    of = design(*SECOND_STRING, Edit(HV, "connections/S1/to", "k_plus.a"))
    found = protected(of)
    # The first string's fuse opens; the second goes on through whatever lies between it and the device.
    assert "drive across" in found.unfused
    assert math.isinf(found.leads["W10"].worst_a2s)
    assert math.isinf(found.leads["S1"].worst_a2s)
    assert math.isinf(found.contactors["k_plus"].worst_a2s)
    assert said(of, "HV307") == {"drive": "fail", "dcdc": "pass"}
    assert said(of, "HV204")["W10"] == "fail"


def test_a_cable_round_the_fuse_is_a_way_past_it() -> None:
    of = design(Edit(HV, "connections/S1", "{from: main_fuse.a, to: main_fuse.b, cable: hv-35, length: 0.1 m}"))
    assert said(of, "HV307") == {"drive": "fail", "dcdc": "pass"}


def test_what_a_pack_feeds_ahead_of_its_own_fuse_is_listed_with_two_strings_too() -> None:
    assert "main_fuse.a" in protected(design(*SECOND_STRING)).unfused


LATE_COMMON = (
    Edit(HV, "parts/common", "{kind: fuse, sheet: fuse-300}"),
    Edit(HV, "connections/S2/to", "main_fuse.b"),
    Edit(HV, "connections/W2/to", "common.a"),
    Edit(HV, "connections/S6", "{from: common.b, to: k_plus.a, resistance: 0.1 mΩ}"),
    Edit("parts/fuse-300.yaml", "", "{schema_version: 1, kind: fuse, rated_current: 300 A, rated_voltage: 500 V, "
         "resistance: 0.3 mΩ, breaking_capacity: 20 kA, breaking_time_constant: 2 ms, minimum_breaking_current: 900 A, "
         "melting: [{current: 900 A, time: 600 s}, {current: 2.4 kA, time: 30 ms}], melting_joule_integral: 9000 A²s, "
         "clearing_joule_integral: 20000 A²s}"),
)  # fmt: skip


def test_a_string_s_own_lead_bears_all_that_its_own_fuse_lets_through() -> None:
    found = protected(design(*SECOND_STRING, *LATE_COMMON))
    # Whichever ends the fault first, the string's fuse may be the one that melts, with 12800 A²s at least.
    assert found.leads["W1"].worst_a2s >= 12800
    assert found.leads["S1"].worst_a2s >= 12800


CROSSING_IN_A_ROW = (
    Edit(HV, "parts/fuse_m", "{kind: fuse, sheet: fuse-m}"),
    Edit(HV, "connections/W3/to", "fuse_m.a"),
    Edit(HV, "connections/S8", "{from: fuse_m.b, to: disconnect.a, resistance: 0.1 mΩ}"),
    # More I²t than the fuse of 160 A, but quicker below 2 kA, and no good below 900 A.
    Edit("parts/fuse-m.yaml", "", "{schema_version: 1, kind: fuse, rated_current: 160 A, rated_voltage: 500 V, "
         "resistance: 0.4 mΩ, breaking_capacity: 20 kA, breaking_time_constant: 2 ms, minimum_breaking_current: 900 A, "
         "melting: [{current: 200 A, time: 600 s}, {current: 600 A, time: 50 ms}, {current: 3 kA, time: 1 ms}], "
         "melting_joule_integral: 9000 A²s, clearing_joule_integral: 13000 A²s}"),
)  # fmt: skip


def test_a_fuse_that_melts_first_only_in_weak_faults_leaves_its_minimum_to_the_contactor() -> None:
    left = protected(design(*CROSSING_IN_A_ROW)).left["k_plus"]
    assert max(item.current_a for item in left) == pytest.approx(900, rel=1e-6)


def test_a_capacitance_that_is_not_known_leaves_the_largest_current_open() -> None:
    of = design(Edit("parts/inverter-60.yaml", "bus_capacitance", "null"))
    found = [f for f in Workspace().check_design(of).report.findings if f.code == "HV306"]
    assert any(f.kind == "open" and "bus_capacitance" in f.place.object for f in found)


def test_a_charge_contactor_is_judged_in_a_short_circuit() -> None:
    inlet = (Edit(HV, "parts/kc", "{kind: contactor, sheet: contactor-200, role: charge, marked_plus: a}"),
             Edit(HV, "parts/kd", "{kind: contactor, sheet: contactor-200, role: charge, marked_plus: a}"),
             Edit(HV, "connections/S1", "{from: bus_plus.bar, to: kc.a, cable: hv-35, length: 0.2 m}"),
             Edit(HV, "connections/S2", "{from: bus_minus.bar, to: kd.b, cable: hv-35, length: 0.2 m}"))  # fmt: skip
    weak = (Edit("parts/contactor-200.yaml", "withstand", "{current: 1 kA, time: 20 ms}"),)
    assert said(design(*inlet, *weak), "HV205")["kc"] == "fail"
    assert said(design(*inlet), "HV205")["kc"] == "pass"
    assert "kc" in said(design(*inlet), "HV306")


def test_two_equal_capacitances_drive_a_contactor_as_one_of_twice_the_size() -> None:
    second = (Edit(HV, "parts/twin", "{kind: inverter, sheet: inverter-60, power: {continuous: 1 kW, peak: 1 kW}, "
                   "machine: machine-60, gear_ratio: 8, speed_limit: 7200 rpm}"),
              Edit(HV, "connections/X1", "{from: bus_plus.bar, to: twin.plus, cable: hv-35, length: 1.5 m, "
                   "ambient: 50 °C, bundled: 2}"),
              Edit(HV, "connections/X2", "{from: bus_minus.bar, to: twin.minus, cable: hv-35, length: 1.5 m, "
                   "ambient: 50 °C, bundled: 2}"))  # fmt: skip
    of = design(*second)
    fault = studied(of).faults["main_fuse.b"]
    held = {c.device: c for c in fault.capacitors}
    both = next(c for name, c in held.items() if {"drive", "twin"} <= set(name.split(" and ")))
    assert "k_plus" in both.through
    # By a step-by-step sum of the two equal loops: own lead each, shared leads carrying twice the loop's current.
    assert held["drive"].peak_a < both.peak_a <= held["drive"].peak_a + held["twin"].peak_a + held["dcdc"].peak_a
    data = faults.inputs(of)
    branch = {b.id: b for b in data.branches}
    shared = [branch[n] for n in held["drive"].through if n in held["twin"].through]
    own = [branch[n] for n in held["drive"].through if n not in held["twin"].through]
    farad = next(f for n, _, _, f in data.devices if n == "drive")
    ohm = sum(b.cold_ohm for b in own) + 2 * sum(b.cold_ohm for b in shared)
    henry = sum(b.henry for b in own) + 2 * sum(b.henry for b in shared)
    volts, amps, peak = fullest(pack.study(pack.inputs(of)).packs["pack"]).open_circuit_v, 0.0, 0.0
    step = 1e-8
    for _ in range(60_000):
        amps += step * (volts - ohm * amps) / henry
        volts -= step * amps / farad
        peak = max(peak, 2 * amps)
    # The converter's small capacitance comes on top, counted at the careful end.
    assert peak <= both.peak_a <= 1.1 * peak


def test_an_inlet_is_shorted_across_its_poles_through_both_charge_contactors() -> None:
    of = design(*(Edit(*edit) for edit in WITH_DC))
    found = protected(of)
    assert {"k_dc_plus", "k_dc_minus"} <= set(found.contactors)
    assert {"D1", "D4", "D5"} <= set(found.leads)
    assert said(of, "HV307")["dc_inlet"] == "pass"
    assert set(said(of, "HV207")) == {"k_plus", "k_minus"}
    # The fuses of the inlet and of the pack are alike: the smaller I²t of the two, 12800 A²s, and no less, passes.
    assert found.contactors["k_dc_minus"].worst_a2s >= 12800


def test_a_string_s_lead_gets_all_of_its_own_fuse_and_a_quarter_of_the_common_one() -> None:
    current = FaultCurrent(1800.0, 1e-4, 0.0, ())
    through = {"common": 1800.0, "string": 900.0}
    # Half the current is a quarter of the I²t; the string's own fuse carries what its lead carries.
    assert _share({"common": (100.0, ""), "string": (300.0, "")}, through, 900.0, current, False)[:2] == (
        300.0,
        "string",
    )
    assert _share({"common": (100.0, ""), "string": (20.0, "")}, through, 900.0, current, False)[:2] == (25.0, "common")


def test_charge_contactors_that_no_main_contactor_helps_open_what_their_fuse_leaves() -> None:
    past_the_mains = (
        *(Edit(*edit) for edit in WITH_DC),
        Edit(HV, "connections/D3/to", "pack.plus"),
        Edit(HV, "connections/D5/to", "pack.minus"),
    )
    of = design(*past_the_mains)
    judged = said(of, "HV207")
    assert {"k_dc_plus", "k_dc_minus"} <= set(judged)
    # A short circuit at the inlet runs from the pack out of the terminal that is marked plus.
    weak = Edit("parts/contactor-200.yaml", "break_current_reverse", "5 A")
    bad = said(design(*past_the_mains, weak), "HV207")
    assert bad["k_dc_plus"] == bad["k_dc_minus"] == "fail"
    turned = (Edit(HV, f"parts/{k}/marked_plus", "b") for k in ("k_dc_plus", "k_dc_minus"))
    right = said(design(*past_the_mains, weak, *turned), "HV207")
    assert right["k_dc_plus"] == judged["k_plus"]


def test_behind_charge_contactors_packs_and_capacitances_drive_a_short_circuit_together() -> None:
    of = design(*(Edit(*edit) for edit in WITH_DC))
    fault = next(f for f in studied(of).faults.values() if f.across == "dc_inlet")
    packs_a = abs(dict(fault.strongest.through)["k_dc_minus"])
    held = [c.peak_a for c in fault.capacitors if "k_dc_minus" in c.through]
    peak = protected(of).peaks["k_dc_minus"]
    assert peak.current_a >= packs_a + max(held) > max(packs_a, *held)
    assert "the packs" in peak.source
    # A main contactor carries either, never both: the packs lie on its one side, the capacitances on its other.
    main = protected(of).peaks["k_plus"].source
    assert ("capacitance" in main) != ("packs" in main)


BREAKS = ("break_current", "break_current_reverse")
# Two packs, each through a contactor of its own to one common fuse of at least 640 A.
OWN_CONTACTORS = (
    SECOND_STRING[0],
    SECOND_STRING[4],
    Edit(HV, "parts/ka", "{kind: contactor, sheet: contactor-200, role: main, marked_plus: a}"),
    Edit(HV, "parts/kb", "{kind: contactor, sheet: contactor-200, role: main, marked_plus: a}"),
    Edit(HV, "connections/W1/to", "ka.a"),
    Edit(HV, "connections/S2", "{from: ka.b, to: main_fuse.a, resistance: 0.05 mΩ}"),
    Edit(HV, "connections/S1", "{from: pack2.plus, to: kb.a, cable: hv-35, length: 0.9 m}"),
    Edit(HV, "connections/S4", "{from: kb.b, to: main_fuse.a, resistance: 0.05 mΩ}"),
)


def test_with_the_other_pack_s_contactors_open_one_carries_all_that_the_common_fuse_leaves() -> None:
    forward = {
        name: max(item.current_a for item in items if not item.reverse)
        for name, items in protected(design(*OWN_CONTACTORS)).left.items()
    }
    # Both packs together half of 640 A each; one alone all of it.
    assert forward["ka"] == forward["kb"] == forward["k_plus"] == 640.0
    # One pack alone drives more through its own contactor than beside the other: no fuse or lead is then shared.
    peaks, strongest = protected(design(*OWN_CONTACTORS)).peaks, studied(design(*OWN_CONTACTORS)).faults["drive across"]
    beside, alone = dict(strongest.strongest.through)["ka"], dict(dict(strongest.strong_alone)["pack"].through)["ka"]
    assert beside < alone <= peaks["ka"].current_a
    assert peaks["ka"].fault.endswith(" alone")
    for amps, kind in (("639 A", "fail"), ("640 A", "pass")):
        of = design(*OWN_CONTACTORS, *(Edit("parts/contactor-200.yaml", f, amps) for f in BREAKS))
        assert said(of, "HV207")["kb"] == kind, amps


def test_a_minimum_that_is_not_known_neither_hides_a_larger_one_nor_lets_a_smaller_one_pass() -> None:
    silent = Edit("parts/fuse-15.yaml", "minimum_breaking_current", "null")
    weak = Edit("parts/contactor-200.yaml", "break_current", "630 A")
    # The main fuse leaves 640 A to its contactors, whatever the converter's fuse leaves.
    assert said(design(weak), "HV207")["k_plus"] == "fail"
    assert said(design(weak, silent), "HV207")["k_plus"] == "fail"
    strong = said(design(silent), "HV207")
    assert "pass" not in strong.values()
    assert strong["minimum_breaking_current"] == "open"
    left = protected(design(silent)).left["k_plus"]
    assert {item.current_a for item in left if item.fuse == "main_fuse"} == {640.0}
    assert [math.isnan(item.current_a) for item in left if item.fuse == "fuse_dcdc"] == [True]


def test_one_string_of_packs_in_series_alone_carries_all_too() -> None:
    halves = (
        Edit(HV, "parts/low", "{kind: pack, sheet: pack-84s, state_of_charge: {minimum: 10 %, maximum: 100 %}, "
             "temperature: {minimum: 0 °C, maximum: 45 °C}}"),
        Edit(HV, "parts/low2", "{kind: pack, sheet: pack-84s, state_of_charge: {minimum: 10 %, maximum: 100 %}, "
             "temperature: {minimum: 0 °C, maximum: 45 °C}}"),
        Edit(HV, "connections/W3", "{from: low.minus, to: disconnect.a, cable: hv-35, length: 0.4 m}"),
        Edit(HV, "connections/S3", "{from: low2.minus, to: disconnect.a, cable: hv-35, length: 0.4 m}"),
        Edit(HV, "connections/S5", "{from: pack.minus, to: low.plus, resistance: 0.1 mΩ}"),
        Edit(HV, "connections/S6", "{from: pack2.minus, to: low2.plus, resistance: 0.1 mΩ}"),
    )  # fmt: skip
    of = design(*OWN_CONTACTORS, *halves)
    assert {name for name, _ in studied(of).faults["drive across"].alone} == {"pack and low", "pack2 and low2"}
    left = protected(of).left
    assert max(item.current_a for item in left["ka"] if not item.reverse) == 640.0
