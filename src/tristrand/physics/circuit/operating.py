"""The steady state of a circuit: capacitors open, inductors their resistance, loads past their soft start."""

from collections.abc import Mapping
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.assembly import LIMIT, OFF, POWER, RESISTIVE, SLIDE, Bytes, Ints
from tristrand.physics.circuit.elements import LEAK_S, Circuit, CircuitError
from tristrand.physics.circuit.frame import Frame, frame_of
from tristrand.physics.circuit.structure import Bools, pins_at_rest
from tristrand.physics.circuit.topology import Topology
from tristrand.records import NamedTuple
from tristrand.sources import cites

Floats = NDArray[np.float64]


class OperatingPoint(NamedTuple):
    """Steady state; every array has one value per lane, nan in lanes without one.

    `reason` is "" or says why there is none; `residual` [A] is the largest error of Kirchhoff's current law.
    """

    voltages_v: dict[str, Floats]
    currents_a: dict[str, Floats]
    converged: NDArray[np.bool_]
    reason: tuple[str, ...]
    residual: Floats
    iterations: NDArray[np.int_]


class _Port(NamedTuple):
    """The circuit seen from its loads: v = a + e i, and node voltages likewise; lanes first."""

    volts0: Floats  # (g, n + nL) coordinates of the frame and inductor currents without loads
    volts1: Floats  # (g, n + nL, p)
    a: Floats
    e: Floats
    frame: Frame


@cites("NUMERICS#own composition: nodal equations reduced to the load terminals, Newton's iteration")
def operating_point(circuit: Circuit, closed: Mapping[str, bool] | None = None) -> OperatingPoint:
    """Steady state with the switches as given in `closed` (the others as in the circuit).

    The linear part is reduced to the load terminals, v = a + E i; Newton's iteration then solves i = P/v from the
    unloaded side and so takes the solution with the highest voltages. Loads obey their thresholds (on when their
    unloaded voltage reaches turn_on_v, off below turn_off_v) and current limits. Where no solution exists the
    reason gives the largest power the circuit can deliver when all loads are scaled alike. Islands without a
    conductive path to the reference get their potential by LEAK_S at one node.

    Raises CircuitError for a name in `closed` that is no switch.
    """
    topology = Topology(circuit)
    switches = topology.closed.copy()
    for name, state in (closed or {}).items():
        if name not in topology.switches.index:
            raise CircuitError(f"no switch is named {name!r}; there are {', '.join(topology.switches.names)}")
        switches[topology.switches.index[name]] = state
    return _Steady(topology, switches).solve()


