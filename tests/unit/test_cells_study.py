"""Cells, modules and branches on small designs: numbers worked by hand, the graph against pulling part by part."""

import math
from pathlib import Path

import pytest

from tests.workings import evaluate
from tristrand.app.pipeline import Pipeline
from tristrand.app.starter import starter_files
from tristrand.design import Design, apply_edits, load_files, load_folder
from tristrand.findings import Edit
from tristrand.papers.cells_tables import branches_tables, cells_tables
from tristrand.studies.circuits import HvCircuit, hv_circuit
from tristrand.studies.results import BranchesResult, CaseFlows, CellFigures, CellsResult
from tristrand.studies.separators import in_series_with_packs, needed_by_devices
from tristrand.studies.topology import CONDUCTING, edges, joined

HV, PACK = "high_voltage.yaml", "parts/pack-84s.yaml"
DEMO = Path(__file__).parents[2] / "demos" / "van-mended"
SECOND_STRING = (
    Edit(HV, "parts/pack2", "{kind: pack, sheet: pack-84s, state_of_charge: {minimum: 10 %, maximum: 100 %}, "
         "temperature: {minimum: 0 °C, maximum: 45 °C}}"),
    Edit(HV, "parts/fuse2", "{kind: fuse, sheet: fuse-160}"),
    Edit(HV, "connections/S1", "{from: pack2.plus, to: fuse2.a, cable: hv-35, length: 0.9 m}"),
    Edit(HV, "connections/S2", "{from: fuse2.b, to: k_plus.a, cable: hv-35, length: 0.2 m}"),
    Edit(HV, "connections/S3", "{from: pack2.minus, to: disconnect.a, cable: hv-35, length: 0.9 m}"),
)  # fmt: skip
IN_SERIES = (
    Edit(HV, "parts/pack2", "{kind: pack, sheet: pack-84s, state_of_charge: {minimum: 10 %, maximum: 100 %}, "
         "temperature: {minimum: 0 °C, maximum: 45 °C}}"),
    Edit(HV, "connections/W3/from", "pack2.minus"),
    Edit(HV, "connections/S1", "{from: pack2.plus, to: pack.minus, cable: hv-35, length: 0.9 m}"),
)  # fmt: skip
# The converter behind a contactor of its own that connects it to a bus that is up.
OWN_CONTACTOR = (
    Edit(HV, "parts/k_dcdc", "{kind: contactor, sheet: contactor-20, role: charge}"),
    Edit(HV, "connections/W14/to", "k_dcdc.a"),
    Edit(HV, "connections/W99", "{from: k_dcdc.b, to: dcdc.minus, resistance: 0.1 mΩ}"),
)


def design(*edits: Edit) -> Design:
    loaded = load_files(apply_edits(starter_files(), list(edits)), "starter")
    assert loaded.design is not None, loaded.problems
    return loaded.design


def cells_of(*edits: Edit) -> CellsResult:
    result: CellsResult = Pipeline().later(design(*edits))["cells"]
    return result


def figures_of(*edits: Edit) -> CellFigures:
    return cells_of(*edits).packs["pack"]


def branches_of(*edits: Edit) -> BranchesResult:
    result: BranchesResult = Pipeline().later(design(*edits))["branches"]
    return result


# --- cells ---


def test_what_passes_unseen_is_the_trip_and_the_error_together() -> None:
    f = figures_of()
    # 4.14 V and 10 mV; 2.85 V less 10 mV; 57 and 42 degrees and 2 K; -15 and 3 degrees less 2 K.
    assert (f.over_v, f.under_v) == (4.15, 2.84)
    assert (f.hot_c, f.hot_charge_c, f.cold_c, f.cold_charge_c) == (59.0, 44.0, -17.0, 1.0)
    # A trip with a tolerance counts at its late end.
    late = figures_of(Edit(HV, "parts/pack/monitor/over_voltage", "4.14 V ± 5 mV"))
    assert late.over_v == pytest.approx(4.155, rel=1e-12)
    assert late.full_charge == pytest.approx(0.5 + 0.5 * (4.125 - 3.66) / (4.15 - 3.66), rel=1e-9)


