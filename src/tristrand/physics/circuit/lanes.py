"""The state of all lanes of a transient: what is known in advance, and groups of equal regime."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.assembly import (
    CAPPED,
    LIMIT,
    OFF,
    POWER,
    RAMP,
    STARVED,
    Ints,
    Regime,
    System,
    assemble,
    signal_rows,
)
from tristrand.physics.circuit.elements import Circuit, CircuitError
from tristrand.physics.circuit.modes import Modes
from tristrand.physics.circuit.results import Record
from tristrand.physics.circuit.signals import At, Command, Crossing, Integral, Peak, Probe, When
from tristrand.physics.circuit.states import (
    Exits,
    exits_of,
    start_load_states,
)
from tristrand.physics.circuit.topology import Topology
from tristrand.physics.circuit.watch import watched_by

Floats = NDArray[np.float64]

#: Number of lanes up to which a regime is prepared for all of them at once.
FEW = 32


@dataclass(slots=True, eq=False, repr=False)
class Prepared:
    """A regime for some lanes: equations, modes, exits, and the rows of everything that is watched."""

    regime: Regime
    lanes: Ints
    system: System
    exits: Exits
    watch: Floats  # (g, W, q)
    modes: Modes | None = None
    error: Floats | None = None  # (g,) largest relative error of a mode
    both: tuple[Floats, Floats] | None = None

    part: tuple[bytes, Prepared] | None = None  # the lanes last taken: they mostly go on together

    def take(self, where: Ints) -> Prepared:
        """The same for some of the lanes."""
        if where.size == self.lanes.size:
            return self
        key = where.tobytes()
        if self.part is not None and self.part[0] == key and (self.part[1].modes is None) == (self.modes is None):
            return self.part[1]
        e = self.exits
        taken = Prepared(
            self.regime.take(where),
            self.lanes[where],
            self.system.take(where),
            Exits(e.what, e.row[where], e.ramp[where], e.tolerance[where]),
            self.watch[where],
            None if self.modes is None else self.modes.take(where),
            None if self.error is None else self.error[where],
        )
        self.part = key, taken
        return taken


class Lanes:
    """State of all lanes while they run."""

    def __init__(
        self,
        circuit: Circuit,
        duration_s: float,
        commands: Sequence[Command],
        probes: Sequence[Probe],
        stop: Crossing | None,
        rtol: float,
        stop_at_drop: bool,
    ) -> None:
        if not (np.isfinite(duration_s) and duration_s > 0):
            raise CircuitError(f"duration_s must be finite and greater than 0, given is {duration_s!r}")
        self.topology = t = Topology(circuit)
        self.n = n = t.lanes
        self.duration, self.rtol, self.stop = float(duration_s), rtol, stop
        self.stop_at_drop = stop_at_drop
        self.ats = [c for c in commands if isinstance(c, At)]
        self.whens = [c for c in commands if isinstance(c, When)]
        for command in commands:
            if command.switch not in t.switches.index:
                raise CircuitError(f"no switch is named {command.switch!r}; there are {', '.join(t.switches.names)}")
        names = [p.name for p in probes]
        if len(set(names)) != len(names):
            raise CircuitError(
                "two probes have one name: " + ", ".join(sorted({x for x in names if names.count(x) > 1}))
            )
        self.probes = list(probes)
        self.crossing_probes = [p for p in probes if isinstance(p, Crossing)]
        # rounding may leave the value just short of the level where the run ends on it
        self.like_stop = [k for k, c in enumerate(self.crossing_probes) if stop is not None and _same(c, stop)]
        self.peak_probes = [p for p in probes if isinstance(p, Peak)]
        self.integral_probes = [p for p in probes if isinstance(p, Integral)]
        self.watched = watched_by(n, self.whens, stop, probes)
        first = self.watched.conditions + self.watched.crossings + self.watched.peaks
        self.integrands: dict[tuple[float, float], list[tuple[int, int, int | None]]] = {}
        for k, (probe, (a, b)) in enumerate(zip(self.integral_probes, self.watched.factors, strict=True)):
            asked = self.integrands.setdefault((probe.start_s, probe.stop_s), [])
            asked.append((k, a - first, None if b is None else b - first))
        self.time = np.zeros(n)
        self.z, self.i_l = t.initial_states()
        self.i_l = self.i_l.copy()
        self.switches = np.tile(t.closed.astype(np.uint8), (n, 1))
        self.diodes = np.zeros((n, len(t.diodes)), dtype=np.uint8)
        self.loads = start_load_states(t)
        self.on_time = np.zeros((n, len(t.loads)))
        self.step = np.full(n, np.nan)
        self.running = np.ones(n, dtype=bool)
        self.status = np.full(n, "completed", dtype="<U9")
        self.changes = np.zeros(n, dtype=int)
        self.band = np.array([np.inf, -np.inf]) * np.ones((n, 2))
        self.cache: dict[bytes, list[Prepared]] = {}
        self.records: list[Record] = []
        self.log: list[tuple[float, int, str]] = []
        self.condition_open = np.ones((n, self.watched.conditions), dtype=bool)
        self.crossed = np.full((n, len(self.crossing_probes)), np.nan)
        self.peak = np.full((n, len(self.peak_probes)), -np.inf)
        self.peak_value = np.full((n, len(self.peak_probes)), np.nan)
        self.peak_time = np.full((n, len(self.peak_probes)), np.nan)
        self.total = np.zeros((n, len(self.integral_probes)))
        self._breaks()

    # --- times known in advance ------------------------------------------------------------------------------

    def _breaks(self) -> None:
        """Times (R, N) at which a panel must end: commands, windows of probes, ends of soft starts; inf when none."""
        t = self.topology
        rows = []
        for at in self.ats:
            k = t.switches.index[at.switch]
            delay = (t.close_delay_s if at.closed else t.open_delay_s)[:, k]
            time = np.broadcast_to(np.asarray(at.time_s, dtype=float), (self.n,)) + delay
            if np.isnan(time).any() or (time < 0).any():
                raise CircuitError(f"a command for switch {at.switch!r} has no time from 0 on")
            rows.append(time)
        self.first_when = len(rows)
        rows.extend(np.full(self.n, np.inf) for _ in self.whens)
        self.first_soft = len(rows)
        rows.extend(np.full(self.n, np.inf) for _ in range(len(t.loads)))
        # Integrals end inside a panel; the others look at whole panels.
        ended = [p for p in self.probes if not isinstance(p, Integral)]
        windows = {p.start_s for p in ended} | {p.stop_s for p in ended if isinstance(p, Peak)}
        if self.stop is not None:
            windows.add(self.stop.start_s)
        rows.extend(np.full(self.n, w) for w in sorted(windows) if 0 < w < self.duration)
        self.breaks = np.array(rows).reshape(len(rows), self.n)

    def _due(self, lanes: Ints) -> Ints:
        """Carry out what is due now; lanes in which a switch moved."""
        due = self.breaks[:, lanes] <= self.time[lanes]
        moved = []
        for row, column in np.argwhere(due):
            lane = int(lanes[column])
            self.breaks[row, lane] = np.inf
            if row < self.first_soft:
                command = self.ats[row] if row < self.first_when else self.whens[row - self.first_when]
                self._move_switch(lane, self.topology.switches.index[command.switch], command.closed)
                moved.append(lane)
            elif row < self.first_soft + len(self.topology.loads):
                self._end_soft_start(lane, row - self.first_soft)
                moved.append(lane)
        return np.array(sorted(set(moved)), dtype=np.intp)

    def _move_switch(self, lane: int, k: int, closed: bool) -> None:
        if bool(self.switches[lane, k]) != closed:
            self.switches[lane, k] = closed
            self._note(lane, f"{self.topology.switches.names[k]} {'closes' if closed else 'opens'}")
            self._wake(lane)

    def _wake(self, lane: int) -> None:
        """Give loads that could not be supplied another chance, now that the circuit differs."""
        row = self.loads[lane]
        row[row == STARVED] = OFF
        self.step[lane] = np.nan

    def _end_soft_start(self, lane: int, k: int) -> None:
        state = self.loads[lane, k]
        if state in (RAMP, CAPPED):
            self.loads[lane, k] = POWER if state == RAMP else LIMIT
            self._note(lane, f"{self.topology.loads.names[k]} soft start ends")
            self.step[lane] = np.nan

    def _note(self, lane: int, text: str) -> None:
        self.log.append((float(self.time[lane]), lane, text))

    # --- groups of equal regime ------------------------------------------------------------------------------

    def _groups(self, lanes: Ints) -> list[Ints]:
        """Lanes split by the positions of diodes and loads, and with inductors by those of switches too."""
        key = np.concatenate([self.diodes[lanes], self.loads[lanes]], axis=1)
        if len(self.topology.inductors):  # they may be left without a path, which changes the number of states
            key = np.concatenate([self.switches[lanes], key], axis=1)
        if lanes.size == 1 or (key == key[0]).all():
            return [lanes]
        found: dict[bytes, list[int]] = {}
        for lane, row in zip(lanes, key, strict=True):
            found.setdefault(row.tobytes(), []).append(int(lane))
        return [np.array(group, dtype=np.intp) for group in found.values()]

    def _prepare(self, lanes: Ints) -> Prepared:
        """Equations and rows of the regime these lanes share, kept for later panels."""
        held, where = self._held(lanes)
        return held.take(where)

    def _held(self, lanes: Ints) -> tuple[Prepared, Ints]:
        """A prepared regime that holds these lanes, and where they are in it."""
        asked, lane = lanes, int(lanes[0])
        regime = Regime(self.switches[lanes], self.diodes[lane].copy(), self.loads[lane].copy())
        key = regime.diodes.tobytes() + b"|" + regime.loads.tobytes()
        for held in self.cache.get(key, ()):
            where = np.minimum(np.searchsorted(held.lanes, lanes), held.lanes.size - 1)
            if (held.lanes[where] == lanes).all() and (held.regime.switches[where] == regime.switches).all():
                return held, where
        if lanes.size < self.n <= FEW:  # the others mostly follow
            alike = self.switches == self.switches[lane]
            lanes = np.flatnonzero(alike.all(axis=1)) if len(self.topology.inductors) else np.arange(self.n)
            regime = Regime(self.switches[lanes], regime.diodes, regime.loads)
        system = assemble(self.topology, regime, lanes)
        exits = exits_of(self.topology, regime, lanes, system)
        w = self.watched
        watch = signal_rows(self.topology, regime, lanes, system, w.signals)
        watch[:, :, system.m] -= w.level[lanes]
        watch *= w.sign[:, None]
        prepared = Prepared(regime, lanes, system, exits, watch)
        bucket = self.cache.setdefault(key, [])
        bucket.append(prepared)
        if len(bucket) > 16:
            bucket.pop(0)
        return prepared, np.searchsorted(lanes, asked)

    def _state(self, p: Prepared) -> tuple[Floats, set[int]]:
        """x (g, m) of the lanes in the coordinates of the regime, and lanes where a diode takes a current over.

        A current whose path is gone changes at once, L Δi = A_L^T ψ with ψ the impulse of the node voltages. Diodes
        that ψ pushes forward take the current over before it is lost; otherwise the loss is noted.
        """
        i_l = self.i_l[p.lanes]
        j = (p.system.to_j @ i_l[..., None])[..., 0] + p.system.to_j0
        x = np.concatenate([(p.system.frame.from_tree @ self.z[p.lanes][..., None])[..., 0], j], axis=1)
        if j.shape[1] == i_l.shape[1]:
            return x, set()
        now = self._inductor_currents(p.system, x)
        lost = np.abs(now - i_l) > 1e-6 * np.abs(i_l).max(axis=1, initial=0.0)[:, None] + 1e-9
        taken = self._take_over(p, now - i_l, lost.any(axis=1)) if lost.any() and len(self.topology.diodes) else set()
        for row, k in np.argwhere(lost):
            if int(p.lanes[row]) not in taken:
                name = self.topology.inductors.names[k]
                self._note(int(p.lanes[row]), f"{name} is forced from {i_l[row, k]:.6g} A to {now[row, k]:.6g} A")
        kept = np.array([lane in taken for lane in p.lanes], dtype=bool)
        self.i_l[p.lanes] = np.where(kept[:, None], i_l, now)
        return x, taken

    def _take_over(self, p: Prepared, change: Floats, rows: NDArray[np.bool_]) -> set[int]:
        """Turn on the diodes that the impulse of a broken inductor current pushes forward; their lanes."""
        t = self.topology
        island = p.system.frame.island
        cut = island.T @ t.inductors.incidence
        impulse = (t.inductance_h[p.lanes] * change) @ np.linalg.pinv(cut) @ island.T
        forward = impulse @ t.diodes.incidence
        push = (forward > 1e-9 * np.abs(impulse).max(axis=1, keepdims=True)) & (self.diodes[p.lanes] == 0)
        push &= rows[:, None]
        taken: set[int] = set()
        for row, k in np.argwhere(push):
            lane = int(p.lanes[row])
            taken.add(lane)
            self.diodes[lane, k] = 1
            self._note(lane, f"{t.diodes.names[k]} conducts")
        return taken

    def _inductor_currents(self, system: System, x: Floats) -> Floats:
        m = system.m
        return (system.inductor_a[:, :, :m] @ x[..., None])[..., 0] + system.inductor_a[:, :, m]

    def _power(self, p: Prepared) -> Floats:
        """P(τ) = P0 + P1 τ of the powered loads, (g, p, 2), from now on."""
        which = p.regime.powered
        load = self.topology.load
        out = np.zeros((p.lanes.size, which.size, 2))
        watts = load.power_w[p.lanes][:, which]
        out[..., 0] = watts
        ramp = p.regime.loads[which] == RAMP
        if ramp.any():
            k = which[ramp]
            soft = load.soft_s[p.lanes][:, k]
            elapsed = self.time[p.lanes][:, None] - self.on_time[p.lanes][:, k]
            out[:, ramp, 1] = watts[:, ramp] / soft
            out[:, ramp, 0] = watts[:, ramp] * np.clip(elapsed / soft, 0.0, 1.0)
        return out

    def _exit_rows(self, p: Prepared) -> tuple[Floats, Floats]:
        """Exit rows (g, E, q) with the soft-start share at this time, and their slopes (g, E)."""
        if not p.exits.ramp.any():
            return p.exits.row, np.zeros_like(p.exits.ramp)
        load, m = self.topology.load, p.system.m
        k = np.array([e.which if e.load else 0 for e in p.exits.what], dtype=np.intp)
        soft = np.maximum(load.soft_s[np.ix_(p.lanes, k)], 1e-300)
        elapsed = self.time[p.lanes][:, None] - self.on_time[np.ix_(p.lanes, k)]
        row = p.exits.row.copy()
        row[:, :, m] += np.where(p.exits.ramp != 0, p.exits.ramp * np.clip(elapsed / soft, 0.0, 1.0), 0.0)
        return row, np.where(p.exits.ramp != 0, p.exits.ramp / soft, 0.0)

    def _all_rows(self, p: Prepared) -> tuple[Floats, Floats]:
        """Exit rows and watched rows (g, S, q) in one, and their slopes (g, S)."""
        if p.both is None or p.exits.ramp.any():
            rows, slope = self._exit_rows(p)
            p.both = (
                np.concatenate([rows, p.watch], axis=1),
                np.concatenate([slope, np.zeros(p.watch.shape[:2])], axis=1),
            )
        return p.both


def _same(one: Crossing, other: Crossing) -> bool:
    """Whether two crossings ask the same."""
    alike = one.signal == other.signal and one.rising == other.rising and one.start_s <= other.start_s
    return alike and np.array_equal(np.asarray(one.level), np.asarray(other.level))
