"""Elements many decades apart: a nanofarad behind a microhm beside a precharge of tenths of a second.

The exact courses are closed forms of two states worked out to sixty digits.
"""

from __future__ import annotations

import math
from decimal import Decimal, localcontext
from fractions import Fraction

import numpy as np
import pytest

from tests.evidence import covers
from tristrand.physics.circuit import (
    At,
    Battery,
    Capacitor,
    Circuit,
    Crossing,
    Element,
    Inductor,
    Integral,
    Peak,
    Resistor,
    Switch,
    amp,
    operating_point,
    transient,
    volt,
)
from tristrand.physics.circuit.assembly import Regime, System, assemble
from tristrand.physics.circuit.lanes import Lanes
from tristrand.physics.circuit.modes import Modes, balanced, modes_of
from tristrand.physics.circuit.topology import Topology

OPEN_V = 380.0
SOURCE_OHM = 0.1

# pre, bus capacitance, link, far capacitance, bleed beside the far one
SPREADS = [
    (100.0, 1e-3, 1e-6, 1e-9, math.inf),
    (100.0, 1e-3, 1e-6, 1e-9, 1e4),
    (100.0, 1e-3, 1e-7, 1e-12, math.inf),
    (100.0, 1e-3, 1e-7, 1e-12, 1e9),
    (100.0, 1e-3, 1e-3, 1e-9, 1e6),
    (100.0, 1e-3, 1e-3, 1.0, 1e9),
    (100.0, 1e-12, 1e-7, 1.0, 1e5),
    (1e-3, 1.0, 1e-6, 1e-9, 1e9),
    (1e9, 1.0, 1e-3, 1e-12, 1e10),
    (47.0, 1e-9, 1e9, 1e-12, math.inf),
]


def circuit_of(pre: float, bus_f: float, link: float, far_f: float, bleed: float) -> Circuit:
    elements: list[Element] = [
        Battery("pack", "p", "m", OPEN_V, SOURCE_OHM),
        Resistor("pre", "p", "bus", pre),
        Capacitor("c", "bus", "m", bus_f),
        Resistor("link", "bus", "far", link),
        Capacitor("d", "far", "m", far_f),
    ]
    if math.isfinite(bleed):
        elements.append(Resistor("bleed", "far", "m", bleed))
    return Circuit(tuple(elements))


class Exact:
    """Both capacitor voltages of `circuit_of`: eigenvalues of the 2 x 2 system by the quadratic formula."""

    def __init__(self, pre: float, bus_f: float, link: float, far_f: float, bleed: float) -> None:
        feed = 1 / (Decimal(pre) + Decimal(SOURCE_OHM))
        g, leak = 1 / Decimal(link), 1 / Decimal(bleed) if math.isfinite(bleed) else Decimal(0)
        c, d, volts = Decimal(bus_f), Decimal(far_f), Decimal(OPEN_V)
        # x' = A x + b with x = (bus, far)
        self.a = ((-(feed + g) / c, g / c), (g / d, -(g + leak) / d))
        trace, det = self.a[0][0] + self.a[1][1], self.a[0][0] * self.a[1][1] - self.a[0][1] * self.a[1][0]
        root = (trace * trace - 4 * det).sqrt()
        self.rates = ((trace - root) / 2, 2 * det / (trace - root))
        # at rest: one divider
        bus = volts * feed / (feed + (g * leak / (g + leak) if leak else Decimal(0)))
        self.rest = (bus, bus * g / (g + leak))
        slow = self.rates[1]
        # x = rest + p e^(fast t) + q e^(slow t) from 0, with A's own row for the share of bus in each mode
        self.bus = (-bus * (self.share(slow, bus)), -bus * (1 - self.share(slow, bus)))

    def share(self, slow: Decimal, bus: Decimal) -> Decimal:
        """Part of the bus voltage's start in the fast mode, from x'(0) = b: -bus = p + q, fast p + slow q = b."""
        start = -(self.a[0][0] * self.rest[0] + self.a[0][1] * self.rest[1])
        p = (start + slow * bus) / (self.rates[0] - slow)
        return -p / bus

    def bus_v(self, t: Decimal) -> Decimal:
        return self.rest[0] + sum((k * (r * t).exp() for k, r in zip(self.bus, self.rates, strict=True)), Decimal(0))

    def far_v(self, t: Decimal) -> Decimal:
        slope = sum((k * r * (r * t).exp() for k, r in zip(self.bus, self.rates, strict=True)), Decimal(0))
        bus = self.bus_v(t)
        return (slope - self.a[0][0] * (bus - self.rest[0])) / self.a[0][1] + self.rest[1]

    def reaches(self, level: Decimal) -> Decimal:
        """Time at which the bus first has the level; it only rises."""
        low, high = Decimal(0), -60 / self.rates[1]
        for _ in range(120):
            middle = (low + high) / 2
            low, high = (middle, high) if self.bus_v(middle) < level else (low, middle)
        return high


