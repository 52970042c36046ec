"""The course of a circuit over time: panels between events, for any number of lanes at once."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.assembly import CAPPED, RAMP, Ints
from tristrand.physics.circuit.changes import Changes
from tristrand.physics.circuit.elements import Circuit
from tristrand.physics.circuit.lanes import Prepared
from tristrand.physics.circuit.panels import LinearPanel, Panel, RadauPanel, Rows
from tristrand.physics.circuit.radau import STAGES, radau_step, radau_tableau
from tristrand.physics.circuit.results import Record, Transient
from tristrand.physics.circuit.scan import Sampled, first_reach, integrals, largest
from tristrand.physics.circuit.signals import Command, Crossing, Probe
from tristrand.physics.circuit.states import supply
from tristrand.records import NamedTuple
from tristrand.sources import cites

Floats = NDArray[np.float64]

#: Panels in one run after which the lanes still running are given up.
MOST_ROUNDS = 50_000
#: Numbers worked on in one go; more lanes are done in parts, to bound the memory.
CHUNK = 400_000
#: Margin of a load without capacitance against collapse (1 unloaded, 0 at the turning point of v = a - R P/v) at
#: which it is taken to collapse. The margin goes as the square root of the time left: 1e-6 of the time scale.
NO_RETURN = 1e-3
#: Share of the estimated error of a step that it has at most; the estimate is that of the embedded formula of order 7.
OVERSTATED = 0.1


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
    stop_at_drop: bool = False,
) -> Transient:
    """Course of the circuit from t = 0 to `duration_s` [s], or to `stop`.

    Between events the equations C v' + G v + A_L i_L + D i_p = s, L i_L' = A_L^T v - R i_L are linear apart from
    loads in their constant-power state (i_p = P/v). Without such loads the course is exact in the eigenmodes; with
    them it is Radau IIA of order 13 with steps held to `rtol`. Events (switch commands, thresholds, diode currents)
    are located to rounding. LEAK_S pins islands that float. An inductor whose current loses its path
    loses it at once, flux shared by L; the log says so. Capacitors joined without resistance at the start share
    their charge.

    With `stop_at_drop` a lane also ends, status "dropped", where a power load that has started turns off again or
    is held at its threshold (SLIDE): from there on such loads go on stopping and starting, or rest. The event names
    the load; `final` gives the state at that moment. A load with below="resistive" does not turn off.

    Time constants may lie any number of decades apart. Every mode is checked against the energy of the elements as
    given; a lane in which one is off by more than INEXACT ends there and then, status "inexact", and its probes
    count for nothing.

    Raises CircuitError for unknown names, times that are not finite, or a load fed through inductance alone.
    """
    return _Run(circuit, duration_s, commands, probes, stop, rtol, stop_at_drop).result()


class _Outcome(NamedTuple):
    """What one panel told about its lanes."""

    prepared: Prepared
    end: Floats
    exit_tau: Floats
    condition_tau: Floats
    panel: Panel


class _Run(Changes):
    """Runs every lane to its end."""

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
            # Lanes that changed less often go first: once they come to the state of the others, they share panels.
            soft = (self.loads[lanes] == RAMP) | (self.loads[lanes] == CAPPED)
            stage = 2 * self.changes[lanes] + ~soft.any(axis=1)
            lanes = lanes[stage == stage.min()]
            for group in self._groups(lanes):
                for part in self._parts(group):
                    touched.append(self._advance(part))
            moved = np.zeros(self.n, dtype=bool)
            moved[np.concatenate(touched)] = True
            settle = np.flatnonzero(moved & self.running)
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
        p = self._with_modes(lanes)
        lanes = p.lanes
        if not lanes.size:
            return lanes
        x, _ = self._state(p)
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
        lanes = p.lanes
        probe = p.system.load_v[:, p.regime.powered]
        power = self._power(p)
        start_v, good = supply(probe, x, power[..., 0])
        good &= _margin(probe, power[..., 0], start_v) > NO_RETURN
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
            nz = self.z.shape[1]
            # voltages by the largest of them: a state may be the small difference of two
            size[:, :nz] = size[:, :nz].max(axis=1, keepdims=True, initial=0.0)
            ratio = OVERSTATED * (wrong / (self.rtol * (size + 1.0))).max(axis=1, initial=0.0)
            ratio = np.where(step.solved & np.isfinite(ratio), ratio, np.inf)
            factor = np.clip(0.9 * np.maximum(ratio, 1e-30) ** (-1.0 / (STAGES + 1)), 0.1, 8.0)
        keep = (ratio <= 1.0) & good
        if probe[:, :, p.system.m + 1 :].any():
            # a load without capacitance: its step must end on the solution of highest voltage, where it began
            ends = (p.modes.vectors @ step.nodes[:, :, -1:]).real[..., 0]
            with np.errstate(all="ignore"):
                end_v, there = supply(
                    probe, np.where(np.isfinite(ends), ends, 0.0), power[..., 0] + power[..., 1] * h[:, None]
                )
            keep &= there & (np.abs(end_v - step.load_v[:, :, -1]) <= 1e-6 * np.abs(end_v)).all(axis=1)
            factor = np.where(keep, factor, np.minimum(factor, 0.25))
        grown = np.where(keep, np.maximum(self.step[lanes], h * factor), h * factor)
        # a step cut short by an event says nothing against the longer one waiting
        self.step[lanes] = np.where(keep & (h >= self.step[lanes]), h * factor, grown)
        dead = (~good) | (~keep & (h < 1e-13 * self.duration))
        for row in np.flatnonzero(dead):
            self._collapse(int(lanes[row]), p.regime, probe[row])
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
        reach = np.abs(p.modes.vectors).max(axis=1, initial=0.0) * np.abs(rate) / speed
        moving = reach > 1e-6 * (np.abs(x).max(axis=1, initial=0.0) + 1e-3)[:, None]
        return np.asarray(
            np.minimum(np.where(moving, 0.8 / speed, np.inf).min(axis=1, initial=np.inf), self.duration / 20)
        )

    def _scan(self, p: Prepared, panel: Panel) -> _Outcome:
        """Find where the panel ends, and read the probes up to there."""
        lanes, w = p.lanes, self.watched
        both, slope = self._all_rows(p)
        n_exit = p.exits.row.shape[1]
        rows = panel.rows(both, slope)
        grid = np.minimum(panel.grid(), panel.span[:, None])
        watched = n_exit + w.conditions + w.crossings
        sampled = Sampled.of(rows.part(slice(0, watched + w.peaks)), grid)
        tau = self._first(p, sampled, watched)
        end = np.minimum(panel.span, tau[:, : n_exit + w.conditions].min(axis=1, initial=np.inf))
        if w.crossings:
            self._read_crossings(lanes, tau[:, n_exit + w.conditions :], end)
        sampled = sampled.clipped(end)
        self._read_peaks(lanes, sampled, watched)
        if w.factors:
            edges = sampled.tau[:, ::3] if isinstance(panel, LinearPanel) else sampled.tau[:, :1]
            edges = np.concatenate([edges, end[:, None]], axis=1)
            self._add_integrals(lanes, rows.part(slice(watched + w.peaks, None)), edges)
        return _Outcome(p, end, tau[:, :n_exit], tau[:, n_exit : n_exit + w.conditions], panel)

    def _first(self, p: Prepared, sampled: Sampled, watched: int) -> Floats:
        """First τ of every exit, condition and crossing (g, watched); inf when not on this panel."""
        n_exit, conditions = p.exits.row.shape[1], self.watched.conditions
        tolerance = np.zeros((p.lanes.size, watched))
        tolerance[:, :n_exit] = p.exits.tolerance
        tau = first_reach(sampled, slice(0, watched), tolerance, np.arange(watched) >= n_exit)
        if conditions:
            wanted = self.condition_open[p.lanes]
            if self.stop is not None and self.stop.start_s > 0:
                wanted = wanted.copy()
                wanted[self.time[p.lanes] < self.stop.start_s, -1] = False
            tau[:, n_exit : n_exit + conditions][~wanted] = np.inf
        return tau

    def _read_crossings(self, lanes: Ints, tau: Floats, end: Floats) -> None:
        time = self.time[lanes]
        for row, k in np.argwhere(tau <= end[:, None]):
            lane = lanes[row]
            if np.isnan(self.crossed[lane, k]) and time[row] >= self.crossing_probes[k].start_s:
                self.crossed[lane, k] = time[row] + tau[row, k]

    def _read_peaks(self, lanes: Ints, sampled: Sampled, base: int) -> None:
        if not self.peak_probes:
            return
        known = self.peak[lanes][:, [k for k, _ in self.watched.peak_of]]
        best, when = largest(sampled, slice(base, base + self.watched.peaks), known)
        for column, (k, sign) in enumerate(self.watched.peak_of):
            probe = self.peak_probes[k]
            inside = (self.time[lanes] >= probe.start_s) & (self.time[lanes] < probe.stop_s)
            new = inside & (best[:, column] > self.peak[lanes, k])
            self.peak[lanes[new], k] = best[new, column]
            self.peak_value[lanes[new], k] = sign * best[new, column]
            self.peak_time[lanes[new], k] = (self.time[lanes] + when[:, column])[new]

    def _add_integrals(self, lanes: Ints, rows: Rows, edges: Floats) -> None:
        """Add this panel's share of every integral, between `edges` (g, E) and within the probe's own window."""
        for (start_s, stop_s), asked in self.integrands.items():
            first, last = start_s - self.time[lanes], stop_s - self.time[lanes]
            if (last <= 0).all() or (first >= edges[:, -1]).all():
                continue
            inside = edges
            if not ((first <= 0).all() and (last >= edges[:, -1]).all()):
                # Never outside the panel: what holds on it grows without bound beyond.
                begin = np.clip(first, 0.0, edges[:, -1])
                inside = np.clip(edges, begin[:, None], np.maximum(np.minimum(last, edges[:, -1]), begin)[:, None])
            part = integrals(rows, inside, [(a, b) for _, a, b in asked])
            self.total[lanes[:, None], [k for k, _, _ in asked]] += part

    def _close(self, outcome: _Outcome, horizon: Floats) -> Ints:
        """Move the lanes to the end of their panel and carry out what happens there."""
        p, end = outcome.prepared, outcome.end
        lanes = p.lanes
        x = outcome.panel.state(end)
        start = self.time[lanes].copy()
        nz = self.z.shape[1]
        self.z[lanes] = (p.system.frame.to_tree @ x[:, :nz, None])[..., 0]
        self.i_l[lanes] = self._inductor_currents(p.system, x)
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
                twins = [k for k in self.like_stop if np.isnan(self.crossed[lane, k])]
                self.crossed[lane, twins] = self.time[lane]
        done = self.time[lanes] >= self.duration
        moved = self._due(lanes[~done])
        self.running[lanes[done]] = False
        return np.concatenate([lanes[fired], moved])

    def _fire(self, outcome: _Outcome, row: int, end: float) -> None:
        """Take the first exit of the lane that is due at the end of the panel."""
        p = outcome.prepared
        k = int(np.argmin(outcome.exit_tau[row]))
        rows = outcome.panel.rows(p.system.load_v) if p.exits.what[k].load else None
        m = p.system.m
        u = np.zeros(p.system.f.shape[2])
        if rows is not None:
            index = p.exits.what[k].which
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


def _margin(probe: Floats, watts: Floats, volts: Floats) -> Floats:
    """det(I + E P/v²) of the loads of each lane, E their resistance to each other."""
    e = probe[:, :, -watts.shape[1] :]
    if not e.any():
        return np.ones(watts.shape[0])
    return np.asarray(np.linalg.det(np.eye(watts.shape[1]) + e * (watts / volts**2)[:, None, :]))
