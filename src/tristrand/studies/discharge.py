"""Discharge: how long the bus of the real circuit stays above 60 V after every order of opening it.

Every bus capacitance starts at the high end of its tolerance and at the highest voltage the cells may have;
nothing draws current but the resistors. Time counts from the moment at which the coils lose their supply.
"""

import math
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tristrand.design import Design
from tristrand.physics import discharge as closed_form
from tristrand.physics.circuit import (
    At,
    Capacitor,
    Circuit,
    Crossing,
    OperatingPoint,
    Resistor,
    Signal,
    Switch,
    Transient,
    operating_point,
    transient,
    volt,
)
from tristrand.physics.discharge import TOUCH_LIMIT_V
from tristrand.records import NamedTuple
from tristrand.studies.circuits import Contact, Device, HvCircuit, hv_circuit
from tristrand.studies.discharge_resistors import left_on
from tristrand.studies.netlist import LEAST_OHM, batteries, bleeds, leads
from tristrand.studies.opening import (
    SPREAD,
    Body,
    Groups,
    bodies,
    conductors,
    fed,
    fullest,
    lean,
    longest,
    needed,
    orders_of,
    usable,
)
from tristrand.studies.results import (
    DischargeCase,
    DischargeResult,
    Later,
    Missing,
    PackFigures,
    PackResult,
    Series,
    Working,
    found,
    working,
)
from tristrand.studies.slices import bare, quiet

Floats = NDArray[np.float64]

SOLVER = "NUMERICS#circuit solver, transient"
STEADY = "NUMERICS#circuit solver, operating point"
LOOKED_AT_S = 3600.0
NEVER_S = 10 * LOOKED_AT_S
USUAL_S = 5.0
"""What every rule set that sets a time asks for; taken where the owner sets none (IEC-60204-1#6.2.4)."""


class DischargeInputs(NamedTuple):
    """The circuit, the resistors' thermal data and the owner's own limit (the usual one where not given)."""

    circuit: HvCircuit
    bodies: tuple[Body, ...]
    within_s: float
    missing: tuple[Missing, ...]


def inputs(design: Design) -> DischargeInputs:
    """Collect circuit and limit of a design, and name what is not given."""
    circuit = hv_circuit(design)
    sheet = {key: getattr(part, "sheet", "") for key, part in design.high_voltage.parts.items()}
    timed = {f"parts/{sheet[c.id]}/open_time" for c in circuit.role("main")}
    timed |= {f"parts/{sheet[c.id]}/close_time" for c in circuit.role("discharge")}
    missing = tuple(
        m
        for m in needed(circuit.missing, "temperature_rating")
        if not m.pointer.endswith(("/open_time", "/close_time")) or m.pointer in timed
    )
    within = design.high_voltage.discharge.within
    return DischargeInputs(
        bare(circuit, opened="precharge", timed=True, inductive=False),
        bodies(design, "discharge"),
        within.value if within is not None else USUAL_S,
        missing,
    )


def study(data: DischargeInputs, packs: PackResult) -> DischargeResult:
    """Run every opening order in one batch, with the discharge contactors working and failed open."""
    circuit = data.circuit
    blocking = (*data.missing, *packs.missing)
    names = tuple(r.id for r in circuit.resistors if r.role == "discharge")
    base = DischargeResult(
        missing=(*blocking, *(m for b in data.bodies for m in b.missing)),
        resistors=names,
        limit_s=data.within_s,
    )
    if blocking or not packs.packs or not circuit.role("main") or not circuit.devices:
        return base
    closed = Groups([*conductors(circuit), *((c.a, c.b) for c in circuit.role("main"))])
    devices = fed(circuit, closed)
    if not devices:
        gap = Missing("high_voltage/connections", "a device that the main contactors connect to a pack")
        return base._replace(missing=(*base.missing, gap))
    data = data._replace(circuit=circuit._replace(devices=devices))
    run = _solved(quiet(data.circuit), tuple(packs.packs.items()))
    if (run.transient.status == "inexact").any():
        return base._replace(missing=(*base.missing, SPREAD))
    result = run.judge(base)
    result = left_on(data.circuit, data.bodies, result)
    if math.isfinite(data.within_s):
        result = _largest(data, run, result)
    return result._replace(series=Later(lambda: run.series(result)))


@lru_cache(maxsize=256)
def _solved(circuit: HvCircuit, packs: tuple[tuple[str, PackFigures], ...]) -> "_Run":
    """The solver's run, kept: an edit of a resistor's thermal data or of the limit does not ask for it again."""
    return _Run(circuit, dict(packs))