def test_charge_at_the_trip_is_read_from_the_open_circuit_table() -> None:
    # Between 50 % (3.66 V) and 100 % (4.15 V) at 4.13 V, and the ends of the table held.
    assert figures_of().full_charge == pytest.approx(0.5 + 0.5 * (4.13 - 3.66) / (4.15 - 3.66), rel=1e-9)
    assert figures_of(Edit(HV, "parts/pack/monitor/over_voltage", "4.3 V")).full_charge == 1.0
    assert figures_of(Edit(HV, "parts/pack/monitor/over_voltage", "3.05 V")).full_charge == 0.0


def test_module_size_by_hand() -> None:
    module = figures_of().module
    assert module is not None
    # 84 cells in 21 modules: 4 in series, 4.15 V each, 72 Ah: 4 * 4.15 * 72 * 3600 J.
    assert (module.groups, module.mass_kg) == (4, 7.0)
    assert module.volts == pytest.approx(16.6)
    assert module.energy_j == pytest.approx(4_302_720.0, rel=1e-12)
    # 84 cells in 13 modules: the largest has 7.
    uneven = figures_of(Edit(PACK, "modules", "13")).module
    assert uneven is not None
    assert uneven.groups == 7
    # Cells in parallel hold twice the energy at the same voltage.
    two = figures_of(Edit(PACK, "cells_in_parallel", "2")).module
    assert two is not None
    assert two.volts == pytest.approx(16.6)
    assert two.energy_j == pytest.approx(8_605_440.0)


def test_pieces_left_by_the_plugs_by_hand() -> None:
    small, large = figures_of(Edit(PACK, "maintenance_plugs", "{pieces: [40, 44], both_poles: true}")).pieces
    assert small.volts == pytest.approx(166.0)
    assert large.volts == pytest.approx(182.6)
    assert large.energy_j == pytest.approx(44 * 4.15 * 72 * 3600)
    # Ten of the 21 modules of 7 kg.
    assert small.mass_kg == pytest.approx(70.0)


def test_share_of_cells_read_counts_every_cell() -> None:
    assert figures_of().share_read == pytest.approx(0.5)
    assert figures_of(Edit(PACK, "cells_in_parallel", "2")).share_read == pytest.approx(0.25)


def test_links_by_hand() -> None:
    edits = (
        Edit(PACK, "cells_in_parallel", "4"),
        Edit(PACK, "cell_capacity", "18 Ah"),
        Edit(PACK, "cell_fuse", "{rated_current: 30 A ± 10 %}"),
    )
    f = figures_of(*edits)
    assert f.links_a == pytest.approx(4 * 27.0)
    assert f.series_fuses == (("main_fuse", 160.0),)
    # 18.5 kW of the case continuous at 285.6 V open, cells of 1.6 mΩ: four in parallel, 84 in series, 8 mΩ of links.
    ohm, volts = 84 * 1.6e-3 / 4 + 8e-3, 84 * 3.4
    amps = (volts - math.sqrt(volts**2 - 4 * ohm * 18.5e3)) / (2 * ohm)
    assert f.link_case == "continuous"
    assert 4 * f.link_a == pytest.approx(amps, rel=0.01)  # the leads take a little more
    assert 4 * f.link_a > amps


def test_short_circuit_of_the_pack_by_hand() -> None:
    # Full and hot: 84 * 4.15 V over 84 * 0.6 mΩ and 8 mΩ of links.
    assert figures_of().short_a == pytest.approx(84 * 4.15 / (84 * 0.6e-3 + 8e-3), rel=1e-9)
    ohmic = figures_of(Edit(PACK, "cell_ohmic_resistance", "0.4 mΩ"))
    assert ohmic.short_a == pytest.approx(84 * 4.15 / (84 * 0.4e-3 + 8e-3), rel=1e-9)


