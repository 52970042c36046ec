"""The study of charging against sums worked by hand and printed pairs, on small changes of the starter."""

import math

import pytest

from tests.workings import evaluate
from tristrand.app.starter import starter_files
from tristrand.design import Design, apply_edits, load_files
from tristrand.findings import Edit
from tristrand.physics.closing import closing_surge
from tristrand.rules.charging_view import WITH_AC, WITH_DC
from tristrand.studies import charging, pack
from tristrand.studies.results import ChargingResult, FastFigures

HV, PACK, OBC = "high_voltage.yaml", "parts/pack-84s.yaml", "parts/obc.yaml"
Change = tuple[str, str, str]

# 96s2p of 60 Ah and 1.2 mΩ on a straight line from 3.4 to 4.15 V: 120 Ah, 57.6 mΩ, 326.4 V + 72 V s.
LINE: tuple[Change, ...] = (
    (PACK, "cells_in_series", "96"),
    (PACK, "cells_in_parallel", "2"),
    (PACK, "cell_capacity", "60 Ah"),
    (PACK, "open_circuit_voltage", "{state_of_charge: [0 %, 100 %], voltage: [3.4 V, 4.15 V]}"),
    (PACK, "cell_resistance", "{temperature: [0 °C, 45 °C], state_of_charge: [0 %], resistance: [[1.2 mΩ], [1.2 mΩ]]}"),
    (PACK, "link_resistance", "0 mΩ"),
    (PACK, "charge_cutoff_current", "6 A"),
    (PACK, "charge_table", "{temperature: [0 °C, 45 °C], state_of_charge: [0 %, 100 %], "
     "current: [[200 A, 200 A], [200 A, 200 A]]}"),
    (PACK, "charge_current", "200 A"),
    (HV, "parts/pack/state_of_charge/minimum", "20 %"),
    (HV, "charging/low_voltage_draw", "0 W"),
)  # fmt: skip
# Three phases and 30 kW, so that only the charger's 40 A and the voltage hold the current.
STRONG: tuple[Change, ...] = (
    (OBC, "rated_power", "30 kW"),
    (OBC, "output_current", "40 A"),
    (OBC, "input", "{voltage: {minimum: 380 V, maximum: 440 V}, current: 63 A, phases: 3, power_factor: 100 %}"),
    (HV, "charging/inlet", "{type: type_2, rated_current: 63 A, phases: 3}"),
    (HV, "charging/cable", "{current: 63 A, proximity: 100 Ω}"),
    (HV, "charging/supplies/box", "{kind: three_phase, voltage: 400 V, phases: 3, current: 63 A, "
     "branch_circuit: 80 A, pilot_duty: 89.2 %}"),
)  # fmt: skip


def design(*changes: Change) -> Design:
    loaded = load_files(apply_edits(starter_files(), [Edit(*change) for change in changes]), "starter")
    assert loaded.design is not None, [problem.text() for problem in loaded.problems]
    return loaded.design


def studied(*changes: Change) -> ChargingResult:
    of = design(*changes)
    return charging.study(charging.inputs(of), pack.study(pack.inputs(of)))


# ---------------------------------------------------------------- sessions
def test_time_is_that_of_the_closed_form_on_a_straight_line() -> None:
    result = studied(*WITH_AC, *LINE, *STRONG, (HV, "charging/target", "99.5 %"))
    assert result.missing == ()
    supply = result.supplies["box"]
    mild = supply.sessions[1]
    # 40 A until 326.4 + 72 s + 40 A * 57.6 mΩ = 398.4 V: s = 0.968, (0.968 - 0.2) * 120 Ah/40 A = 2.304 h.
    # Then tau = R Q/slope = 0.0576 * 432000/72 = 345.6 s, from 40 A to (398.4 - 398.04)/0.0576 = 6.25 A.
    held_s = 345.6 * math.log(40.0 / 6.25)
    assert mild.resistance_ohm == pytest.approx(0.0576, rel=1e-12)
    assert mild.held_s == pytest.approx(held_s, rel=1e-6)
    assert mild.seconds == pytest.approx(2.304 * 3600 + held_s, rel=1e-6)
    assert (mild.reached, mild.first_by) == (True, "current of the source")
    assert mild.first_a == pytest.approx(40.0)
    # Q times the mean open-circuit voltage from 20 to 99.5 %.
    assert mild.stored_j == pytest.approx(432000 * 0.795 * (326.4 + 72 * (0.2 + 0.995) / 2), rel=1e-9)
    # I²R: 40² R over the first phase, R tau/2 (I1² - I2²) over the second.
    heat = 1600 * 0.0576 * 2.304 * 3600 + 0.5 * 0.0576 * 345.6 * (40.0**2 - 6.25**2)
    assert mild.heat_j == pytest.approx(heat, rel=1e-6)
    assert [s.seconds for s in supply.sessions] == pytest.approx([mild.seconds] * 3)


