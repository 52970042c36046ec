"""1,000 precharge variants in one call against 1,000 ngspice runs of the same netlist.

By default 40 of the ngspice runs are timed and scaled up; TRISTRAND_ALL_SPICE_RUNS=1 makes all 1,000.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable

import numpy as np
import pytest

from tests.oracle import ngspice
from tristrand.physics.circuit import (
    Battery,
    Capacitor,
    Circuit,
    Crossing,
    Integral,
    PowerLoad,
    Probe,
    Resistor,
    amp,
    transient,
    volt,
)

LANES = 1000
DURATION_S = 0.6
STEP_S = 1e-4  # kind to ngspice: with it its threshold times are good to about 2e-4 only
FINE_STEP_S = 2e-5  # the step for the comparison of results
MEASURES = {"tx": "when v(b)={level}", "er": "find v(er) at=0.5999999999", "vend": "find v(b) at=0.5999999999"}


def _variants() -> dict[str, np.ndarray]:
    random = np.random.default_rng(20260101)
    v = random.uniform(300.0, 420.0, LANES)
    return {
        "v": v,
        "r": random.uniform(60.0, 120.0, LANES),
        "c": random.uniform(4e-4, 1.2e-3, LANES),
        "p": np.where(np.arange(LANES) % 2 == 0, random.uniform(20.0, 120.0, LANES), 0.0),  # half have a converter
        "level": 0.8 * v,
    }


def _netlist(x: dict[str, np.ndarray], k: int, step_s: float) -> str:
    body = (
        f"V1 o 0 {x['v'][k]:.12g}\nRs o p 0.1\nRp p b {x['r'][k]:.12g}\nC1 b 0 {x['c'][k]:.12g} ic=0\n"
        "Vdd s 0 1\nSon s on b 0 mon\n.model mon sw vt=160 vh=40 ron=1 roff=1e12\nRon on 0 1e6\n"
        f"Bload b 0 I=v(on)>0.5 ? {x['p'][k]:.12g}/max(v(b),1) : 0\n"
        f"Ber 0 er I=(v(p)-v(b))*(v(p)-v(b))/{x['r'][k]:.12g}\nCer er 0 1 ic=0\nRer er 0 1e12"
    )
    measures = {name: words.format(level=f"{x['level'][k]:.12g}") for name, words in MEASURES.items()}
    return ngspice.deck(body, DURATION_S, step_s, measures, "abstol=1e-10 vntol=1e-8")


def _ours(x: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    bus = volt("bus", "m")
    circuit = Circuit(
        (
            Battery("pack", "p", "m", x["v"], 0.1),
            Resistor("pre", "p", "bus", x["r"]),
            Capacitor("c", "bus", "m", x["c"]),
            PowerLoad("converter", "bus", "m", x["p"], turn_on_v=200.0, turn_off_v=120.0),
        )
    )
    probes: list[Probe] = [Crossing("tx", bus, x["level"]), Integral("er", amp("pre"), volt("p", "bus"))]
    run = transient(circuit, DURATION_S, (), probes)
    return {"tx": run.crossings["tx"], "er": run.integrals["er"], "vend": run.final(bus)}


@pytest.mark.skipif(not ngspice.available(), reason="the ratio needs ngspice itself")
def test_thousand_precharge_variants(ratio: Callable[..., None]) -> None:
    x = _variants()
    times = []
    ours = _ours(x)  # once, to load what is loaded late
    for _ in range(3):
        start = time.perf_counter()
        ours = _ours(x)
        times.append(time.perf_counter() - start)
    ours_s = min(times)
    chosen = range(LANES) if os.environ.get("TRISTRAND_ALL_SPICE_RUNS") else range(0, LANES, LANES // 40)
    decks = [_netlist(x, k, STEP_S) for k in chosen]
    start = time.perf_counter()
    for deck in decks:
        ngspice.run(deck)
    theirs_s = (time.perf_counter() - start) * LANES / len(decks)
    worst = 0.0
    for k in range(0, LANES, LANES // 8):  # an odd stride: lanes with and without a converter
        found = ngspice.run(_netlist(x, k, FINE_STEP_S))
        assert ("tx" in found) == bool(np.isfinite(ours["tx"][k]))
        worst = max([worst, *(abs(value / ours[name][k] - 1) for name, value in found.items() if name in MEASURES)])
    assert 0.0 < worst < 1e-4
    how = "all 1,000 run" if len(decks) == LANES else f"{len(decks)} of the 1,000 timed and scaled"
    note = f"{ours_s:.3f} s against {theirs_s:.1f} s, {how}; results within {worst:.1e} of each other"
    ratio("1,000 precharge variants: ngspice runs / one batch", theirs_s / ours_s, ">=", 50.0, note)
