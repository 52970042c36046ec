"""How well is the bus insulated, and would the monitor see it? Legs, Y-capacitances, and the search for a fault.

Every part counts at the least resistance and the most capacitance that it may have. The monitor's own resistance lies
in the legs, since a person's current flows through it; the monitor itself reads what lies beside it.
"""

import math
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

from tristrand.design import Datum, Design
from tristrand.physics.discharge import touch_energy_above_limit_j, touch_energy_j
from tristrand.physics.insulation import LEAST_METER_OHM, REQUIRED_AC_OHM_PER_V, REQUIRED_DC_OHM_PER_V, parallel_ohm
from tristrand.physics.insulation_budget import (
    LegBudget,
    PartInsulation,
    UnplugPlan,
    leg_budget,
    settling_time_s,
    unplug_plan,
    y_energies,
)
from tristrand.records import NamedTuple
from tristrand.studies.circuits import HvCircuit, hv_circuit
from tristrand.studies.plug_groups import Link, branches, pack_side, poles
from tristrand.studies.results import (
    InsulationResult,
    Later,
    Missing,
    PackResult,
    PartFault,
    PlugGroup,
    Working,
    YFigures,
    found,
    working,
)
from tristrand.studies.topology import chains

PARALLEL = "CLOSED-FORM#parallel resistances and capacitances"
# No part can bear these names: an id holds no blank.
CABLES, FITTINGS, MONITOR, REST = "all cables", "the fittings", "insulation monitor", "pack and main bus"
Y, MEGA, NANO = "Y-capacitance", 1e6, 1e-9
DEVICES = ("inverter", "dcdc", "heater", "charger", "inlet")
# Contactors that stand open while the car is driven: what hangs behind them is no pole then.
OPEN_DRIVING = ("switch", "charge")
# Six-step drive: plus, nothing, minus for a third of the time each, the largest rms value an inverter can make.
SIX_STEP = math.sqrt(2.0 / 3.0)


class Cable(NamedTuple):
    """One cable run: an end of it, its resistance and capacitance to the chassis over its whole length."""

    id: str
    end: str
    ohm: float
    farad: float


class MonitorData(NamedTuple):
    """The monitor: its terminals, its own resistance, the low end of its trip level (nan: not given), its method."""

    plus: str
    minus: str
    own_ohm: float
    trips_ohm: float
    even_faults: bool


class InsulationInputs(NamedTuple):
    """Parts but cables and monitor; cables; the circuit as a bare graph; devices with how likely each fails."""

    parts: tuple[PartInsulation, ...]
    cables: tuple[Cable, ...]
    monitor: MonitorData | None
    joined: tuple[str, ...]
    inverters: bool
    links: tuple[Link, ...]
    devices: tuple[tuple[str, int], ...]
    circuit: HvCircuit
    missing: tuple[Missing, ...]


def inputs(design: Design) -> InsulationInputs:
    """Collect what sheets and design say about insulation, and what they leave out."""
    settings = design.high_voltage.insulation
    missing: dict[str, str] = {}
    parts, joined, devices, inverters = [], [], [], False
    part: Any
    for part_id, part in design.high_voltage.parts.items():
        if part.kind in ("pack", *DEVICES):
            given = design.sheet_of(part_id).insulation
            parts.append(_poles(part_id, f"parts/{part.sheet}/insulation", given, missing))
            if part.kind in ("inverter", "charger") and getattr(given, "alternating_side", None) in (None, "joined"):
                joined.append(part_id)
            if part.kind in DEVICES:
                devices.append((part_id, settings.fault_likelihood.get(part_id, 1)))
            inverters |= part.kind == "inverter"
    parts.append(_poles(FITTINGS, "high_voltage/insulation/fittings", settings.fittings, missing))
    cables = tuple(_cables(design, missing))
    monitor = _monitor(settings.monitor, missing)
    circuit = _graph(hv_circuit(design))
    links = tuple(_links(design))
    return InsulationInputs(
        tuple(parts), cables, monitor, tuple(joined), inverters, links, tuple(devices), circuit,
        tuple(Missing(*pair) for pair in missing.items()),
    )  # fmt: skip


def _poles(name: str, pointer: str, given: Any, missing: dict[str, str]) -> PartInsulation:
    """One part, resistances at their low and capacitances at their high end; nan where not given."""
    ohm = _end(getattr(given, "resistance", None), "low")
    farad = _end(getattr(given, "y_capacitance", None), "high")
    for field, value, words in (
        ("resistance", ohm, "least resistance of each pole to the chassis"),
        ("y_capacitance", farad, "capacitance of each pole to the chassis"),
    ):
        if math.isnan(value):
            missing[f"{pointer}/{field}"] = f"{words}, {name}"
    minus_ohm = _end(getattr(given, "minus_resistance", None), "low")
    minus_farad = _end(getattr(given, "minus_y_capacitance", None), "high")
    return PartInsulation(
        name,
        ohm if math.isnan(minus_ohm) else minus_ohm,
        ohm,
        farad if math.isnan(minus_farad) else minus_farad,
        farad,
    )


