"""What the solver does at the edges: limits of a circuit, loads that cannot run, currents that lose their path."""

from __future__ import annotations

import math

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
    CircuitError,
    Crossing,
    Diode,
    Element,
    Inductor,
    Integral,
    Peak,
    PowerLoad,
    Probe,
    Resistor,
    Switch,
    amp,
    const,
    operating_point,
    transient,
    volt,
)

PRECHARGE: tuple[Element, ...] = (
    Battery("pack", "p", "m", 400.0, 0.1),
    Resistor("pre", "p", "bus", 100.0),
    Capacitor("c", "bus", "m", 1e-3),
)


def test_all_faults_of_a_circuit_are_named_at_once() -> None:
    with pytest.raises(CircuitError) as caught:
        Circuit(
            (
                Battery("a", "p", "m", math.nan, 0.0),
                Resistor("a", "p", "p", -1.0),
                Capacitor("c", "p", "m", math.inf),
                PowerLoad("l", "p", "m", 1.0, 5.0, 6.0, below="sometimes"),
            )
        )
    text = str(caught.value)
    for part in ("ocv_v is not finite", "resistance_ohm must be greater than 0", "two elements are named 'a'",
                 "both terminals are on node 'p'", "capacitance_f is not finite", "'off' or 'resistive'"):  # fmt: skip
        assert part in text


def test_lanes_must_agree() -> None:
    with pytest.raises(CircuitError, match="numbers of lanes differ"):
        Circuit((Battery("a", "p", "m", np.ones(3), 1.0), Resistor("b", "p", "m", np.ones(2))))


def test_unknown_names_are_told() -> None:
    circuit = Circuit(PRECHARGE)
    with pytest.raises(CircuitError, match="no node is named 'buss'"):
        transient(circuit, 1.0, (), [Peak("x", volt("buss"))])
    with pytest.raises(CircuitError, match="no element is named 'pree'"):
        transient(circuit, 1.0, (), [Peak("x", amp("pree"))])
    with pytest.raises(CircuitError, match="no switch is named 'main'"):
        transient(circuit, 1.0, [At(0.1, "main", True)])
    with pytest.raises(CircuitError, match="no switch is named 'main'"):
        operating_point(circuit, {"main": True})


@covers("physics.circuit.transient.transient")
def test_a_load_too_strong_for_the_precharge_hunts_between_its_thresholds() -> None:
    """On, 1,000 W pulls the bus from 200 V to 150 V; off, the resistor lifts it again: times by closed form."""
    run = transient(Circuit((*PRECHARGE, PowerLoad("l", "bus", "m", 1000.0, 200.0, 150.0))), 500.0)
    assert run.status[0] == "hunting"
    assert "between 150 V and 200 V" in run.events()[-1][1]
    times = [t for t, text in run.events() if "on, full power" in text]
    falls = [t for t, text in run.events() if " off at " in text]
    # unloaded from 150 to 200 V: RC ln(250/200)
    assert times[1] - falls[0] == pytest.approx(0.1001 * math.log(250.0 / 200.0), rel=1e-9)
    assert times[0] == pytest.approx(0.1001 * math.log(400.0 / 200.0), rel=1e-9)


@covers("physics.circuit.transient.transient")
def test_a_load_that_asks_more_than_the_source_can_give_is_told() -> None:
    circuit = Circuit(
        (
            Battery("p", "p", "m", 400.0, 10.0),
            Switch("s", "p", "a", 1e-3),
            PowerLoad("l", "a", "m", 4100.0, 200.0, 50.0),
        )
    )
    run = transient(circuit, 1.0, [At(0.1, "s", True)])
    assert run.status[0] == "hunting"
    assert any("l cannot be supplied" in text for _, text in run.events())


