"""The solver against closed forms, each to the digits printed in the worked examples of the formulas."""

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
    Command,
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
    When,
    amp,
    operating_point,
    transient,
    volt,
)
from tristrand.physics.circuit.radau import radau_tableau

V, RS, R, C = 400.0, 0.1, 100.0, 1e-3


def printed(value: float, text: str) -> None:
    """The value rounds to the printed digits, give or take one half of the last."""
    digits = len(text.split(".")[1]) if "." in text else 0
    assert abs(value - float(text)) <= 0.5000001 * 10.0**-digits, f"{value!r} is not {text}"


def precharge(*more: Element, v: float = V, r: float = R, c: float = C, v0: float = 0.0) -> Circuit:
    """Battery, resistor, capacitor, and what else hangs on the bus."""
    return Circuit(
        (
            Battery("pack", "p", "m", v, RS),
            Resistor("pre", "p", "bus", r),
            Capacitor("bus", "bus", "m", c, v0),
            *more,
        )
    )


BUS = volt("bus", "m")


@covers("physics.circuit.transient.transient")
def test_precharge_worked_example_times_energy_and_peaks() -> None:
    heat = Integral("heat", amp("pre"), volt("p", "bus"))
    probes: list[Probe] = [Crossing(f"t{f}", BUS, f / 100 * V) for f in (90, 95, 98)]
    run = transient(precharge(), 5.0, (), [*probes, heat, Peak("i", amp("pre"))])
    for name, text in (("t90", "0.2304888"), ("t95", "0.2998728"), ("t98", "0.3915935")):
        printed(run.crossings[name][0], text)
    printed(run.integrals["heat"][0], "79.9201")
    printed(run.peaks["i"][0][0], "3.9960")
    printed(run.peaks["i"][0][0] ** 2 * R, "1596.8")
    assert run.peaks["i"][1][0] == 0.0


@covers("physics.circuit.transient.transient")
@pytest.mark.parametrize(("fraction", "text"), [(0.9, "79.200"), (0.95, "79.800")])
def test_resistor_energy_up_to_a_fraction(fraction: float, text: str) -> None:
    both = Integral("both", amp("pack"), volt("p", "bus"))
    inside = Integral("inside", amp("pack"), amp("pack"))
    run = transient(precharge(), 5.0, (), [both, inside], stop=Crossing("stop", BUS, fraction * V))
    assert run.status[0] == "stopped"
    printed(run.integrals["both"][0] + RS * run.integrals["inside"][0], text)


@covers("physics.circuit.transient.transient")
def test_precharge_beside_a_bleeder_plateaus_below_90_percent() -> None:
    run = transient(
        precharge(Resistor("bleeder", "bus", "m", 900.0)),
        3.0,
        (),
        [Crossing("t340", BUS, 340.0), Crossing("t90", BUS, 360.0)],
    )
    printed(run.crossings["t340"][0], "0.2605208")
    assert math.isnan(run.crossings["t90"][0])
    printed(run.final(BUS)[0], "359.964")
    early = transient(precharge(Resistor("bleeder", "bus", "m", 900.0)), 1.0)
    printed(early.final(BUS)[0], "359.9586")


@covers("physics.circuit.transient.transient")
def test_constant_power_load_from_120_v_settles_on_the_upper_root() -> None:
    load = PowerLoad("load", "bus", "m", 200.0, 120.0, 120.0)
    run = transient(precharge(load), 8.0)
    printed(run.final(BUS)[0], "341.3506")
    assert run.status[0] == "completed"


@covers("physics.circuit.transient.transient")
def test_constant_power_load_from_50_v_stalls_at_its_threshold() -> None:
    load = PowerLoad("load", "bus", "m", 200.0, 50.0, 50.0)
    run = transient(precharge(load), 3.0)
    assert run.final(BUS)[0] == pytest.approx(50.0, rel=1e-9)
    # held there the load passes what the resistor brings: (400 - 50)/100.1
    assert run.final(amp("load"))[0] == pytest.approx(350.0 / 100.1, rel=1e-9)
    assert "held at its threshold" in run.events()[-1][1]