def _end(datum: Datum | None, end: str) -> float:
    return math.nan if datum is None else float(getattr(datum, end))


def _cables(design: Design, missing: dict[str, str]) -> Iterator[Cable]:
    for key, lead in design.high_voltage.connections.items():
        if lead.cable is None:
            continue
        sheet: Any = design.sheets[lead.cable]
        for field, datum, words in (
            ("insulation_resistance", sheet.insulation_resistance, "insulation resistance times length"),
            ("y_capacitance", sheet.y_capacitance, "capacitance per metre to the chassis"),
        ):
            if datum is None:
                missing[f"parts/{lead.cable}/{field}"] = f"{words} of {lead.cable}"
        length_m = _end(lead.length, "high")
        if lead.length is None:
            missing[f"high_voltage/connections/{key}/length"] = f"length of {key}"
        ohm_m, farad_per_m = _end(sheet.insulation_resistance, "low"), _end(sheet.y_capacitance, "high")
        yield Cable(key, lead.from_, ohm_m / length_m, farad_per_m * length_m)


def _monitor(given: Any, missing: dict[str, str]) -> MonitorData | None:
    if given is None:
        return None
    own_ohm = _end(given.internal_resistance, "low")
    if math.isnan(own_ohm):
        missing["high_voltage/insulation/monitor/internal_resistance"] = "internal resistance of the insulation monitor"
    return MonitorData(given.plus, given.minus, own_ohm, _end(given.trips_at, "low"), given.method != "compares_poles")


def _graph(circuit: HvCircuit) -> HvCircuit:
    """The circuit with only who is joined to whom while driving."""
    leads = tuple(x._replace(ohm_20c=0.0, inductance_h=0.0, cable="", length_m=0.0, limit_c=0.0) for x in circuit.leads)
    contacts = tuple(c._replace(ohm=0.0, close_s=0.0, open_s=0.0) for c in circuit.role("main"))
    series = tuple(s._replace(ohm=0.0) for s in circuit.series)
    return HvCircuit(circuit.packs, leads, series, contacts, (), (), ())


def _links(design: Design) -> Iterator[Link]:
    """Everything that joins two terminals of the positive or of the negative pole, contactors by their role."""
    for key, lead in design.high_voltage.connections.items():
        yield Link(key, "lead", lead.from_, lead.to)
    for part_id, part in design.high_voltage.parts.items():
        if part.kind in ("fuse", "service_disconnect"):
            yield Link(part_id, part.kind, f"{part_id}.a", f"{part_id}.b")
        elif part.kind == "contactor":
            # A discharge contactor stands on one pole or between poles only with its resistor.
            yield Link(part_id, "switch" if part.role == "discharge" else part.role, f"{part_id}.a", f"{part_id}.b")
        elif part.kind == "resistor":
            yield Link(part_id, part.role, f"{part_id}.a", f"{part_id}.b")


def study(data: InsulationInputs, packs: PackResult) -> InsulationResult:
    """Sum up the legs, look at every single fault, and plan the search."""
    names = tuple(p.id for p in data.circuit.packs)
    volts = {name: figures.maximum_v for name, figures in packs.packs.items()}
    known = bool(names) and len(volts) == len(names)
    highest_v = max((c.volts for c in chains(data.circuit, volts)), default=math.nan) if known else math.nan
    base = InsulationResult(
        missing=(*data.missing, *packs.missing),
        highest_v=highest_v,
        alternating_v=highest_v * SIX_STEP if data.inverters else 0.0,
        joined=data.joined,
    )
    if data.monitor is not None:
        plus, minus = data.monitor.plus, data.monitor.minus
        ends = poles(tuple(link for link in data.links if link.kind not in OPEN_DRIVING), names)
        sides = (ends.joined.of(plus) in ends.positive, ends.joined.of(minus) in ends.negative)
        wrong = tuple(t for t, right in zip((plus, minus), sides, strict=True) if not right)
        base = base._replace(wrong_poles=wrong, watches=pack_side(data.links, names, plus, minus))
    groups = _groups(data, names)
    base = base._replace(groups=groups, unplug=_plan(groups))
    if base.missing or math.isnan(highest_v):
        return base
    parts = _all_parts(data, names)
    legs = _summed(parts)
    ohm_per_volt = legs.weaker_ohm / highest_v
    needed = REQUIRED_AC_OHM_PER_V if data.joined else REQUIRED_DC_OHM_PER_V
    result = base._replace(
        parts=parts,
        legs=legs,
        shows_ohm=_beside(parts, legs),
        ohm_per_volt=ohm_per_volt,
        least_ohm=needed * highest_v,
        y=_capacitances(legs, highest_v),
    )
    result = result._replace(faults=tuple(_faults(result, data.monitor)))
    return result._replace(workings=Later(lambda: list(_workings(data, result))))