@covers("physics.circuit.transient.transient")
def test_a_load_behind_one_closed_pole_draws_nothing() -> None:
    circuit = Circuit(
        (
            Battery("pack", "p", "m", 400.0, 0.1),
            Switch("pos", "p", "a", 1e-3),
            Switch("neg", "m", "n", 1e-3),
            PowerLoad("l", "a", "n", 1000.0, 200.0, 150.0),
        )
    )
    run = transient(
        circuit, 1.0, [At(0.1, "pos", True), At(0.5, "neg", True)], [Integral("e", amp("l"), volt("a", "n"))]
    )
    assert run.status[0] == "completed"
    assert run.integrals["e"][0] == pytest.approx(1000.0 * 0.5, rel=1e-9)


@covers("physics.circuit.transient.transient")
def test_an_opened_inductor_loses_its_current_and_says_so() -> None:
    circuit = Circuit(
        (
            Battery("b", "p", "m", 100.0, 0.5),
            Inductor("l", "p", "q", 1e-5, 0.5),
            Switch("s", "q", "r", 1.0, closed=True),
            Resistor("load", "r", "m", 8.0),
        )
    )
    run = transient(circuit, 2e-3, [At(1e-3, "s", False)])
    assert run.sample(amp("l"), np.array([0.9e-3]))[0] == pytest.approx(10.0, rel=1e-9)
    assert run.final(amp("l"))[0] == 0.0
    assert "l is forced from 10 A to 0 A" in run.events()[-1][1]


@covers("physics.circuit.transient.transient")
def test_a_free_wheeling_diode_takes_the_current_over() -> None:
    """After the switch opens i = (I0 + Vf/R) e^{-Rt/L} - Vf/R until it is zero."""
    l_h, r, vf, on = 1e-2, 2.0, 0.7, 1e-3
    circuit = Circuit(
        (
            Battery("b", "p", "m", 24.0, 0.1),
            Switch("s", "p", "q", 1e-2, closed=True),
            Inductor("coil", "q", "m", l_h, r),
            Diode("d", "m", "q", vf, on),
        )
    )
    run = transient(circuit, 0.2, [At(0.1, "s", False)], [Peak("d", amp("d"))])
    start = 24.0 / (0.1 + 1e-2 + r) * (1 - math.exp(-(0.11 + r) / l_h * 0.1))
    total = r + on
    assert run.peaks["d"][0][0] == pytest.approx(start, rel=1e-9)
    off = [t for t, text in run.events() if text == "d blocks"]
    assert off[0] - 0.1 == pytest.approx(l_h / total * math.log(1 + start * total / vf), rel=1e-9)
    assert not any("forced" in text for _, text in run.events())


@covers("physics.circuit.transient.transient")
@settings(max_examples=40)
@given(st.floats(1e-7, 1e-3), st.floats(1e-6, 1e-2), st.floats(0.001, 0.9), st.floats(1e-9, 1e-3))
def test_a_crossing_just_below_a_ringing_peak_is_found(l_h: float, c: float, damping: float, below: float) -> None:
    r = 2 * damping * math.sqrt(l_h / c)
    circuit = Circuit((Battery("b", "p", "m", 100.0, r), Inductor("l", "p", "x", l_h), Capacitor("c", "x", "m", c)))
    ratio = math.exp(-math.pi * damping / math.sqrt(1 - damping**2))
    first = math.pi * math.sqrt(l_h * c) / math.sqrt(1 - damping**2)
    level = 100.0 * (1 + ratio) - below
    probes: list[Probe] = [Crossing("t", volt("x", "m"), level), Peak("v", volt("x", "m"))]
    run = transient(circuit, 20 * first, (), probes)
    assert run.peaks["v"][0][0] == pytest.approx(100.0 * (1 + ratio), rel=1e-10)
    assert run.peaks["v"][1][0] == pytest.approx(first, rel=1e-5)
    assert 0.9 * first < run.crossings["t"][0] < first * (1 + 1e-6)


