"""What must hold for any circuit: energy and charge kept, lanes equal single runs, superposition."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.evidence import covers
from tristrand.physics.circuit import (
    At,
    Battery,
    Capacitor,
    Circuit,
    CurrentSource,
    Element,
    Inductor,
    Integral,
    Peak,
    PowerLoad,
    Resistor,
    Switch,
    Transient,
    amp,
    operating_point,
    transient,
    volt,
)
from tristrand.physics.circuit.elements import Number

NODES = ("g", "n1", "n2", "n3", "n4", "n5")


def _log(draw: st.DrawFn, low: float, high: float) -> float:
    return float(10 ** draw(st.floats(np.log10(low), np.log10(high))))


@st.composite
def circuits(draw: st.DrawFn, loads: bool = False) -> tuple[Circuit, list[At]]:
    """A connected circuit of random elements: a tree of resistive or inductive branches and more on top."""
    elements: list[Element] = [Battery("e0", "n1", "g", draw(st.floats(100.0, 800.0)), _log(draw, 0.01, 1.0))]
    orders: list[At] = []
    for k in range(2, len(NODES)):
        other = NODES[draw(st.integers(0, k - 1))]
        kind = draw(st.sampled_from(("resistor", "inductor", "switch")))
        if kind == "resistor":
            elements.append(Resistor(f"t{k}", other, NODES[k], _log(draw, 1e-3, 1e3)))
        elif kind == "inductor":
            elements.append(Inductor(f"t{k}", other, NODES[k], _log(draw, 1e-7, 1e-3), _log(draw, 1e-3, 1.0)))
        else:
            elements.append(Switch(f"t{k}", other, NODES[k], _log(draw, 1e-4, 1e-1), closed=draw(st.booleans())))
            orders.append(At(draw(st.floats(1e-3, 9e-3)), f"t{k}", True))
        # a path to g for every node, as insulation resistance is; also keeps inductor currents from being cut off
        elements.append(Resistor(f"r{k}", NODES[k], "g", _log(draw, 10.0, 1e5)))
    for k in range(draw(st.integers(1, 4))):
        a, b = draw(st.sampled_from([(a, b) for a in NODES for b in NODES if a < b]))
        elements.append(Capacitor(f"c{k}", a, b, _log(draw, 1e-8, 1e-2), draw(st.floats(-100.0, 400.0))))
    if loads:
        k = draw(st.integers(2, len(NODES) - 1))
        elements.append(Capacitor("cl", NODES[k], "g", _log(draw, 1e-5, 1e-2)))
        on_v = draw(st.floats(50.0, 300.0))
        elements.append(PowerLoad("load", NODES[k], "g", _log(draw, 1.0, 1e4), on_v, 0.5 * on_v))
    return Circuit(tuple(elements), reference="g"), orders


def _ledger(circuit: Circuit) -> list[Integral]:
    """Energy out of every battery and into every other element."""
    out = []
    for e in circuit.elements:
        a, b = (getattr(e, t) for t in e.terminals)
        out.append(Integral(e.name, amp(e.name), volt(a, b)))
    return out


def _balanced(circuit: Circuit, run: Transient, relative: float) -> None:
    given_j = run.integrals["e0"][0]
    taken = [v[0] for name, v in run.integrals.items() if name != "e0"]
    scale = abs(given_j) + sum(abs(t) for t in taken)
    battery = circuit.element("e0")
    assert isinstance(battery, Battery)
    # what rounding of a node voltage may carry through the battery: a 1e-15 part of its short-circuit energy
    rounding = 1e-15 * float(battery.ocv_v) ** 2 / float(battery.resistance_ohm) * run.final_time[0]
    assert abs(given_j - sum(taken)) <= relative * scale + rounding


def _stored(circuit: Circuit, run: Transient, name: str) -> float:
    element = circuit.element(name)
    if isinstance(element, Capacitor):
        return float(0.5 * element.capacitance_f * run.final(volt(element.a, element.b))[0] ** 2)
    assert isinstance(element, Inductor)
    return float(0.5 * element.inductance_h * run.final(amp(name))[0] ** 2)


@covers("physics.circuit.transient.transient")
@settings(max_examples=60)
@given(circuits())
def test_energy_out_of_the_battery_is_energy_into_everything_else(made: tuple[Circuit, list[At]]) -> None:
    circuit, orders = made
    run = transient(circuit, 1e-2, orders, _ledger(circuit))
    _balanced(circuit, run, 1e-8)


@covers("physics.circuit.transient.transient")
@settings(max_examples=40)
@given(circuits(loads=True))
def test_energy_is_kept_with_a_constant_power_load(made: tuple[Circuit, list[At]]) -> None:
    circuit, orders = made
    run = transient(circuit, 1e-2, orders, _ledger(circuit))
    _balanced(circuit, run, 1e-7)


@covers("physics.circuit.transient.transient")
@settings(max_examples=40)
@given(circuits())
def test_energy_into_an_inductor_is_its_stored_energy_and_loss(made: tuple[Circuit, list[At]]) -> None:
    circuit, _ = made
    inductors = [e for e in circuit.elements if isinstance(e, Inductor)]
    probes = _ledger(circuit) + [Integral("q" + e.name, amp(e.name), amp(e.name)) for e in inductors]
    run = transient(circuit, 1e-2, (), probes)
    for e in inductors:
        into = run.integrals[e.name][0]
        held = _stored(circuit, run, e.name) + float(e.resistance_ohm) * run.integrals["q" + e.name][0]
        start = sum(abs(v[0]) for v in run.integrals.values())
        assert abs(into - held) <= 1e-8 * (start + 1e-9)


@covers("physics.circuit.transient.transient")
@settings(max_examples=30)
@given(st.floats(1e-6, 1e-2), st.floats(1e-6, 1e-2), st.floats(1.0, 800.0), st.floats(1e-4, 10.0))
def test_joining_two_capacitors_keeps_the_charge_and_loses_the_energy(
    c1: float, c2: float, v1: float, r: float
) -> None:
    circuit = Circuit((Capacitor("a", "x", "g", c1, v1), Capacitor("b", "y", "g", c2), Switch("s", "x", "y", r)))
    tau = r * c1 * c2 / (c1 + c2)
    run = transient(circuit, 60 * tau, [At(tau, "s", True)], [Integral("e", amp("s"), volt("x", "y"))])
    shared = c1 * v1 / (c1 + c2)
    assert run.final(volt("x", "g"))[0] == pytest.approx(shared, rel=1e-10)
    assert run.final(volt("y", "g"))[0] == pytest.approx(shared, rel=1e-10)
    assert run.integrals["e"][0] == pytest.approx(0.5 * c1 * c2 / (c1 + c2) * v1**2, rel=1e-9)


@covers("physics.circuit.transient.transient")
def test_capacitors_in_parallel_merge_with_their_charge() -> None:
    circuit = Circuit(
        (Capacitor("a", "x", "g", 1e-3, 400.0), Capacitor("b", "x", "g", 3e-3), Resistor("r", "x", "g", 1e6))
    )
    run = transient(circuit, 1e-6)
    assert run.sample(volt("x", "g"), np.array([0.0]))[0] == pytest.approx(100.0, rel=1e-12)


@covers("physics.circuit.transient.transient")
@settings(max_examples=20)
@given(
    st.lists(st.tuples(st.floats(10.0, 800.0), st.floats(0.05, 50.0), st.floats(1.0, 400.0)), min_size=2, max_size=6)
)
def test_a_lane_of_a_batch_is_the_single_run(rows: list[tuple[float, float, float]]) -> None:
    ocv, ohm, watts = (np.array(column) for column in zip(*rows, strict=True))

    def run(v: Number, r: Number, p: Number) -> Transient:
        circuit = Circuit(
            (
                Battery("pack", "p", "m", v, 0.1),
                Resistor("pre", "p", "bus", r),
                Capacitor("c", "bus", "m", 1e-3),
                Inductor("l", "bus", "d", 1e-5, 0.1),
                Capacitor("cd", "d", "m", 1e-4),
                PowerLoad("load", "d", "m", p, 200.0, 120.0),
            )
        )
        return transient(circuit, 0.1, (), [Integral("e", amp("pack"), volt("p", "m")), Peak("i", amp("l"))])

    batch = run(ocv, ohm, watts)
    for lane, (v, r, p) in enumerate(rows):
        alone = run(v, r, p)
        assert batch.status[lane] == alone.status[0]
        if alone.status[0] == "completed":
            assert batch.integrals["e"][lane] == pytest.approx(alone.integrals["e"][0], rel=1e-10)
            assert batch.peaks["i"][0][lane] == pytest.approx(alone.peaks["i"][0][0], rel=1e-10)


@covers("physics.circuit.transient.transient", "physics.circuit.operating.operating_point")
def test_responses_to_two_sources_add_up() -> None:
    def run(v: float, i: float) -> tuple[float, float]:
        circuit = Circuit(
            (
                Battery("b", "p", "m", v, 0.2),
                Inductor("l", "p", "x", 1e-4, 0.1),
                Capacitor("c", "x", "m", 1e-3),
                CurrentSource("s", "m", "x", i),
                Resistor("r", "x", "m", 7.0),
            )
        )
        return (
            float(transient(circuit, 1e-3).final(volt("x", "m"))[0]),
            float(operating_point(circuit).voltages_v["x"][0]),
        )

    both, one, two = run(100.0, 30.0), run(100.0, 0.0), run(0.0, 30.0)
    assert both[0] == pytest.approx(one[0] + two[0], rel=1e-11)
    assert both[1] == pytest.approx(one[1] + two[1], rel=1e-11)
    # steady state by the divider: (100/0.3 + 30) / (1/0.3 + 1/7)
    assert both[1] == pytest.approx((100.0 / 0.3 + 30.0) / (1 / 0.3 + 1 / 7.0), rel=1e-12)
