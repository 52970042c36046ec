"""Precharge: how the bus of the real circuit comes up, what that costs the resistor, the closing surge.

Time counts from the moment at which the precharge contactor's contacts close. Inductance is left out of the
charging (it takes a thousand times longer than any L/R of the cables) and kept in the closing surge.
"""

import math
from functools import lru_cache
from typing import Any

import numpy as np

from tristrand.design import Design
from tristrand.physics import pulses
from tristrand.physics.circuit import (
    Capacitor,
    Circuit,
    Inductor,
    Integral,
    Peak,
    Resistor,
    amp,
    transient,
)
from tristrand.records import NamedTuple
from tristrand.studies.circuits import Device, HvCircuit, hv_circuit
from tristrand.studies.netlist import LEAST_OHM, batteries, leads
from tristrand.studies.opening import (
    SPREAD,
    Body,
    bodies,
    fullest,
    lean,
    needed,
)
from tristrand.studies.precharge_plan import Plan, PrechargeInputs, branch_contactors, plan_of, watt_of
from tristrand.studies.precharge_run import SENSORS, SOLVER, Run
from tristrand.studies.results import (
    Later,
    Missing,
    PackFigures,
    PackResult,
    PrechargeResult,
    Working,
    found,
    working,
)
from tristrand.studies.slices import bare, quiet

PULSES = "CLOSED-FORM-HEAT#geometric series of decaying pulses"


OVER = 6.0
"""Time constants, of all capacitance and all inductance, after which a closing surge is over."""

LEAST_RISE = 0.10
"""A share below this may be read on a shorted bus (offset of the sensors): common practice, no source."""

_SETTINGS = (
    ("target", "share of pack voltage at which the last main contactor closes"),
    ("timeout", "time after which precharge is given up"),
    ("earliest", "time before which the target counts as a fault"),
    ("pack_sensor", "tolerance of the pack voltage reading"),
    ("bus_sensor", "tolerance of the bus voltage reading"),
    ("pause", "from the start of one attempt to the next"),
)


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
        bare(circuit, "precharge", opened="discharge", timed=False, inductive=True),
        bodies(design, "precharge"),
        numbers["target"],
        numbers["timeout"],
        numbers["earliest"],
        numbers["pack_sensor"],
        numbers["bus_sensor"],
        settings.attempts or 0,
        numbers["pause"],
        tuple(missing),
        settings.rise_check.after.value if settings.rise_check is not None else math.nan,
        settings.rise_check.share.value if settings.rise_check is not None else math.nan,
        *_own_times(circuit),
    )


def _own_times(circuit: HvCircuit) -> tuple[float, float]:
    """Longest closing and opening time of the precharge contactors; nan where one is not given."""
    own = circuit.role("precharge")
    times = [math.nan, math.nan] if not own else [max(c.close_s for c in own), max(c.open_s for c in own)]
    gaps = [any(math.isnan(c.close_s) for c in own), any(math.isnan(c.open_s) for c in own)]
    close_s, open_s = (math.nan if gap else t for t, gap in zip(times, gaps, strict=True))
    return close_s, open_s


def _load_gaps(design: Design, device: Device) -> list[Missing]:
    """A device that starts with the bus must say what it then draws, and from which voltage on."""
    if "precharge" not in dict(device.power_w):
        return [
            Missing(
                f"high_voltage/parts/{device.id}/power/precharge",
                f"power that {device.id} draws while the bus rises; 0 W where none",
            )
        ]
    sheet = design.high_voltage.parts[device.id].sheet  # type: ignore[union-attr]
    if device.power_in("precharge") > 0 and device.turn_on_v == 0:
        return [Missing(f"parts/{sheet}/turn_on_voltage", f"bus voltage at which {device.id} starts")]
    return []


_SOFT = ("timeout", "earliest", "pack_sensor", "bus_sensor", "pause", "attempts")


