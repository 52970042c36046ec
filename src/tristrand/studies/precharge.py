"""Precharge: how the bus of the real circuit comes up through the resistor, what that costs the resistor, and what is left to close on.

Time counts from the moment at which the precharge contactor's contacts close. Inductance is left out of the charging (it
takes a thousand times longer than any L/R of the cables) and kept in the closing surge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tristrand.design import Design
from tristrand.physics import precharge as closed_form
from tristrand.physics import pulses
from tristrand.physics.circuit import (
    Capacitor, Circuit, Crossing, CurrentSource, Inductor, Integral, Peak, Resistor, Signal, Transient, amp, operating_point,
    transient, volt,
)  # fmt: skip
from tristrand.studies.circuits import Device, HvCircuit, hv_circuit
from tristrand.studies.netlist import LEAST_OHM, batteries, bleeds, leads, load
from tristrand.studies.opening import (
    Body, Groups, Path, bodies, conductors, emptiest, fullest, lean, needed, precharge_paths, stack,
)  # fmt: skip
from tristrand.studies.results import Corner, Missing, PackResult, PrechargeAttempt, PrechargeResult, Series, Working, found, working

Floats = NDArray[np.float64]

SOLVER = "NUMERICS#circuit solver, transient"
STEADY = "NUMERICS#circuit solver, operating point"
SENSORS = "CLOSED-FORM#tolerance of a ratio"
PULSES = "CLOSED-FORM-HEAT#geometric series of decaying pulses"
ABSENT = 1e-6
"""Share of a capacitance that stands for none at all: the solver's topology stays the same in every lane."""
FLAT = 12.0
"""Time constants after which a bus that is not up will not come up."""
OVER = 4.0
"""Time constants, of the whole capacitance and of the whole inductance, after which a closing surge is over."""


@dataclass(frozen=True, slots=True)
class PrechargeInputs:
    """The circuit, the supervisor's settings (nan or 0 where not given) and the resistors' thermal data."""

    circuit: HvCircuit
    bodies: tuple[Body, ...]
    target: float
    timeout_s: float
    earliest_s: float
    pack_sensor: float
    bus_sensor: float
    attempts: int
    pause_s: float
    missing: tuple[Missing, ...]

    @property
    def late(self) -> float:
        """Largest true share at which the supervisor, its sensors erring, sees the target; the target itself without tolerances."""
        tp, tb = (0.0 if math.isnan(t) else t for t in (self.pack_sensor, self.bus_sensor))
        return self.target * (1 + tp) / (1 - tb)

    @property
    def early(self) -> float:
        """Smallest true share at which it may see the target."""
        tp, tb = (0.0 if math.isnan(t) else t for t in (self.pack_sensor, self.bus_sensor))
        return self.target * (1 - tp) / (1 + tb)


_SETTINGS = (
    ("target", "share of pack voltage at which the last main contactor closes"), ("timeout", "time after which precharge is given up"),
    ("earliest", "time before which the target counts as a fault"), ("pack_sensor", "tolerance of the pack voltage reading"),
    ("bus_sensor", "tolerance of the bus voltage reading"), ("pause", "from the start of one attempt to the next"),
)  # fmt: skip


def inputs(design: Design) -> PrechargeInputs:
    """Collect circuit and settings of a design, and name what is not given."""
    circuit = hv_circuit(design)
    missing = list(needed(circuit.missing, "temperature_rating", "close_time", "open_time"))
    settings = design.high_voltage.precharge
    numbers = {}
    for field, what in _SETTINGS:
        datum = getattr(settings, field)
        numbers[field] = datum.value if datum is not None else math.nan
        if datum is None:
            missing.append(Missing(f"high_voltage/precharge/{field}", what))
    if settings.attempts is None:
        missing.append(Missing("high_voltage/precharge/attempts", "attempts in a row before the long pause"))
    for device in circuit.devices:
        if device.with_bus and math.isinf(device.fixed_ohm):
            missing += _load_gaps(design, device)
    return PrechargeInputs(
        replace(circuit, missing=()), bodies(design, "precharge"), numbers["target"], numbers["timeout"], numbers["earliest"],
        numbers["pack_sensor"], numbers["bus_sensor"], settings.attempts or 0, numbers["pause"], tuple(missing),
    )  # fmt: skip