def test_brake_trip_by_hand() -> None:
    brake = cells_of(Edit(HV, "brake_plausibility", "{current: 16 A ± 5 %, within: 400 ms}")).brake
    assert brake is not None
    # 84 * 3.65 V; 16.8 A at the high end of the tolerance.
    assert brake.nominal_v == pytest.approx(306.6)
    assert brake.power_w == pytest.approx(16.8 * 306.6)
    assert cells_of().brake is None


BESIDE = (
    *IN_SERIES,
    Edit(HV, "connections/W3/from", "pack.minus"),
    Edit(HV, "connections/S1", "{from: pack.minus, to: pack2.minus, cable: hv-35, length: 1 m}"),
    Edit(HV, "connections/S2", "{from: pack.plus, to: pack2.plus, cable: hv-35, length: 1 m}"),
)


def test_the_brake_trip_is_worth_the_voltage_of_packs_in_series() -> None:
    trip = Edit(HV, "brake_plausibility", "{current: 14 A, within: 400 ms}")
    series, beside = cells_of(*IN_SERIES, trip).brake, cells_of(*BESIDE, trip).brake
    assert series is not None
    assert beside is not None
    # 2 * 84 * 3.65 V = 613.2 V: 8.58 kW, well above 5 kW; side by side 306.6 V.
    assert series.power_w == pytest.approx(14 * 613.2)
    assert beside.power_w == pytest.approx(14 * 306.6)


def test_what_is_not_given_is_nan_and_named() -> None:
    files = dict(starter_files())
    text = files[HV].decode()
    start, end = text.index("    monitor:"), text.index("  disconnect: {")
    files[HV] = (text[:start] + text[end:]).encode()
    loaded = load_files(files, "starter")
    assert loaded.design is not None, loaded.problems
    result: CellsResult = Pipeline().later(loaded.design)["cells"]
    f = result.packs["pack"]
    assert all(map(math.isnan, (f.over_v, f.under_v, f.hot_c, f.cold_charge_c, f.share_read, f.full_charge)))
    assert [m.pointer for m in result.missing] == ["high_voltage/parts/pack/monitor"]


# --- branches ---


def test_lasting_current_of_a_converter_by_hand() -> None:
    dcdc = branches_of().branches["dcdc"]
    # 1.2 kW at 91 % from 84 cells at 2.8 V; the same at 84 cells at 4.15 V.
    assert dcdc.lasting_v == pytest.approx(235.2)
    assert dcdc.lasting_a == pytest.approx(1200 / (0.91 * 235.2), rel=1e-12)
    assert dcdc.least_a == pytest.approx(1200 / (0.91 * 348.6), rel=1e-12)
    limited = branches_of(Edit("parts/dcdc-1k2.yaml", "input_current_limit", "5 A ± 2 %")).branches["dcdc"]
    assert limited.lasting_a == pytest.approx(5.1)
    assert limited.words == "its input current limit"


def test_full_output_and_what_is_left_by_hand() -> None:
    dcdc = branches_of(Edit("parts/dcdc-1k2.yaml", "input_current_limit", "5 A ± 2 %")).branches["dcdc"]
    # 4.9 A at the low end: 1200 W need 269.1 V, and 0.91 * 4.9 A times the voltage is left below.
    assert dcdc.full_from_v == pytest.approx(1200 / (0.91 * 4.9), rel=1e-12)
    assert dcdc.left_w == pytest.approx(0.91 * 4.9 * dcdc.aged_v, rel=1e-12)
    free = branches_of().branches["dcdc"]
    assert free.left_w == pytest.approx(1200.0)


def taken(volts: float, open_v: float, ohm: float, case: CaseFlows, *string: str) -> None:
    """V (V0 - V)/(R + r) is the power behind the leads, r; R with twice the resistance of the cells."""
    drop_v, amps = case.drop_v["dcdc"], case.flows[string[0]].current_a
    power = sum(case.pack_power_w[name] for name in string) - drop_v * amps
    assert volts * (open_v - volts) / (ohm + drop_v / amps) == pytest.approx(power, rel=1e-9)