def study(data: PrechargeInputs, packs: PackResult) -> PrechargeResult:
    """Run the precharge at every end of the tolerances; judge resistor, windows and closing surge."""
    base = PrechargeResult(
        missing=(*data.missing, *packs.missing),
        target=data.target,
        earliest_s=data.earliest_s,
        timeout_s=data.timeout_s,
        loads={d.id: w for d in data.circuit.devices if (w := watt_of(d)) > 0},
    )
    base = base._replace(connected_load_w=sum(base.loads.values()))
    plan = plan_of(data.circuit)
    if isinstance(plan, str):
        return base._replace(missing=(*base.missing, Missing("high_voltage/parts", plan)))
    base = base._replace(
        missing=(*base.missing, *(m for b in data.bodies if b.id in plan.path.resistors for m in b.missing)),
        contactor=plan.path.contactors[0], bypassed=plan.path.bypassed.id, resistor=plan.path.resistors[0],
        other_paths=plan.others, held_open=plan.held_open, fed_directly=plan.fed_directly,
        also_bypassed=plan.also_bypassed,
        close_s=data.close_s, branch_contactors=branch_contactors(data.circuit, plan.closed),
    )  # fmt: skip
    blocking = [
        m for m in (*data.missing, *packs.missing) if m.pointer.rpartition("high_voltage/precharge/")[2] not in _SOFT
    ]
    if data.target == 0:
        base = base._replace(missing=(*base.missing, Missing("high_voltage/precharge/target", "a target above 0 %")))
    if blocking or not packs.packs or not data.target > 0:
        return base
    data = data._replace(circuit=data.circuit._replace(devices=plan.devices))
    base = base._replace(loads={d.id: w for d in plan.devices if (w := watt_of(d)) > 0})
    base = base._replace(connected_load_w=sum(base.loads.values()))
    run = _solved(_for_the_solver(data), tuple(packs.packs.items()), plan)
    if run.inexact:
        return base._replace(missing=(*base.missing, SPREAD))
    body = next(b for b in data.bodies if b.id == run.resistor)
    result = run.judge(base._replace(resistor=run.resistor))
    result = _shorted(data, run, body, result)
    result = _heat(data, body, result)
    result = _rise(data, run, result)
    result = _surge(data, packs, run, result)
    return result._replace(series=Later(lambda: run.series(result.timeout_s, result.earliest_s)))


def _for_the_solver(data: PrechargeInputs) -> PrechargeInputs:
    """The inputs with only what the solver's runs depend on: other edits find the runs kept."""
    circuit = quiet(bare(data.circuit, "precharge", opened="discharge", timed=False, inductive=False))
    return data._replace(
        circuit=circuit, bodies=(), earliest_s=0.0, attempts=0, pause_s=0.0, missing=(), close_s=0.0, open_s=0.0
    )


@lru_cache(maxsize=256)
def _solved(data: PrechargeInputs, packs: tuple[tuple[str, PackFigures], ...], plan: Plan) -> Run:
    return Run(data, dict(packs), plan)


def _rise(data: PrechargeInputs, run: Run, result: PrechargeResult) -> PrechargeResult:
    """The early look at the bus: how late the slowest healthy precharge may meet its share."""
    if math.isnan(data.rise_share):
        return result
    times = run.rise[run.healthy]
    slowest = math.inf if not np.isfinite(times).all() else float(times.max())
    words = f"longest time to {100 * data.rise_share:g} % of pack voltage, sensors erring late"
    line = found(run.resistor, "t_rise", words, slowest, "s", SOLVER, "circuit solver on the whole topology")
    lines = (*result.workings, line) if math.isfinite(slowest) else result.workings
    return result._replace(
        rise_after_s=data.rise_after_s, rise_share=data.rise_share, rise_slowest_s=slowest, workings=lines
    )


def _shorted(data: PrechargeInputs, run: Run, body: Body, result: PrechargeResult) -> PrechargeResult:
    """The resistor with the bus shorted: its power, and how long it bears that."""
    volts = sum(run.corners[p][1].open_circuit_v for p in run.plan.chain)
    ohm = float(run.ohm[body.id].min())
    given = {"V": (volts, "V"), "R": (ohm, "Ω")}
    power, time, joule = "V**2/R", "E*R/V**2", "CLOSED-FORM#Joule's law"
    watt = volts**2 / ohm
    if len(run.plan.path.resistors) > 1:
        # An empty bus is a short: what flows through this one of several at the first instant would go on flowing.
        watt = result.peak_power_w
        given = {"P": (watt, "W")}
        power, time = "P", "E/P"
    lines = [working(body.id, "P_short", "power with the bus shorted, full pack", power, watt, "W", joule, **given)]
    seconds = math.nan
    if math.isfinite(body.pulse_energy_j):
        seconds = body.pulse_energy_j / watt
        words = "longest time-out that saves the resistor on a shorted bus"
        given = {"E": (body.pulse_energy_j, "J"), **given}
        lines.append(working(body.id, "t_short", words, time, seconds, "s", joule, **given))
    fault, line = _faulty(data, body, watt)
    return result._replace(
        short_power_w=watt,
        short_timeout_s=seconds,
        fault_energy_j=fault,
        workings=(*result.workings, *lines, *line),
    )