@covers("physics.circuit.transient.transient")
@pytest.mark.parametrize(("fraction", "limit"), [(0.95, 75.924), (0.90, 143.856)])
def test_largest_power_that_still_reaches_the_fraction(fraction: float, limit: float) -> None:
    watts = limit * np.array([1 - 1e-5, 1 + 1e-5])  # the printed limit has five digits
    load = PowerLoad("load", "bus", "m", watts, 360.0 if fraction == 0.95 else 330.0, 100.0)
    run = transient(precharge(load), 20.0, (), [Crossing("reached", BUS, fraction * V)])
    assert np.isfinite(run.crossings["reached"]).tolist() == [True, False]


@covers("physics.circuit.transient.transient")
def test_closing_surge_worked_example() -> None:
    circuit = Circuit(
        (Battery("b", "p", "m", 20.0, 0.02), Inductor("l", "p", "x", 2e-6), Capacitor("c", "x", "m", 1e-3))
    )
    run = transient(circuit, 0.01, (), [Peak("i", amp("l")), Integral("i2t", amp("l"), amp("l"))])
    printed(run.peaks["i"][0][0], "328.4574")
    printed(run.peaks["i"][1][0] * 1e6, "61.726")
    printed(run.integrals["i2t"][0], "10.0000")


@covers("physics.circuit.transient.transient")
@pytest.mark.parametrize(
    ("residual_v", "peak", "i2t"), [(16.0, "262.8", "6.4"), (32.0, "525.5", "25.6"), (64.0, "1051", "102.4")]
)
def test_closing_surge_on_a_320_v_bus(residual_v: float, peak: str, i2t: str) -> None:
    circuit = Circuit(
        (
            Battery("b", "p", "m", 320.0, 0.01),
            Inductor("l", "p", "q", 2e-6, 0.009),
            Switch("main", "q", "x", 0.001),
            Capacitor("c", "x", "m", 1e-3, 320.0 - residual_v),
        )
    )
    probes: list[Probe] = [Peak("i", amp("main")), Integral("i2t", amp("main"), amp("main"))]
    run = transient(circuit, 0.01, [At(1e-3, "main", True)], probes)
    printed(run.peaks["i"][0][0], peak)
    printed(run.integrals["i2t"][0], i2t)


@covers("physics.circuit.transient.transient")
def test_fault_current_worked_example() -> None:
    circuit = Circuit(
        (Battery("b", "p", "m", 403.2, 0.0636), Inductor("l", "p", "f", 1e-5), Switch("s", "f", "m", 1e-12, True))
    )
    times = (0.5e-3, 1e-3, 2e-3, 5e-3, 10e-3)
    probes: list[Probe] = [Integral(f"q{k}", amp("l"), amp("l"), stop_s=t) for k, t in enumerate(times)]
    melts = {"1e4": (1e4, "0.4689", "6018"), "1e5": (1e5, "2.724", None)}
    run = transient(circuit, 0.0101, (), probes)
    current = run.sample(amp("l"), np.array(times))
    for value, text in zip(current, ("6075.985", "6328.659", "6339.604"), strict=False):
        printed(value, text)
    for k, text in enumerate(("11136.56", "30733.70", "70902.7", "191475", "392429")):
        printed(run.integrals[f"q{k}"][0], text)
    for limit, ms, amps in melts.values():
        melt_s = _time_of_i2t(limit)
        printed(melt_s * 1e3, ms)
        probe = Integral("q", amp("l"), amp("l"), stop_s=melt_s)
        assert transient(circuit, 0.0101, (), [probe]).integrals["q"][0] == pytest.approx(limit, rel=1e-9)
        if amps:
            printed(run.sample(amp("l"), np.array([melt_s]))[0], amps)