def test_the_aged_pack_gives_the_same_power_at_a_lower_voltage() -> None:
    of = design()
    results = Pipeline().later(of)
    peak, dcdc = results["operating"].cases["peak"], results["branches"].branches["dcdc"]
    assert dcdc.low_case == "peak"
    taken(dcdc.aged_v, 84 * 3.4, 2 * 84 * 1.6e-3 + 8e-3, peak, "pack")
    assert dcdc.aged_v < dcdc.low_v
    # At most V0² / 4 R: 37.4 kW with four times the resistance, 30.0 kW with five times. 36.5 kW are asked.
    tired = branches_of(Edit(PACK, "resistance_growth", "400 %")).branches["dcdc"]
    assert (84 * 3.4) ** 2 / (4 * (4 * 84 * 1.6e-3 + 8e-3)) > 36e3
    assert tired.aged_v < dcdc.aged_v
    dead = branches_of(Edit(PACK, "resistance_growth", "500 %")).branches["dcdc"]
    assert (84 * 3.4) ** 2 / (4 * (5 * 84 * 1.6e-3 + 8e-3)) < 36e3
    assert dead.aged_v == 0.0
    assert dead.left_w == 0.0


SECOND = (
    "{kind: pack, sheet: pack-84s, state_of_charge: {minimum: 10 %, maximum: 100 %}, "
    "temperature: {minimum: 0 °C, maximum: 45 °C}}"
)


def test_aged_packs_in_series_sag_together() -> None:
    of = design(
        Edit(HV, "parts/pack_2", SECOND),
        Edit(HV, "connections/W3/from", "pack_2.minus"),
        Edit(HV, "connections/W90", "{from: pack.minus, to: pack_2.plus, resistance: 0.1 mΩ}"),
    )
    results = Pipeline().later(of)
    peak, dcdc = results["operating"].cases["peak"], results["branches"].branches["dcdc"]
    taken(dcdc.aged_v, 2 * 84 * 3.4, 2 * (2 * 84 * 1.6e-3 + 8e-3), peak, "pack", "pack_2")
    assert dcdc.aged_v < dcdc.low_v


def test_aged_packs_side_by_side_each_give_their_share() -> None:
    of = design(
        Edit(HV, "parts/pack_2", SECOND),
        Edit(HV, "parts/fuse_2", "{kind: fuse, sheet: fuse-160}"),
        Edit(HV, "connections/W90", "{from: pack_2.plus, to: fuse_2.a, cable: hv-35, length: 0.4 m}"),
        Edit(HV, "connections/W91", "{from: fuse_2.b, to: k_plus.a, cable: hv-35, length: 0.2 m}"),
        Edit(HV, "connections/W92", "{from: pack_2.minus, to: disconnect.a, cable: hv-35, length: 0.4 m}"),
    )
    results = Pipeline().later(of)
    peak, dcdc = results["operating"].cases["peak"], results["branches"].branches["dcdc"]
    most = max(peak.pack_power_w, key=peak.pack_power_w.__getitem__)
    taken(dcdc.aged_v, 84 * 3.4, 2 * 84 * 1.6e-3 + 8e-3, peak, most)
    assert dcdc.aged_v < dcdc.low_v


def test_a_plain_resistance_takes_most_at_the_highest_voltage() -> None:
    heater = (
        Edit(HV, "parts/heater", "{kind: heater, sheet: heater, power: {continuous: 2 kW}}"),
        Edit(HV, "connections/H1", "{from: bus_plus.bar, to: heater.plus, cable: hv-4, length: 1 m}"),
        Edit(HV, "connections/H2", "{from: bus_minus.bar, to: heater.minus, cable: hv-4, length: 1 m}"),
        Edit("parts/heater.yaml", "", "{schema_version: 1, kind: heater, control: resistance, resistance: 40 Ω ± 5 %, "
             "rated_power: 4 kW, input_capacitance: 1 µF}"),
    )  # fmt: skip
    branch = branches_of(*heater).branches["heater"]
    assert branch.lasting_a == pytest.approx(348.6 / 38.0, rel=1e-12)


