"""The solver's runs of a precharge over the ends of its tolerances, and what they show."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tristrand.physics import precharge as closed_form
from tristrand.physics.circuit import (
    Capacitor,
    Circuit,
    Crossing,
    CurrentSource,
    Integral,
    Peak,
    Resistor,
    Transient,
    amp,
    operating_point,
    transient,
)
from tristrand.studies.netlist import LEAST_OHM, batteries, bleeds, leads, load
from tristrand.studies.opening import (
    emptiest,
    fullest,
    lean,
)
from tristrand.studies.precharge_plan import Plan, PrechargeInputs, watt_of
from tristrand.studies.results import (
    Corner,
    PackFigures,
    PrechargeAttempt,
    PrechargeResult,
    Series,
    Working,
    found,
    working,
)

Floats = NDArray[np.float64]

SOLVER = "NUMERICS#circuit solver, transient"
STEADY = "NUMERICS#circuit solver, operating point"
THEVENIN = "CLOSED-FORM#Thevenin equivalent"
SENSORS = "CLOSED-FORM#tolerance of a ratio"
TEST_A = 0.1
ABSENT = 1e-5
"""Share of a capacitance that stands for none at all: the solver's topology stays the same in every lane."""
PACKS = ((0, "empty"), (2, "full"))
END = ("low", "high")
SETTLED = 0.005
"""Shares of pack voltage nearer to each other than this are taken as one resting point."""
RTOL = 1e-6
"""Six digits of a run whose parts are known to two: the solver's own tests hold it to far more."""
FLAT = 12.0
"""Time constants after which a bus that is not up will not come up."""


JUDGED = (
    "attempts", "reaches", "slowest_s", "fastest_s", "fastest_fault_s", "fastest_fault_words", "plateau_share",
    "bus_source_ohm", "tolerable_load_ohm", "tolerable_load_w", "pulse_energy_j", "peak_current_a", "peak_power_w",
    "workings",
)  # fmt: skip
"""What a run alone decides, whatever the settings that the solver never sees."""