class _Steady:
    """Working state of one operating point over all lanes."""

    def __init__(self, topology: Topology, switches: Bools) -> None:
        self.t = topology
        self.switches = switches
        n, p = topology.lanes, len(topology.loads)
        self.diodes = np.zeros((n, len(topology.diodes)), dtype=bool)
        self.loads = np.zeros((n, p), dtype=np.uint8)
        self.current = np.zeros((n, p))
        self.solution = np.full((n, topology.n + len(topology.inductors)), np.nan)
        self.branch_v = np.full(topology.branch_s.shape, np.nan)
        self.reason = [""] * n
        self.good = np.ones(n, dtype=bool)
        self.iterations = np.zeros(n, dtype=int)

    def solve(self) -> OperatingPoint:
        """Diode states outside, loads inside."""
        todo = np.arange(self.t.lanes)
        for attempt in range(3 * len(self.t.diodes) + 12):
            again: list[Ints] = []
            for group in self._groups(todo):
                self._solve_loads(group)
                again.append(self._flip_diodes(group, attempt > 6))
            todo = np.sort(np.concatenate(again)) if again else todo[:0]
            if not todo.size:
                break
        for lane in todo:
            self._fail(int(lane), "no operating point: the diodes find no common state")
        return self._result()

    def _groups(self, lanes: Ints) -> list[Ints]:
        found: dict[bytes, list[int]] = {}
        for lane in lanes:
            found.setdefault(self.diodes[lane].tobytes(), []).append(int(lane))
        return [np.array(group, dtype=np.intp) for group in found.values()]

    def _matrix(self, lanes: Ints, diodes: Bools) -> tuple[Floats, Floats, Frame]:
        """Kirchhoff's laws in the coordinates of a frame, with the inductor currents as unknowns of their own."""
        t = self.t
        on = np.concatenate([t.always, self.switches, diodes, np.zeros(len(t.loads), dtype=bool)])
        frame = frame_of(t, np.broadcast_to(on, (lanes.size, on.size)), lanes)
        rows, basis = t.branch_incidence.T @ frame.basis[0], frame.basis[0]
        conductance = t.branch_s[lanes] * on
        pins = basis[pins_at_rest(t, self.switches, diodes)]
        size = t.n + len(t.inductors)
        matrix = np.zeros((lanes.size, size, size))
        matrix[:, : t.n, : t.n] = np.matmul(rows.T * conductance[:, None, :], rows) + LEAK_S * (pins.T @ pins)
        matrix[:, : t.n, t.n :] = basis.T @ t.inductors.incidence
        matrix[:, t.n :, : t.n] = t.inductors.incidence.T @ basis
        k = np.arange(t.n, size)
        matrix[:, k, k] = -t.inductor_ohm[lanes]
        s = (conductance * t.branch_emf[lanes]) @ rows - t.source_a[lanes] @ (t.sources.incidence.T @ basis)
        return matrix, np.concatenate([s, np.zeros((lanes.size, len(t.inductors)))], axis=1), frame

    def _port(self, lanes: Ints) -> _Port:
        t = self.t
        matrix, right, frame = self._matrix(lanes, self.diodes[lanes[0]])
        drop = np.concatenate([frame.basis[0].T @ t.loads.incidence, np.zeros((len(t.inductors), len(t.loads)))])
        sides = np.concatenate([right[..., None], np.broadcast_to(-drop, (lanes.size, *drop.shape))], axis=2)
        try:
            size = np.abs(np.diagonal(matrix, axis1=1, axis2=2))[..., None]
            d = 1.0 / np.sqrt(np.where(size > 0, size, 1.0))
            answer = d * np.linalg.solve(matrix * d * d.swapaxes(1, 2), d * sides)
        except np.linalg.LinAlgError as error:
            raise CircuitError("inductors without resistance form a loop: give one of them a resistance") from error
        return _Port(answer[..., 0], answer[..., 1:], answer[..., 0] @ drop, drop.T @ answer[..., 1:], frame)

    def _solve_loads(self, lanes: Ints) -> None:
        """Load states and currents of lanes that share their diode states."""
        port = self._port(lanes)
        load = self.t.load
        g, p = port.a.shape
        alive = load.alive[lanes]
        state = np.where(alive & (port.a >= load.on_v[lanes] * (1 - 1e-12)), POWER, OFF).astype(np.uint8)
        state[alive & load.resistive[lanes] & (port.a < load.off_v[lanes])] = RESISTIVE
        current = np.zeros((g, p))
        busy = np.arange(g)
        for _ in range(6 * p + 12):
            if not busy.size:
                break
            found, good, steps = _newton(port.a[busy], port.e[busy], state[busy], load_law(self.t, lanes[busy]))
            current[busy] = found
            self.iterations[lanes[busy]] += steps
            for row in np.flatnonzero(~good):
                self._explain(int(lanes[busy[row]]), port.a[busy[row]], port.e[busy[row]], state[busy[row]])
            volts = port.a + np.einsum("gpq,gq->gp", port.e, current)
            changed = self._restate(lanes, busy[good], state, volts, current)
            busy = changed[self.good[lanes[changed]]]
        for row in busy:
            self._fail(int(lanes[row]), "no operating point: the loads find no common state")
        self.loads[lanes], self.current[lanes] = state, current
        found = port.volts0 + np.einsum("gnp,gp->gn", port.volts1, current)
        basis, n = port.frame.basis[0], self.t.n
        self.solution[lanes] = np.concatenate([found[:, :n] @ basis.T, found[:, n:]], axis=1)
        # straight from the coordinates: the difference of two node voltages would lose the small ones
        self.branch_v[lanes] = found[:, :n] @ (self.t.branch_incidence.T @ basis).T

    def _restate(self, lanes: Ints, busy: Ints, state: Bytes, volts: Floats, current: Floats) -> Ints:
        """Move loads whose voltage or current does not fit their state; rows that changed."""
        changed = []
        for row in busy:
            lane = int(lanes[row])
            before = state[row].copy()
            for k in range(state.shape[1]):
                state[row, k] = self._fitting(lane, k, int(before[k]), float(volts[row, k]), float(current[row, k]))
            tripped = np.flatnonzero((before != OFF) & (state[row] == OFF))
            if tripped.size:
                state[row] = before
                k = int(tripped[0])
                state[row, k] = OFF
                self._check_trip(lane, k, float(volts[row, k]))
            if (state[row] != before).any() or (tripped.size and not self.good[lane]):
                changed.append(int(row))
        return np.array(changed, dtype=np.intp)

    def _fitting(self, lane: int, k: int, state: int, volts: float, current: float) -> int:
        """State that the present voltage and current call for."""
        load = self.t.load
        power, cap = load.power_w[lane, k], load.limit_a[lane, k]
        on_v, off_v = load.on_v[lane, k], load.off_v[lane, k]
        low, high = 1 - 1e-9, 1 + 1e-9
        if state == OFF:
            return OFF
        if state in (POWER, LIMIT) and volts < off_v * low:
            if load.resistive[lane, k]:
                return RESISTIVE if volts * load.conductance_s[lane, k] <= cap * high else LIMIT
            return SLIDE if load.on_v[lane, k] == off_v else OFF
        if state == POWER and power > cap * volts * high:
            return LIMIT
        if state == LIMIT and power < cap * volts * low:
            return POWER
        if state == RESISTIVE and volts * load.conductance_s[lane, k] > cap * high:
            return LIMIT
        if state == RESISTIVE and volts > off_v * high:
            return POWER
        if state == SLIDE and current > min(power / on_v, cap) * high:
            return POWER
        return OFF if state == SLIDE and current < -1e-12 else state

    def _check_trip(self, lane: int, k: int, volts: float) -> None:
        """A load that trips off under its own draw but would start again has no steady state."""
        port = self._port(np.array([lane]))
        others = self.current[lane].copy()
        others[k] = 0.0
        free = float(port.a[0, k] + port.e[0, k] @ others)
        load, name = self.t.load, self.t.loads.names[k]
        if free >= load.on_v[lane, k]:
            self._fail(
                lane,
                f"no operating point: load {name} hunts: off it sees up to {free:.4g} V and turns on at "
                f"{load.on_v[lane, k]:.4g} V, on it pulls its supply to {volts:.4g} V and turns off at "
                f"{load.off_v[lane, k]:.4g} V",
            )

    def _explain(self, lane: int, a: Floats, e: Floats, state: Bytes) -> None:
        """No solution at full power: find the largest common share that has one."""
        law = load_law(self.t, np.array([lane]))
        low, high = 0.0, 1.0
        for _ in range(50):
            middle = 0.5 * (low + high)
            _, good, _ = _newton(a[None], e[None], state[None], law, middle)
            low, high = (middle, high) if good[0] else (low, middle)
        drawing = np.flatnonzero(state == POWER)
        asked = float(self.t.load.power_w[lane, drawing].sum())
        names = [self.t.loads.names[k] for k in drawing]
        who = f"load {names[0]} asks" if len(names) == 1 else f"loads {', '.join(names)} together ask"
        alike = "" if len(names) == 1 else ", all scaled alike"
        self._fail(
            lane,
            f"no operating point: {who} {_watts(asked)}, the source can give at most {_watts(low * asked)} here{alike}",
        )

    def _fail(self, lane: int, reason: str) -> None:
        self.good[lane] = False
        self.reason[lane] = self.reason[lane] or reason

    def _flip_diodes(self, lanes: Ints, one: bool) -> Ints:
        """Turn diodes that do not agree with the solution; lanes to be solved again."""
        t = self.t
        if not len(t.diodes):
            return lanes[:0]
        across = self.solution[lanes, : t.n] @ t.diodes.incidence - t.forward_v[lanes]
        on = self.diodes[lanes]
        wrong = np.where(on, across < -1e-12, across > 1e-9 * (1 + t.forward_v[lanes]))
        wrong &= self.good[lanes][:, None]
        if one:  # all at once may run in a circle
            wrong &= np.cumsum(wrong, axis=1) == 1
        self.diodes[lanes] = on ^ wrong
        return lanes[wrong.any(axis=1)]

    def _result(self) -> OperatingPoint:
        t = self.t
        self.solution[~self.good] = np.nan
        self.current[~self.good] = np.nan
        self.branch_v[~self.good] = np.nan
        v = self.solution[:, : t.n]
        reference = np.where(self.good, 0.0, np.nan)
        voltages = {name: (v[:, k - 1] if k else reference) for name, k in t.node.items()}
        flow = (t.branch_emf - self.branch_v) * t.branch_s
        ends = np.cumsum([0, len(t.batteries), len(t.resistors), len(t.switches), len(t.diodes)])
        battery, resistor, switch, diode = (flow[:, i:j] for i, j in pairwise(ends))
        parts = (
            (t.batteries, battery, -1.0),
            (t.resistors, -resistor, 1.0),
            (t.inductors, self.solution[:, t.n :], 1.0),
            (t.capacitors, np.where(self.good[:, None], 0.0, np.nan) * t.capacitance_f, 1.0),
            (t.switches, -switch * self.switches, 1.0),
            (t.diodes, -diode * self.diodes, 1.0),
            (t.loads, self.current, 1.0),
            (t.sources, t.source_a * np.where(self.good, 1.0, np.nan)[:, None], 1.0),
        )
        residual = np.zeros_like(v)
        currents: dict[str, Floats] = {}
        for group, value, sign in parts:
            residual += sign * (value @ group.incidence.T)
            currents.update({name: value[:, k] for k, name in enumerate(group.names)})
        order = {e.name: currents[e.name] for e in t.circuit.elements}
        return OperatingPoint(
            voltages, order, self.good, tuple(self.reason),
            np.abs(residual).max(axis=1, initial=0.0), self.iterations,
        )  # fmt: skip


