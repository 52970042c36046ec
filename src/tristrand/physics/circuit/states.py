"""When a diode or a power load leaves its state, and what it becomes."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.assembly import (
    CAPPED,
    LIMIT,
    OFF,
    POWER,
    RAMP,
    RESISTIVE,
    SLIDE,
    STARVED,
    Bytes,
    Ints,
    Regime,
    System,
    current_row,
)
from tristrand.physics.circuit.topology import Topology
from tristrand.records import NamedTuple

Floats = NDArray[np.float64]

#: Relative overshoot at which a state counts as left; above rounding, far below any result's tolerance.
SLACK = 1e-9
#: Stands for a threshold that is never reached; infinity would turn to nan in a polynomial.
NEVER = 1e30


class Exit(NamedTuple):
    """One way out of the present state: of diode or load `which`, upward or downward in its voltage."""

    load: bool
    which: int
    upward: bool


class Exits(NamedTuple):
    """Exits of a regime; row (g, E, q) plus ramp (g, E) times P(t)/P is positive once an exit is due."""

    what: tuple[Exit, ...]
    row: Floats
    ramp: Floats
    tolerance: Floats


def exits_of(topology: Topology, regime: Regime, lanes: Ints, system: System) -> Exits:
    """All exits of the regime for the given lanes."""
    g, m, q = lanes.size, system.m, system.f.shape[2]
    what: list[Exit] = []
    rows: list[Floats] = []
    ramps: list[Floats] = []
    scales: list[Floats] = []

    def add(exit_: Exit, row: Floats, limit: Floats, ramp: Floats | None = None, scale: Floats | None = None) -> None:
        row = row.copy()
        row[:, m] -= limit
        what.append(exit_)
        rows.append(row)
        ramps.append(np.zeros(g) if ramp is None else ramp)
        scales.append(SLACK * np.maximum(np.abs(limit if scale is None else scale), 1.0))

    for k, name in enumerate(topology.diodes.names):
        if regime.diodes[k]:
            current = current_row(topology, regime, lanes, system, name)
            add(Exit(False, k, False), -current, np.zeros(g))
        else:
            across = system.across(topology.diodes.incidence[:, k])
            add(Exit(False, k, True), across, topology.forward_v[lanes, k])
    for k in range(len(topology.loads)):
        _load_exits(topology, int(regime.loads[k]), k, lanes, system, add)
    if not what:
        return Exits((), np.zeros((g, 0, q)), np.zeros((g, 0)), np.zeros((g, 0)))
    return Exits(tuple(what), np.stack(rows, axis=1), np.stack(ramps, axis=1), np.stack(scales, axis=1))


def _load_exits(topology: Topology, state: int, k: int, lanes: Ints, system: System, add: Callable[..., None]) -> None:
    load = topology.load
    volts, amps = system.load_v[:, k], system.load_a[:, k]
    on_v, off_v = load.on_v[lanes, k], load.off_v[lanes, k]
    power, cap = load.power_w[lanes, k], load.limit_a[lanes, k]
    capped = np.isfinite(cap)
    full_v = np.where(capped, power / cap, 0.0)  # above it the limit does not bind
    up, down = Exit(True, k, True), Exit(True, k, False)
    if state == OFF:
        add(up, volts, np.where(load.alive[lanes, k], on_v, NEVER), scale=on_v)
    elif state == POWER:
        add(down, -volts, -np.maximum(full_v, off_v))
    elif state == RAMP:
        add(down, -volts, -off_v)
        if capped.any():
            finite = np.where(capped, cap, 0.0)
            add(up, -volts * finite[:, None], np.where(capped, 0.0, NEVER), np.where(capped, power, 0.0), power)
    elif state in (LIMIT, CAPPED):
        if state == LIMIT:
            add(up, volts, full_v)
        else:
            add(up, volts * cap[:, None], np.zeros(lanes.size), -power, power)
        soft_v = cap * off_v**2 / np.maximum(power, 1e-300)
        add(down, -volts, -np.where(load.resistive[lanes, k], soft_v, off_v))
    elif state == RESISTIVE:
        limit_v = np.where(capped, cap, 0.0) * off_v**2 / np.maximum(power, 1e-300)
        add(up, volts, np.where(capped, np.minimum(off_v, limit_v), off_v))
    elif state == SLIDE:
        add(down, -amps, np.zeros(lanes.size))
        add(up, amps, np.minimum(power / on_v, cap))


def next_load_state(topology: Topology, state: int, k: int, lane: int, upward: bool, volts: float) -> int:
    """State a load takes after an exit; `volts` is its voltage then."""
    load = topology.load
    power, cap = load.power_w[lane, k], load.limit_a[lane, k]
    drawing = LIMIT if power > cap * max(volts, 1e-300) * (1 + 1e-9) else POWER
    if state == OFF:
        if load.resistive[lane, k]:
            return RESISTIVE if volts < load.off_v[lane, k] else drawing
        if load.soft_s[lane, k] > 0:
            return RAMP
        # a load with equal thresholds tries to hold the threshold first; its current then says where it goes
        near = volts <= load.on_v[lane, k] * (1 + 1e-6)
        return SLIDE if load.sliding[lane, k] and near else drawing
    if state in (POWER, LIMIT, RAMP, CAPPED) and not upward:
        if state == POWER and power / cap >= load.off_v[lane, k]:
            return LIMIT
        if load.resistive[lane, k]:
            return RESISTIVE
        return SLIDE if load.sliding[lane, k] else OFF
    if state == RAMP:
        return CAPPED
    if state == CAPPED:
        return RAMP
    if state == LIMIT:
        return POWER
    if state == RESISTIVE:
        return POWER if power <= cap * load.off_v[lane, k] else LIMIT
    if state == SLIDE:
        return (LIMIT if cap < power / load.on_v[lane, k] else POWER) if upward else OFF
    return state


def start_load_states(topology: Topology) -> Bytes:
    """All loads off; those below their resistive threshold are found when the states settle."""
    states = np.full((topology.lanes, len(topology.loads)), OFF, dtype=np.uint8)
    load = topology.load
    return np.where(load.resistive & load.alive, RESISTIVE, states).astype(np.uint8)


def supply(probe: Floats, x: Floats, watts: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Voltages (g, p) of loads drawing `watts` at state x: v = a + E (P/v), largest solution; False where none.

    `probe` (g, p, q) gives their voltages on [x, 1, i_p]. Newton from the unloaded side falls onto the largest
    solution without passing it, because the residual is convex there.
    """
    m = x.shape[1]
    a = (probe[:, :, :m] @ x[..., None])[..., 0] + probe[:, :, m]
    e = probe[:, :, m + 1 :]
    good: NDArray[np.bool_] = np.asarray((a > 0).all(axis=1))
    move = np.zeros_like(a)
    v = np.where(good[:, None], a, 1.0)
    if not e.any():
        return v, good
    eye = np.eye(a.shape[1])
    for _ in range(60):
        residual = v - np.where(good[:, None], a, 1.0) - (e @ (watts / v)[..., None])[..., 0]
        jacobian = eye + e * (watts / v**2)[:, None, :]
        move = np.linalg.solve(jacobian, residual[..., None])[..., 0]
        new = v - np.where(good[:, None], move, 0.0)
        # past the turning point Newton's step changes its way or leaves the positive voltages: no solution
        good &= (new > 0).all(axis=1) & np.isfinite(new).all(axis=1)
        v = np.where(good[:, None], new, 1.0)
        if np.all(np.abs(move).max(axis=1) <= 1e-14 * np.abs(v).max(axis=1), where=good):
            return v, good
    small = np.abs(move).max(axis=1) <= 1e-9 * np.abs(v).max(axis=1)
    return v, good & small


STATE_WORDS = {
    OFF: "off", POWER: "on, full power", RAMP: "soft start", LIMIT: "at its current limit",
    CAPPED: "soft start at its current limit", RESISTIVE: "resistive, below its minimum voltage",
    SLIDE: "held at its threshold", STARVED: "cannot be supplied",
}  # fmt: skip