def test_a_target_beyond_the_cut_off_is_not_reached() -> None:
    session = studied(*WITH_AC, *LINE, *STRONG, (HV, "charging/target", "100 %")).supplies["box"].sessions[1]
    # 6 A flow last at 398.4 - 6 * 0.0576 = 398.0544 V: s = 0.9952.
    assert (session.reached, session.ended_by, session.seconds) == (False, "voltage", math.inf)
    assert session.end_soc == pytest.approx(0.9952, rel=1e-9)


# 42.624 kWh at a flat 355.2 V; resistance so small that it does nothing.
FLAT: tuple[Change, ...] = (
    *LINE,
    (PACK, "open_circuit_voltage", "{state_of_charge: [0 %, 100 %], voltage: [3.7 V, 3.7 V]}"),
    (PACK, "cell_resistance", "{temperature: [0 °C, 45 °C], state_of_charge: [0 %], resistance: [[1 nΩ], [1 nΩ]]}"),
    (HV, "charging/target", "80 %"),
    (OBC, "rated_power", "10 kW"),
    (OBC, "output_current", "60 A"),
    (OBC, "input/power_factor", "100 %"),
)


def test_time_limited_by_the_supply_is_energy_over_power() -> None:
    changes = (*FLAT, (OBC, "efficiency", "93 %"), (OBC, "low_power", "{input_power: 1 kW, efficiency: 93 %}"))
    result = studied(*WITH_AC, *changes, (HV, "charging/supplies/box/pilot_duty", "0.5333333333"))
    mild = result.supplies["box"].sessions[1]
    # 42.624 kWh * 0.6/(230 V * 32 A * 0.93): the 3.734 h printed for 42.6 kWh.
    assert mild.seconds / 3600 == pytest.approx(42.624 * 0.6 / (7.36 * 0.93), rel=1e-6)
    assert mild.seconds / 3600 == pytest.approx(3.734, rel=1e-3)
    assert mild.supply_j / 3.6e6 == pytest.approx(42.624 * 0.6 / 0.93, rel=1e-6)
    assert mild.first_by == "power that is left"


def test_loss_is_the_straight_line_through_both_efficiencies() -> None:
    changes = (
        (OBC, "rated_power", "5.7 kW"),
        (OBC, "efficiency", "95 %"),
        (OBC, "low_power", "{input_power: 1 kW, efficiency: 80 %}"),
        (HV, "charging/low_voltage_draw", "200 W"),
        (PACK, "charge_cutoff_current", "1 A"),
        (HV, "charging/supplies/box", "{kind: socket, voltage: 230 V, current: 10 A, branch_circuit: 16 A, "
         "pilot_duty: 16.66666667 %}"),
    )  # fmt: skip
    supply = studied(*WITH_AC, *FLAT, *changes).supplies["box"]
    # 300 W lost of 6000 W, 200 W of 1000 W: 180 W and 2 % of the power.
    assert supply.supply_w == pytest.approx(2300.0, rel=1e-6)
    assert supply.bus_w == pytest.approx(2300 * 0.98 - 180, rel=1e-6)
    # 200 W of the 12 V side through a converter of 91 %.
    assert supply.low_voltage_w == pytest.approx(200 / 0.91)
    assert supply.pack_w == pytest.approx(2074 - 200 / 0.91, rel=1e-6)
    assert supply.floor_pack_w == pytest.approx(1380 * 0.98 - 180 - 200 / 0.91, rel=1e-6)
    mild = supply.sessions[1]
    hours = 42.624 * 0.6 / (2.074 - 0.2 / 0.91)
    assert mild.seconds / 3600 == pytest.approx(hours, rel=1e-6)
    assert mild.supply_j / 3.6e6 == pytest.approx(2.3 * hours, rel=1e-6)
    assert mild.low_voltage_j / 3.6e6 == pytest.approx(0.2 / 0.91 * hours, rel=1e-6)