def _all_parts(data: InsulationInputs, packs: tuple[str, ...]) -> tuple[PartInsulation, ...]:
    """Every part of the bus: those of the sheets, all cables as one, and the monitor."""
    ends = poles(data.links, packs)
    leak, farad = [0.0, 0.0], [0.0, 0.0]
    for cable in data.cables:
        for n, counts in enumerate(ends.sides(cable.end)):
            if counts:
                leak[n] += 1.0 / cable.ohm
                farad[n] += cable.farad
    ohms = [1.0 / s if s else math.inf for s in leak]
    parts = [*data.parts, PartInsulation(CABLES, *ohms, *farad)] if data.cables else [*data.parts]
    if data.monitor is not None:
        # Its own resistance is stated from both poles together: each pole has half of the leak.
        parts.append(PartInsulation(MONITOR, 2.0 * data.monitor.own_ohm, 2.0 * data.monitor.own_ohm, 0.0, 0.0))
    return tuple(parts)


_summed = lru_cache(maxsize=256)(leg_budget)


def _beside(parts: tuple[PartInsulation, ...], legs: LegBudget) -> float:
    """What the monitor reads: both legs in parallel without its own resistance."""
    own_s = sum(1.0 / p.negative_ohm + 1.0 / p.positive_ohm for p in parts if p.name == MONITOR)
    left_s = 1.0 / legs.negative_ohm + 1.0 / legs.positive_ohm - own_s
    return 1.0 / left_s if left_s > 0 else math.inf


def _faults(result: InsulationResult, monitor: MonitorData | None) -> Iterator[PartFault]:
    """Each part alone at the least that the regulation allows, on one leg and on both: what the monitor then reads."""
    legs, least_ohm = result.legs, result.least_ohm
    assert legs is not None
    shares = legs.negative_shares if legs.weaker_leg == "negative" else legs.positive_shares
    trips_ohm = monitor.trips_ohm if monitor is not None else math.nan
    for part, share in zip(result.parts, shares, strict=True):
        if part.name == MONITOR:
            continue
        rest_s = 1.0 / result.shows_ohm
        one = [1.0 / (rest_s - 1.0 / own + 1.0 / least_ohm) for own in (part.negative_ohm, part.positive_ohm)]
        own_s = 1.0 / part.negative_ohm + 1.0 / part.positive_ohm
        both = 1.0 / (rest_s - own_s + 2.0 / least_ohm)
        lone = [1.0 / trips_ohm - (rest_s - 1.0 / own) for own in (part.negative_ohm, part.positive_ohm)]
        below = min(1.0 / s if s > 0 else math.inf for s in lone) if not math.isnan(trips_ohm) else math.nan
        sees_even = monitor is not None and monitor.even_faults
        yield PartFault(part.name, share, max(one), both, below, max(one) <= trips_ohm, sees_even and both <= trips_ohm)


@lru_cache(maxsize=256)
def _capacitances(legs: LegBudget, highest_v: float) -> YFigures:
    """Energies at the highest pack voltage; the poles of a healthy bus divide it as the legs do."""
    whole_ohm = legs.negative_ohm + legs.positive_ohm
    negative_v = highest_v * legs.negative_ohm / whole_ohm
    energies = y_energies(legs.negative_f, legs.positive_f, negative_v, highest_v - negative_v)
    largest_f = max(legs.negative_f, legs.positive_f)
    return YFigures(
        legs.negative_f, legs.positive_f, legs.total_f,
        float(touch_energy_j(largest_f, highest_v)),
        float(touch_energy_above_limit_j(largest_f, highest_v)),
        max(float(energies.touch_negative_j), float(energies.touch_positive_j)),
        float(energies.worst_j),
        float(settling_time_s(parallel_ohm(legs.parallel_ohm, LEAST_METER_OHM), legs.total_f)),
    )  # fmt: skip


def _groups(data: InsulationInputs, packs: tuple[str, ...]) -> tuple[PlugGroup, ...]:
    """The devices with what feeds them alone, and all the rest as one group that stays."""
    weights = dict(data.devices)
    found_ = branches(data.links, packs, tuple(weights))
    groups = [PlugGroup(name, members, weights[name]) for name, members in found_]
    return (*groups, PlugGroup(REST, (), 1))