@covers("physics.circuit.transient.transient")
@pytest.mark.parametrize("spread", SPREADS)
def test_two_capacitors_any_decades_apart_follow_their_closed_form(spread: tuple[float, ...]) -> None:
    circuit = circuit_of(*spread)
    with localcontext() as context:
        context.prec = 60
        exact = Exact(*spread)
        tau = float(-1 / exact.rates[1])
        level = 0.9 * float(exact.rest[0])
        times = [0.01 * tau, 0.3 * tau, tau, 5 * tau, 19 * tau]
        bus = [float(exact.bus_v(Decimal(t))) for t in times]
        far = [float(exact.far_v(Decimal(t))) for t in times]
        crossing = float(exact.reaches(Decimal(level)))
    run = transient(circuit, 20 * tau, (), [Crossing("t", volt("bus"), level)])
    assert run.status[0] == "completed"
    assert run.sample(volt("bus"), np.array(times)) == pytest.approx(bus, rel=1e-10)
    assert run.sample(volt("far"), np.array(times)) == pytest.approx(far, rel=1e-10)
    assert run.crossings["t"][0] == pytest.approx(crossing, rel=1e-9)


@covers("physics.circuit.transient.transient")
def test_the_current_into_a_nanofarad_behind_a_microhm_is_known() -> None:
    """The link's current is d dv/dt all along, 1e-6 of the bus's; its whole charge is d V."""
    circuit = circuit_of(100.0, 1e-3, 1e-6, 1e-9, math.inf)
    tau = 100.1 * (1e-3 + 1e-9)
    run = transient(circuit, 30 * tau, (), [Integral("q", amp("link"))])
    times = np.array([0.1, 1.0, 3.0]) * tau
    expected = 1e-9 * OPEN_V / tau * np.exp(-times / tau)
    assert run.sample(amp("link"), times) == pytest.approx(expected, rel=1e-8)
    assert run.integrals["q"][0] == pytest.approx(1e-9 * OPEN_V, rel=1e-8)


@covers("physics.circuit.transient.transient")
def test_a_ringing_loop_keeps_its_peak_with_a_picofarad_behind_a_tenth_of_a_microhm() -> None:
    """Series RLC from 20 V residual: i = V/(w L) e^(-a t) sin w t, peak at tan(w t) = w/a."""
    henry, farad, ohm, volts = 2e-6, 1e-3, 5e-3, 20.0
    circuit = Circuit(
        (
            Battery("pack", "p", "m", OPEN_V, 2e-3),
            Inductor("cable", "p", "bus", henry, ohm - 2e-3),
            Capacitor("c", "bus", "m", farad, OPEN_V - volts),
            Resistor("link", "bus", "far", 1e-7),
            Capacitor("d", "far", "m", 1e-12, OPEN_V - volts),
        )
    )
    a = ohm / (2 * henry)
    w = math.sqrt(1 / (henry * farad) - a * a)
    when = math.atan2(w, a) / w
    run = transient(circuit, 20e-3, (), [Peak("i", amp("cable")), Integral("i2t", amp("cable"), amp("cable"))])
    peak, time = run.peaks["i"]
    assert peak[0] == pytest.approx(volts / (w * henry) * math.exp(-a * when) * math.sin(w * when), rel=1e-8)
    assert time[0] == pytest.approx(when, rel=1e-7)
    # all energy C V^2/2 ends in the resistance
    assert run.integrals["i2t"][0] * ohm == pytest.approx(0.5 * farad * volts**2, rel=1e-7)


@covers("physics.circuit.transient.transient")
def test_a_bleed_of_a_gigohm_discharges_what_tenths_of_a_microhm_join() -> None:
    """Five capacitances in a row of links behind an opened switch: one time constant R ΣC."""
    farad = [1e-12, 1.0, 1e-9, 1e-3, 1e-6]
    elements: list[Element] = [Battery("pack", "p", "m", 400.0, 1e-3), Switch("main", "p", "n0", 1e-4, True)]
    elements += [Capacitor(f"c{k}", f"n{k}", "m", c, 400.0) for k, c in enumerate(farad)]
    elements += [Resistor(f"r{k}", f"n{k}", f"n{k + 1}", 1e-7) for k in range(4)]
    elements.append(Resistor("bleed", "n2", "m", 1e9))
    tau = 1e9 * sum(farad)
    touch = Crossing("t", volt("n4"), 60.0, rising=False)
    run = transient(Circuit(tuple(elements)), 3 * tau, [At(0.0, "main", False)], [touch])
    assert run.crossings["t"][0] == pytest.approx(tau * math.log(400.0 / 60.0), rel=1e-9)


@covers("physics.circuit.operating.operating_point")
def test_a_gigohm_keeps_its_current_behind_tenths_of_a_microhm() -> None:
    elements: list[Element] = [Battery("pack", "p", "m", 400.0, 1e-3)]
    elements += [Resistor(f"r{k}", "p" if k == 0 else f"n{k}", f"n{k + 1}", 1e-7) for k in range(4)]
    elements += [Resistor("leak", "n4", "m", 1e9), Resistor("near", "p", "m", 2e9)]
    point = operating_point(Circuit(tuple(elements)))
    assert point.currents_a["r3"][0] == pytest.approx(400.0 / 1e9, rel=1e-10)
    assert point.currents_a["r0"][0] == pytest.approx(400.0 / 1e9, rel=1e-10)
    # the pack's current is (400 V - v)/1 mΩ, with v rounded to 6e-14 V
    assert point.currents_a["pack"][0] == pytest.approx(400.0 * 1.5e-9, abs=1e-10)