def test_the_table_of_the_pack_holds_the_current_at_its_temperature() -> None:
    table = (
        "{temperature: [0 °C, 20 °C, 40 °C], state_of_charge: [0 %, 100 %], "
        "current: [[5 A, 5 A], [25 A, 25 A], [15 A, 15 A]]}"
    )
    cold = ((PACK, "charge_table", table), (HV, "parts/pack/temperature/minimum", "5 °C"))
    by_table = studied(*WITH_AC, *LINE, *STRONG, *cold).supplies["box"].sessions
    # Straight between the rows: 10 A at 5 °C, 22.5 A at 25 °C, 15 A at 40 °C, where the table ends.
    assert [s.first_a for s in by_table] == pytest.approx([10.0, 22.5, 15.0])
    assert [s.temperature_c for s in by_table] == [5.0, 25.0, 40.0]
    assert {s.first_by for s in by_table} == {"table of the pack"}
    fixed = studied(*WITH_AC, *LINE, *STRONG, *cold, (HV, "charging/current_control", "fixed"))
    assert [s.first_a for s in fixed.supplies["box"].sessions] == pytest.approx([40.0] * 3)
    # The smallest entry within 5 to 40 °C, and the pack reaches to 45 °C where the table holds nothing.
    assert fixed.table_least_a == pytest.approx(10.0)
    assert (fixed.cold, fixed.hot) == (False, True)


def test_a_pack_outside_its_table_is_not_charged() -> None:
    result = studied(
        *WITH_AC, (PACK, "charge_table", "{temperature: [50 °C, 60 °C], state_of_charge: [0 %, 100 %], "
                                         "current: [[9 A, 9 A], [9 A, 9 A]]}")
    )  # fmt: skip
    assert (result.cold, result.hot) == (True, True)
    assert all(not s.allowed and not s.reached and s.ended_by == "temperature" for s in result.supplies["box"].sessions)
    assert result.table_least_a == 0.0


# ---------------------------------------------------------------- chain
# Duty and current as three copies of a test-adapter manual print them.
@pytest.mark.parametrize(("duty", "amps"), [("25 %", 15.0), ("50 %", 30.0), ("80 %", 48.0), ("90 %", 65.0), ("5 %", 0)])
def test_the_pilot_offers_the_printed_current(duty: str, amps: float) -> None:
    supply = studied(*WITH_AC, (HV, "charging/supplies/box/pilot_duty", duty)).supplies["box"]
    assert supply.offered_a == pytest.approx((amps, amps, amps))
    assert supply.drawn_a[1] == pytest.approx(min(amps, dict(supply.links)["charger's power"]))


# Resistor and current as a text states them to match the standard; 330 Ω stands for no cable.
@pytest.mark.parametrize(
    ("ohm", "amps"), [("1.5 kΩ", 13), ("680 Ω", 20), ("220 Ω ± 3 %", 32), ("330 Ω", 0), ("220 Ω ± 20 %", 0)]
)
def test_the_resistor_in_the_plug_stands_for_the_printed_current(ohm: str, amps: float) -> None:
    assert studied(*WITH_AC, (HV, "charging/cable/proximity", ohm)).supplies["box"].coded_a == amps


def test_each_link_in_turn_is_named_as_the_smallest() -> None:
    def smallest(*changes: Change) -> tuple[str, float]:
        supply = studied(*WITH_AC, *changes).supplies["box"]
        return supply.smallest, supply.drawn_a[1]

    # 6 kW over 93 % at 230 V and a power factor of 0.99, with the straight line of loss: 93 % at rated power.
    name, amps = smallest()
    assert name == "charger's power"
    assert amps == pytest.approx(6000 / 0.93 / (230 * 0.99))
    assert smallest((HV, "charging/supplies/box/pilot_duty", "20 %")) == ("pilot", 12.0)
    assert smallest((HV, "charging/cable/proximity", "1.5 kΩ")) == ("coding of the cable", 13.0)
    assert smallest((OBC, "input/current", "10 A")) == ("charger's current", 10.0)