def _watts(value: float) -> str:
    return f"{value / 1e3:.4g} kW" if value >= 1e3 else f"{value:.4g} W"


def load_law(topology: Topology, lanes: Ints) -> tuple[Floats, Floats, Floats, Floats]:
    """Power [W], current limit [A], conductance [S] and threshold [V] of the loads, each (g, p)."""
    load = topology.load
    return load.power_w[lanes], load.limit_a[lanes], load.conductance_s[lanes], load.on_v[lanes]


def _newton(
    a: Floats, e: Floats, state: Bytes, law: tuple[Floats, Floats, Floats, Floats], share: float = 1.0
) -> tuple[Floats, NDArray[np.bool_], int]:
    """Load currents (g, p) with v = a + e i and i = P/v, limit, g v, or v held, by state; which lanes have them.

    Started without load; for passive circuits the residual is convex from there on and the iteration falls onto
    the solution of highest voltage without passing it (the vector form of I = [V - sqrt(V^2 - 4 R P)] / 2R).
    """
    power, cap, conductance, threshold = law
    g, p = a.shape
    current = np.zeros((g, p))
    good = np.ones(g, dtype=bool)
    if not p:
        return current, good, 0
    watts = np.where(state == POWER, power * share, 0.0)
    fixed = np.where(state == LIMIT, cap, 0.0)
    slope = np.where(state == RESISTIVE, conductance, 0.0)
    slide = state == SLIDE
    eye, move, step = np.eye(p), np.zeros((g, p)), 0
    for step in range(1, 101):
        v = a + np.einsum("gpq,gq->gp", e, current)
        drawing = watts > 0
        good &= ~((v <= 0) & drawing).any(axis=1)
        safe = np.where(drawing & (v > 0), v, 1.0)
        residual = np.where(slide, v - threshold, current - watts / safe - fixed - slope * v)
        gain = np.where(slide, 1.0, watts / safe**2 - slope)
        jacobian = np.where(slide[..., None], 0.0, eye) + gain[..., None] * e
        jacobian[~good] = eye
        try:
            move = np.linalg.solve(jacobian, residual[..., None])[..., 0]
        except np.linalg.LinAlgError:
            move = np.linalg.lstsq(jacobian[0], residual[0], rcond=None)[0][None] if g == 1 else residual
        move[~good] = 0.0
        current = current - move
        if np.all(np.abs(move) <= 1e-13 * np.abs(current).max(axis=1, keepdims=True) + 1e-15):
            return current, good, step
    late = np.abs(move) <= 1e-7 * np.abs(current).max(axis=1, keepdims=True)
    return current, good & late.all(axis=1), step