def _load_gaps(design: Design, device: Device) -> list[Missing]:
    """A device that starts with the bus must say what it then draws, and from which voltage on."""
    if "precharge" not in dict(device.power_w):
        return [Missing(f"high_voltage/parts/{device.id}/power/precharge", f"power that {device.id} draws while the bus rises; 0 W where none")]
    sheet = design.high_voltage.parts[device.id].sheet  # type: ignore[union-attr]
    if device.power_in("precharge") > 0 and device.turn_on_v == 0:
        return [Missing(f"parts/{sheet}/turn_on_voltage", f"bus voltage at which {device.id} starts")]
    return []


_SOFT = ("timeout", "earliest", "pack_sensor", "bus_sensor", "pause", "attempts")


def study(data: PrechargeInputs, packs: PackResult) -> PrechargeResult:
    """Run the precharge at every end of the tolerances in one batch, then judge resistor, windows and closing surge."""
    base = PrechargeResult(
        missing=(*data.missing, *packs.missing), target=data.target, earliest_s=data.earliest_s, timeout_s=data.timeout_s,
        loads={d.id: w for d in data.circuit.devices if (w := _watt(d)) > 0},
    )  # fmt: skip
    base = replace(base, connected_load_w=sum(base.loads.values()))
    plan = _plan(data, packs)
    if isinstance(plan, str):
        return replace(base, missing=(*base.missing, Missing("high_voltage/parts", plan)))
    body = next(b for b in data.bodies if b.id == plan.resistor)
    base = replace(
        base, missing=(*base.missing, *body.missing), contactor=plan.path.contactors[0], bypassed=plan.path.bypassed.id,
        resistor=plan.resistor, other_paths=plan.others, held_open=plan.held_open, fed_directly=plan.fed_directly,
    )  # fmt: skip
    blocking = [m for m in (*data.missing, *packs.missing) if m.pointer.rpartition("high_voltage/precharge/")[2] not in _SOFT]
    if blocking or plan.fed_directly or not packs.packs or not 0 < data.target < 1:
        return base
    run = _Run(data, packs, plan)
    result = run.judge(base)
    result = _shorted(data, run, body, result)
    result = _heat(data, body, result)
    result = _surge(data, packs, run, result)
    return replace(result, series=run.series(result))


def _watt(device: Device) -> float:
    """What a device draws by itself as the bus rises; a plain resistance is no constant power and counts as 0."""
    return device.power_in("precharge") if device.with_bus and math.isinf(device.fixed_ohm) else 0.0


@dataclass(frozen=True, slots=True)
class _Plan:
    """Who closes when, and between which terminals pack and bus are measured."""

    path: Path
    resistor: str
    others: tuple[str, ...]
    closed: tuple[str, ...]
    held_open: tuple[str, ...]
    fed_directly: tuple[str, ...]
    device: Device
    pack: Signal
    chain: tuple[str, ...]
    ends: tuple[str, str]

    @property
    def bus(self) -> Signal:
        """Voltage of the bus at the largest capacitance."""
        return volt(self.device.plus, self.device.minus)


def _plan(data: PrechargeInputs, packs: PackResult) -> _Plan | str:
    """The sequence, or in words what the circuit lacks for one.

    All main contactors close before the precharge contactor but for those that a precharge path bypasses and those that
    would put a device straight onto a pack (a second pack waits until the bus is up).
    """
    circuit = data.circuit
    paths = precharge_paths(circuit)
    if not paths:
        return "a contactor of role precharge that bypasses a main contactor"
    path, others = paths[0], paths[1:]
    if not path.resistors:
        return f"a resistor of role precharge in series with {path.contactors[0]}"
    groups = Groups(conductors(circuit))
    direct = tuple(d.id for d in circuit.devices if any(groups.fed(p, d) for p in circuit.packs))
    closed, held = [], []
    for main in circuit.role("main"):
        if main.id in {p.bypassed.id for p in paths}:
            continue
        trial = Groups([*conductors(circuit), *((c.a, c.b) for c in circuit.role("main") if c.id in {*closed, main.id})])
        fed = any(trial.fed(p, d) for p in circuit.packs for d in circuit.devices if d.id not in direct)
        (held if fed else closed).append(main.id)
    live = Groups(conductors(circuit))
    ways = [*(c for c in circuit.contacts if c.id in {*closed, path.bypassed.id})]
    for way in ways:
        live.join(way.a, way.b)
    for device in sorted(circuit.devices, key=lambda d: -d.farad.value if d.farad.value > 0 else 0.0):
        top, bottom, chain = stack(circuit, live, device)
        if chain:
            return _Plan(
                path, path.resistors[0], tuple(p.contactors[0] for p in others), tuple(closed), tuple(held), direct, device,
                volt(top, bottom), chain, (top, bottom),
            )  # fmt: skip
    return f"a device that {path.bypassed.id} connects to a pack"


