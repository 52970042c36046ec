"""What a transient returns."""

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.assembly import Ints, Regime, signal_rows
from tristrand.physics.circuit.panels import Panel
from tristrand.physics.circuit.signals import Signal
from tristrand.physics.circuit.topology import Topology
from tristrand.records import NamedTuple

Floats = NDArray[np.float64]


class Record(NamedTuple):
    """A panel as used: its lanes and the times at which each began and ended there."""

    regime: Regime
    lanes: Ints
    panel: Panel
    start: Floats
    end: Floats


class Transient(NamedTuple):
    """Outcome of `transient`, every array with one value per lane.

    crossings: time [s] by probe name, nan when never. peaks: (value, time [s]). integrals: value. status:
    "completed", "stopped" (by the stop condition), "dropped" (by stop_at_drop), "hunting" (too many state changes; the
    log says in which band) or "inexact" (values too far apart; no number of that lane may be used).
    """

    lanes: int
    crossings: dict[str, Floats]
    peaks: dict[str, tuple[Floats, Floats]]
    integrals: dict[str, Floats]
    final_time: Floats
    status: NDArray[np.str_]
    topology: Topology
    records: tuple[Record, ...]
    log: tuple[tuple[float, int, str], ...]

    def events(self, lane: int = 0) -> tuple[tuple[float, str], ...]:
        """What happened in a lane: (time [s], words)."""
        return tuple((time, text) for time, where, text in self.log if where == lane)

    def final(self, signal: Signal) -> Floats:
        """The signal at the end of every lane, in the state that held until then."""
        out = np.full(self.lanes, np.nan)
        missing = np.ones(self.lanes, dtype=bool)
        for record in reversed(self.records):
            where = np.flatnonzero(missing[record.lanes])
            if where.size:
                out[record.lanes[where]] = self._values(record, signal, record.end[:, None])[where, 0]
                missing[record.lanes[where]] = False
            if not missing.any():
                break
        return out

    def _values(self, record: Record, signal: Signal, times: Floats) -> Floats:
        row = signal_rows(self.topology, record.regime, record.lanes, record.panel.system, [signal])[:, 0]
        tau = np.clip(times - record.start[:, None], 0.0, (record.end - record.start)[:, None])
        return record.panel.rows(row[:, None, :]).at(tau)[0][:, 0]

    def at(self, signal: Signal, times: Floats) -> Floats:
        """The signal of every lane at its own time [s] (N,); at a jump the value after it, nan outside the run."""
        out = np.full(self.lanes, np.nan)
        for record in self.records:
            own = times[record.lanes]
            inside = (own >= record.start) & (own <= record.end)
            if inside.any():
                out[record.lanes[inside]] = self._values(record, signal, own[:, None])[inside, 0]
        return out

    def _of_lane(self, lane: int) -> list[tuple[Record, int]]:
        if not 0 <= lane < self.lanes:
            raise IndexError(f"lane {lane} does not exist; there are {self.lanes}")
        found = []
        for record in self.records:
            where = np.searchsorted(record.lanes, lane)
            if where < record.lanes.size and record.lanes[where] == lane:
                found.append((record, int(where)))
        return found

    def sample(self, signal: Signal, times: Floats, lane: int = 0) -> Floats:
        """The signal of one lane at the given times [s]; at a jump the value after it, nan outside the run."""
        times = np.asarray(times, dtype=float)
        out = np.full(times.shape, np.nan)
        for record, k in self._of_lane(lane):
            start, end = record.start[k], record.end[k]
            inside = (times >= start) & (times <= end)
            if inside.any():
                one = np.array([k])
                regime, system = record.regime.take(one), record.panel.system.take(one)
                row = signal_rows(self.topology, regime, record.lanes[one], system, [signal])[:, 0]
                out[inside] = record.panel.take(one).rows(row[:, None]).values((times[inside] - start)[None])[0, 0]
        return out

    def grid(self, lane: int = 0) -> Floats:
        """Times [s] that show every movement of a lane; each jump appears twice, just before and at it."""
        pieces: list[Floats] = []
        for record, k in self._of_lane(lane):
            start, end = record.start[k], record.end[k]
            if end <= start:
                continue
            times = start + record.panel.grid()[k]
            times = np.concatenate([times[times < end], [np.nextafter(end, -np.inf)]])
            pieces.append(times)
        if not pieces:
            return self.final_time[lane : lane + 1].copy()
        return np.unique(np.concatenate([*pieces, self.final_time[lane : lane + 1]]))