@lru_cache(maxsize=64)
def _plan(groups: tuple[PlugGroup, ...]) -> UnplugPlan:
    return unplug_plan([g.name for g in groups], [float(g.weight) for g in groups], REST)


def _workings(data: InsulationInputs, result: InsulationResult) -> Iterator[Working]:
    """Resistances in MΩ and capacitances in nF, so that a hand calculator does."""
    legs, y, parts = result.legs, result.y, result.parts
    assert legs is not None
    assert y is not None
    for leg, ohms, value in (
        ("minus", {p.name: p.negative_ohm for p in parts}, legs.negative_ohm),
        ("plus", {p.name: p.positive_ohm for p in parts}, legs.positive_ohm),
    ):
        # What leads nowhere has no place in the sum.
        some = {name: ohm for name, ohm in ohms.items() if math.isfinite(ohm)}
        given = {f"R_{n}": (ohm / MEGA, "MΩ") for n, ohm in enumerate(some.values(), 1)}
        formula = f"1/({' + '.join(f'1/{name}' for name in given)})"
        words = f"{leg} leg: {', '.join(some)}"
        yield working("bus", f"R_{leg}", words, formula, value / MEGA, "MΩ", PARALLEL, **given)
    yield working(
        "bus", "r_iso", "weaker leg by the highest pack voltage", "1000000*R/V", result.ohm_per_volt, "Ω/V",
        "UN-R100#5.1.3.1", R=(legs.weaker_ohm / MEGA, "MΩ"), V=(result.highest_v, "V"),
    )  # fmt: skip
    if data.monitor is not None:
        yield working(
            MONITOR, "R_reads", "what it reads: both legs in parallel, without its own resistance",
            "1/(1/R_minus + 1/R_plus - 1/R_own)", result.shows_ohm / MEGA, "MΩ", PARALLEL,
            R_minus=(legs.negative_ohm / MEGA, "MΩ"), R_plus=(legs.positive_ohm / MEGA, "MΩ"),
            R_own=(data.monitor.own_ohm / MEGA, "MΩ"),
        )  # fmt: skip
    for leg, farads, value in (
        ("minus", {p.name: p.negative_f for p in parts}, y.negative_f),
        ("plus", {p.name: p.positive_f for p in parts}, y.positive_f),
    ):
        some = {name: farad for name, farad in farads.items() if farad > 0}
        given = {f"C_{n}": (farad / NANO, "nF") for n, farad in enumerate(some.values(), 1)}
        words = f"{leg} pole to chassis: {', '.join(some)}"
        if given:
            yield working(Y, f"C_{leg}", words, " + ".join(given), value / NANO, "nF", PARALLEL, **given)
    yield from _energy_workings(legs, y, result.highest_v)
    if result.unplug is not None:
        yield found(
            "search for a fault", "n", "readings to find one faulty group, on average", result.unplug.expected_steps,
            "", "NUMERICS#least expected number of yes-no questions, by joining the two least likely; compared with "
            "all plans", "search tree over the groups",
        )  # fmt: skip


def _energy_workings(legs: LegBudget, y: YFigures, highest_v: float) -> Iterator[Working]:
    larger, volts = (max(y.negative_f, y.positive_f) / NANO, "nF"), (highest_v, "V")
    yield working(
        Y, "E_leg", "larger leg at the full voltage", "C*V**2/2/1000000", y.leg_j * 1e3, "mJ",
        "ISO-6469-4#touch energy of Y capacitors", C=larger, V=volts,
    )  # fmt: skip
    yield working(
        Y, "E_leg60", "the same, counted above 60 V", "C*max(V**2 - 3600, 0)/2/1000000", y.leg_above_limit_j * 1e3,
        "mJ", "UN-R94#TEy = 0.5 Cy (V^2 - 3600)", C=larger, V=volts,
    )  # fmt: skip
    yield working(
        Y, "E_fault", "taken from one pole with the other at the chassis", "C*V**2/2/1000000",
        y.touch_fault_j * 1e3, "mJ", "CLOSED-FORM#Kirchhoff's laws", C=(y.total_f / NANO, "nF"), V=volts,
    )  # fmt: skip
    yield working(
        Y, "t_settle", "wait before a hand reading counts, one meter of 10 MΩ", "5*C/(1/R + 1/R_m)/1000",
        y.settling_s, "s", "CLOSED-FORM#first-order RC settling",
        C=(y.total_f / NANO, "nF"), R=(legs.parallel_ohm / MEGA, "MΩ"), R_m=(LEAST_METER_OHM / MEGA, "MΩ"),
    )  # fmt: skip