def _faulty(data: PrechargeInputs, body: Body, short_w: float) -> tuple[float, tuple[Working, ...]]:
    """The most energy any short or leak on the bus puts into the resistor before the supervisor gives up.

    A fault that keeps the bus below the share of the early look is given up there; one that lets it pass leaves at
    most the rest of the pack voltage on the resistor until the time-out. A share that a shorted bus may read is no
    look at all. The contactor's own opening time is added.
    """
    words = "most energy in the resistor on a faulty bus until precharge is given up"
    end_s, look_s = data.timeout_s + data.open_s, data.rise_after_s + data.open_s
    if math.isnan(end_s):
        return math.nan, ()
    given = {"P": (short_w, "W"), "T": (data.timeout_s, "s"), "t_open": (data.open_s, "s")}
    if math.isnan(data.rise_share) or data.rise_share < LEAST_RISE or look_s >= end_s:
        energy, law = short_w * end_s, "P*(T + t_open)"
        return energy, (working(body.id, "E_fault", words, law, energy, "J", "CLOSED-FORM#Joule's law", **given),)
    share = data.rise_share * data.early / data.target
    energy = short_w * (look_s + (1 - share) ** 2 * (end_s - look_s))
    given |= {"t": (data.rise_after_s, "s"), "s": (share, "1")}
    law = "P*(t + t_open + (1 - s)**2*(T - t))"
    return energy, (working(body.id, "E_fault", words, law, energy, "J", "CLOSED-FORM#Joule's law", **given),)


def _heat(data: PrechargeInputs, body: Body, result: PrechargeResult) -> PrechargeResult:
    """Temperature after the allowed attempts in a row, healthy and on a faulty bus, and the spacing borne for ever."""
    healthy, wait_s, lines = _series_of(data, body, result.pulse_energy_j, "")
    both = (result.pulse_energy_j, result.fault_energy_j)
    worst = math.nan if any(map(math.isnan, both)) else max(both)
    faulty, wait_faulty_s, more = _series_of(data, body, worst, " on a faulty bus")
    return result._replace(
        temperature_after_attempts_c=healthy,
        lockout_s=wait_s,
        temperature_after_faulty_attempts_c=faulty,
        lockout_faulty_s=wait_faulty_s,
        workings=(*result.workings, *lines, *more),
    )


def _series_of(data: PrechargeInputs, body: Body, energy: float, where: str) -> tuple[float, float, list[Working]]:
    """Temperature after the attempts, shortest spacing for ever, and their workings, for one energy of an attempt."""
    warm_c, wait_s, lines = math.nan, math.nan, []
    if not all(math.isfinite(x) for x in (body.heat_j_per_k, body.thermal_k_per_w, energy, body.ambient_c)):
        return warm_c, wait_s, []
    given = {
        "T_a": (body.ambient_c, "°C"),
        "E": (energy, "J"),
        "C": (body.heat_j_per_k, "J/K"),
        "R": (body.thermal_k_per_w, "K/W"),
    }
    if data.attempts > 0 and data.pause_s >= 0:
        count = float(data.attempts)
        rise, law = count * energy / body.heat_j_per_k, "T_a + n*E/C"
        if data.pause_s > 0:
            law = "T_a + E/C*(1 - exp(-n*t/(R*C)))/(1 - exp(-t/(R*C)))"
            store = (body.heat_j_per_k, body.thermal_k_per_w)
            rise = float(pulses.rise_after_pulses_k(count, energy, *store, data.pause_s))
        warm_c = body.ambient_c + rise
        more = {"n": (count, "1"), "t": (data.pause_s, "s")}
        if data.pause_s <= 0:
            given_now = {key: value for key, value in {**more, **given}.items() if key not in ("t", "R")}
        else:
            given_now = {**more, **given}
        words = f"temperature after {data.attempts} attempts in a row{where}"
        lines.append(working(body.id, "T", words, law, warm_c, "°C", PULSES, **given_now))
    cap = body.limit_c - body.ambient_c
    if cap > 0 and energy / body.heat_j_per_k < cap:
        wait_s = float(pulses.lockout_s(energy, body.heat_j_per_k, body.thermal_k_per_w, cap))
        words = f"shortest spacing of attempts that stays below the temperature limit for ever{where}"
        law, given = "-R*C*ln(1 - E/C/(T_max - T_a))", {"T_max": (body.limit_c, "°C"), **given}
        lines.append(working(body.id, "t_lock", words, law, wait_s, "s", PULSES, **given))
    return warm_c, wait_s, lines