def test_surge_through_a_branch_fuse_by_hand() -> None:
    of = design()
    results = Pipeline().later(of)
    fuse = results["branches"].fuses["fuse_dcdc"]
    # Two leads of 1.8 m of 4 mm² at 4.95 mΩ/m (IEC 60228 class 5), fuse 8 mΩ, busbar 0.1 mΩ; 30 µF and 10 %.
    ohm = 2 * 1.8 * 4.95e-3 + 8e-3 + 0.1e-3
    assert fuse.ohm == pytest.approx(ohm, rel=1e-12)
    assert fuse.farad == pytest.approx(33e-6)
    step = results["precharge"].residual_v
    assert 0 < step < 30
    assert fuse.joule_a2s == pytest.approx(33e-6 * step**2 / (2 * ohm), rel=1e-9)
    # Printed: 100 000 pulses may bring 0.22 of the melting I²t each, 1000 pulses 0.38.
    assert branches_of(Edit(HV, "switching_duty/starts", "100000")).fuses["fuse_dcdc"].needed_a2s == pytest.approx(
        fuse.joule_a2s / 0.22, rel=1e-9
    )
    fewer = branches_of(Edit(HV, "switching_duty/starts", "1000")).fuses["fuse_dcdc"]
    assert fewer.needed_a2s == pytest.approx(fuse.joule_a2s / 0.38, rel=1e-9)
    main = results["branches"].fuses["main_fuse"]
    assert main.joule_a2s == results["precharge"].surge_joule_integral_a2s


def test_behind_a_contactor_of_its_own_the_whole_voltage_charges_it() -> None:
    result = branches_of(*OWN_CONTACTOR)
    assert result.branches["dcdc"].live
    assert result.branches["dcdc"].contactors == ("k_dcdc",)
    fuse = result.fuses["fuse_dcdc"]
    assert fuse.step_v == pytest.approx(348.6)
    contact = design().sheet_of("k_pre").contact_resistance.value
    ohm = 2 * 1.8 * 4.95e-3 + 8e-3 + 0.2e-3 + contact
    assert fuse.joule_a2s == pytest.approx(33e-6 * 348.6**2 / (2 * ohm), rel=1e-9)
    assert not branches_of().branches["dcdc"].live


def test_what_is_connected_to_a_bus_that_is_up_also_strains_the_fuse_of_the_pack() -> None:
    results = Pipeline().later(design(*OWN_CONTACTOR))
    # Full and hot pack 84 x 0.6 mΩ and 8 mΩ of links; 1.9 m of 35 mm² at 0.554 mΩ/m; fuse, contactors and disconnect.
    ohm = 84 * 0.6e-3 + 8e-3 + 1.9 * 0.554e-3 + 3 * 0.4e-3 + 0.25e-3
    ohm += 2 * 1.8 * 4.95e-3 + 8e-3 + 0.2e-3 + 5e-3  # the branch of the converter
    late = 33e-6 * 348.6**2 / (2 * ohm)
    fuse, surge = results["branches"].fuses["main_fuse"], results["precharge"].surge_joule_integral_a2s
    assert fuse.joule_a2s == pytest.approx(surge + late, rel=1e-9)
    assert late > 10 * surge
    assert fuse.words == "closing surge of precharge, whole bus, then dcdc connected to it"
    # Of several packs the share of each is not worked out.
    assert math.isnan(branches_of(*OWN_CONTACTOR, *SECOND_STRING).fuses["main_fuse"].joule_a2s)


def test_charges_count_as_starts_and_are_never_taken_as_none() -> None:
    assert branches_of(Edit(HV, "switching_duty/charges", "4000")).fuses["main_fuse"].pulses == 34000
    # A vehicle without a charger is charged from outside, through its contactors all the same.
    unsaid = branches_of(Edit(HV, "switching_duty", "{starts: 30000, openings_under_load: 10}")).fuses["main_fuse"]
    assert math.isnan(unsaid.pulses)
    assert math.isnan(unsaid.needed_a2s)