def test_most_current_flows_at_the_lowest_voltage_and_the_worst_efficiency() -> None:
    changes = (
        (OBC, "rated_power", "6 kW ± 2 %"),
        (OBC, "efficiency", "0.93 ± 0.01"),
        (OBC, "input/current", "40 A"),
        (OBC, "input/power_factor", "0.98 ± 0.01"),
        (HV, "charging/supplies/box", "{kind: socket, voltage: 230 V ± 10 %, current: 40 A, branch_circuit: 50 A}"),
        (HV, "charging/cable", "{current: 63 A, proximity: 100 Ω}"),
    )
    low, mid, high = studied(*WITH_AC, *changes).supplies["box"].drawn_a
    # The straight line of loss passes through the efficiency at rated power, 6 kW over it: 1.4 kW at 88 % is the other.
    assert mid == pytest.approx(6000 / 0.93 / (230 * 0.98))
    assert high == pytest.approx(supply_w(6120.0, 0.92) / (207 * 0.97))
    assert low == pytest.approx(supply_w(5880.0, 0.94) / (253 * 0.99))


def test_the_floor_of_the_pilot_is_that_of_the_lowest_voltage() -> None:
    flat = ((OBC, "low_power", "{input_power: 1 kW, efficiency: 93 %}"), (HV, "charging/low_voltage_draw", "0 W"))
    box = studied(*WITH_AC, *flat, (HV, "charging/supplies/box/voltage", "230 V ± 10 %")).supplies["box"]
    assert box.floor_pack_w == pytest.approx(6 * 207 * 0.99 * 0.93)


def supply_w(bus_w: float, share: float) -> float:
    """Power from the supply on the line through 168 W lost of 1.4 kW, and the loss of 6 kW into the bus at a share."""
    full_w = 6000 / share
    per = (full_w - 6000 - 168) / (full_w - 1400)
    return (bus_w + 168 - per * 1400) / (1 - per)


def test_the_most_that_a_supply_brings_counts_every_tolerance() -> None:
    flat = ((OBC, "low_power", "{input_power: 1 kW, efficiency: 93 %}"), (OBC, "output_current", "18 A ± 5 %"))
    pilot = (HV, "charging/supplies/box/pilot_duty", "20 %")
    box = (HV, "charging/supplies/box/voltage", "230 V ± 10 %")
    result = studied(*WITH_AC, *flat, pilot, box)
    # 12 A at 253 V, a power factor of 0.99 and 93 %, into the pack at 10 %: 84 cells of 3.40 V.
    assert result.supplies["box"].bus_most_w == pytest.approx(12 * 253 * 0.99 * 0.93)
    assert result.bus_a == pytest.approx(12 * 253 * 0.99 * 0.93 / (84 * 3.40))
    # Without the pilot's limit the output current sets it, at its high end.
    assert studied(*WITH_AC, *flat, box).bus_a == pytest.approx(18 * 1.05)


def test_an_inlet_wired_the_wrong_way_round_is_seen() -> None:
    swapped = ((HV, "connections/D1/from", "dc_inlet.minus"), (HV, "connections/D4/from", "dc_inlet.plus"))
    for changes, turned in (((), False), (swapped, True)):
        fast = studied(*WITH_DC, *changes).fast
        assert fast is not None
        assert fast.turned is turned


