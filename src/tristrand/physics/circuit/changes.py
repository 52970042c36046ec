"""Changes of state: which diodes and loads leave theirs, until all agree with the circuit; and how a lane ends."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.assembly import CAPPED, LIMIT, OFF, POWER, RAMP, SLIDE, STARVED, Ints, Regime
from tristrand.physics.circuit.elements import LEAK_S
from tristrand.physics.circuit.lanes import Lanes, Prepared
from tristrand.physics.circuit.modes import balanced, modes_of
from tristrand.physics.circuit.states import STATE_WORDS, next_load_state, supply

Floats = NDArray[np.float64]

#: State changes of diodes and loads in one lane after which it is called hunting.
MOST_EVENTS = 400
#: Relative error of a mode's rate (of its product with the duration where slower), or of the energy its shape
#: leaves out, that ends a lane; those of ordinary circuits are near 1e-12.
INEXACT = 1e-7
DRAWING = (POWER, RAMP, LIMIT, CAPPED)


class Changes(Lanes):
    """Lanes whose diodes and loads change state."""

    def _settle(self, lanes: Ints) -> None:
        """Bring diodes and loads to states that agree with the circuit as it now is."""
        attempts, settled = 40, lanes
        for attempt in range(attempts):
            again: list[int] = []
            for group in self._groups(lanes):
                again.extend(self._settle_group(group, one_at_a_time=attempt > 8))
            if not again:
                if self.stop_at_drop:
                    self._stop_held(settled)
                return
            lanes = np.array(sorted(again), dtype=np.intp)
        for lane in lanes:
            self._hunt(int(lane), "diodes and loads find no common state")

    def _settle_group(self, lanes: Ints, one_at_a_time: bool) -> list[int]:
        p = self._prepare(lanes)
        x, taken = self._state(p)
        if taken:
            return list(lanes)
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
        return [lane for lane in changed if self.running[lane]]

    def _still(self, lane: int, regime: Regime) -> bool:
        """Whether the loads of the lane are as they were when its exits were found."""
        return bool((self.loads[lane] == regime.loads).all())

    def _collapse(self, lane: int, regime: Regime, probe: Floats) -> None:
        """A load asks more than its supply can give at any voltage: it is off until something changes."""
        which = regime.powered
        direct = np.abs(np.diagonal(probe[:, -which.size :])) > 0
        watts = np.where(direct | ~direct.any(), self.topology.load.power_w[lane, which], -1.0)
        k = int(which[int(np.argmax(watts))])
        self.loads[lane, k] = STARVED
        self.step[lane] = np.nan
        words = f"{self.topology.loads.names[k]} cannot be supplied: it asks more than the circuit can give"
        self._note(lane, words)
        # fed through the pin of a floating island alone it is simply not connected; else it would try again for ever
        if np.abs(probe[:, -which.size :]).max() < 0.1 / LEAK_S:
            self._hunt(lane, f"because {words}")

    def _leave(self, lane: int, p: Prepared, row: int, k: int, u: Floats) -> None:
        """Take exit k of the lane."""
        t = self.topology
        exit_ = p.exits.what[k]
        self.changes[lane] += 1
        self.step[lane] = np.nan
        if not exit_.load:
            self.diodes[lane, exit_.which] ^= 1
            words = "conducts" if self.diodes[lane, exit_.which] else "blocks"
            self._note(lane, f"{t.diodes.names[exit_.which]} {words}")
            self._wake(lane)
        else:
            index = exit_.which
            volts = float(p.system.load_v[row, index] @ u)
            state = next_load_state(t, int(self.loads[lane, index]), index, lane, exit_.upward, volts)
            if state == RAMP and self.loads[lane, index] == OFF:
                self.on_time[lane, index] = self.time[lane]
                self.breaks[self.first_soft + index, lane] = self.time[lane] + t.load.soft_s[lane, index]
            if state == OFF:
                self.breaks[self.first_soft + index, lane] = np.inf
            before, self.loads[lane, index] = int(self.loads[lane, index]), state
            shown = float(t.load.on_v[lane, index]) if state == SLIDE else volts
            self._note(lane, f"{t.loads.names[index]} {STATE_WORDS[state]} at {shown:.6g} V")
            if self.stop_at_drop and state == OFF and before in DRAWING:
                self._end(lane, "dropped", f"stopped: {t.loads.names[index]} drops out")
            if self.changes[lane] > MOST_EVENTS // 2:
                self.band[lane] = min(self.band[lane, 0], volts), max(self.band[lane, 1], volts)
        if self.changes[lane] > MOST_EVENTS:
            low, high = self.band[lane]
            self._hunt(lane, f"between {low:.6g} V and {high:.6g} V" if high >= low else "without rest")

    def _stop_held(self, lanes: Ints) -> None:
        """End the lanes in which a load is held at its threshold."""
        for row, k in np.argwhere(self.loads[lanes] == SLIDE):
            self._end(int(lanes[row]), "dropped", f"stopped: {self.topology.loads.names[k]} is held at its threshold")

    def _with_modes(self, lanes: Ints) -> Prepared:
        """The prepared regime with its modes, without the lanes of which a mode does not keep energy: they end here."""
        held, where = self._held(lanes)
        if held.modes is None:
            held.modes = modes_of(held.system)
            rates, shapes = balanced(self.topology, held.regime, held.lanes, held.system, held.modes)
            rates = rates / np.maximum(np.abs(held.modes.rate), 1.0 / self.duration)
            held.error = np.maximum(rates.max(axis=1, initial=0.0), shapes)
        assert held.error is not None
        wrong: NDArray[np.bool_] = ~(held.error[where] <= INEXACT)
        for row in where[wrong]:
            words = f"not solved: values too far apart, a mode is off by {held.error[row]:.1g}"
            self._end(int(held.lanes[row]), "inexact", words)
        return held.take(where[~wrong])

    def _hunt(self, lane: int, words: str) -> None:
        self._end(lane, "hunting", f"hunting {words}")

    def _end(self, lane: int, status: str, words: str) -> None:
        if self.running[lane]:
            self.running[lane] = False
            self.status[lane] = status
            self._note(lane, words)
