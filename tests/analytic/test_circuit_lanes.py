"""Lanes whose switches differ are worked on together and must not disturb each other."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from tests.evidence import covers
from tristrand.physics.circuit import (
    At,
    Battery,
    Capacitor,
    Circuit,
    Crossing,
    Inductor,
    Integral,
    PowerLoad,
    Resistor,
    Switch,
    amp,
    transient,
    volt,
)

NEVER_S = 1e6
# opening of the plus and the minus contactor, closing of the discharge contactor
ORDERS = [(0.0, 0.0, 0.0), (0.0, 0.2, 0.5), (0.3, 0.0, 0.1), (0.0, NEVER_S, NEVER_S), (NEVER_S, 0.1, 0.4),
          (0.2, 0.2, NEVER_S), (0.05, 0.6, 0.6), (0.0, 0.0, 1.5)]  # fmt: skip
FARAD, BLEED, DIS, OPEN_V = 1e-3, 100e3, 2e3, 400.0


def contactors(inductance_h: float, lanes: int = 1) -> Circuit:
    feed = (Inductor("w", "p", "a", inductance_h, 0.01) if inductance_h > 0 else Resistor("w", "p", "a", 0.01),)
    return Circuit(
        (
            Battery("pack", "p", "m", np.full(lanes, OPEN_V), 0.05), *feed,
            Switch("plus", "a", "bus", 1e-3, True), Switch("minus", "m", "n", 1e-3, True),
            Capacitor("c", "bus", "n", FARAD, OPEN_V), Resistor("bleed", "bus", "n", BLEED),
            Switch("dis", "bus", "x", 1e-3), Resistor("r", "x", "n", DIS - 1e-3),
        )
    )  # fmt: skip


def bus_v(order: tuple[float, float, float], t: float) -> float:
    """Held by the pack until a pole opens, then two exponentials; the pack's own 0.062 ohm left out."""
    opened, closed = min(order[:2]), order[2]
    if t <= opened:
        return OPEN_V
    alone = max(min(t, closed) - opened, 0.0)
    helped = max(t - max(closed, opened), 0.0)
    return OPEN_V * math.exp(-alone / (BLEED * FARAD) - helped * (1 / BLEED + 1 / DIS) / FARAD)


@covers("physics.circuit.transient.transient")
@pytest.mark.parametrize("inductance_h", [0.0, 1e-9])
def test_every_opening_order_in_one_batch_follows_its_closed_form(inductance_h: float) -> None:
    plus, minus, dis = (np.array(column) for column in zip(*ORDERS, strict=True))
    commands = [At(plus, "plus", False), At(minus, "minus", False), At(dis, "dis", True)]
    bus = volt("bus", "n")
    probes = [Crossing("low", bus, 60.0, rising=False), Integral("e", amp("r"), volt("x", "n"))]
    run = transient(contactors(inductance_h, len(ORDERS)), 8.0, commands, probes)
    assert (run.status == "completed").all()
    for lane, order in enumerate(ORDERS):
        times = np.array([0.15, 0.45, 0.75, 2.0, 7.9])
        expected = [bus_v(order, float(t)) for t in times]
        assert run.sample(bus, times, lane) == pytest.approx(expected, rel=1e-4)
        whole = math.log(OPEN_V / 60.0) * FARAD / (1 / BLEED + 1 / DIS)
        if math.isfinite(run.crossings["low"][lane]):
            assert run.crossings["low"][lane] == pytest.approx(
                max(order[2], min(order[:2])) + whole - _lead_s(order), rel=2e-3
            )
        else:
            assert expected[-1] > 60.0
        alone = transient(
            contactors(inductance_h), 8.0,
            [At(order[0], "plus", False), At(order[1], "minus", False), At(order[2], "dis", True)], probes,
        )  # fmt: skip
        assert run.sample(bus, times, lane) == pytest.approx(alone.sample(bus, times), rel=1e-10)
        assert run.crossings["low"][lane] == pytest.approx(alone.crossings["low"][0], rel=1e-10, nan_ok=True)
        assert run.integrals["e"][lane] == pytest.approx(alone.integrals["e"][0], rel=1e-9, abs=1e-12)
    at = np.linspace(0.1, 7.0, len(ORDERS))
    one_by_one = [run.sample(bus, at[k : k + 1], k)[0] for k in range(len(ORDERS))]
    assert run.at(bus, at) == pytest.approx(one_by_one, rel=1e-14)


def _lead_s(order: tuple[float, float, float]) -> float:
    """Time the bleed alone has saved the discharge resistor."""
    alone = max(order[2] - min(order[:2]), 0.0)
    return alone / BLEED / (1 / BLEED + 1 / DIS)


@covers("physics.circuit.transient.transient")
def test_a_lane_whose_load_has_no_power_stays_apart_behind_an_open_switch() -> None:
    circuit = Circuit(
        (
            Battery("pack", "p", "m", OPEN_V, 0.1), Switch("s", "p", "x", 1e-3), Capacitor("c", "p", "m", 1e-3, OPEN_V),
            PowerLoad("l", "x", "m", np.array([100.0, 0.0]), 50.0, 50.0, below="resistive"),
        )
    )  # fmt: skip
    run = transient(circuit, 1.0, [At(np.array([0.5, 5.0]), "s", True)])
    assert (run.status == "completed").all()
    # P = v (V - v)/R with all the resistance in its way
    ohm = 0.101
    assert run.final(volt("x"))[0] == pytest.approx((OPEN_V + math.sqrt(OPEN_V**2 - 4 * 100.0 * ohm)) / 2, rel=1e-9)
    assert run.final(volt("x"))[1] == 0.0


def test_windows_of_an_integral_add_up_in_every_lane() -> None:
    # Two lanes of very different speed with a load of constant power: many windows have begun in one lane only.
    ohm = np.array([2.0, 200.0])
    circuit = Circuit((
        Battery("pack", "p", "g", 400.0, 0.05),
        Resistor("r", "p", "bus", ohm),
        Capacitor("c", "bus", "g", 1e-3),
        PowerLoad("load", "bus", "g", 100.0, 120.0, 100.0, "off", 0.02),
    ))  # fmt: skip
    end, cuts = 1.5, (0.0, 1e-4, 3e-3, 0.021, 0.4, 1.5)
    probes = [Integral("all", amp("r"), amp("r"))]
    probes += [Integral(f"part{k}", amp("r"), amp("r"), a, b) for k, (a, b) in enumerate(pairwise(cuts))]
    run = transient(circuit, end, (), probes)
    parts = sum(run.integrals[f"part{k}"] for k in range(len(cuts) - 1))
    assert np.isfinite(parts).all()
    assert parts == pytest.approx(run.integrals["all"], rel=1e-9)
    for k, (a, b) in enumerate(pairwise(cuts)):
        alone = transient(circuit, end, (), [Integral("one", amp("r"), amp("r"), a, b)])
        assert run.integrals[f"part{k}"] == pytest.approx(alone.integrals["one"], rel=1e-9)