def test_only_the_ohmic_part_of_the_pack_holds_back_the_surge_of_a_late_branch() -> None:
    slow = branches_of(*OWN_CONTACTOR).fuses["main_fuse"].joule_a2s
    fast = branches_of(*OWN_CONTACTOR, Edit(PACK, "cell_ohmic_resistance", "0.2 mΩ")).fuses["main_fuse"].joule_a2s
    surge = Pipeline().later(design(*OWN_CONTACTOR))["precharge"].surge_joule_integral_a2s
    rest = 1.9 * 0.554e-3 + 3 * 0.4e-3 + 0.25e-3 + 2 * 1.8 * 4.95e-3 + 8e-3 + 0.2e-3 + 5e-3
    for joule, cell_ohm in ((slow, 0.6e-3), (fast, 0.2e-3)):
        late = 33e-6 * 348.6**2 / (2 * (84 * cell_ohm + 8e-3 + rest))
        assert joule - surge == pytest.approx(late, rel=0.02)


def test_what_flows_between_packs_as_one_is_connected_is_not_taken_as_nothing() -> None:
    # A second pack with contactors of its own, closed onto a bus that the first has charged.
    own = (
        Edit(HV, "parts/pack2", "{kind: pack, sheet: pack-84s, state_of_charge: {minimum: 10 %, maximum: 100 %}, "
             "temperature: {minimum: 0 °C, maximum: 45 °C}}"),
        Edit(HV, "parts/fuse2", "{kind: fuse, sheet: fuse-160}"),
        Edit(HV, "parts/k2_plus", "{kind: contactor, sheet: contactor-200, role: main, marked_plus: a}"),
        Edit(HV, "parts/k2_minus", "{kind: contactor, sheet: contactor-200, role: main, marked_plus: b}"),
        Edit(HV, "connections/S1", "{from: pack2.plus, to: fuse2.a, cable: hv-35, length: 0.9 m}"),
        Edit(HV, "connections/S2", "{from: fuse2.b, to: k2_plus.a, cable: hv-35, length: 0.2 m}"),
        Edit(HV, "connections/S3", "{from: k2_plus.b, to: bus_plus.bar, cable: hv-35, length: 0.2 m}"),
        Edit(HV, "connections/S4", "{from: pack2.minus, to: k2_minus.a, cable: hv-35, length: 0.9 m}"),
        Edit(HV, "connections/S5", "{from: k2_minus.b, to: bus_minus.bar, cable: hv-35, length: 0.2 m}"),
    )  # fmt: skip
    fuses = branches_of(*own).fuses
    assert math.isnan(fuses["fuse2"].needed_a2s)
    assert math.isnan(fuses["main_fuse"].needed_a2s)
    assert not math.isnan(fuses["fuse_dcdc"].needed_a2s)


def test_a_pack_that_does_not_feed_the_converter_does_not_tire_it() -> None:
    alone = (
        Edit(HV, "parts/other", "{kind: pack, sheet: pack-12s, state_of_charge: {minimum: 10 %, maximum: 100 %}, "
             "temperature: {minimum: 0 °C, maximum: 45 °C}}"),
        Edit(HV, "parts/heater", "{kind: heater, sheet: heater, power: {continuous: 0.2 kW}}"),
        Edit(HV, "connections/H1", "{from: other.plus, to: heater.plus, cable: hv-4, length: 1 m}"),
        Edit(HV, "connections/H2", "{from: other.minus, to: heater.minus, cable: hv-4, length: 1 m}"),
        Edit("parts/heater.yaml", "", "{schema_version: 1, kind: heater, rated_power: 1 kW, input_capacitance: 1 µF}"),
        Edit("parts/pack-12s.yaml", "", starter_files()["parts/pack-84s.yaml"].decode().replace(
            "cells_in_series: 84", "cells_in_series: 12").replace("modules: 21", "modules: 3")),
    )  # fmt: skip
    assert branches_of(*alone).branches["dcdc"].aged_v == branches_of().branches["dcdc"].aged_v