def _time_of_i2t(limit: float) -> float:
    """Time at which I²t = Ip² (t - 2τ(1 - e^{-t/τ}) + τ/2 (1 - e^{-2t/τ})) reaches the limit."""
    peak, tau = 403.2 / 0.0636, 1e-5 / 0.0636
    low, high = 0.0, 0.01
    for _ in range(80):
        t = 0.5 * (low + high)
        x = math.exp(-t / tau)
        low, high = (t, high) if peak**2 * (t - 2 * tau * (1 - x) + tau / 2 * (1 - x * x)) < limit else (low, t)
    return low


@covers("physics.circuit.transient.transient")
@pytest.mark.parametrize(
    ("v", "c", "ohm", "text"),
    [(400.0, 1e-3, 5e3, "9.4856"), (400.0, 1e-3, 1e4, "18.9712"), (400.0, 1e-3, 2635.57, "5.0000")],
)
def test_passive_discharge_to_60_v(v: float, c: float, ohm: float, text: str) -> None:
    circuit = Circuit((Capacitor("c", "b", "m", c, v), Resistor("r", "b", "m", ohm)))
    run = transient(circuit, 100.0, (), [Crossing("t60", volt("b", "m"), 60.0, rising=False)])
    printed(run.crossings["t60"][0], text)


@covers("physics.circuit.operating.operating_point")
def test_smaller_root_of_the_power_equation_and_the_largest_power() -> None:
    circuit = Circuit(
        (Battery("b", "p", "m", 355.2, 0.0576), PowerLoad("l", "p", "m", np.array([80e3, 547.5e3, 547.7e3])))
    )
    point = operating_point(circuit)
    printed(point.currents_a["b"][0], "234.113")
    printed(point.voltages_v["p"][0], "341.715")
    assert point.converged.tolist() == [True, True, False]
    assert "the source can give at most 547.6 kW here" in point.reason[2]
    assert np.isnan(point.currents_a["b"][2])


@covers("physics.circuit.operating.operating_point")
@settings(max_examples=60)
@given(st.floats(50.0, 900.0), st.floats(0.001, 5.0), st.floats(0.001, 0.9999))
def test_power_root_against_its_formula(v: float, r: float, share: float) -> None:
    watts = share * v * v / (4 * r)
    circuit = Circuit((Battery("b", "p", "m", v, r), PowerLoad("l", "p", "m", watts)))
    point = operating_point(circuit)
    assert point.converged[0]
    # share close to 1 makes the root sensitive to rounding as 1/sqrt(1 - share)
    assert point.currents_a["b"][0] == pytest.approx((v - math.sqrt(v * v - 4 * r * watts)) / (2 * r), rel=1e-9)


@covers("physics.circuit.operating.operating_point")
def test_two_packs_share_a_load_by_millman() -> None:
    circuit = Circuit(
        (Battery("a", "p", "m", 400.0, 0.1), Battery("b", "p", "m", 396.0, 0.2), Resistor("r", "p", "m", 4.0))
    )
    point = operating_point(circuit)
    v = (400.0 / 0.1 + 396.0 / 0.2) / (1 / 0.1 + 1 / 0.2 + 1 / 4.0)
    assert point.voltages_v["p"][0] == pytest.approx(v, rel=1e-13)
    assert point.currents_a["b"][0] == pytest.approx((396.0 - v) / 0.2, rel=1e-10)
    assert point.residual[0] < 1e-9


@covers("physics.circuit.transient.transient")
@settings(max_examples=30)
@given(st.floats(1e-7, 1e-4), st.floats(1e-5, 1e-2), st.floats(-1e-6, 1e-6))
def test_critical_damping(l: float, c: float, off: float) -> None:  # noqa: E741
    r = 2 * math.sqrt(l / c) * (1 + off)
    circuit = Circuit((Battery("b", "p", "m", 20.0, r), Inductor("l", "p", "x", l), Capacitor("c", "x", "m", c)))
    run = transient(circuit, 40 * math.sqrt(l * c), (), [Peak("i", amp("l")), Integral("i2t", amp("l"), amp("l"))])
    # r = 2 sqrt(L/C): i = (V/L) t e^{-αt}, largest at t = 1/α: V/(L α e) = 2 V / (r e)
    assert run.peaks["i"][0][0] == pytest.approx(2 * 20.0 / (2 * math.sqrt(l / c)) / math.e, rel=3e-6)
    assert run.integrals["i2t"][0] == pytest.approx(0.5 * c * 400.0 / r, rel=1e-8)


