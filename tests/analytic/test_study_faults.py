"""The study of short circuits against the circuit solver's operating point, and its protection against sums by hand."""

import math

import pytest

from tristrand.app.starter import starter_files
from tristrand.design import Design, apply_edits, load_files
from tristrand.findings import Edit
from tristrand.physics.circuit import Battery, Circuit, Resistor, operating_point
from tristrand.studies import conductors, faults, operating, pack, protection
from tristrand.studies.opening import fullest
from tristrand.studies.results import FaultsResult, ProtectionResult

HV = "high_voltage.yaml"
SECOND_STRING = (
    Edit(HV, "parts/pack2", "{kind: pack, sheet: pack-84s, state_of_charge: {minimum: 10 %, maximum: 100 %}, "
         "temperature: {minimum: 0 °C, maximum: 45 °C}}"),
    Edit(HV, "parts/fuse2", "{kind: fuse, sheet: fuse-160}"),
    Edit(HV, "connections/S1", "{from: pack2.plus, to: fuse2.a, cable: hv-35, length: 0.9 m}"),
    Edit(HV, "connections/S2", "{from: fuse2.b, to: k_plus.a, cable: hv-35, length: 0.2 m}"),
    Edit(HV, "connections/S3", "{from: pack2.minus, to: disconnect.a, cable: hv-35, length: 0.9 m}"),
)  # fmt: skip


def design(*edits: Edit) -> Design:
    loaded = load_files(apply_edits(starter_files(), list(edits)), "starter")
    assert loaded.design is not None, loaded.problems
    return loaded.design


def studied(of: Design) -> FaultsResult:
    return faults.study(faults.inputs(of), pack.study(pack.inputs(of)))


def protected(of: Design) -> ProtectionResult:
    packs = pack.study(pack.inputs(of))
    amps = conductors.study(conductors.inputs(of), operating.study(operating.inputs(of), packs))
    return protection.study(protection.inputs(of), faults.study(faults.inputs(of), packs), amps)


@pytest.mark.parametrize("edits", [(), SECOND_STRING], ids=["one pack", "two strings"])
def test_strongest_currents_are_those_of_the_circuit_solver(edits: tuple[Edit, ...]) -> None:
    of = design(*edits)
    data, packs, result = faults.inputs(of), pack.study(pack.inputs(of)), studied(of)
    assert len(result.faults) > 20
    for fault in result.faults.values():
        parts = [Resistor(b.id, b.a, b.b, b.cold_ohm) for b in data.branches]
        for name, plus, minus, _ in data.packs:
            figures = packs.packs[name]
            parts.append(Battery(name, plus, minus, fullest(figures).open_circuit_v, figures.fault_ohm))
        short = Resistor("short", fault.start, fault.end, 1e-9)
        point = operating_point(Circuit((*parts, short)))
        assert point.converged.all()
        assert fault.strongest.current_a == pytest.approx(abs(float(point.currents_a["short"][0])), rel=1e-6)
        for name, amps in fault.strongest.through:
            sign = 1.0 if name not in packs.packs else math.copysign(1.0, amps * float(point.currents_a[name][0]))
            assert amps == pytest.approx(sign * float(point.currents_a[name][0]), rel=1e-5, abs=1e-3)


def test_weakest_is_the_empty_aged_pack_with_hot_conductors() -> None:
    of = design(Edit("parts/pack-84s.yaml", "resistance_growth", "300 %"))
    far, near = studied(of).faults["drive across"], studied(design()).faults["drive across"]
    assert far.weakest.current_a < near.weakest.current_a < near.strongest.current_a
    # 84 cells of 1.6 mΩ, the most of the sheet's table, three times that when old, and 8 mΩ of links.
    ohm = 84 * 1.6e-3 * 3 + 8e-3
    volts = 84 * 3.4
    assert far.weakest.current_a < volts / ohm
    assert far.weakest.current_a == pytest.approx(volts / ohm, rel=0.05)


def test_a_fault_across_a_device_is_fed_by_the_capacitors_of_the_others() -> None:
    fault = studied(design()).faults["dcdc across"]
    assert [source.device for source in fault.capacitors] == ["drive"]
    source = fault.capacitors[0]
    # I2t is the stored energy over the loop's resistance, whatever the inductance.
    of = design()
    data = {b.id: b for b in faults.inputs(of).branches}
    ohm = sum(data[name].cold_ohm for name in ("W10", "W11", "W12", "W13", "W14", "fuse_dcdc"))
    farad = of.sheet_of("drive").bus_capacitance.high
    volts = 84 * 4.15
    assert source.joule_integral_a2s == pytest.approx(0.5 * farad * volts**2 / ohm, rel=1e-9)


def test_the_smaller_fuse_clears_and_two_strings_clear_their_own_shares() -> None:
    one = protected(design())
    assert one.fuses["fuse_dcdc"].smallest_at == "dcdc across"
    assert {(p.upstream, p.downstream) for p in one.pairs} == {("main_fuse", "fuse_dcdc")}
    two = protected(design(*SECOND_STRING))
    # Behind both strings each fuse carries its share only, and each has to clear it.
    fault = studied(design(*SECOND_STRING)).faults["drive across"]
    through = dict(fault.weakest.through)
    assert abs(through["main_fuse"]) + abs(through["fuse2"]) == pytest.approx(fault.weakest.current_a, rel=1e-9)
    assert two.fuses["fuse2"].smallest_a <= abs(through["fuse2"]) * (1 + 1e-12)
    # Inside one string the other feeds back through its own fuse: more than its share of a fault behind both.
    inside = dict(studied(design(*SECOND_STRING)).faults["fuse2.a"].strongest.through)
    assert abs(inside["main_fuse"]) > abs(dict(fault.strongest.through)["main_fuse"])


def test_limits_are_the_adiabatic_equation_by_hand() -> None:
    found = protected(design()).leads["W10"]
    # 35 mm² by its largest resistance of 0.554 mΩ/m: 17.241/0.554 mm² of metal; from 125 °C to 250 °C.
    area, k = 17.241379 / 0.554, 226 * math.sqrt(math.log((234.5 + 250) / (234.5 + 125)))
    assert found.limit_a2s == pytest.approx((k * area) ** 2, rel=1e-4)
    assert found.fuse == "main_fuse"
    assert found.worst_a2s < found.limit_a2s
    slow = protected(
        design(Edit("parts/fuse-160.yaml", "melting", "[{current: 2 kA, time: 500 s}, {current: 4 kA, time: 1 s}]"))
    )
    assert math.isinf(slow.leads["W10"].worst_a2s)
    assert slow.leads["W10"].weakest


def test_without_a_source_nothing_is_claimed() -> None:
    result = studied(design(Edit("parts/pack-84s.yaml", "link_resistance", "null")))
    assert not result.faults
    assert any("link_resistance" in m.pointer for m in result.missing)