class _Run:
    """The circuit as it is opened, over the orders: first with working discharge contactors, then without."""

    def __init__(self, circuit: HvCircuit, packs: Mapping[str, PackFigures]) -> None:
        self.circuit, self.packs = circuit, packs
        self.orders = orders_of(circuit)
        self.count = len(self.orders)
        self.farad_f = sum(d.farad.high for d in circuit.devices if d.farad.high > 0)
        self.pulled = {i.id for i in circuit.series if i.kind == "service_disconnect"}
        steady = operating_point(Circuit(self._elements(lambda d: 0.0, moving=False)))
        self.start = {d.id: _across(steady, d.plus, d.minus) for d in circuit.devices}
        self.start_v = max(map(abs, self.start.values()))
        self.measured = self._measured(steady)
        self.transient = self._open()

    def _elements(self, start: Callable[[Device], float], *, moving: bool) -> tuple[Any, ...]:
        """All main contactors closed, discharge contactors open; as switches if ``moving``."""
        circuit, lanes = self.circuit, 2 * self.count if moving else 1
        items: list[Any] = [e for e in leads(circuit) if e.name not in self.pulled or not moving]
        items += batteries(
            circuit,
            {k: np.full(lanes, f.maximum_v) for k, f in self.packs.items()},
            {k: fullest(f).resistance_ohm for k, f in self.packs.items()},
        )
        if moving:
            items += [
                Switch(i.id, i.a, i.b, max(i.ohm, LEAST_OHM), True) for i in circuit.series if i.id in self.pulled
            ]
        for c in map(usable, circuit.contacts):
            if c.role == "main":
                items.append(self._contact(c, True) if moving else Resistor(c.id, c.a, c.b, max(c.ohm, LEAST_OHM)))
            elif c.role == "discharge" and moving:
                items.append(self._contact(c, False))
        items += [Resistor(r.id, r.a, r.b, r.ohm.high) for r in circuit.resistors]
        items += [
            Capacitor(f"{d.id}:C", d.plus, d.minus, d.farad.high, start(d)) for d in circuit.devices if d.farad.high > 0
        ]
        items += bleeds(circuit.devices)
        nodes = {end for d in circuit.devices for end in (d.plus, d.minus)}
        nodes |= {c.a for c in circuit.role("main")} | {c.b for c in circuit.role("main")}
        return lean(items, nodes, set())

    def _contact(self, c: Contact, closed: bool) -> Switch:
        return Switch(c.id, c.a, c.b, max(c.ohm, LEAST_OHM), closed, c.close_s, c.open_s)

    def _measured(self, steady: OperatingPoint) -> dict[str, Signal]:
        """Voltages looked at, positive at the start: devices, and between the main contactors' far sides."""
        ends = {d.id: (d.plus, d.minus) for d in self.circuit.devices}
        inside = Groups(conductors(self.circuit))
        buses = [{inside.of(d.plus), inside.of(d.minus)} for d in self.circuit.devices]
        outputs = [(c.id, end) for c in self.circuit.role("main") for end in (c.a, c.b)]
        for n, (one, a) in enumerate(outputs):
            for two, b in outputs[n + 1 :]:
                if {inside.of(a), inside.of(b)} in buses and one != two:
                    ends[f"{one} to {two}"] = (a, b)
        return {name: volt(a, b) if _across(steady, a, b) >= 0 else volt(b, a) for name, (a, b) in ends.items()}

    def _open(self) -> Transient:
        circuit = Circuit(self._elements(lambda d: self.start[d.id], moving=True))
        commands: list[Any] = []
        for name in [c.id for c in self.circuit.role("main")] + sorted(self.pulled):
            when = np.array([order.opens.get(name, NEVER_S) for order in self.orders] * 2)
            commands.append(At(when, name, False))
        working_first = np.repeat([0.0, NEVER_S], self.count)
        # A discharge contactor that rests open stays open when its coil loses its supply.
        commands += [At(working_first, c.id, True) for c in self.circuit.role("discharge") if c.rests_closed]
        probes = [Crossing(name, signal, TOUCH_LIMIT_V, rising=False) for name, signal in self.measured.items()]
        return transient(circuit, LOOKED_AT_S, commands, tuple(probes))

    def judge(self, base: DischargeResult) -> DischargeResult:
        """The longest time to 60 V of every order, and the longest of them."""
        names = list(self.measured)
        both = np.array([self.transient.crossings[n] for n in names])
        slowest = [longest(column) for column in both.T.tolist()]
        finals = {names[k]: np.abs(self.transient.final(self.measured[names[k]])) for k in set(slowest)}
        cases = tuple(
            DischargeCase(
                self.orders[k % self.count].name,
                k < self.count,
                float(both[slowest[k], k]),
                names[slowest[k]],
                float(finals[names[slowest[k]]][k]),
            )
            for k in range(2 * self.count)
        )
        active = cases[longest([c.seconds for c in cases[: self.count]])]
        passive = cases[self.count + longest([c.seconds for c in cases[self.count :]])]
        method = f"circuit solver on the whole topology, looked at for {LOOKED_AT_S:g} s"
        lines = [
            found(
                active.slowest_part,
                "V_0",
                "voltage at the start, cells at their maximum",
                self.start_v,
                "V",
                STEADY,
                method,
            ),
            found(
                active.slowest_part,
                "t_60",
                f"longest time to 60 V, discharge working: {active.name}",
                active.seconds,
                "s",
                SOLVER,
                method,
            ),
            found(
                passive.slowest_part,
                "t_60",
                f"longest time to 60 V, discharge contactors failed open: {passive.name}",
                passive.seconds,
                "s",
                SOLVER,
                method,
            ),
        ]
        return base._replace(
            start_v=self.start_v,
            capacitance_f=self.farad_f,
            cases=cases,
            slowest_active_s=active.seconds,
            slowest_active_case=active.name,
            passive_s=passive.seconds,
            workings=tuple(lines),
        )

    def series(self, result: DischargeResult) -> tuple[Series, ...]:
        """Bus voltage over time for the slowest order with the discharge working, and without it."""
        curves = []
        for word, cases, first in (
            ("discharge", result.cases[: self.count], 0),
            ("built-in resistances alone", result.cases[self.count :], self.count),
        ):
            lane = first + longest([c.seconds for c in cases])
            case = result.cases[lane]
            end_s = 1.5 * case.seconds if case.seconds > 0 else LOOKED_AT_S
            times = np.linspace(0.0, min(end_s, LOOKED_AT_S), 120)
            volts = np.abs(np.asarray(self.transient.sample(self.measured[case.slowest_part], times, lane)))
            curves.append(
                Series(
                    f"{word}, {case.name}",
                    "time",
                    "s",
                    "voltage",
                    "V",
                    tuple(times.tolist()),
                    tuple(volts.tolist()),
                    "discharge",
                )
            )
        return tuple(curves)


