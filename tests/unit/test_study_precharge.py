"""Behaviour of the precharge study: paths, sequence, gaps in the data, faults, and every formula it prints."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.transient_designs import one_loop, packs, van
from tests.workings import evaluate
from tristrand.design import Design
from tristrand.physics.circuit import Circuit, Integral, amp, operating_point, transient
from tristrand.studies import precharge
from tristrand.studies.circuits import hv_circuit
from tristrand.studies.netlist import batteries, bleeds, leads
from tristrand.studies.opening import lean, precharge_paths
from tristrand.studies.precharge_plan import plan_of
from tristrand.studies.precharge_run import Run
from tristrand.studies.results import PrechargeResult

RELEASED = ("starts: with_bus", "starts: when_released")


def studied(design: Design) -> PrechargeResult:
    return precharge.study(precharge.inputs(design), packs(design))


def seconds_to(share: float, ohm: float, farad: float) -> float:
    """Time of the one-node circuit with the van's built-in resistances beside the bus: tau' ln(V/(V - v))."""
    beside = 1 / (1 / 150e3 + 1 / 220e3)
    top = beside / (ohm + beside)
    return -farad * ohm * top * math.log(1 - share / top)


def test_the_van_stalls_because_of_the_converter() -> None:
    result = studied(van())
    assert (result.contactor, result.bypassed, result.resistor) == ("k_pre", "k_plus", "r_pre")
    assert not result.reaches
    assert result.loads == {"dcdc": 350.0}
    assert result.connected_load_w == 350.0 > result.tolerable_load_w
    # One node: full pack 398.4 V, resistor at its high end, 350 W: v = (V + sqrt(V² - 4 P R))/2, wires left out.
    bus_v = (398.4 + math.sqrt(398.4**2 - 4 * 350 * 71.4)) / 2
    full = [a for a in result.attempts if a.name.startswith("full pack, resistor high")]
    assert [a.plateau_share for a in full] == pytest.approx([bus_v / 398.4] * 2, rel=2e-3)
    assert all(math.isnan(a.target_late_s) and math.isnan(a.resistor_energy_j) for a in result.attempts)


def test_the_van_precharges_once_the_converter_waits() -> None:
    result = studied(van(RELEASED))
    assert result.missing == ()
    assert result.reaches
    late = 0.95 * 1.005 / 0.99
    # All bus capacitances at their high end behind the resistor's: 71.4 Ω, 975 µF + 10 %; pack and wires add 0.1 Ω.
    assert result.slowest_s == pytest.approx(seconds_to(late, 71.5, 1.0725e-3), rel=1e-3)
    early = 0.95 * 0.995 / 1.01
    assert result.fastest_s == pytest.approx(seconds_to(early, 64.7, 0.8775e-3), rel=1e-3)
    assert result.pulse_energy_j == pytest.approx(0.5 * 1.0725e-3 * 398.4**2 * (1 - (1 - late) ** 2), rel=5e-3)
    assert result.fastest_fault_s < result.fastest_s


def test_a_missing_capacitance_is_timed_as_if_it_were_not_there() -> None:
    with_fault = studied(van(RELEASED)).fastest_fault_s
    # The inverter's 900 µF gone: 75 µF + 10 % are left of the bus.
    late = 0.95 * 1.005 / 0.99
    assert with_fault == pytest.approx(seconds_to(late, 71.5, 82.5e-6), rel=1e-3)


def test_series_hold_the_curves_and_the_windows() -> None:
    names = {s.name: s for s in studied(van(RELEASED)).series}
    assert {"bus, slowest", "pack, fastest", "earliest", "time-out"} <= set(names)
    bus = names["bus, slowest"]
    assert bus.y[0] == pytest.approx(0.0, abs=1e-6)
    assert bus.y[-1] == pytest.approx(0.95 * 1.005 / 0.99 * names["pack, slowest"].y[-1], rel=1e-6)
    assert names["earliest"].x == (0.08, 0.08)


@pytest.mark.parametrize("power", ["600 W", "1.3 kW"])
def test_a_load_that_stops_and_starts_counts_as_stalled_and_its_energy_is_not_understated(power: str) -> None:
    design = van(("precharge: 350 W", f"precharge: {power}"))
    data = precharge.inputs(design)
    plan = plan_of(data.circuit)
    assert not isinstance(plan, str)
    run = Run(data, packs(design).packs, plan)
    lane = 6
    assert run.stalled[lane]
    assert math.isnan(run.late[lane])
    # The same lane solved to the time-out with all its starts and stops.
    whole = transient(
        Circuit(run.elements(np.array([lane]), with_loads=True)),
        1.2,
        probes=(Integral("e", amp("r_pre"), amp("r_pre")),),
    )
    assert len(whole.events()) > 20
    energy = float(whole.integrals["e"][0] * run.ohm["r_pre"][lane])
    assert energy <= run.energy["r_pre"][lane] <= 1.5 * energy


def test_a_circuit_without_precharge_says_what_it_lacks() -> None:
    result = studied(van(("role: precharge, place: battery box}\n  r_pre", "role: main, place: battery box}\n  r_pre")))
    assert result.contactor == ""
    assert [m.pointer for m in result.missing] == ["high_voltage/parts"]
    assert "bypasses a main contactor" in result.missing[0].what
    assert result.attempts == ()


def test_a_precharge_contactor_alone_needs_its_resistor() -> None:
    design = one_loop(swap=(("sheet: r-pre, role: precharge", "sheet: r-pre, role: discharge"),))
    result = studied(design)
    assert result.attempts == ()
    bare = one_loop(swap=(("{from: k_pre.b, to: r_pre.a", "{from: k_pre.b, to: k_plus.b"),))
    assert "resistor of role precharge" in studied(bare).missing[0].what


def test_a_device_on_the_pack_without_contactor_is_named_and_is_no_part_of_the_bus() -> None:
    on_the_pack = (("{from: drive.plus, to: dcdc.plus", "{from: pack.plus, to: dcdc.plus"),
                   ("{from: drive.minus, to: dcdc.minus", "{from: pack.minus, to: dcdc.minus"))  # fmt: skip
    result, alone = studied(one_loop(load="300 W", swap=on_the_pack)), studied(one_loop())
    assert result.fed_directly == ("dcdc",)
    assert result.loads == {}
    assert result.reaches
    assert result.slowest_s == pytest.approx(alone.slowest_s, rel=1e-6)
    assert result.pulse_energy_j == pytest.approx(alone.pulse_energy_j, rel=1e-6)


SECOND_PACK = (
    ("  k_plus: {", "  pack2: {kind: pack, sheet: pack, state_of_charge: {minimum: 10 %, maximum: 100 %}, "
     "temperature: {minimum: 0 °C, maximum: 40 °C}}\n  k2_plus: {kind: contactor, sheet: contactor, role: main}\n"
     "  k2_minus: {kind: contactor, sheet: contactor, role: main}\n  k_plus: {"),
    ("  W2: {", "  V1: {from: pack2.plus, to: k2_plus.a, resistance: 1 mΩ}\n"
     "  V2: {from: pack2.minus, to: k2_minus.a, resistance: 1 mΩ}\n"
     "  V3: {from: k2_plus.b, to: drive.plus, resistance: 1 mΩ}\n"
     "  V4: {from: k2_minus.b, to: drive.minus, resistance: 1 mΩ}\n  W2: {"),
)  # fmt: skip


def test_a_second_pack_waits_until_the_bus_is_up() -> None:
    result = studied(one_loop(swap=SECOND_PACK))
    assert len(result.held_open) == 1
    assert result.held_open[0].startswith("k2_")
    assert result.reaches
    alone = studied(one_loop())
    assert result.slowest_s == pytest.approx(alone.slowest_s, rel=1e-4)


def test_precharge_path_leaves_dead_ends_out() -> None:
    (path,) = precharge_paths(hv_circuit(van()))
    assert (path.bypassed.id, path.contactors, path.resistors) == ("k_plus", ("k_pre",), ("r_pre",))


@pytest.mark.parametrize(
    ("swap", "pointer", "open_fields"),
    [
        (("pack_sensor: 0.5 %", ""), "high_voltage/precharge/pack_sensor", ("residual_v", "surge_current_a")),
        (("attempts: 3", ""), "high_voltage/precharge/attempts", ("temperature_after_attempts_c",)),
        (("pause: 20 s", ""), "high_voltage/precharge/pause", ("temperature_after_attempts_c",)),
        (("earliest: 80 ms", ""), "high_voltage/precharge/earliest", ("earliest_s",)),
    ],
)
def test_a_gap_in_the_settings_opens_only_what_needs_it(
    swap: tuple[str, str], pointer: str, open_fields: tuple[str, ...]
) -> None:
    result = studied(van(RELEASED, swap))
    assert [m.pointer for m in result.missing] == [pointer]
    for field in open_fields:
        assert math.isnan(getattr(result, field)), field
    assert result.reaches
    assert result.slowest_s > 0


def test_without_a_target_nothing_is_computed() -> None:
    result = studied(van(RELEASED, ("target: 95 %", "")))
    assert [m.pointer for m in result.missing] == ["high_voltage/precharge/target"]
    assert result.attempts == ()
    assert result.contactor == "k_pre"


def test_a_stalled_attempt_without_time_out_has_no_energy() -> None:
    result = studied(van(("timeout: 1.2 s", "")))
    assert "high_voltage/precharge/timeout" in [m.pointer for m in result.missing]
    assert math.isnan(result.pulse_energy_j)
    assert math.isnan(result.temperature_after_attempts_c)
    assert result.short_power_w > 0


@pytest.mark.parametrize(
    ("line", "field", "open_field"),
    [
        ("heat_capacity: 32 J/K\n", "heat_capacity", "lockout_s"),
        ("pulse_energy: 450 J\n", "pulse_energy", "short_timeout_s"),
    ],
)
def test_a_gap_in_the_resistors_sheet_opens_only_its_temperature(line: str, field: str, open_field: str) -> None:
    result = studied(van((line, ""), file="parts/resistor-68r.yaml"))
    assert [m.pointer for m in result.missing] == [f"parts/resistor-68r/{field}"]
    assert math.isnan(getattr(result, open_field))
    assert result.pulse_energy_j > 0


def test_a_load_that_starts_by_itself_must_say_what_it_draws() -> None:
    result = studied(van(("power: {precharge: 350 W, ", "power: {")))
    assert [m.pointer for m in result.missing] == ["high_voltage/parts/dcdc/power/precharge"]
    assert result.attempts == ()
    result = studied(van(("turn_on_voltage: 215 V\nturn_off_voltage: 195 V\n", ""), file="parts/dcdc-2k.yaml"))
    assert [m.pointer for m in result.missing] == ["parts/dcdc-2k/turn_on_voltage"]


def test_a_plain_resistance_on_the_bus_loads_it() -> None:
    # 12 kW heater as 13 Ω straight on the bus: a divider with 68 Ω ± 5 %.
    result = studied(van(RELEASED, ("sheet: heater-12k,", "sheet: heater-12k, starts: with_bus,")))
    assert result.missing[0].pointer == "high_voltage/parts/heater/power/precharge"
    files = van(RELEASED, ("sheet: heater-12k,", "sheet: heater-12k, starts: with_bus,")).files
    sheet = files["parts/heater-12k.yaml"].decode().replace("control: power", "control: resistance\nresistance: 1300 Ω")
    from tests.transient_designs import read

    result = studied(read({**files, "parts/heater-12k.yaml": sheet.encode()}))
    assert not result.reaches
    assert result.plateau_share == pytest.approx(1300 / (1300 + 71.4), rel=3e-3)
    assert result.tolerable_load_w == 0.0


def test_two_resistors_in_series_share_the_heat() -> None:
    design = one_loop(
        r_pre="50 Ω",
        swap=(
            ("  k_dis: {", "  r_two: {kind: resistor, sheet: r-pre, role: precharge}\n  k_dis: {"),
            (
                "to: r_pre.a, resistance: 0.001 mΩ}",
                "to: r_two.a, resistance: 0.001 mΩ}\n  X1: {from: r_two.b, to: r_pre.a, resistance: 0.001 mΩ}",
            ),
        ),
    )  # fmt: skip
    one, two = studied(one_loop()), studied(design)
    assert two.slowest_s == pytest.approx(one.slowest_s, rel=1e-6)
    assert two.pulse_energy_j == pytest.approx(one.pulse_energy_j / 2, rel=1e-6)
    assert two.short_power_w == pytest.approx(one.short_power_w / 2, rel=5e-3)


def test_every_printed_formula_gives_its_value() -> None:
    for design in (van(), van(RELEASED)):
        lines = [line for line in studied(design).workings if line.formula]
        assert {"f_late", "f_early", "R_bus", "R_load", "P_load", "P_short", "t_short", "T", "t_lock", "dV"} <= {
            w.symbol for w in lines
        }
        for line in lines:
            assert evaluate(line) == pytest.approx(line.value, rel=1e-9), (line.symbol, line.formula)
        for line in studied(design).workings:
            assert line.formula or line.method, line.symbol


def test_inputs_are_plain_and_comparable() -> None:
    one, two = precharge.inputs(van()), precharge.inputs(van())
    assert one == two
    assert hash(one) == hash(two)
    assert one != precharge.inputs(van(RELEASED))


def test_a_lean_circuit_has_the_voltages_and_currents_of_the_whole() -> None:
    design = van()
    circuit = hv_circuit(design)
    resistors = [r for r in circuit.resistors if r.id == "r_pre"]
    items = [*leads(circuit), *batteries(circuit, {"pack": 398.4}, {"pack": 0.05}), *bleeds(circuit.devices)]
    from tristrand.physics.circuit import Resistor

    items += [Resistor(c.id, c.a, c.b, c.ohm) for c in circuit.contacts if c.id in ("k_pre", "k_minus")]
    items += [Resistor(r.id, r.a, r.b, r.ohm.value) for r in resistors]
    small = lean(items, {"pack.plus", "drive.plus", "drive.minus"}, {"r_pre"})
    assert len(small) < len(items) / 2
    whole, less = operating_point(Circuit(tuple(items))), operating_point(Circuit(small))
    assert less.currents_a["r_pre"] == pytest.approx(whole.currents_a["r_pre"], rel=1e-4)
    for node in ("pack.plus", "drive.plus", "drive.minus"):
        assert less.voltages_v[node] == pytest.approx(whole.voltages_v[node], abs=1e-4)


def test_a_target_of_nothing_is_an_open_point() -> None:
    result = studied(van(RELEASED, ("target: 95 %", "target: 0 %")))
    assert [m.pointer for m in result.missing] == ["high_voltage/precharge/target"]
    assert result.attempts == ()