def test_three_phases_and_one() -> None:
    three = studied(*WITH_AC, *LINE, *STRONG, (OBC, "input/current", "16 A")).supplies["box"]
    # 400 V between lines at 16 A: 11.085 kW.
    assert three.phases == 3
    assert three.supply_w == pytest.approx(11085, rel=1e-4)
    one = studied(*WITH_AC, *LINE, *STRONG, (HV, "charging/inlet/phases", "1")).supplies["box"]
    assert (one.phases, one.phases_fit) == (1, False)
    assert one.phase_v[1] == pytest.approx(230.94, rel=1e-4)
    two = studied(*WITH_AC, *LINE, *STRONG, (HV, "charging/inlet/phases", "1"), (OBC, "input/one_phase_too", "true"))
    assert two.supplies["box"].phases_fit
    assert two.supplies["box"].charger_v == pytest.approx((380 / 3**0.5, 440 / 3**0.5))


def test_a_cable_of_type_1_codes_no_current() -> None:
    type_1 = (HV, "charging/inlet/type", "type_1")
    assert math.isnan(studied(*WITH_AC, type_1, (HV, "charging/cable/proximity", "150 Ω")).supplies["box"].coded_a)
    assert studied(*WITH_AC, type_1, (HV, "charging/cable/proximity", "680 Ω")).supplies["box"].coded_a == 0.0


# ---------------------------------------------------------------- opening, direct current
def test_the_output_discharges_through_its_own_resistance() -> None:
    result = studied(*WITH_AC, (OBC, "bleed_resistance", "100 kΩ"))
    # 84 cells at 4.15 V, 20 µF: 2 s * ln(348.6/60).
    assert result.own_discharge_s == pytest.approx(2.0 * math.log(348.6 / 60.0))
    assert result.on_discharged_bus
    assert studied(*WITH_AC).own_discharge_s == math.inf


def test_a_charger_behind_a_contactor_is_not_on_the_discharged_bus() -> None:
    behind = (
        (HV, "parts/k_ac", "{kind: contactor, sheet: contactor-20, role: charge}"),
        (HV, "connections/W97", "{from: bus_plus.bar, to: k_ac.a, cable: hv-16, length: 1 m}"),
        (HV, "connections/W99", "{from: k_ac.b, to: obc.plus, cable: hv-16, length: 1 m}"),
    )
    assert not studied(*WITH_AC, *behind).on_discharged_bus


def test_direct_current_goes_through_inlet_contactors_fuse_mains_and_pack() -> None:
    fast = studied(*WITH_DC).fast
    assert fast is not None
    assert set(fast.path) == {
        "pack", "main_fuse", "disconnect", "k_plus", "k_minus", "k_dc_plus", "k_dc_minus", "fuse_dc",
        "W1", "W2", "W3", "W4", "W8", "W9", "D1", "D2", "D3", "D4", "D5",
    }  # fmt: skip
    assert (fast.largest_a, fast.live) == (38.0, ())
    assert dict(fast.forward) == {"k_plus": False, "k_minus": False, "k_dc_plus": True, "k_dc_minus": True}


BARE: tuple[Change, ...] = (("parts/hv-35.yaml", "inductance", "null"), ("parts/hv-4.yaml", "inductance", "null"))
# Metres of hv-35 at 0.554 mΩ/m in the inlet's branch, two contactors and a fuse of 0.4 mΩ each.
INLET_OHM = 5 * 0.554e-3 + 3 * 0.4e-3


def closing(*changes: Change) -> FastFigures:
    fast = studied(*WITH_DC, *changes).fast
    assert fast is not None
    assert fast.surge_missing == ()
    return fast


def test_without_inductance_capacitances_and_pack_side_by_side_set_the_current_at_closing() -> None:
    fast = closing(*BARE)
    # 3 m to the drive; 3.6 m of 4.95 mΩ/m, a fuse of 8 mΩ and a busbar of 0.1 mΩ to the converter; the pack hot and
    # full, 84 * 0.60 mΩ + 8 mΩ, behind 1.9 m, two contactors, its fuse and the disconnect of 0.25 mΩ.
    drive, dcdc = 3 * 0.554e-3, 3.6 * 4.95e-3 + 8.1e-3
    pack_ohm = 0.0584 + 1.9 * 0.554e-3 + 3 * 0.4e-3 + 0.25e-3
    by_hand = 10.0 / (INLET_OHM + 1 / (1 / drive + 1 / dcdc + 1 / pack_ohm))
    assert fast.surge_a == pytest.approx(by_hand, rel=1e-4)
    assert {m.pointer for m in fast.surge_unknown} == {"parts/hv-35/inductance", "parts/hv-4/inductance"}
    # Twice the difference drives twice the current; more capacitance does not, where there is no inductance.
    assert closing(*BARE, (HV, "fast_charging/closing_difference", "20 V")).surge_a == pytest.approx(2 * fast.surge_a)
    more = ("parts/inverter-60.yaml", "bus_capacitance", "6800 µF")
    assert closing(*BARE, more).surge_a == pytest.approx(fast.surge_a)