@covers("physics.circuit.transient.transient")
def test_equal_time_constants() -> None:
    """Two equal RC sections apart: the matrix has a double eigenvalue."""
    circuit = Circuit(
        (
            Battery("b", "p", "m", 100.0, 1e-9),
            Resistor("r1", "p", "x", 10.0),
            Capacitor("c1", "x", "m", 1e-3),
            Resistor("r2", "p", "y", 10.0),
            Capacitor("c2", "y", "m", 1e-3),
        )
    )
    run = transient(circuit, 0.02)
    for node in ("x", "y"):
        assert run.final(volt(node, "m"))[0] == pytest.approx(100.0 * (1 - math.exp(-2.0)), rel=1e-8)


@covers("physics.circuit.radau.radau_tableau")
def test_radau_of_three_stages_is_the_one_in_the_books() -> None:
    t, s6 = radau_tableau(3), math.sqrt(6.0)
    c = [(4 - s6) / 10, (4 + s6) / 10, 1.0]
    a = [
        [(88 - 7 * s6) / 360, (296 - 169 * s6) / 1800, (-2 + 3 * s6) / 225],
        [(296 + 169 * s6) / 1800, (88 + 7 * s6) / 360, (-2 - 3 * s6) / 225],
        [(16 - s6) / 36, (16 + s6) / 36, 1 / 9],
    ]
    assert t.c == pytest.approx(c, rel=1e-13)
    assert t.a == pytest.approx(np.array(a), rel=1e-12)


@covers("physics.circuit.radau.radau_tableau", "physics.circuit.radau.radau_step")
@pytest.mark.parametrize("stages", [1, 2, 3, 4, 5, 6, 7])
def test_radau_meets_the_order_conditions_of_order_2s_minus_1(stages: int) -> None:
    t = radau_tableau(stages)
    b = t.a[-1]
    for q in range(1, 2 * stages):  # B(2s - 1)
        assert b @ t.c ** (q - 1) == pytest.approx(1 / q, rel=1e-11)
    for q in range(1, stages + 1):  # C(s)
        assert t.a @ t.c ** (q - 1) == pytest.approx(t.c**q / q, rel=1e-11)
    for q in range(1, stages):  # D(s - 1)
        left = (b * t.c ** (q - 1)) @ t.a
        assert left == pytest.approx(b * (1 - t.c**q) / q, rel=1e-9, abs=1e-13)


@covers("physics.circuit.radau.radau_step", "physics.circuit.transient.transient")
@settings(max_examples=25)
@given(st.floats(0.1, 100.0), st.floats(1e-5, 1e-2), st.floats(0.05, 0.9))
def test_constant_power_discharge_has_a_closed_form(ohm: float, c: float, share: float) -> None:
    """C v' = -P/v alone: v² = v0² - 2Pt/C. The resistor belongs to a branch of its own."""
    v0, watts = 400.0, 1000.0
    t_end = share * 0.5 * c * v0**2 / watts
    circuit = Circuit(
        (
            Capacitor("c", "b", "m", c, v0),
            PowerLoad("l", "b", "m", watts, 10.0, 5.0),
            Battery("other", "x", "m", 12.0, 0.01),
            Resistor("r", "x", "m", ohm),
        )
    )
    run = transient(circuit, t_end, (), [Crossing("half", volt("b", "m"), 390.0, rising=False)])
    assert run.final(volt("b", "m"))[0] == pytest.approx(math.sqrt(v0**2 - 2 * watts * t_end / c), rel=1e-8)
    if not math.isnan(run.crossings["half"][0]):
        assert run.crossings["half"][0] == pytest.approx(c * (400.0**2 - 390.0**2) / (2 * watts), rel=1e-7)