def _surge(data: PrechargeInputs, packs: PackResult, run: Run, result: PrechargeResult) -> PrechargeResult:
    """What flows through the bypassed contactor as it closes on the largest residual, with inductance."""
    if not data.sensed:
        return result
    circuit, plan, name = data.circuit, run.plan, run.plan.path.bypassed.id
    reached = [a for a in result.attempts if math.isfinite(a.residual_v)]
    full_v = sum(run.corners[p][1].open_circuit_v for p in plan.chain)
    pack_v = max((a.residual_v / a.residual_share for a in reached), default=full_v)
    left_v = (1 - data.early) * pack_v
    words = "voltage across it as it closes, target seen early" + (
        "" if reached else "; the bus as designed never gets there"
    )
    lines = [
        working(
            name,
            "dV",
            words,
            "(1 - f_early)*V",
            left_v,
            "V",
            SENSORS,
            f_early=(data.early, "1"),
            V=(pack_v, "V"),
        )
    ]
    inductive = any(lead.inductance_h > 0 for lead in circuit.leads)
    still = bare(circuit, opened="precharge", timed=False, inductive=True)
    surge = _closing(still, tuple(packs.packs.items()), plan._replace(device=still.devices[0], devices=()), data.early)
    result = result._replace(residual_v=left_v, residual_share=1 - data.early)
    if math.isnan(surge.peak_a):
        return result._replace(missing=(*result.missing, SPREAD), workings=(*result.workings, *lines))
    counted = "cables with their inductance, the pack's" if inductive else "the inductance of cables and pack"
    method = "circuit solver on the whole topology, every bus capacitance at its high end and short of the pack "
    method += f"by the residual, pack at its lowest resistance, loads left out; {counted} left out, which makes "
    # The resistance of a loop takes C*dV²/2 whatever its inductance.
    peak, heat = method + "the peak larger", method + "the peak larger and hardly changes I²t"
    lines += [
        found(name, "I_close", "largest current as it closes", surge.peak_a, "A", SOLVER, peak),
        found(name, "I2t", "I²t of the closing surge", surge.joule_integral_a2s, "A²s", SOLVER, heat),
    ]
    return result._replace(
        surge_current_a=surge.peak_a,
        surge_time_s=surge.time_s,
        surge_joule_integral_a2s=surge.joule_integral_a2s,
        surge_with_inductance=inductive,
        workings=(*result.workings, *lines),
    )


class _Surge(NamedTuple):
    peak_a: float
    time_s: float
    joule_integral_a2s: float


@lru_cache(maxsize=256)
def _closing(circuit: HvCircuit, packs: tuple[tuple[str, PackFigures], ...], plan: Plan, early: float) -> _Surge:
    """The bypassed contactor closes with the bus at the early share of the full pack.

    Pack at its lowest resistance, capacitances at their high end: each raises both the peak and I²t.
    """
    full = {key: fullest(figures) for key, figures in packs}
    full_v = sum(full[p].open_circuit_v for p in plan.chain)
    closed = {*plan.closed, plan.path.bypassed.id}
    items: list[Any] = leads(circuit, inductive=True)
    items += batteries(
        circuit,
        {k: c.open_circuit_v for k, c in full.items()},
        {k: c.resistance_low_ohm for k, c in full.items()},
    )
    items += [Resistor(c.id, c.a, c.b, max(c.ohm, LEAST_OHM)) for c in circuit.contacts if c.id in closed]
    for d in circuit.devices:
        start_v = full_v if d.id in plan.fed_directly else early * full_v
        if d.farad.high > 0:
            items.append(Capacitor(f"{d.id}:C", d.plus, d.minus, d.farad.high, start_v))
    name = plan.path.bypassed.id
    small = lean(items, {*plan.ends}, {name})
    source_ohm = sum(full[p].resistance_low_ohm for p in plan.chain)
    ohm = source_ohm + sum(float(e.resistance_ohm) for e in small if isinstance(e, Resistor | Inductor))
    henry = sum(e.inductance_h for e in small if isinstance(e, Inductor))
    farad = sum(d.farad.high for d in circuit.devices if d.farad.high > 0)
    settled_s = float(OVER * (farad * ohm + 2 * henry / source_ohm))
    probes = (Peak("i", amp(name), absolute=True), Integral("i2t", amp(name), amp(name)))
    run = transient(Circuit(small), settled_s, (), probes)
    if run.status[0] != "completed":
        return _Surge(math.nan, math.nan, math.nan)
    value, when = run.peaks["i"]
    return _Surge(float(abs(value[0])), float(when[0]), float(run.integrals["i2t"][0]))