class _Run:
    """The circuit during precharge, solved over the lanes."""

    def __init__(self, data: PrechargeInputs, packs: PackResult, plan: _Plan) -> None:
        self.data, self.plan = data, plan
        full = np.array([1, 1, 1, 1, 0, 0, 0, 0, 1, 0], dtype=bool)
        high_r = np.array([0, 0, 1, 1, 0, 0, 1, 1, 1, 1], dtype=bool)
        high_c = np.array([0, 1, 0, 1, 0, 1, 0, 1, 1, 1], dtype=bool)
        self.full, self.healthy = full, np.arange(10) < 8
        self.names = [
            f"{'full' if f else 'empty'} pack, resistor {'high' if r else 'low'}, capacitance {'high' if c else 'low'}"
            for f, r, c in zip(full[:8], high_r[:8], high_c[:8], strict=True)
        ]
        self.corners: dict[str, tuple[Corner, Corner]] = {k: (emptiest(p), fullest(p)) for k, p in packs.packs.items()}
        circuit = data.circuit
        self.ohm = {r.id: np.where(high_r, r.ohm.high, r.ohm.low) for r in circuit.resistors}
        self.farad: dict[str, Floats] = {}
        for d in circuit.devices:
            size = np.where(high_c, d.farad.high, d.farad.low)
            self.farad[d.id] = np.where(self.healthy | (d.id != plan.device.id), size, ABSENT * size)
        self.bus_f = np.sum(list(self.farad.values()), axis=0)
        pick = full.astype(int)
        self.open_v = {k: np.array([c[i].open_circuit_v for i in pick]) for k, c in self.corners.items()}
        self.pack_ohm = {k: np.array([c[i].resistance_ohm for i in pick]) for k, c in self.corners.items()}
        tau_s = float(sum(self.ohm[r][2] for r in plan.path.resistors) * self.bus_f[3])
        self.duration_s = max(FLAT * tau_s, 0.0 if math.isnan(data.timeout_s) else data.timeout_s)
        self.circuit = Circuit(self.elements(slice(None), with_loads=True))
        self.transient = self._charge()
        stopped = np.asarray(self.transient.status) == "stopped"
        self.late = np.where(stopped, self.transient.final_time, np.nan)
        # Without tolerances all three levels are one, and the run ends on it.
        one = data.early == data.late
        self.target, self.early = (self.late if one else self.transient.crossings[key] for key in ("target", "early"))

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
                items.append(Capacitor(f"{d.id}:C", d.plus, d.minus, self.farad[d.id][lanes]))
        items += bleeds(circuit.devices)
        items += [load(d, 0.0) for d in circuit.devices if d.with_bus and math.isfinite(d.fixed_ohm)]
        if with_loads:
            items += [load(d, _watt(d)) for d in circuit.devices if _watt(d) > 0]
        nodes = {*plan.ends, plan.device.plus, plan.device.minus}
        return lean(items, nodes, set(plan.path.resistors))

    def _charge(self) -> Transient:
        data, plan = self.data, self.plan
        stop_s = math.inf if math.isnan(data.timeout_s) else data.timeout_s
        probes: list[Any] = [
            Crossing("target", plan.bus - data.target * plan.pack), Crossing("early", plan.bus - data.early * plan.pack)
        ]
        for name in plan.path.resistors:
            probes += [Peak(f"{name}:i", amp(name), absolute=True), Integral(f"{name}:i2t", amp(name), amp(name), stop_s=stop_s)]
        return transient(self.circuit, self.duration_s, (), tuple(probes), stop=Crossing("late", plan.bus - data.late * plan.pack))

    def _plateau(self) -> Floats:
        """Share of pack voltage the bus comes to rest at. Where it never reaches the target: the share it is held at."""
        steady = operating_point(self.circuit)
        nodes = steady.voltages_v
        device, (top, bottom) = self.plan.device, self.plan.ends
        share = (nodes[device.plus] - nodes[device.minus]) / (nodes[top] - nodes[bottom])
        held = self.transient.final(self.plan.bus) / self.transient.final(self.plan.pack)
        good = np.asarray(steady.converged, dtype=bool) & np.isfinite(self.late)
        return np.asarray(np.where(good, share, held)[self.healthy])

    def judge(self, base: PrechargeResult) -> PrechargeResult:
        """Attempts lane by lane, and the ends of their range."""
        data, run, ok, r = self.data, self.transient, self.healthy, self.plan.resistor
        late, early = self.late, self.early
        energy = run.integrals[f"{r}:i2t"] * self.ohm[r]
        peak_a = np.abs(run.peaks[f"{r}:i"][0])
        in_time = np.isfinite(late) & ~(late > data.timeout_s)
        plateau = self._plateau()
        residual_v = np.array([self._residual_v(k) for k in range(8)])
        attempts = tuple(
            PrechargeAttempt(
                self.names[k], float(sum(self.open_v[p][k] for p in self.plan.chain)), float(self.ohm[r][k]), float(self.bus_f[k]),
                float(plateau[k]), float(self.target[k]), float(late[k]), float(residual_v[k]),
                1 - data.early if math.isfinite(residual_v[k]) else math.nan, float(energy[k]) if in_time[k] else math.nan,
                math.nan if in_time[k] else float(energy[k]), float(peak_a[k]), float(peak_a[k] ** 2 * self.ohm[r][k]),
            )
            for k in range(8)
        )  # fmt: skip
        # Without a time-out a stalled attempt has no end, so its energy has none either.
        endless = math.isnan(data.timeout_s) and not in_time[ok].all()
        fault_s = late[~ok]
        source = self._source()
        result = replace(
            base, attempts=attempts, reaches=bool(in_time[ok].all()) and not math.isnan(data.timeout_s),
            slowest_s=float(late[ok].max()), fastest_s=_least(early[ok]), fastest_fault_s=float(fault_s.max()),
            fastest_fault_words=f"{self.plan.device.id} not connected: its capacitance is missing",
            plateau_share=float(plateau.min()), bus_source_ohm=source[0], tolerable_load_ohm=source[1], tolerable_load_w=source[2],
            pulse_energy_j=math.nan if endless else float(energy[ok].max()), peak_current_a=float(peak_a[ok].max()),
            peak_power_w=float((peak_a**2 * self.ohm[r])[ok].max()),
        )  # fmt: skip
        return replace(result, workings=(*self._told(result), *source[3]))

    def _residual_v(self, lane: int) -> float:
        """Pack minus bus when the sensors make the supervisor close early; nan without tolerances or where never reached."""
        at = float(self.early[lane])
        if math.isnan(at) or math.isnan(self.data.pack_sensor) or math.isnan(self.data.bus_sensor):
            return math.nan
        pack_v = float(np.asarray(self.transient.sample(self.plan.pack, np.array([at]), lane))[0])
        return (1 - self.data.early) * pack_v

    def _source(self) -> tuple[float, float, float, tuple[Working, ...]]:
        """Resistance behind the bus at its terminals and what it can feed without missing the target, at the worst lane."""
        data, device, name = self.data, self.plan.device, self.plan.device.id
        worst = np.array([6, 6, 6, 6])  # empty pack and full pack, resistor high, each without and with a test current
        worst[2:] = 2
        test = np.array([0.0, 0.1, 0.0, 0.1])
        items = self.elements(worst, with_loads=False)
        point = operating_point(Circuit((*items, CurrentSource("test", device.plus, device.minus, test)), device.minus))
        bus = point.voltages_v[device.plus] - point.voltages_v[device.minus]
        pack = point.voltages_v[self.plan.ends[0]] - point.voltages_v[self.plan.ends[1]]
        drop_v, current_a = float(bus[0] - bus[1]), 0.1
        ohm, open_v, pack_v = drop_v / current_a, float(bus[0]), float(pack[0])
        share = data.late * pack_v / open_v
        lines = [
            working(
                name, "R_bus", "resistance seen from the bus while the precharge contactor is closed, highest resistor", "dV/dI", ohm,
                "Ω", "CLOSED-FORM#Thevenin equivalent", dV=(drop_v, "V"), dI=(current_a, "A"),
            ),
            working(
                name, "f_late", "share of the unloaded bus voltage that must be reached", "f*V_pack/V_open", share, "1",
                "CLOSED-FORM#Thevenin equivalent", f=(data.late, "1"), V_pack=(pack_v, "V"), V_open=(open_v, "V"),
            ),
        ]  # fmt: skip
        if share >= 1:
            return ohm, math.inf, 0.0, tuple(lines)
        least_ohm = float(closed_form.smallest_load_ohm(share, ohm))
        starts = [d.turn_on_v for d in data.circuit.devices if _watt(d) > 0]
        lines.append(
            working(
                name, "R_load", "a resistance on the bus must be larger than this", "R_bus*f_late/(1 - f_late)", least_ohm, "Ω",
                "CLOSED-FORM#voltage divider", R_bus=(ohm, "Ω"), f_late=(share, "1"),
            )
        )  # fmt: skip
        # A load that starts at (1 - f) V or above meets the parabola's end at f V first.
        start_v = min([v for v in starts if v < share * open_v], default=(1 - share) * open_v)
        most_w = float(closed_form.largest_power_load_w(share, open_v, ohm, start_v))
        lines.append(
            working(
                name, "P_load", "a constant power that starts during precharge must stay below this, emptiest pack",
                "min(f_late*(1 - f_late)*V_open**2, V_on*(V_open - V_on))/R_bus", most_w, "W", "CLOSED-FORM#constant-power load line",
                f_late=(share, "1"), V_open=(open_v, "V"), V_on=(start_v, "V"), R_bus=(ohm, "Ω"),
            )
        )  # fmt: skip
        return ohm, least_ohm, most_w, tuple(lines)

    def _told(self, result: PrechargeResult) -> list[Working]:
        """Sequence, sensors and what the solver found."""
        data, plan, name = self.data, self.plan, self.plan.path.bypassed.id
        lines = []
        if not (math.isnan(data.pack_sensor) or math.isnan(data.bus_sensor)):
            given = {"f": (data.target, "1"), "t_pack": (data.pack_sensor, "1"), "t_bus": (data.bus_sensor, "1")}
            lines = [
                working(name, "f_late", "true share at which the target is seen, sensors erring late", "f*(1 + t_pack)/(1 - t_bus)", data.late, "1", SENSORS, **given),
                working(name, "f_early", "true share at which the target is seen, sensors erring early", "f*(1 - t_pack)/(1 + t_bus)", data.early, "1", SENSORS, **given),
            ]  # fmt: skip
        order = f"main contactors closed before: {', '.join(plan.closed) or 'none'}"
        order += f"; held open until the bus is up: {', '.join(plan.held_open)}" if plan.held_open else ""
        order += f"; not looked at: precharge by {', '.join(plan.others)}" if plan.others else ""
        method = f"circuit solver on the whole topology without inductance, bus measured at {plan.device.id}; {order}"
        worst = max(result.attempts, key=lambda a: math.inf if math.isnan(a.target_late_s) else a.target_late_s)
        return [
            *lines,
            found(name, "t_slow", f"longest time to the target: {worst.name}", result.slowest_s, "s", SOLVER, method),
            found(name, "t_fast", "shortest time to the target", result.fastest_s, "s", SOLVER, method),
            found(name, "t_fault", f"longest time to the target with {result.fastest_fault_words}", result.fastest_fault_s, "s", SOLVER, method),
            found(name, "f_end", "lowest share of pack voltage at which the bus comes to rest", result.plateau_share, "1", STEADY, method),
            found(plan.resistor, "E", "largest energy of one attempt, up to the target or the time-out", result.pulse_energy_j, "J", SOLVER, method),
            found(plan.resistor, "I", "largest current", result.peak_current_a, "A", SOLVER, method),
            found(plan.resistor, "P", "largest power", result.peak_power_w, "W", SOLVER, method),
        ]  # fmt: skip

    def series(self, result: PrechargeResult) -> tuple[Series, ...]:
        """Bus and pack voltage of the slowest and the fastest lane, and the limits they are held against."""
        late, early = self.late[:8], self.early[:8]
        slow = int(np.argmax(np.where(np.isnan(late), np.inf, late)))
        quick = int(np.argmin(np.where(np.isnan(early), np.inf, early)))
        curves, end_s, top_v = [], 0.0, 0.0
        for word, lane in (("slowest", slow), ("fastest", quick)):
            last = float(self.transient.final_time[lane])
            last = min(last, 1.25 * result.timeout_s) if math.isfinite(result.timeout_s) else last
            times = np.linspace(0.0, last, 120)
            for what, signal in (("bus", self.plan.bus), ("pack", self.plan.pack)):
                volts = np.asarray(self.transient.sample(signal, times, lane))
                curves.append(_curve(f"{what}, {word}", times, volts))
                top_v = max(top_v, float(volts.max()))
                if what == "pack":
                    curves.append(_curve(f"target, {word}", times, self.data.target * volts))
            end_s = max(end_s, last)
        for word, at in (("earliest", result.earliest_s), ("time-out", result.timeout_s)):
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