def _across(point: OperatingPoint, a: str, b: str) -> float:
    return float((point.voltages_v[a] - point.voltages_v[b])[0])


def _largest(data: DischargeInputs, run: _Run, result: DischargeResult) -> DischargeResult:
    """Largest resistance of each discharge resistor, tolerance included, that meets the owner's limit."""
    circuit = data.circuit
    wait_s = max(
        [
            0.0,
            *(c.open_s for c in map(usable, circuit.role("main"))),
            *(c.close_s for c in map(usable, circuit.role("discharge"))),
        ]
    )
    left_s = data.within_s - wait_s
    largest: dict[str, float] = {}
    lines: list[Working] = []
    for r in circuit.resistors:
        if r.role != "discharge" or left_s <= 0 or result.start_v <= TOUCH_LIMIT_V or run.farad_f <= 0:
            continue
        whole = float(closed_form.resistance_for_time_ohm(result.start_v, TOUCH_LIMIT_V, left_s, run.farad_f))
        beside_s = sum(1 / d.bleed_ohm for d in circuit.devices)
        beside_s += sum(1 / o.ohm.high for o in circuit.resistors if o.role == "discharge" and o.id != r.id)
        lines.append(
            working(
                r.id,
                "R_all",
                f"all resistance across the bus that reaches 60 V in {data.within_s:g} s",
                "(t - t_wait)/(C*ln(V/60))",
                whole,
                "Ω",
                "CLOSED-FORM#first-order RC discharging",
                t=(data.within_s, "s"),
                t_wait=(wait_s, "s"),
                C=(run.farad_f, "F"),
                V=(result.start_v, "V"),
            )
        )
        if beside_s * whole >= 1:
            largest[r.id] = math.inf
            continue
        largest[r.id] = 1 / (1 / whole - beside_s)
        lines.append(
            working(
                r.id,
                "R_most",
                "largest resistance of it, tolerance included, beside what else loads the bus",
                "1/(1/R_all - G)",
                largest[r.id],
                "Ω",
                "CLOSED-FORM#conductances in parallel",
                R_all=(whole, "Ω"),
                G=(beside_s, "S"),
            )
        )
    return result._replace(largest_resistance_ohm=largest, workings=(*result.workings, *lines))