def test_two_devices_behind_one_contactor_of_their_own() -> None:
    # A heater beside the converter, both behind the fuse and the contactor: 33 µF and 10 µF are charged together.
    heater = (
        Edit(HV, "parts/heater", "{kind: heater, sheet: heater}"),
        Edit(HV, "connections/H1", "{from: fuse_dcdc.b, to: heater.plus, cable: hv-4, length: 1 m}"),
        Edit(HV, "connections/H2", "{from: k_dcdc.b, to: heater.minus, cable: hv-4, length: 1 m}"),
        Edit("parts/heater.yaml", "", "{schema_version: 1, kind: heater, rated_power: 1 kW, input_capacitance: 10 µF, "
             "voltage: {minimum: 200 V, maximum: 420 V}}"),
    )  # fmt: skip
    result = branches_of(*OWN_CONTACTOR, *heater)
    assert result.branches["dcdc"].live
    assert result.branches["heater"].live
    fuse = result.fuses["fuse_dcdc"]
    assert fuse.devices == ("dcdc", "heater")
    # Shared by both: busbar, fuse, the lead back to the bus and the contactor; their own leads are left out.
    contact = design().sheet_of("k_pre").contact_resistance.value
    assert fuse.ohm == pytest.approx(0.1e-3 + 8e-3 + 1.8 * 4.95e-3 + contact, rel=1e-9)
    assert fuse.joule_a2s == pytest.approx(43e-6 * 348.6**2 / (2 * fuse.ohm), rel=1e-9)
    assert fuse.lasting_a == pytest.approx(1200 / (0.91 * 235.2) + 1000 / 235.2, rel=1e-12)
    # One fuse for both counts once in front of them, with its high end: 120 A of the inverter and 15 A.
    tolerant = branches_of(*OWN_CONTACTOR, *heater, Edit("parts/fuse-15.yaml", "rated_current", "15 A ± 10 %"))
    assert result.trunks["W8"].sum_a == pytest.approx(135.0)
    assert tolerant.trunks["W8"].sum_a == pytest.approx(136.5)


def test_the_fuse_of_one_string_counts_with_the_whole_surge() -> None:
    of = design(*SECOND_STRING)
    results = Pipeline().later(of)
    fuse = results["branches"].fuses["fuse2"]
    assert fuse.devices == ()
    assert fuse.joule_a2s == results["precharge"].surge_joule_integral_a2s
    # A cable behind both strings is guarded by one fuse of each: 160 A twice.
    trunk = results["branches"].trunks["W8"]
    assert (trunk.fuse_a, set(trunk.fuse.split(" and "))) == (320.0, {"main_fuse", "fuse2"})


def test_sum_in_front_of_several_devices_by_hand() -> None:
    trunks = branches_of().trunks
    assert set(trunks) == {"W1", "W2", "W3", "W4", "W8", "W9"}
    # The inverter has no fuse of its own: 120 A of its sheet; the converter's fuse is 15 A.
    assert {t.sum_a for t in trunks.values()} == {135.0}
    assert {(t.fuse, t.fuse_a) for t in trunks.values()} == {("main_fuse", 160.0)}


# --- the graph ---


def pulled_one_by_one(circuit: HvCircuit) -> dict[str, set[str]]:
    """What every device loses its poles without: every conductor taken out in turn."""
    every = [e for e in edges(circuit) if e.kind in CONDUCTING or e.kind == "pack"]
    found = {}
    for device in circuit.devices:
        if joined(every, device.plus, device.minus):
            found[device.id] = {
                e.id for e in every
                if e.kind != "pack" and not joined([o for o in every if o is not e], device.plus, device.minus)
            }  # fmt: skip
    return found