@covers("physics.circuit.operating.operating_point")
def test_steady_loads_obey_limit_threshold_and_resistance() -> None:
    circuit = Circuit(
        (
            Battery("pack", "p", "m", 400.0, 1.0),
            PowerLoad("held", "p", "m", 2e4, 390.0, 390.0),
            PowerLoad("capped", "p", "m", 1e3, 10.0, 5.0, current_limit_a=1.0),
            PowerLoad("weak", "p", "m", 1e3, 500.0, 500.0, below="resistive"),
        )
    )
    point = operating_point(circuit)
    assert point.voltages_v["p"][0] == pytest.approx(390.0, rel=1e-12)
    assert point.currents_a["capped"][0] == pytest.approx(1.0)
    assert point.currents_a["weak"][0] == pytest.approx(390.0 * 1e3 / 500.0**2)
    assert point.currents_a["held"][0] == pytest.approx(10.0 - 1.0 - 1.56)


@covers("physics.circuit.operating.operating_point")
def test_steady_load_that_trips_on_its_own_sag_is_told() -> None:
    circuit = Circuit((Battery("pack", "p", "m", 400.0, 1.0), PowerLoad("a", "p", "m", 3e4, 390.0, 350.0)))
    point = operating_point(circuit)
    assert not point.converged[0]
    assert "load a hunts" in point.reason[0]


@covers("physics.circuit.operating.operating_point")
def test_steady_state_of_floating_islands_is_quiet() -> None:
    circuit = Circuit(
        (
            Battery("pack", "p", "m", 400.0, 0.1),
            Switch("pos", "p", "a", 1e-3),
            Switch("neg", "m", "n", 1e-3),
            Resistor("r", "a", "n", 50.0),
            Inductor("l", "a", "b", 1e-5),
            Resistor("r2", "b", "n", 50.0),
        )
    )
    opened, closed = operating_point(circuit), operating_point(circuit, {"pos": True, "neg": True})
    assert opened.currents_a["r"][0] == pytest.approx(0.0, abs=1e-12)
    assert closed.currents_a["pack"][0] == pytest.approx(400.0 / (25.0 + 0.1 + 2e-3), rel=1e-10)
    assert closed.currents_a["l"][0] == pytest.approx(closed.currents_a["r"][0], rel=1e-10)


@covers("physics.circuit.transient.transient")
def test_sample_and_grid_show_both_sides_of_a_jump() -> None:
    circuit = Circuit((Battery("b", "p", "m", 100.0, 1.0), Switch("s", "p", "q", 1.0), Resistor("r", "q", "m", 8.0)))
    run = transient(circuit, 1.0, [At(0.25, "s", True)])
    times = run.grid()
    values = run.sample(amp("r"), times)
    assert values[times < 0.25] == pytest.approx(0.0)
    assert values[times >= 0.25] == pytest.approx(10.0)
    assert times[times < 0.25].max() == np.nextafter(0.25, 0.0)
    assert math.isnan(run.sample(amp("r"), np.array([1.5]))[0])


@covers("physics.circuit.signals.volt", "physics.circuit.signals.amp", "physics.circuit.signals.const")
def test_signals_combine_as_numbers_do() -> None:
    circuit = Circuit(
        (Battery("b", "p", "m", 100.0, 1.0), Resistor("r1", "p", "q", 4.0), Resistor("r2", "q", "m", 5.0))
    )
    # 10 A: 90 V at p, 50 V at q
    mixed = 2.0 * volt("p", "q") - amp("r2") + const(3.0) - 0.5 * (1.0 - volt("q"))
    run = transient(circuit, 2.0, (), [Integral("s", mixed), Integral("two", const(2.0)), Peak("n", -amp("b"))])
    assert run.integrals["s"][0] == pytest.approx(2.0 * (80.0 - 10.0 + 3.0 - 0.5 * (1.0 - 50.0)), rel=1e-12)
    assert run.integrals["two"][0] == pytest.approx(4.0, rel=1e-14)
    assert run.peaks["n"][0][0] == pytest.approx(-10.0, rel=1e-12)
