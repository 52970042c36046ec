"""Lanes that end where a load which has started stops again, and crossings that are the stop itself."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from tests.evidence import covers
from tristrand.physics.circuit import (
    At,
    Battery,
    Capacitor,
    Circuit,
    Crossing,
    Element,
    PowerLoad,
    Resistor,
    Switch,
    const,
    transient,
    volt,
)

PRECHARGE: tuple[Element, ...] = (
    Battery("pack", "p", "m", 400.0, 0.1),
    Resistor("pre", "p", "bus", 100.0),
    Capacitor("c", "bus", "m", 1e-3),
)
RC_S = 0.1001


def fall_s(power_w: float, from_v: float, to_v: float) -> float:
    """Time of C v' = (V - v)/R - P/v between two voltages, by quadrature."""
    return float(quad(lambda v: 1e-3 / ((400.0 - v) / 100.1 - power_w / v), from_v, to_v, epsabs=0, epsrel=1e-12)[0])


@covers("physics.circuit.transient.transient")
def test_a_lane_ends_where_a_started_load_turns_off() -> None:
    power = np.array([1000.0, 300.0, 0.0, 800.0])
    circuit = Circuit((*PRECHARGE, PowerLoad("dcdc", "bus", "m", power, 200.0, 150.0)))
    run = transient(circuit, 1.0, (), [Crossing("on", volt("bus"), 200.0)], stop_at_drop=True)
    assert run.status.tolist() == ["dropped", "completed", "completed", "dropped"]
    on_s = RC_S * math.log(400.0 / 200.0)
    for lane in (0, 3):
        expected = on_s + fall_s(float(power[lane]), 200.0, 150.0)
        assert run.final_time[lane] == pytest.approx(expected, rel=1e-8)
        assert run.final(volt("bus"))[lane] == pytest.approx(150.0, rel=1e-10)
        assert run.events(lane)[-1] == (run.final_time[lane], "stopped: dcdc drops out")
    assert run.final_time[1:3].tolist() == [1.0, 1.0]
    # 300 W finds a resting point above 150 V: v = (V + sqrt(V^2 - 4 P R))/2
    assert run.final(volt("bus"))[1] == pytest.approx((400 + math.sqrt(400**2 - 4 * 300 * 100.1)) / 2, rel=1e-3)


@covers("physics.circuit.transient.transient")
def test_a_lane_ends_where_a_load_is_held_at_its_threshold() -> None:
    """400 V, 100.1 ohm, 1 mF: 200 W from 50 V on is more than (400 - 50) 50/R = 174.8 W, 150 W is less."""
    power = np.array([200.0, 150.0])
    circuit = Circuit((*PRECHARGE, PowerLoad("dcdc", "bus", "m", power, 50.0, 50.0)))
    run = transient(circuit, 0.5, stop_at_drop=True)
    assert run.status.tolist() == ["dropped", "completed"]
    assert run.final_time[0] == pytest.approx(RC_S * math.log(400.0 / 350.0), rel=1e-9)
    assert run.final(volt("bus"))[0] == pytest.approx(50.0, rel=1e-10)
    assert run.events()[-1][1] == "stopped: dcdc is held at its threshold"


@covers("physics.circuit.transient.transient")
def test_a_load_cut_off_by_a_switch_drops_and_one_that_never_started_does_not() -> None:
    loads = (PowerLoad("near", "bus", "m", 100.0, 100.0, 50.0), PowerLoad("never", "bus", "m", 100.0, 450.0, 420.0))
    circuit = Circuit(
        (
            Battery("pack", "p", "m", 400.0, 0.1), Switch("main", "p", "x", 1e-3, True),
            Resistor("pre", "x", "bus", 10.0), Capacitor("c", "bus", "m", 1e-3), *loads,
        )
    )  # fmt: skip
    run = transient(circuit, 5.0, [At(0.3, "main", False)], stop_at_drop=True)
    assert run.status[0] == "dropped"
    assert run.events()[-1][1] == "stopped: near drops out"
    # C (v0^2 - 50^2)/2 = P t from the resting point at 0.3 s on
    start = float(run.sample(volt("bus"), np.array([0.3]))[0])
    assert run.final_time[0] - 0.3 == pytest.approx(1e-3 * (start**2 - 50.0**2) / 2 / 100.0, rel=1e-9)


@covers("physics.circuit.transient.transient")
def test_without_the_option_the_load_goes_on_and_the_option_changes_nothing_before() -> None:
    circuit = Circuit((*PRECHARGE, PowerLoad("dcdc", "bus", "m", 800.0, 200.0, 150.0)))
    on, off = transient(circuit, 0.5), transient(circuit, 0.5, stop_at_drop=True)
    assert on.status[0] == "completed"
    assert on.final_time[0] == 0.5 > off.final_time[0]
    times = np.linspace(0.0, off.final_time[0], 50)[:-1]
    assert off.sample(volt("bus"), times) == pytest.approx(on.sample(volt("bus"), times), rel=1e-12)


@covers("physics.circuit.transient.transient")
@pytest.mark.parametrize("power", [0.0, 60.0])
def test_a_crossing_that_is_the_stop_has_the_stop_time(power: float) -> None:
    rng = np.random.default_rng(7)
    n = 400
    ocv, ohm, farad = rng.uniform(300, 420, n), rng.uniform(50, 120, n), rng.uniform(3e-4, 1.2e-3, n)
    circuit = Circuit(
        (
            Battery("pack", "p", "m", ocv, 0.1), Resistor("pre", "p", "bus", ohm), Capacitor("c", "bus", "m", farad),
            PowerLoad("dcdc", "bus", "m", power, 100.0, 50.0),
        )
    )  # fmt: skip
    signal = volt("bus") - 0.9 * volt("p")
    stop = Crossing("stop", signal)
    probes = [Crossing("twin", volt("bus") - 0.9 * volt("p")), Crossing("n", const(-1.0))]
    run = transient(circuit, 5.0, (), probes, stop)
    stopped = run.status == "stopped"
    assert stopped.all()
    assert np.isnan(run.crossings["n"]).all()
    assert (run.crossings["twin"] == run.final_time).all()
    if power == 0:
        tau = (ohm + 0.1) * farad
        # bus = V (1 - e), p = V (1 - 0.1/(R + 0.1) e) with e = exp(-t/tau): 1 - e = 0.9 - 0.09 e/(R + 0.1)
        e = 0.1 / (1 - 0.09 / (ohm + 0.1))
        assert run.final_time == pytest.approx(-tau * np.log(e), rel=1e-9)
