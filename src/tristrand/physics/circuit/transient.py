"""The course of a circuit over time: segments between events, for any number of lanes at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.assembly import (
    CAPPED,
    OFF,
    POWER,
    RAMP,
    STARVED,
    Ints,
    Regime,
    System,
    assemble,
    signal_row,
)
from tristrand.physics.circuit.elements import Circuit, CircuitError
from tristrand.physics.circuit.modes import Modes, modes_of
from tristrand.physics.circuit.panels import LinearPanel, Panel, RadauPanel
from tristrand.physics.circuit.radau import STAGES, radau_step, radau_tableau
from tristrand.physics.circuit.results import Record, Transient
from tristrand.physics.circuit.scan import Sampled, first_reach, integrals, largest
from tristrand.physics.circuit.signals import At, Command, Crossing, Integral, Peak, Probe, Signal, When
from tristrand.physics.circuit.states import (
    STATE_WORDS,
    Exits,
    exits_of,
    next_load_state,
    start_load_states,
    supply,
)
from tristrand.physics.circuit.topology import Topology
from tristrand.sources import cites

Floats = NDArray[np.float64]

#: State changes of diodes and loads in one lane after which it is called hunting.
MOST_EVENTS = 400
#: Panels in one lane after which the run is given up.
MOST_ROUNDS = 50_000
#: Lane-points worked on in one go; more are done in parts, to bound the memory.
CHUNK = 400_000


@dataclass(slots=True)
class Prepared:
    """A regime for some lanes: equations, modes, exits, and the rows of everything that is watched."""

    regime: Regime
    lanes: Ints
    system: System
    exits: Exits
    watch: Floats  # (g, W, q)
    modes: Modes | None = None

    def take(self, where: Ints) -> Prepared:
        """The same for some of the lanes."""
        if where.size == self.lanes.size:
            return self
        e = self.exits
        return Prepared(
            self.regime,
            self.lanes[where],
            self.system.take(where),
            Exits(e.what, e.row[where], e.ramp[where], e.tolerance[where]),
            self.watch[where],
            None if self.modes is None else self.modes.take(where),
        )


@dataclass(frozen=True, slots=True)
class Watched:
    """Order of the watched rows: conditions that end a panel, crossings, peaks, integrands."""

    signals: tuple[Signal, ...]
    level: Floats  # (N, W)
    sign: Floats  # (W,)
    conditions: int
    crossings: int
    peaks: int
    peak_of: tuple[tuple[int, float], ...]
    factors: tuple[tuple[int, int | None], ...]


def _watched(lanes: int, whens: list[When], stop: Crossing | None, probes: Sequence[Probe]) -> Watched:
    entries: list[tuple[Signal, object, float]] = []
    for when in whens:
        entries.append((when.signal, when.level, 1.0 if when.rising else -1.0))
    if stop is not None:
        entries.append((stop.signal, stop.level, 1.0 if stop.rising else -1.0))
    conditions = len(entries)
    crossings = [p for p in probes if isinstance(p, Crossing)]
    entries.extend((c.signal, c.level, 1.0 if c.rising else -1.0) for c in crossings)
    peak_of: list[tuple[int, float]] = []
    peaks = [p for p in probes if isinstance(p, Peak)]
    for k, peak in enumerate(peaks):
        for sign in (1.0, -1.0) if peak.absolute else (1.0,):
            entries.append((peak.signal, 0.0, sign))
            peak_of.append((k, sign))
    factors: list[tuple[int, int | None]] = []
    seen: dict[Signal, int] = {}
    for probe in (p for p in probes if isinstance(p, Integral)):
        pair = []
        for signal in (probe.signal, probe.other):
            if signal is not None and signal not in seen:
                seen[signal] = len(entries)
                entries.append((signal, 0.0, 1.0))
            pair.append(None if signal is None else seen[signal])
        assert pair[0] is not None
        factors.append((pair[0], pair[1]))
    level = np.empty((lanes, len(entries)))
    for k, (_, value, _) in enumerate(entries):
        level[:, k] = np.asarray(value, dtype=float)
    return Watched(
        tuple(e[0] for e in entries), level, np.array([e[2] for e in entries]),
        conditions, len(crossings), len(peak_of), tuple(peak_of), tuple(factors),
    )  # fmt: skip


@cites(
    "NUMERICS#own composition: nodal equations, modal solution, Radau IIA, event location",
    deviation="islands without a conductive path to the reference are pinned by LEAK_S at one node",
)
def transient(
    circuit: Circuit,
    duration_s: float,
    commands: Sequence[Command] = (),
    probes: Sequence[Probe] = (),
    stop: Crossing | None = None,
    rtol: float = 1e-8,
) -> Transient:
    """Course of the circuit from t = 0 to `duration_s` [s], or to `stop`.

    Between events the equations C v' + G v + A_L i_L + D i_p = s, L i_L' = A_L^T v - R i_L are linear apart from
    loads in their constant-power state (i_p = P/v). Without such loads the course is exact in the eigenmodes; with
    them it is Radau IIA of order 13 with steps held to `rtol`. Events (switch commands, thresholds, diode currents)
    are located to rounding. LEAK_S pins islands that float. An inductor whose current loses its path
    loses it at once, flux shared by L; the log says so. Capacitors joined without resistance at the start share
    their charge.

    Raises CircuitError for unknown names, times that are not finite, or a load fed through inductance alone.
    """
    return _Run(circuit, duration_s, commands, probes, stop, rtol).result()


@dataclass(slots=True)
class _Outcome:
    """What one panel told about its lanes."""

    prepared: Prepared
    end: Floats
    exit_tau: Floats
    condition_tau: Floats
    panel: Panel


@dataclass(slots=True)
class _Setup:
    duration: float
    whens: list[When] = field(default_factory=list)
    ats: list[At] = field(default_factory=list)


class _Run:
    """State of all lanes while they run."""

    def __init__(
        self,
        circuit: Circuit,
        duration_s: float,
        commands: Sequence[Command],
        probes: Sequence[Probe],
        stop: Crossing | None,
        rtol: float,
    ) -> None:
        if not (np.isfinite(duration_s) and duration_s > 0):
            raise CircuitError(f"duration_s must be finite and greater than 0, given is {duration_s!r}")
        self.topology = t = Topology(circuit)
        self.n = n = t.lanes
        self.duration, self.rtol, self.stop = float(duration_s), rtol, stop
        self.ats = [c for c in commands if isinstance(c, At)]
        self.whens = [c for c in commands if isinstance(c, When)]
        for command in commands:
            if command.switch not in t.switches.index:
                raise CircuitError(f"no switch is named {command.switch!r}; there are {', '.join(t.switches.names)}")
        names = [p.name for p in probes]
        if len(set(names)) != len(names):
            raise CircuitError("two probes have one name: " + ", ".join(sorted({x for x in names if names.count(x) > 1})))
        self.probes = list(probes)
        self.crossing_probes = [p for p in probes if isinstance(p, Crossing)]
        self.peak_probes = [p for p in probes if isinstance(p, Peak)]
        self.integral_probes = [p for p in probes if isinstance(p, Integral)]
        self.watched = _watched(n, self.whens, stop, probes)
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
        windows = {p.start_s for p in self.probes} | {
            p.stop_s for p in self.probes if isinstance(p, Peak | Integral)
        }
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
            self.loads[lane, k] = POWER if state == RAMP else 3
            self._note(lane, f"{self.topology.loads.names[k]} soft start ends")
            self.step[lane] = np.nan

    def _note(self, lane: int, text: str) -> None:
        self.log.append((float(self.time[lane]), lane, text))

    # --- groups of equal regime ------------------------------------------------------------------------------

    def _groups(self, lanes: Ints) -> list[Ints]:
        """Lanes split by the positions of switches, diodes and loads."""
        key = np.concatenate([self.switches[lanes], self.diodes[lanes], self.loads[lanes]], axis=1)
        if lanes.size == 1 or (key == key[0]).all():
            return [lanes]
        found: dict[bytes, list[int]] = {}
        for lane, row in zip(lanes, key, strict=True):
            found.setdefault(row.tobytes(), []).append(int(lane))
        return [np.array(group, dtype=np.intp) for group in found.values()]

    def _prepare(self, lanes: Ints) -> Prepared:
        """Equations and rows of the regime these lanes share, kept for later panels."""
        lane = int(lanes[0])
        regime = Regime(self.switches[lane].copy(), self.diodes[lane].copy(), self.loads[lane].copy())
        key = regime.switches.tobytes() + b"|" + regime.diodes.tobytes() + b"|" + regime.loads.tobytes()
        for held in self.cache.get(key, ()):
            where = np.minimum(np.searchsorted(held.lanes, lanes), held.lanes.size - 1)
            if (held.lanes[where] == lanes).all():
                return held.take(where)
        system = assemble(self.topology, regime, lanes)
        exits = exits_of(self.topology, regime, lanes, system)
        w = self.watched
        watch = np.zeros((lanes.size, len(w.signals), system.f.shape[2]))
        for k, signal in enumerate(w.signals):
            watch[:, k] = signal_row(self.topology, regime, lanes, system, signal)
        watch[:, :, system.m] -= w.level[lanes]
        watch *= w.sign[:, None]
        prepared = Prepared(regime, lanes, system, exits, watch)
        bucket = self.cache.setdefault(key, [])
        bucket.append(prepared)
        if len(bucket) > 16:
            bucket.pop(0)
        return prepared

    def _state(self, p: Prepared) -> Floats:
        """x (g, m) of the lanes in the coordinates of the regime; a current that lost its path is noted."""
        i_l = self.i_l[p.lanes]
        j = (p.system.to_j @ i_l[..., None])[..., 0] + p.system.to_j0
        x = np.concatenate([self.z[p.lanes], j], axis=1)
        if j.shape[1] < i_l.shape[1]:
            now = self._inductor_currents(p.system, x)
            lost = np.abs(now - i_l) > 1e-6 * np.abs(i_l).max(axis=1, initial=0.0)[:, None] + 1e-9
            for row, k in np.argwhere(lost):
                name = self.topology.inductors.names[k]
                self._note(int(p.lanes[row]), f"{name} is forced from {i_l[row, k]:.6g} A to {now[row, k]:.6g} A")
            self.i_l[p.lanes] = now
        return x

    def _inductor_currents(self, system: System, x: Floats) -> Floats:
        m = system.m
        return (system.inductor_a[:, :, :m] @ x[..., None])[..., 0] + system.inductor_a[:, :, m]

    def _power(self, p: Prepared) -> Floats:
        """P(τ) = P0 + P1 τ of the powered loads, (g, p, 2), from now on."""
        which = p.regime.powered
        load = self.topology.load
        out = np.zeros((p.lanes.size, which.size, 2))
        watts = load.power_w[np.ix_(p.lanes, which)]
        out[..., 0] = watts
        ramp = p.regime.loads[which] == RAMP
        if ramp.any():
            k = which[ramp]
            soft = load.soft_s[np.ix_(p.lanes, k)]
            elapsed = self.time[p.lanes][:, None] - self.on_time[np.ix_(p.lanes, k)]
            out[:, ramp, 1] = watts[:, ramp] / soft
            out[:, ramp, 0] = watts[:, ramp] * np.clip(elapsed / soft, 0.0, 1.0)
        return out

    def _exit_rows(self, p: Prepared) -> tuple[Floats, Floats]:
        """Exit rows (g, E, q) with the soft-start share at this time, and their slopes (g, E)."""
        if not p.exits.ramp.any():
            return p.exits.row, np.zeros_like(p.exits.ramp)
        load, m = self.topology.load, p.system.m
        k = [e.index if e.load else 0 for e in p.exits.what]
        soft = np.maximum(load.soft_s[np.ix_(p.lanes, k)], 1e-300)
        elapsed = self.time[p.lanes][:, None] - self.on_time[np.ix_(p.lanes, k)]
        row = p.exits.row.copy()
        row[:, :, m] += np.where(p.exits.ramp != 0, p.exits.ramp * np.clip(elapsed / soft, 0.0, 1.0), 0.0)
        return row, np.where(p.exits.ramp != 0, p.exits.ramp / soft, 0.0)

    # --- consistency after a change --------------------------------------------------------------------------

    def _settle(self, lanes: Ints) -> None:
        """Bring diodes and loads to states that agree with the circuit as it now is."""
        attempts = 40
        for attempt in range(attempts):
            again: list[int] = []
            for group in self._groups(lanes):
                again.extend(self._settle_group(group, one_at_a_time=attempt > 8))
            if not again:
                return
            lanes = np.array(sorted(again), dtype=np.intp)
        for lane in lanes:
            self._hunt(int(lane), "diodes and loads find no common state")

    def _settle_group(self, lanes: Ints, one_at_a_time: bool) -> list[int]:
        p = self._prepare(lanes)
        x = self._state(p)
        u = np.concatenate([x, np.ones((lanes.size, 1)), np.zeros((lanes.size, p.regime.powered.size))], axis=1)
        changed: set[int] = set()
        if p.regime.powered.size:
            probe = p.system.load_v[:, p.regime.powered]
            watts = self._power(p)[..., 0]
            volts, good = supply(probe, x, watts)
            u[:, x.shape[1] + 1 :] = watts / volts
            for row in np.flatnonzero(~good):
                self._collapse(int(lanes[row]), p.regime, probe[row])
                changed.add(int(lanes[row]))
        rows, _ = self._exit_rows(p)
        value = (rows @ u[..., None])[..., 0]
        for row, k in np.argwhere(value > p.exits.tolerance):
            lane = int(lanes[row])
            if (lane in changed and one_at_a_time) or not self._still(lane, p.regime):
                continue
            changed.add(lane)
            self._leave(lane, p, int(row), int(k), u[row])
            if not one_at_a_time:
                continue
        return [lane for lane in changed if self.running[lane]]

    def _still(self, lane: int, regime: Regime) -> bool:
        """Whether the loads of the lane are as they were when its exits were found."""
        return bool((self.loads[lane] == regime.loads).all())

    def _collapse(self, lane: int, regime: Regime, probe: Floats) -> None:
        """A load asks more than its supply can give at any voltage: it is off until something changes."""
        which = regime.powered
        direct = np.abs(np.diagonal(probe[:, -which.size :])) > 0
        watts = np.where(direct, self.topology.load.power_w[lane, which], -1.0)
        k = int(which[int(np.argmax(watts))])
        self.loads[lane, k] = STARVED
        self.step[lane] = np.nan
        self._note(lane, f"{self.topology.loads.names[k]} cannot be supplied: it asks more than the circuit can give")

    def _leave(self, lane: int, p: Prepared, row: int, k: int, u: Floats) -> None:
        """Take exit k of the lane."""
        t = self.topology
        exit_ = p.exits.what[k]
        self.changes[lane] += 1
        self.step[lane] = np.nan
        if not exit_.load:
            self.diodes[lane, exit_.index] ^= 1
            words = "conducts" if self.diodes[lane, exit_.index] else "blocks"
            self._note(lane, f"{t.diodes.names[exit_.index]} {words}")
            self._wake(lane)
        else:
            index = exit_.index
            volts = float(p.system.load_v[row, index] @ u)
            state = next_load_state(t, int(self.loads[lane, index]), index, lane, exit_.upward, volts)
            if state == RAMP and self.loads[lane, index] == OFF:
                self.on_time[lane, index] = self.time[lane]
                self.breaks[self.first_soft + index, lane] = self.time[lane] + t.load.soft_s[lane, index]
            if state == OFF:
                self.breaks[self.first_soft + index, lane] = np.inf
            self.loads[lane, index] = state
            self._note(lane, f"{t.loads.names[index]} {STATE_WORDS[state]} at {volts:.6g} V")
            if self.changes[lane] > MOST_EVENTS // 2:
                self.band[lane] = min(self.band[lane, 0], volts), max(self.band[lane, 1], volts)
        if self.changes[lane] > MOST_EVENTS:
            low, high = self.band[lane]
            self._hunt(lane, f"between {low:.6g} V and {high:.6g} V" if high >= low else "without rest")

    def _hunt(self, lane: int, words: str) -> None:
        if self.running[lane]:
            self.running[lane] = False
            self.status[lane] = "hunting"
            self._note(lane, f"hunting {words}")

    # --- the run ---------------------------------------------------------------------------------------------

    def result(self) -> Transient:
        """Run every lane to its end."""
        lanes = np.arange(self.n)
        self._due(lanes)
        self._settle(lanes)
        for _ in range(MOST_ROUNDS):
            lanes = np.flatnonzero(self.running)
            if not lanes.size:
                break
            touched: list[Ints] = []
            for group in self._groups(lanes):
                for part in self._parts(group):
                    touched.append(self._advance(part))
            settle = np.unique(np.concatenate(touched))
            settle = settle[self.running[settle]]
            if settle.size:
                self._settle(settle)
        else:
            for lane in np.flatnonzero(self.running):
                self._hunt(int(lane), "too many steps")
        values = {p.name: self.crossed[:, k] for k, p in enumerate(self.crossing_probes)}
        peaks = {p.name: (self.peak_value[:, k], self.peak_time[:, k]) for k, p in enumerate(self.peak_probes)}
        totals = {p.name: self.total[:, k] for k, p in enumerate(self.integral_probes)}
        order = tuple(sorted(self.log, key=lambda entry: entry[0]))
        return Transient(
            self.n, values, peaks, totals, self.time, self.status, self.topology, tuple(self.records), order
        )

    def _parts(self, group: Ints) -> list[Ints]:
        size = max(1, CHUNK // (200 * max(1, self.z.shape[1] + self.i_l.shape[1])))
        return [group[k : k + size] for k in range(0, group.size, size)]

    def _advance(self, lanes: Ints) -> Ints:
        """One panel for lanes of equal regime; the lanes that must settle afterwards."""
        p = self._prepare(lanes)
        if p.modes is None:
            p.modes = modes_of(p.system)
        x = self._state(p)
        horizon = np.minimum(self.breaks[:, lanes].min(axis=0, initial=np.inf), self.duration) - self.time[lanes]
        panel: Panel
        if p.regime.powered.size:
            p, stepped, failed = self._radau(p, x, horizon)
            if stepped is None:
                return failed
            panel, lanes = stepped, p.lanes
            horizon = np.minimum(self.breaks[:, lanes].min(axis=0, initial=np.inf), self.duration) - self.time[lanes]
        else:
            assert p.modes is not None
            panel = LinearPanel(p.system, p.modes, x, self.time[lanes], horizon.copy())
            failed = np.zeros(0, dtype=np.intp)
        outcome = self._scan(p, panel)
        return np.concatenate([failed, self._close(outcome, horizon)])

    def _radau(self, p: Prepared, x: Floats, horizon: Floats) -> tuple[Prepared, RadauPanel | None, Ints]:
        """Try one step; the lanes whose step holds, their panel, and the lanes whose supply collapsed."""
        assert p.modes is not None
        lanes, m = p.lanes, p.system.m
        probe = p.system.load_v[:, p.regime.powered]
        power = self._power(p)
        start_v, good = supply(probe, x, power[..., 0])
        y0 = (p.modes.inverse @ x[..., None].astype(p.modes.inverse.dtype))[..., 0]
        fresh = np.isnan(self.step[lanes])
        if fresh.any():
            u = np.concatenate([x, np.ones((lanes.size, 1)), power[..., 0] / start_v], axis=1)
            self.step[lanes[fresh]] = self._first_step(p, x, u)[fresh]
        h = np.minimum(self.step[lanes], horizon)
        with np.errstate(all="ignore"):
            step = radau_step(p.modes, y0, start_v, probe, power, h)
            wrong = np.abs((p.modes.vectors @ step.error[..., None])[..., 0].real)
            size = np.abs((p.modes.vectors @ step.nodes).real).max(axis=2)
            ratio = (wrong / (self.rtol * (size + 1.0))).max(axis=1, initial=0.0)
            ratio = np.where(step.solved & np.isfinite(ratio), ratio, np.inf)
            factor = np.clip(0.9 * np.maximum(ratio, 1e-30) ** (-1.0 / (STAGES + 1)), 0.1, 8.0)
        keep = (ratio <= 1.0) & good
        grown = np.where(keep, np.maximum(self.step[lanes], h * factor), h * factor)
        # a step cut short by an event says nothing against the longer one waiting
        self.step[lanes] = np.where(keep & (h >= self.step[lanes]), h * factor, grown)
        dead = (~good) | (~keep & (h < 1e-14 * np.maximum(self.time[lanes], 1e-6 * self.duration)))
        for row in np.flatnonzero(dead):
            self._collapse(int(lanes[row]), p.regime, np.ones_like(probe[row]))
        failed = lanes[dead]
        where = np.flatnonzero(keep)
        if not where.size:
            return p, None, failed
        q = p.take(where)
        assert q.modes is not None
        return q, RadauPanel(
            q.system, q.modes, x[where], self.time[q.lanes], h[where], h[where],
            step.nodes[where], step.load_v[where], power[where], radau_tableau(STAGES),
        ), failed  # fmt: skip

    def _first_step(self, p: Prepared, x: Floats, u: Floats) -> Floats:
        """Step length that resolves the modes which are moving now."""
        assert p.modes is not None
        rate = (p.modes.inverse @ (p.system.f @ u[..., None]))[..., 0]
        speed = np.maximum(np.abs(p.modes.rate), 1e-300)
        reach = np.abs(p.modes.vectors).max(axis=1) * np.abs(rate) / speed
        moving = reach > 1e-6 * (np.abs(x).max(axis=1, initial=0.0) + 1e-3)[:, None]
        return np.asarray(np.minimum(np.where(moving, 0.3 / speed, np.inf).min(axis=1, initial=np.inf), self.duration / 20))

    def _scan(self, p: Prepared, panel: Panel) -> _Outcome:
        """Find where the panel ends, and read the probes up to there."""
        lanes, w = p.lanes, self.watched
        rows, slope = self._exit_rows(p)
        n_exit = rows.shape[1]
        slopes = np.concatenate([slope, np.zeros((lanes.size, len(w.signals)))], axis=1)
        prepared = panel.rows(np.concatenate([rows, p.watch], axis=1), slopes)
        grid = panel.grid()
        grid = np.minimum(grid, panel.span[:, None])
        last = n_exit + w.conditions + w.crossings + w.peaks
        watched_rows = panel.rows(
            np.concatenate([rows, p.watch], axis=1)[:, :last], slopes[:, :last]
        ) if w.factors else prepared
        sampled = Sampled.of(watched_rows, grid)
        exit_tau = first_reach(sampled, slice(0, n_exit), p.exits.tolerance, np.zeros(n_exit, dtype=bool))
        span = slice(n_exit, n_exit + w.conditions)
        zero = np.zeros((lanes.size, w.conditions))
        condition_tau = first_reach(sampled, span, zero, np.ones(w.conditions, dtype=bool))
        condition_tau[~self.condition_open[lanes]] = np.inf
        if self.stop is not None and self.stop.start_s > 0:
            condition_tau[self.time[lanes] < self.stop.start_s, -1] = np.inf
        end = np.minimum(panel.span, np.minimum(exit_tau.min(axis=1, initial=np.inf), condition_tau.min(axis=1, initial=np.inf)))
        sampled = sampled.clipped(end)
        self._read_crossings(lanes, sampled, n_exit + w.conditions)
        self._read_peaks(lanes, sampled, n_exit + w.conditions + w.crossings)
        if w.factors:
            edges = sampled.tau[:, ::3] if isinstance(panel, LinearPanel) else sampled.tau[:, :1]
            edges = np.concatenate([edges, end[:, None]], axis=1)
            first = w.conditions + w.crossings + w.peaks
            part = integrals(panel.rows(p.watch[:, first:]), edges, [
                (a - first, None if b is None else b - first) for a, b in w.factors
            ])  # fmt: skip
            for k, probe in enumerate(self.integral_probes):
                inside = (self.time[lanes] >= probe.start_s) & (self.time[lanes] < probe.stop_s)
                self.total[lanes, k] += np.where(inside, part[:, k], 0.0)
        return _Outcome(p, end, exit_tau, condition_tau, panel)

    def _read_crossings(self, lanes: Ints, sampled: Sampled, base: int) -> None:
        count = len(self.crossing_probes)
        if not count or not np.isnan(self.crossed[lanes]).any():
            return
        tau = first_reach(
            sampled, slice(base, base + count), np.zeros((lanes.size, count)), np.ones(count, dtype=bool)
        )
        for k, probe in enumerate(self.crossing_probes):
            new = np.isfinite(tau[:, k]) & np.isnan(self.crossed[lanes, k]) & (self.time[lanes] >= probe.start_s)
            self.crossed[lanes[new], k] = (self.time[lanes] + tau[:, k])[new]

    def _read_peaks(self, lanes: Ints, sampled: Sampled, base: int) -> None:
        if not self.peak_probes:
            return
        best, when = largest(sampled, slice(base, base + self.watched.peaks))
        for column, (k, sign) in enumerate(self.watched.peak_of):
            probe = self.peak_probes[k]
            inside = (self.time[lanes] >= probe.start_s) & (self.time[lanes] < probe.stop_s)
            new = inside & (best[:, column] > self.peak[lanes, k])
            self.peak[lanes[new], k] = best[new, column]
            self.peak_value[lanes[new], k] = sign * best[new, column]
            self.peak_time[lanes[new], k] = (self.time[lanes] + when[:, column])[new]

    def _close(self, outcome: _Outcome, horizon: Floats) -> Ints:
        """Move the lanes to the end of their panel and carry out what happens there."""
        p, end = outcome.prepared, outcome.end
        lanes = p.lanes
        x = outcome.panel.state(end)
        start = self.time[lanes].copy()
        nz = self.z.shape[1]
        self.z[lanes], self.i_l[lanes] = x[:, :nz], self._inductor_currents(p.system, x)
        # the horizon is one of the breaks less the time: take the break itself, so that no rounding is left over
        goal = np.minimum(self.breaks[:, lanes].min(axis=0, initial=np.inf), self.duration)
        self.time[lanes] = np.where(end >= horizon, goal, start + end)
        self.records.append(Record(p.regime, lanes, outcome.panel, start, self.time[lanes].copy()))
        fired = np.zeros(lanes.size, dtype=bool)
        for row in np.flatnonzero((outcome.exit_tau <= end[:, None]).any(axis=1)):
            self._fire(outcome, int(row), end[row])
            fired[row] = True
        for row, k in np.argwhere(outcome.condition_tau <= end[:, None]):
            lane = int(lanes[row])
            self.condition_open[lane, k] = False
            if k < len(self.whens):
                self._schedule(lane, int(k))
                fired[row] = True
            else:
                self.running[lane] = False
                self.status[lane] = "stopped"
        done = self.time[lanes] >= self.duration
        moved = self._due(lanes[~done])
        self.running[lanes[done]] = False
        return np.union1d(lanes[fired], moved).astype(np.intp)

    def _fire(self, outcome: _Outcome, row: int, end: float) -> None:
        """Take the first exit of the lane that is due at the end of the panel."""
        p = outcome.prepared
        k = int(np.argmin(outcome.exit_tau[row]))
        rows = outcome.panel.rows(p.system.load_v) if p.exits.what[k].load else None
        m = p.system.m
        u = np.zeros(p.system.f.shape[2])
        if rows is not None:
            index = p.exits.what[k].index
            pair = rows.pairs(np.array([row]), np.array([index]))
            volts = float(pair.at(np.array([[end]]))[0][0, 0, 0])
            # _leave reads the load's voltage off u: hand it one that gives exactly this voltage
            probe = p.system.load_v[row, index]
            weight = float(probe @ probe)
            u = probe * (volts / weight) if weight > 0 else u
        else:
            u[m] = 1.0
        self._leave(int(p.lanes[row]), p, row, k, u)

    def _schedule(self, lane: int, k: int) -> None:
        """A condition holds: set the time of its command."""
        when, t = self.whens[k], self.topology
        index = t.switches.index[when.switch]
        delay = (t.close_delay_s if when.closed else t.open_delay_s)[lane, index]
        after = np.broadcast_to(np.asarray(when.after_s, dtype=float), (self.n,))[lane]
        self.breaks[self.first_when + k, lane] = self.time[lane] + after + delay