def _shorted(data: PrechargeInputs, run: _Run, body: Body, result: PrechargeResult) -> PrechargeResult:
    """The resistor with the bus shorted: its power, and how long it bears that."""
    volts = sum(run.corners[p][1].open_circuit_v for p in run.plan.chain)
    ohm = float(run.ohm[body.id].min())
    given = {"V": (volts, "V"), "R": (ohm, "Ω")}
    watt = volts**2 / ohm
    lines = [working(body.id, "P_short", "power with the bus shorted, full pack", "V**2/R", watt, "W", "CLOSED-FORM#Joule's law", **given)]
    seconds = math.nan
    if math.isfinite(body.pulse_energy_j):
        seconds = float(pulses.short_circuit_timeout_s(body.pulse_energy_j, volts, ohm))
        lines.append(
            working(
                body.id, "t_short", "longest time-out that saves the resistor on a shorted bus", "E*R/V**2", seconds, "s",
                "CLOSED-FORM#Joule's law", E=(body.pulse_energy_j, "J"), **given,
            )
        )  # fmt: skip
    return replace(result, short_power_w=watt, short_timeout_s=seconds, workings=(*result.workings, *lines))


def _heat(data: PrechargeInputs, body: Body, result: PrechargeResult) -> PrechargeResult:
    """Temperature after the allowed attempts in a row, and the spacing the resistor bears for ever."""
    store = (body.heat_j_per_k, body.thermal_k_per_w, result.pulse_energy_j, body.ambient_c)
    if not all(math.isfinite(x) for x in store):
        return result
    energy, lines = result.pulse_energy_j, []
    given = {
        "T_a": (body.ambient_c, "°C"), "E": (energy, "J"), "C": (body.heat_j_per_k, "J/K"), "R": (body.thermal_k_per_w, "K/W"),
    }  # fmt: skip
    if data.attempts > 0 and data.pause_s > 0:
        rise = float(pulses.rise_after_pulses_k(data.attempts, energy, body.heat_j_per_k, body.thermal_k_per_w, data.pause_s))
        result = replace(result, temperature_after_attempts_c=body.ambient_c + rise)
        lines.append(
            working(
                body.id, "T", f"temperature after {data.attempts} attempts in a row",
                "T_a + E/C*(1 - exp(-n*t/(R*C)))/(1 - exp(-t/(R*C)))", result.temperature_after_attempts_c, "°C", PULSES,
                n=(data.attempts, "1"), t=(data.pause_s, "s"), **given,
            )
        )  # fmt: skip
    cap = body.limit_c - body.ambient_c
    if cap > 0 and energy / body.heat_j_per_k < cap:
        wait_s = float(pulses.lockout_s(energy, body.heat_j_per_k, body.thermal_k_per_w, cap))
        result = replace(result, lockout_s=wait_s)
        lines.append(
            working(
                body.id, "t_lock", "shortest spacing of attempts that stays below the temperature limit for ever",
                "-R*C*ln(1 - E/C/(T_max - T_a))", wait_s, "s", PULSES, T_max=(body.limit_c, "°C"), **given,
            )
        )  # fmt: skip
    return replace(result, workings=(*result.workings, *lines))