def test_with_inductance_the_current_at_closing_is_that_of_a_series_rlc_circuit() -> None:
    # A pack behind 1000 Ω and a converter of 1 pF take nothing: what is left is one loop through the drive.
    alone = ((PACK, "link_resistance", "1000 Ω"), ("parts/dcdc-1k2.yaml", "input_capacitance", "1 pF"))
    fast = closing(*alone)
    ohm, henry, farad = INLET_OHM + 3 * 0.554e-3, 8 * 0.32e-6, 1.1 * 680e-6
    decay, swing = ohm / (2 * henry), math.sqrt(1 / (henry * farad) - (ohm / (2 * henry)) ** 2)
    peak_s = math.atan(swing / decay) / swing
    by_hand = 10.0 / (swing * henry) * math.exp(-decay * peak_s) * math.sin(swing * peak_s)
    assert fast.surge_a == pytest.approx(by_hand, rel=1e-3)
    assert fast.surge_unknown == ()
    # A supply that is a capacitance in the same loop, however large, lets less through than the source it stands for.
    for supply_f in (10e-6, 1e-3, 1.0):
        some = closing_surge(10.0, henry, ohm, farad * supply_f / (farad + supply_f))
        assert some.peak_a < by_hand
    # Less inductance lets more through: its low end counts.
    low = ("parts/hv-35.yaml", "inductance", "0.32 µH/m ± 50 %")
    assert closing(*alone, low).surge_a > 1.3 * fast.surge_a


def test_the_pack_s_resistance_alone_is_no_bound_of_the_current_at_closing() -> None:
    # With the pack beside the capacitances, between the loop of the drive alone and the sum of both by themselves.
    alone = closing((PACK, "link_resistance", "1000 Ω")).surge_a
    assert max(alone, 10.0 / 0.0584) < closing().surge_a < alone + 10.0 / 0.0584


def test_what_the_current_at_closing_lacks_is_named() -> None:
    for change, pointer in (
        ((HV, "fast_charging/closing_difference", "null"), "high_voltage/fast_charging/closing_difference"),
        (("parts/inverter-60.yaml", "bus_capacitance", "null"), "parts/inverter-60/bus_capacitance"),
        (("parts/contactor-200.yaml", "contact_resistance", "null"), "parts/contactor-200/contact_resistance"),
        ((PACK, "cell_resistance", "null"), "parts/pack-84s/cell_resistance"),
    ):
        fast = studied(*WITH_DC, change).fast
        assert fast is not None
        assert math.isnan(fast.surge_a)
        assert pointer in {m.pointer for m in fast.surge_missing}


def test_an_inlet_that_leads_nowhere_closes_onto_nothing_known() -> None:
    fast = studied(*WITH_DC, (HV, "connections/D3/to", "dc_inlet.minus")).fast
    assert fast is not None
    assert fast.path == ()
    assert math.isnan(fast.surge_a)
    assert [m.pointer for m in fast.surge_missing] == ["high_voltage/connections"]


def test_marks_say_which_way_charging_flows() -> None:
    marks = (
        (HV, "parts/k_dc_plus/marked_plus", "b"),
        (HV, "parts/k_plus/marked_plus", "a"),
        (HV, "parts/k_minus/marked_plus", "b"),
    )
    fast = studied(*WITH_DC, *marks).fast
    assert fast is not None
    # Charging leaves the mains at the pack's plus, and comes back from its minus into k_minus at a.
    assert dict(fast.forward) == {"k_plus": False, "k_minus": False, "k_dc_plus": False, "k_dc_minus": True}