@pytest.mark.parametrize("edits", [(), SECOND_STRING, IN_SERIES, OWN_CONTACTOR], ids=["one", "two", "series", "own"])
def test_what_devices_need_is_what_parts_them_when_pulled(edits: tuple[Edit, ...]) -> None:
    circuit = hv_circuit(design(*edits))
    assert {name: set(way) for name, way in needed_by_devices(circuit).items()} == pulled_one_by_one(circuit)


def test_what_devices_need_in_the_van() -> None:
    loaded = load_folder(DEMO)
    assert loaded.design is not None
    circuit = hv_circuit(loaded.design)
    found = needed_by_devices(circuit)
    assert {name: set(way) for name, way in found.items()} == pulled_one_by_one(circuit)
    # In their order, from the device's plus round to its minus.
    assert [n for n in found["heater"] if n.startswith(("fuse", "main"))] == ["fuse_heater", "main_fuse"]


def test_fuses_in_series_with_a_pack() -> None:
    assert "main_fuse" in in_series_with_packs(hv_circuit(design()))["pack"]
    two = in_series_with_packs(hv_circuit(design(*SECOND_STRING)))
    assert "main_fuse" in two["pack"]
    assert "fuse2" not in two["pack"]
    assert "fuse2" in two["pack2"]
    stacked = in_series_with_packs(hv_circuit(design(*IN_SERIES)))
    assert {"main_fuse", "disconnect"} <= set(stacked["pack"])
    assert set(stacked["pack"]) == set(stacked["pack2"])


# --- workings ---


@pytest.mark.parametrize(
    "edits",
    [
        (),
        OWN_CONTACTOR,
        (
            Edit(PACK, "cells_in_parallel", "2"),
            Edit(PACK, "cell_fuse", "{rated_current: 100 A}"),
            Edit(PACK, "maintenance_plugs", "{pieces: [40, 44], both_poles: true}"),
            Edit(HV, "brake_plausibility", "{current: 16 A, within: 400 ms}"),
        ),
    ],
    ids=["starter", "own contactor", "links and plugs"],
)
def test_every_formula_gives_its_value(edits: tuple[Edit, ...]) -> None:
    results = Pipeline().later(design(*edits))
    lines = [*results["cells"].workings, *results["branches"].workings]
    evaluated = [line for line in lines if line.formula]
    assert len(evaluated) > 12
    for line in evaluated:
        assert evaluate(line) == pytest.approx(line.value, rel=1e-9, abs=1e-9), (line.symbol, line.formula)
    assert all(line.method for line in lines if not line.formula)


# --- tables ---


def test_tables_are_whole_and_say_the_numbers() -> None:
    of = load_folder(DEMO).design
    assert of is not None
    results = Pipeline().later(of)
    tables = [*cells_tables(results["cells"], of), *branches_tables(results["branches"], of)]
    assert len(tables) == 7
    for table in tables:
        assert {len(line.cells) + 1 for line in table.rows} == {len(table.columns)}, table.caption
    texts = {cell.text for table in tables for line in table.rows for cell in line.cells}
    # 8 cells of 4.15 V; 2 kW at 92 % from 96 cells at 2.8 V; drive 200 A and fuses of 20, 63 and 40 A.
    assert {"33.2 V", "8.09 A", "323 A", "4.145 V", "25 %"} <= texts
    assert not any("nan" in text for text in texts)


def test_tables_of_a_design_that_says_nothing() -> None:
    files = dict(starter_files())
    text = files[HV].decode()
    files[HV] = (text[: text.index("    monitor:")] + text[text.index("  disconnect: {") :]).encode()
    kept = [
        x for x in files[PACK].decode().split("\n") if not x.startswith(("modules", "module_mass", "cell_capacity"))
    ]
    files[PACK] = "\n".join(kept).encode()
    of = load_files(files, "starter").design
    assert of is not None
    results = Pipeline().later(of)
    tables = [*cells_tables(results["cells"], of), *branches_tables(results["branches"], of)]
    texts = {cell.text for table in tables for line in table.rows for cell in line.cells}
    assert "not known" in texts
    assert not any("nan" in text for text in texts)