class Run:
    """The circuit during precharge, solved over the lanes."""

    def __init__(self, data: PrechargeInputs, packs: Mapping[str, PackFigures], plan: Plan) -> None:
        self.data, self.plan = data, plan
        full = np.array([1, 1, 1, 1, 0, 0, 0, 0, 1, 0], dtype=bool)
        high_r = np.array([0, 0, 1, 1, 0, 0, 1, 1, 1, 1], dtype=bool)
        high_c = np.array([0, 1, 0, 1, 0, 1, 0, 1, 1, 1], dtype=bool)
        self.full, self.healthy = full, np.arange(10) < 8
        self.names = [
            f"{'full' if f else 'empty'} pack, resistor {END[r]}, capacitance {END[c]}"
            for f, r, c in zip(full[:8], high_r[:8].tolist(), high_c[:8].tolist(), strict=True)
        ]
        self.corners: dict[str, tuple[Corner, Corner]] = {k: (emptiest(p), fullest(p)) for k, p in packs.items()}
        circuit = data.circuit
        self.ohm = {r.id: np.where(high_r, r.ohm.high, r.ohm.low) for r in circuit.resistors}
        self.farad: dict[str, Floats] = {}
        for d in circuit.devices:
            size = np.where(high_c, d.farad.high, d.farad.low)
            self.farad[d.id] = np.where(self.healthy | (d.id != plan.device.id), size, ABSENT * size)
        behind = [self.farad[d.id] for d in circuit.devices if d.id not in plan.fed_directly]
        self.bus_f = np.sum(behind, axis=0)
        pick = full.astype(int)
        self.open_v = {k: np.array([c[i].open_circuit_v for i in pick]) for k, c in self.corners.items()}
        self.pack_ohm = {k: np.array([c[i].resistance_ohm for i in pick]) for k, c in self.corners.items()}
        self.pack_v = np.sum([self.open_v[p] for p in plan.chain], axis=0)
        tau_s = float(sum(self.ohm[r][2] for r in plan.path.resistors) * self.bus_f[3])
        self.duration_s = max(FLAT * tau_s, 0.0 if math.isnan(data.timeout_s) else data.timeout_s)
        self.circuit = Circuit(self.elements(slice(None), with_loads=True))
        self.transient = self._charge()
        status = np.asarray(self.transient.status)
        self.inexact = bool((status == "inexact").any())
        self.stalled = (status == "dropped") | (status == "hunting")
        self.energy = {r: self._energy_j(r) for r in plan.path.resistors}
        self.resistor = max(plan.path.resistors, key=lambda r: float(self.energy[r].max()))
        self.late = np.where(status == "stopped", self.transient.final_time, np.nan)
        self.rise = self.transient.crossings.get("rise", np.full(10, np.nan))
        self.target, self.early = (self.transient.crossings[key] for key in ("target", "early"))

    def elements(self, lanes: Any, *, with_loads: bool) -> tuple[Any, ...]:
        """The circuit with the precharge contactor closed and the bypassed one open."""
        circuit, plan = self.data.circuit, self.plan
        closed = {*plan.closed, *plan.path.contactors}
        items = leads(circuit)
        items += batteries(circuit, _cut(self.open_v, lanes), _cut(self.pack_ohm, lanes))
        items += [Resistor(c.id, c.a, c.b, max(c.ohm, LEAST_OHM)) for c in circuit.contacts if c.id in closed]
        items += [Resistor(r.id, r.a, r.b, self.ohm[r.id][lanes]) for r in circuit.resistors]
        for d in circuit.devices:
            if d.farad.value > 0:
                start_v = self.pack_v[lanes] if d.id in plan.fed_directly else 0.0
                items.append(Capacitor(f"{d.id}:C", d.plus, d.minus, self.farad[d.id][lanes], start_v))
        items += bleeds(circuit.devices)
        items += [load(d, 0.0) for d in circuit.devices if d.with_bus and math.isfinite(d.fixed_ohm)]
        if with_loads:
            items += [load(d, watt_of(d)) for d in circuit.devices if watt_of(d) > 0]
        nodes = {*plan.ends, plan.device.plus, plan.device.minus}
        return lean(items, nodes, set(plan.path.resistors))

    def _charge(self) -> Transient:
        data, plan = self.data, self.plan
        stop_s = math.inf if math.isnan(data.timeout_s) else data.timeout_s
        probes: list[Any] = [
            Crossing("target", plan.bus - data.target * plan.pack),
            Crossing("early", plan.bus - data.early * plan.pack),
        ]
        if not math.isnan(data.rise_share):
            probes.append(Crossing("rise", plan.bus - data.rise_late * plan.pack))
        for name in plan.path.resistors:
            probes += [
                Peak(f"{name}:i", amp(name), absolute=True),
                Integral(f"{name}:i2t", amp(name), amp(name), stop_s=stop_s),
            ]
        # A load that stops again after its start would go on stopping and starting: such a lane ends at its first stop.
        end = Crossing("end", plan.bus - data.late * plan.pack)
        return transient(self.circuit, self.duration_s, (), tuple(probes), end, stop_at_drop=True, rtol=RTOL)

    def _energy_j(self, resistor: str) -> Floats:
        """Energy in a resistor up to target or time-out; the rest of a stalled lane as an upper bound."""
        run, ohm = self.transient, self.ohm[resistor]
        energy = np.asarray(run.integrals[f"{resistor}:i2t"] * ohm)
        if self.stalled.any():
            # From here on the bus swings between the thresholds of the load, so the resistor sees no more than this.
            least_v = min(d.turn_off_v for d in self.data.circuit.devices if watt_of(d) > 0)
            left_s = np.maximum(self.data.timeout_s - run.final_time, 0.0)
            share = np.abs(run.peaks[f"{resistor}:i"][0]) / self.pack_v
            power = (share * np.maximum(self.pack_v - least_v, 0.0)) ** 2 * ohm
            energy = np.where(self.stalled, energy + left_s * power, energy)
        return np.asarray(energy)

    def _plateau(self) -> Floats:
        """Share of pack voltage the bus comes to rest at, or is held at by a load that stops and starts."""
        steady = operating_point(self.circuit)
        nodes = steady.voltages_v
        device, (top, bottom) = self.plan.device, self.plan.ends
        share = (nodes[device.plus] - nodes[device.minus]) / (nodes[top] - nodes[bottom])
        held = self.transient.final(self.plan.bus) / self.transient.final(self.plan.pack)
        # A bus that missed the target rests at the operating point only if it is on its way there.
        there = np.isfinite(self.late) | ((np.abs(held - share) < SETTLED) & ~self.stalled)
        good = np.asarray(steady.converged, dtype=bool) & there
        return np.asarray(np.where(good, share, held)[self.healthy])

    def judge(self, base: PrechargeResult) -> PrechargeResult:
        """``base`` with attempts lane by lane, the ends of their range, and how they were found."""
        return base._replace(**{name: getattr(self._judged, name) for name in JUDGED})

    @cached_property
    def _judged(self) -> PrechargeResult:
        data, run, ok, r = self.data, self.transient, self.healthy, self.resistor
        late, early = self.late, self.early
        energy = self.energy[r]
        peak_a = np.abs(run.peaks[f"{r}:i"][0])
        in_time = np.isfinite(late) & ~(late > data.timeout_s)
        plateau = self._plateau()
        residual_v = self._residual_v()
        attempts = tuple(
            PrechargeAttempt(
                self.names[k],
                float(self.pack_v[k]),
                float(self.ohm[r][k]),
                float(self.bus_f[k]),
                float(plateau[k]),
                float(self.target[k]),
                float(late[k]),
                float(residual_v[k]),
                1 - data.early if math.isfinite(residual_v[k]) else math.nan,
                float(energy[k]) if in_time[k] else math.nan,
                math.nan if in_time[k] else float(energy[k]),
                float(peak_a[k]),
                float(peak_a[k] ** 2 * self.ohm[r][k]),
            )
            for k in range(8)
        )
        # Without a time-out a stalled attempt has no end, so its energy has none either.
        endless = math.isnan(data.timeout_s) and not in_time[ok].all()
        fault_s = late[~ok]
        source = self._source()
        result = PrechargeResult(
            resistor=r,
            target=data.target,
            attempts=attempts,
            reaches=bool(in_time[ok].all()),
            slowest_s=float(late[ok].max()),
            fastest_s=_least(early[ok]),
            fastest_fault_s=float(np.nanmax(fault_s)) if np.isfinite(fault_s).any() else math.nan,
            fastest_fault_words=f"with {self.plan.device.id} not connected",
            plateau_share=float(plateau.min()),
            bus_source_ohm=source[0],
            tolerable_load_ohm=source[1],
            tolerable_load_w=source[2],
            pulse_energy_j=math.nan if endless else float(energy[ok].max()),
            peak_current_a=float(peak_a[ok].max()),
            peak_power_w=float((peak_a**2 * self.ohm[r])[ok].max()),
        )
        return result._replace(workings=(*self._told(result), *source[3]))

    def _residual_v(self) -> Floats:
        """Pack minus bus when the supervisor closes early; nan without tolerances or where never reached."""
        if not self.data.sensed:
            return np.full(self.early.shape, np.nan)
        return np.asarray((1 - self.data.early) * self.transient.at(self.plan.pack, self.early))

    def _source(self) -> tuple[float, float, float, tuple[Working, ...]]:
        """Resistance behind the bus, and what it can feed beside what is there without missing the target."""
        device, name, late = self.plan.device, self.plan.device.id, self.data.late
        # Resistor high; empty pack, then full pack; each without and with a test current.
        items = self.elements(np.array([6, 6, 2, 2]), with_loads=False)
        test = np.array([0.0, TEST_A, 0.0, TEST_A])
        source = CurrentSource("test", device.plus, device.minus, test)
        nodes = operating_point(Circuit((*items, source), device.minus)).voltages_v
        bus = nodes[device.plus] - nodes[device.minus]
        pack = nodes[self.plan.ends[0]] - nodes[self.plan.ends[1]]
        change = abs(float(bus[1] - bus[0]))
        ohm, share = change / TEST_A, float(late * pack[0] / bus[0])
        given = {"f": (late, "1"), "V_pack": (float(pack[0]), "V"), "V_open": (float(bus[0]), "V")}
        words = "resistance seen from the bus during precharge, resistor high"
        lines = [
            working(name, "R_bus", words, "dV/dI", ohm, "Ω", THEVENIN, dV=(change, "V"), dI=(TEST_A, "A")),
            working(
                name, "f_late", "share of its unloaded voltage that the bus must reach, empty pack",
                "f*V_pack/V_open", share, "1", THEVENIN, **given,
            ),
        ]  # fmt: skip
        if share >= 1:
            return ohm, math.inf, 0.0, tuple(lines)
        least_ohm = float(closed_form.smallest_load_ohm(share, ohm))
        lines.append(
            working(
                name, "R_load", "a resistance on the bus must be larger than this", "R_bus*f_late/(1 - f_late)",
                least_ohm, "Ω", "CLOSED-FORM#voltage divider", R_bus=(ohm, "Ω"), f_late=(share, "1"),
            )
        )  # fmt: skip
        most_w, line = min(
            (self._power(ohm, float(late * pack[k] / bus[k]), float(bus[k]), w) for k, w in PACKS),
            key=lambda found_w: found_w[0],
        )  # fmt: skip
        return ohm, least_ohm, most_w, (*lines, *line)

    def _power(self, ohm: float, share: float, open_v: float, word: str) -> tuple[float, list[Working]]:
        """Largest constant power that lets the bus pass; inf where all loads start above the target."""
        if share >= 1:
            return 0.0, []
        starts = [d.turn_on_v for d in self.data.circuit.devices if watt_of(d) > 0]
        # A load that starts at (1 - f) V or above meets the parabola's end at f V first.
        start_v = min(starts, default=(1 - share) * open_v)
        most_w = float(closed_form.largest_power_load_w(share, open_v, ohm, start_v))
        if math.isinf(most_w):
            return most_w, []
        line = working(
            self.plan.device.id, "P_load", f"a constant power that starts on the way must be less, {word} pack",
            "min(f_late*(1 - f_late)*V_open**2, V_on*(V_open - V_on))/R_bus", most_w, "W",
            "CLOSED-FORM#constant-power load line", f_late=(share, "1"), V_open=(open_v, "V"),
            V_on=(start_v, "V"), R_bus=(ohm, "Ω"),
        )  # fmt: skip
        return most_w, [line]

    def _told(self, result: PrechargeResult) -> list[Working]:
        """Sequence, sensors and what the solver found."""
        data, plan, name = self.data, self.plan, self.plan.path.bypassed.id
        lines = []
        if data.sensed:
            given = {"f": (data.target, "1"), "t_pack": (data.pack_sensor, "1"), "t_bus": (data.bus_sensor, "1")}
            late, early = "f*(1 + t_pack)/(1 - t_bus)", "f*(1 - t_pack)/(1 + t_bus)"
            words = "true share of pack voltage at which the target is seen, sensors erring"
            lines = [
                working(name, "f_late", f"{words} late", late, data.late, "1", SENSORS, **given),
                working(name, "f_early", f"{words} early", early, data.early, "1", SENSORS, **given),
            ]  # fmt: skip
        order = f"main contactors closed before: {', '.join(plan.closed) or 'none'}"
        order += f"; held open until the bus is up: {', '.join(plan.held_open)}" if plan.held_open else ""
        order += f"; not looked at: precharge by {', '.join(plan.others)}" if plan.others else ""
        if self.stalled[:8].any():
            order += "; a load stops and starts again: from its first stop on, the energy is an upper bound"
        method = f"circuit solver on the whole topology without inductance, bus at {plan.device.id}; {order}"
        worst = max(result.attempts, key=lambda a: math.inf if math.isnan(a.target_late_s) else a.target_late_s)
        slow = f"longest time to the target: {worst.name}"
        if math.isnan(result.slowest_s):
            slow = f"never reaches the target: {worst.name}"
        fault = f"longest time to the target {result.fastest_fault_words}"
        rows = (
            (name, "t_slow", slow, result.slowest_s, "s", SOLVER),
            (name, "t_fast", "shortest time to the target", result.fastest_s, "s", SOLVER),
            (name, "t_fault", fault, result.fastest_fault_s, "s", SOLVER),
            (name, "f_end", "lowest share of pack voltage the bus rests at", result.plateau_share, "1", STEADY),
            (result.resistor, "E", "largest energy of an attempt", result.pulse_energy_j, "J", SOLVER),
            (result.resistor, "I", "largest current", result.peak_current_a, "A", SOLVER),
            (result.resistor, "P", "largest power", result.peak_power_w, "W", SOLVER),
        )  # fmt: skip
        return [*lines, *(found(*row, method) for row in rows)]

    @lru_cache(maxsize=8)  # noqa: B019 - a run is kept by the study, and its curves with it
    def series(self, timeout_s: float, earliest_s: float) -> tuple[Series, ...]:
        """Bus and pack voltage of the slowest and the fastest lane, and the limits they are held against."""
        late, early = self.late[:8], self.early[:8]
        slow = int(np.argmax(np.where(np.isnan(late), np.inf, late)))
        quick = int(np.argmin(np.where(np.isnan(early), np.inf, early)))
        curves, top_v = [], 0.0
        for word, lane in (("slowest", slow), ("fastest", quick)):
            last = float(self.transient.final_time[lane])
            last = min(last, 1.25 * timeout_s) if math.isfinite(timeout_s) else last
            times = np.linspace(0.0, last, 120)
            for what, signal in (("bus", self.plan.bus), ("pack", self.plan.pack)):
                volts = np.asarray(self.transient.sample(signal, times, lane))
                name = f"{what}, {word}"
                name += ", up to where a load first stops" if self.stalled[lane] else ""
                curves.append(_curve(name, times, volts))
                top_v = max(top_v, float(volts.max()))
                if what == "pack":
                    curves.append(_curve(f"target, {word}", times, self.data.target * volts))
        for word, at in (("earliest", earliest_s), ("time-out", timeout_s)):
            if math.isfinite(at):
                curves.append(_curve(word, np.array([at, at]), np.array([0.0, top_v])))
        return tuple(curves)


def _curve(name: str, x: Floats, y: Floats) -> Series:
    return Series(name, "time", "s", "voltage", "V", tuple(x.tolist()), tuple(y.tolist()), "precharge")


def _cut(values: dict[str, Floats], lanes: Any) -> dict[str, Floats]:
    return {key: value[lanes] for key, value in values.items()}


def _least(values: Floats) -> float:
    """The least of those that exist."""
    return float(np.nanmin(values)) if np.isfinite(values).any() else math.nan