def _system(circuit: Circuit) -> tuple[Topology, Regime, System, Modes]:
    topology = Topology(circuit)
    none = np.zeros((1, 0), dtype=np.uint8)
    regime = Regime(none, none[0], none[0])
    system = assemble(topology, regime, np.array([0]))
    return topology, regime, system, modes_of(system)


@covers("physics.circuit.transient.transient")
def test_the_check_of_energy_sees_an_error_of_a_rate() -> None:
    topology, regime, system, modes = _system(circuit_of(*SPREADS[1]))
    lanes = np.array([0])
    rate = np.abs(modes.rate)
    assert (balanced(topology, regime, lanes, system, modes)[0] / rate).max() < 1e-12
    modes.rate = modes.rate * (1 + 1e-5)
    assert (balanced(topology, regime, lanes, system, modes)[0] / rate)[0] == pytest.approx([1e-5, 1e-5], rel=1e-3)


@covers("physics.circuit.transient.transient")
def test_a_lane_whose_modes_do_not_keep_energy_ends_as_inexact(monkeypatch: pytest.MonkeyPatch) -> None:
    right = Lanes._prepare

    def wrong(self: Lanes, lanes: np.ndarray) -> object:
        prepared = right(self, lanes)
        if prepared.modes is None:
            prepared.system.f[prepared.lanes == 1] *= 1 + 1e-4
        return prepared

    monkeypatch.setattr(Lanes, "_prepare", wrong)
    pre = np.array([100.0, 100.0, 110.0])
    run = transient(circuit_of(pre, 1e-3, 1e-6, 1e-9, 1e4), 1.0, (), [Crossing("t", volt("bus"), 300.0)])  # type: ignore[arg-type]
    assert run.status.tolist() == ["completed", "inexact", "completed"]
    assert np.isnan(run.crossings["t"]).tolist() == [False, True, False]
    assert run.final_time[1] == 0.0
    assert "too far apart" in run.events(1)[-1][1]


def _rest_exactly(circuit: Circuit) -> dict[str, float]:
    """Node voltages at rest of batteries and resistors, in whole fractions: Gauss's elimination without rounding."""
    nodes = circuit.nodes[1:]
    rows = [[Fraction(0)] * (len(nodes) + 1) for _ in nodes]
    for e in circuit.elements:
        if isinstance(e, Capacitor):
            continue
        assert isinstance(e, Battery | Resistor)
        first, second = (getattr(e, terminal) for terminal in e.terminals)
        g = 1 / Fraction(float(e.resistance_ohm))
        volts = Fraction(float(e.ocv_v)) if isinstance(e, Battery) else Fraction(0)
        for node, other, sign in ((first, second, 1), (second, first, -1)):
            if node in nodes:
                row = rows[nodes.index(node)]
                row[nodes.index(node)] += g
                row[-1] += sign * g * volts
                if other in nodes:
                    row[nodes.index(other)] -= g
    for k in range(len(nodes)):
        for j in range(len(nodes)):
            if j != k:
                factor = rows[j][k] / rows[k][k]
                rows[j] = [a - factor * b for a, b in zip(rows[j], rows[k], strict=True)]
    return {node: float(rows[k][-1] / rows[k][k]) for k, node in enumerate(nodes)}


@covers("physics.circuit.transient.transient", "physics.circuit.operating.operating_point")
def test_random_networks_of_sixteen_decades_come_to_rest_or_are_told_apart() -> None:
    rng = np.random.default_rng(20260301)
    solved = 0
    for _ in range(60):
        n = int(rng.integers(3, 8))
        names = ["m", *(f"n{k}" for k in range(n))]
        elements: list[Element] = [Battery("pack", "n0", "m", 400.0, 10 ** rng.uniform(-3, 0))]
        for k in range(1, n):
            elements.append(Resistor(f"t{k}", f"n{k}", f"n{rng.integers(0, k)}", 10 ** rng.uniform(-7, 9)))
        for k in range(n):
            a, b = rng.choice(names, 2, replace=False)
            elements.append(Resistor(f"r{k}", str(a), str(b), 10 ** rng.uniform(-7, 9)))
            a, b = rng.choice(names, 2, replace=False)
            elements.append(Capacitor(f"c{k}", str(a), str(b), 10 ** rng.uniform(-12, 0)))
        circuit = Circuit(tuple(elements), "m")
        exact = _rest_exactly(circuit)
        point = operating_point(circuit)
        run = transient(circuit, 1e13)
        for node, volts in exact.items():
            assert point.voltages_v[node][0] == pytest.approx(volts, abs=400.0 * 1e-13)
        if run.status[0] == "completed":
            solved += 1
            for node, volts in exact.items():
                assert run.final(volt(node))[0] == pytest.approx(volts, abs=400.0 * 2e-6)
        else:
            assert run.status[0] == "inexact"
    assert solved >= 50