@covers("physics.circuit.radau.radau_step")
def test_the_two_methods_agree_on_one_linear_circuit() -> None:
    """A load of next to no power sends the same circuit through the Radau steps instead of the modes."""

    def run(watts: float) -> dict[str, float]:
        load = PowerLoad("l", "y", "m", watts, 1e-3, 1e-3)
        circuit = Circuit(
            (
                Battery("b", "p", "m", 400.0, 0.1),
                Inductor("l1", "p", "x", 3e-5, 0.2),
                Capacitor("c1", "x", "m", 2e-4, 100.0),
                Resistor("r", "x", "y", 0.4),
                Capacitor("c2", "y", "m", 6e-4, 20.0),
                load,
            )
        )
        probes: list[Probe] = [
            Crossing("t", volt("y", "m"), 300.0),
            Peak("i", amp("l1")),
            Integral("e", amp("r"), volt("x", "y")),
        ]
        out = transient(circuit, 5e-3, (), probes)
        return {"t": out.crossings["t"][0], "i": out.peaks["i"][0][0], "e": out.integrals["e"][0]}

    assert run(1e-9) == pytest.approx(run(0.0), rel=1e-7)


@covers("physics.circuit.transient.transient")
def test_switch_delays_and_threshold_commands() -> None:
    circuit = Circuit(
        (
            Battery("pack", "p", "m", V, RS),
            Switch("pre", "p", "a", 0.001, close_delay_s=0.02),
            Resistor("r", "a", "bus", R),
            Switch("main", "p", "bus", 0.001, close_delay_s=0.015, open_delay_s=0.005),
            Capacitor("c", "bus", "m", C),
        )
    )
    orders: list[Command] = [
        At(0.1, "pre", True),
        When(BUS - 0.95 * volt("p", "m"), 0.0, True, "main", True, after_s=0.01),
        At(0.9, "main", False),
    ]
    run = transient(circuit, 1.0, orders)
    said = [(round(t, 9), text) for t, text in run.events()]
    # the sensed pack voltage sags by Rs i: v_c = 0.95 (V - Rs i) with i = (V - v_c)/(R + Rs + on)
    total = R + RS + 0.001
    level = 0.95 * (V - RS * V / total) / (1 - 0.95 * RS / total)
    reach = 0.12 - total * C * math.log(1 - level / V)
    assert said[0] == (0.12, "pre closes")
    assert said[1][0] == pytest.approx(reach + 0.025, abs=2e-9)
    assert said[1][1] == "main closes"
    assert said[2] == (0.905, "main opens")


@covers("physics.circuit.transient.transient")
def test_a_diode_peak_rectifies() -> None:
    """A ringing source behind a diode: the capacitor keeps the first peak, 2 V of a lossless resonant charge."""
    circuit = Circuit(
        (
            Battery("b", "p", "m", 100.0, 1e-9),
            Inductor("l", "p", "x", 1e-3),
            Diode("d", "x", "y", 0.0, 1e-9),
            Capacitor("c", "y", "m", 1e-4),
        )
    )
    run = transient(circuit, 0.01, (), [Peak("v", volt("y", "m")), Crossing("t", volt("y", "m"), 200.0 * (1 - 1e-6))])
    assert run.final(volt("y", "m"))[0] == pytest.approx(200.0, rel=1e-6)
    off = [t for t, text in run.events() if "blocks" in text]
    assert off[0] == pytest.approx(math.pi * math.sqrt(1e-3 * 1e-4), rel=1e-6)


@covers("physics.circuit.transient.transient")
def test_current_limit_charges_the_bus_along_a_straight_line() -> None:
    """At its limit the load is a constant current: v = v0 - I t / C until P/v falls below the limit."""
    circuit = Circuit(
        (Capacitor("c", "b", "m", 1e-2, 400.0), PowerLoad("l", "b", "m", 1e4, 50.0, 20.0, current_limit_a=10.0))
    )
    run = transient(circuit, 0.3, (), [Crossing("t", volt("b", "m"), 200.0, rising=False)])
    assert run.crossings["t"][0] == pytest.approx(0.2, rel=1e-12)
    assert run.final(amp("l"))[0] == pytest.approx(10.0, rel=1e-12)