def _surge(data: PrechargeInputs, packs: PackResult, run: _Run, result: PrechargeResult) -> PrechargeResult:
    """What flows through the bypassed contactor as it closes on the largest residual, full pack, with the cables' inductance."""
    if math.isnan(data.pack_sensor) or math.isnan(data.bus_sensor):
        return result
    circuit, plan, name = data.circuit, run.plan, run.plan.path.bypassed.id
    reached = [a for a in result.attempts if math.isfinite(a.residual_v)]
    full_v = sum(run.corners[p][1].open_circuit_v for p in plan.chain)
    pack_v = max((a.residual_v / a.residual_share for a in reached), default=full_v)
    left_v = (1 - data.early) * pack_v
    words = "voltage across it as it closes, target seen early" + ("" if reached else "; the bus as designed never gets there")
    lines = [
        working(name, "dV", words, "(1 - f_early)*V", left_v, "V", SENSORS, f_early=(data.early, "1"), V=(pack_v, "V")),
    ]  # fmt: skip
    inductive = any(lead.inductance_h > 0 for lead in circuit.leads)
    small, settled_s = _closing(data, packs, run, data.early * full_v)
    probes = (Peak("i", amp(name), absolute=True), Integral("i2t", amp(name), amp(name)))
    surge = transient(small, settled_s, (), probes)
    value, when = surge.peaks["i"]
    peak_a, joule = float(abs(value[0])), float(surge.integrals["i2t"][0])
    method = "circuit solver on the whole topology, every bus capacitance at its high end and short of the pack "
    method += "by the residual, pack at its lowest resistance, loads left out"
    method += "" if inductive else "; no cable has an inductance, so the peak is an upper bound"
    lines += [
        found(name, "I_close", "largest current as it closes", peak_a, "A", SOLVER, method),
        found(name, "I2t", "I²t of the closing surge", joule, "A²s", SOLVER, method),
    ]  # fmt: skip
    return replace(
        result, residual_v=left_v, residual_share=1 - data.early, surge_current_a=peak_a, surge_time_s=float(when[0]),
        surge_joule_integral_a2s=joule, surge_with_inductance=inductive, workings=(*result.workings, *lines),
    )  # fmt: skip