@pytest.mark.parametrize(
    ("change", "live"),
    [
        ((HV, "connections/D4/to", "bus_minus.bar"), ("dc_inlet.minus",)),
        ((HV, "connections/D1/to", "fuse_dc.a"), ("dc_inlet.plus",)),
    ],
)
def test_contacts_that_stay_live_are_found(change: Change, live: tuple[str, ...]) -> None:
    fast = studied(*WITH_DC, change).fast
    assert fast is not None
    assert fast.live == live


def test_a_resistor_round_a_contactor_keeps_the_contact_live() -> None:
    round_it = (
        (HV, "parts/r_x", "{kind: resistor, sheet: resistor-2k2, role: discharge}"),
        (HV, "connections/X1", "{from: k_dc_plus.a, to: r_x.a, cable: hv-4, length: 0.1 m}"),
        (HV, "connections/X2", "{from: k_dc_plus.b, to: r_x.b, cable: hv-4, length: 0.1 m}"),
    )
    fast = studied(*WITH_DC, *round_it).fast
    assert fast is not None
    assert fast.live == ("dc_inlet.plus",)


# ---------------------------------------------------------------- workings, curves, gaps
@pytest.mark.parametrize(
    "changes", [WITH_AC, WITH_DC, (*WITH_AC, *LINE, *STRONG)], ids=["one phase", "direct", "three"]
)
def test_every_working_gives_its_value(changes: tuple[Change, ...]) -> None:
    result = studied(*changes, (HV, "parts/pack/temperature/minimum", "10 °C"))
    lines = list(result.workings)
    assert lines
    for line in lines:
        assert line.formula or line.method, line
        if line.formula:
            assert evaluate(line) == pytest.approx(line.value, rel=1e-9), line.words
    if result.charger:
        assert {"P_ac", "P_bus", "P_pack", "E_ac", "V_limit", "t", "I_0"} <= {line.symbol for line in lines}


def test_curves_hold_energy_and_end_of_the_session() -> None:
    result = studied(*WITH_AC, *LINE, *STRONG, (HV, "charging/target", "99.5 %"))
    power, charge = result.series
    mild = result.supplies["box"].sessions[1]
    assert power.x[-1] == pytest.approx(mild.seconds / 3600, rel=1e-9)
    assert (charge.y[0], charge.y[-1]) == pytest.approx((20.0, 99.5))
    under = sum((b - a) * (p + q) / 2 for a, b, p, q in zip(power.x, power.x[1:], power.y, power.y[1:], strict=False))
    assert under == pytest.approx((mild.stored_j + mild.heat_j) / 3.6e6, rel=1e-3)


def test_a_vehicle_without_charger_and_inlet_needs_nothing() -> None:
    result = studied()
    assert (result.missing, result.charger, result.fast) == ((), "", None)


def test_two_packs_are_left_open() -> None:
    second = (HV, "parts/pack2", "{kind: pack, sheet: pack-84s}")
    result = studied(*WITH_AC, second)
    assert [m.pointer for m in result.missing] == ["high_voltage/parts"]
    assert result.supplies["box"].sessions == ()


def test_a_second_charger_is_left_open() -> None:
    second = (HV, "parts/obc2", "{kind: charger, sheet: obc}")
    assert ("high_voltage/charging/charger", "charging by obc2: one is looked at, obc") in studied(
        *WITH_AC, second
    ).missing


# 32 A is 53.333 %, 63 A 89.2 %, 80 A 96 % (printed); 51 to 52.5 A no duty says: 85 %; 5 A none at all.
@pytest.mark.parametrize(
    ("amps", "duty"),
    [("32 A", 53.3), ("63 A", 89.2), ("100 A", 96.0), ("52 A", 85.0), ("16 A", 26.6), ("5 A", math.nan)],
)
def test_the_duty_that_fits_a_supply(amps: str, duty: float) -> None:
    box = f"{{kind: wall_box, voltage: 230 V, current: {amps}, branch_circuit: 125 A, pilot_duty: 20 %}}"
    fitting = studied(*WITH_AC, (HV, "charging/supplies/box", box)).supplies["box"].fitting_duty
    assert fitting == pytest.approx(duty, nan_ok=True)