def _closing(data: PrechargeInputs, packs: PackResult, run: _Run, bus_v: float) -> tuple[Circuit, float]:
    """The circuit with the bypassed contactor closed and the bus at ``bus_v``, and the time in which the surge is over.

    Full pack at its lowest resistance, capacitances at their high end: each raises both the peak and I²t.
    """
    circuit, plan = data.circuit, run.plan
    closed = {*plan.closed, plan.path.bypassed.id}
    full = {k: fullest(f) for k, f in packs.packs.items()}
    items: list[Any] = leads(circuit, inductive=True)
    items += batteries(circuit, {k: c.open_circuit_v for k, c in full.items()}, {k: c.resistance_ohm for k, c in full.items()})
    items += [Resistor(c.id, c.a, c.b, max(c.ohm, LEAST_OHM)) for c in circuit.contacts if c.id in closed]
    items += [Capacitor(f"{d.id}:C", d.plus, d.minus, d.farad.high, bus_v) for d in circuit.devices if d.farad.high > 0]
    small = lean(items, {*plan.ends}, {plan.path.bypassed.id})
    source_ohm = sum(full[p].resistance_ohm for p in plan.chain)
    ohm = source_ohm + sum(float(e.resistance_ohm) for e in small if isinstance(e, Resistor | Inductor))
    henry = sum(e.inductance_h for e in small if isinstance(e, Inductor))
    farad = sum(d.farad.high for d in circuit.devices if d.farad.high > 0)
    return Circuit(small), OVER * (farad * ohm + 2 * henry / source_ohm)
