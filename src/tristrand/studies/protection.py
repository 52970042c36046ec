"""Do the fuses protect? What every fuse must clear, and the I2t that it lets through cables and main contactors.

For each fault the fuse that carries all of it and melts first has to clear it; where none carries all of it (packs side
by side) every fuse that carries a share clears its own. The strong fault counts with the maker's clearing I2t, the weak
one with the time that the fuse then takes to melt.
"""

import math
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from typing import NamedTuple

from tristrand.design import Datum, Design
from tristrand.physics.adiabatic import ALUMINIUM, COPPER, joule_integral_limit_a2s, k_factor
from tristrand.physics.fuses import TimeCurrentCurve, melting_time_s
from tristrand.studies.circuits import HvCircuit, hv_circuit
from tristrand.studies.fuse_ways import fuse_ways
from tristrand.studies.overload import Slow, band_workings, bands, chain_workings, chains
from tristrand.studies.protection_curves import fuse_curves
from tristrand.studies.results import (
    ConductorsResult,
    Fault,
    FaultCurrent,
    FaultsResult,
    FuseDuty,
    FusePair,
    Later,
    LetThrough,
    OperatingResult,
    ProtectionResult,
    Working,
    working,
)

ADIABATIC = "IEC-60364-5-54#adiabatic equation"
CARRIES_ALL = 1 - 1e-6


class FuseData(NamedTuple):
    """One fuse: rating, I2t of melting (low end) and clearing (high end), nan where not given, and its curve."""

    id: str
    rated_a: float
    melting_a2s: float
    clearing_a2s: float
    curve: TimeCurrentCurve | None
    early: TimeCurrentCurve | None = None
    minimum_breaking_a: float = math.nan


class ProtectionInputs(NamedTuple):
    """Fuses, what each contactor withstands, the end temperature of each cable connection, and the circuit."""

    fuses: tuple[FuseData, ...]
    contactors: tuple[tuple[str, float], ...]
    cables: tuple[tuple[str, str, float], ...]
    circuit: HvCircuit


def inputs(design: Design) -> ProtectionInputs:
    """Collect what the sheets say about short circuits; what they leave out is nan and left to the rules to name."""
    contactors = []
    for part_id in design.parts_of("contactor", role="main"):
        stands = design.sheet_of(part_id).withstand
        contactors.append((part_id, math.nan if stands is None else stands.current.low**2 * stands.time.low))
    cables = []
    for key, lead in design.high_voltage.connections.items():
        if lead.cable is not None:
            sheet = design.sheets[lead.cable]
            cables.append((key, sheet.conductor, _number(sheet.short_circuit_temperature, "low")))
    fuses = tuple(_fuse(part_id, design.sheet_of(part_id)) for part_id in design.parts_of("fuse"))
    return ProtectionInputs(fuses, tuple(contactors), tuple(cables), hv_circuit(design))


def _number(datum: Datum | None, end: str) -> float:
    return math.nan if datum is None else float(getattr(datum, end))


def _fuse(part_id: str, sheet: object) -> FuseData:
    points = getattr(sheet, "melting", [])
    curve = early = None
    if points:
        # The high end of the times: a fuse that melts late lets the most through.
        curve = TimeCurrentCurve(tuple(p.current.value for p in points), tuple(p.time.high for p in points))
        early = TimeCurrentCurve(tuple(p.current.value for p in points), tuple(p.time.low for p in points))
    return FuseData(
        part_id,
        _number(getattr(sheet, "rated_current", None), "value"),
        _number(getattr(sheet, "melting_joule_integral", None), "low"),
        _number(getattr(sheet, "clearing_joule_integral", None), "high"),
        curve,
        early,
        _number(getattr(sheet, "minimum_breaking_current", None), "high"),
    )


def study(
    data: ProtectionInputs,
    faults: FaultsResult,
    conductors: ConductorsResult,
    operating: OperatingResult = OperatingResult(),  # noqa: B008 - a named tuple, never changed
) -> ProtectionResult:
    """Go through every fault at both of its ends, then through the overloads that each fuse leaves to others."""
    if not faults.faults:
        return ProtectionResult(missing=faults.missing)
    limits = dict(data.contactors) | _cable_limits(data, conductors)
    scan = _scan(data.fuses, tuple(faults.faults.values()))
    worst = {name: found._replace(limit_a2s=limits[name]) for name, found in scan.worst.items() if name in limits}
    contactors = {name: worst[name] for name, _ in data.contactors if name in worst}
    leads = {name: found for name, found in worst.items() if name not in contactors}
    slow = tuple(Slow(f.id, f.rated_a, f.curve, f.early, f.minimum_breaking_a) for f in data.fuses)
    left = bands(slow, fuse_ways(data.circuit), leads, conductors, operating) if operating.cases else {}
    order = chains({f.id: (f.rated_a, f.clearing_a2s) for f in data.fuses}, leads, contactors, conductors)
    lines = Later(
        lambda: [*_workings(data, conductors, leads, contactors), *chain_workings(order), *band_workings(left)]
    )
    duties = scan.duties
    curves = {f.id: f.curve for f in data.fuses if f.curve is not None}
    clears = {f.id: f.clearing_a2s for f in data.fuses}
    drawn = Later(lambda: tuple(fuse_curves(curves, clears, duties, leads, contactors, conductors, left)))
    return ProtectionResult(lines, (), drawn, duties, leads, contactors, scan.pairs, left, order)


class _Scan(NamedTuple):
    """What all faults together ask of the fuses and let through every part, whatever the parts bear."""

    duties: Mapping[str, FuseDuty]
    worst: Mapping[str, LetThrough]
    pairs: tuple[FusePair, ...]


@lru_cache(maxsize=64)
def _scan(every: tuple[FuseData, ...], faults: tuple[Fault, ...]) -> _Scan:
    """Go through every fault; kept, since what a cable bears changes nothing here."""
    fuses = {f.id: f for f in every}
    duties: dict[str, FuseDuty] = {}
    worst: dict[str, LetThrough] = {}
    pairs: dict[tuple[str, str], FusePair] = {}
    for fault in faults:
        clearing = _clearing(fuses, fault.strongest)
        _duty(duties, fuses, fault, clearing)
        for name, found in _let_through(fuses, fault, clearing):
            # What is not known counts as worst.
            before = worst.get(name)
            if before is None or math.isnan(found.worst_a2s) or found.worst_a2s > before.worst_a2s:
                worst[name] = found
        pairs |= {(p.upstream, p.downstream): p for p in _pairs(fuses, fault, clearing)}
    return _Scan(duties, worst, tuple(pairs.values()))


def _cable_limits(data: ProtectionInputs, conductors: ConductorsResult) -> dict[str, float]:
    """k2 S2 of every cable connection, from its temperature limit to the end temperature of its insulation."""
    limits = {}
    for name, metal, end_c in data.cables:
        figure = conductors.conductors.get(name)
        known = figure is not None and end_c >= figure.conductor_limit_c
        limits[name] = math.nan
        if known and figure is not None:
            k = k_factor(figure.conductor_limit_c, end_c, ALUMINIUM if metal == "aluminium" else COPPER)
            limits[name] = float(joule_integral_limit_a2s(k, figure.metal_area_mm2)) if k > 0 else 0.0
    return limits


def _clearing(fuses: Mapping[str, FuseData], current: FaultCurrent) -> tuple[str, ...]:
    """The fuses that have to clear a fault."""
    carried = {name: abs(amps) for name, amps in current.through if name in fuses}
    whole = [name for name, amps in carried.items() if amps >= CARRIES_ALL * current.current_a]
    if not whole:
        return tuple(carried)
    return (min(whole, key=lambda name: _size(fuses[name])),)


def _size(fuse: FuseData) -> tuple[float, float]:
    """What orders fuses by how soon they melt: I2t where it is known, else the rating."""
    known = fuse.melting_a2s if not math.isnan(fuse.melting_a2s) else fuse.rated_a**2
    return (known, fuse.rated_a) if not math.isnan(known) else (math.inf, math.inf)


def _duty(duties: dict[str, FuseDuty], fuses: Mapping[str, FuseData], fault: Fault, clearing: tuple[str, ...]) -> None:
    strong, weak = dict(fault.strongest.through), dict(fault.weakest.through)
    for name in fuses:
        if name not in strong:
            continue
        duty = duties.get(name, FuseDuty(0.0, "", 0.0, "", math.nan, ""))
        if abs(strong[name]) > duty.largest_a:
            duty = duty._replace(largest_a=abs(strong[name]), largest_at=fault.name)
        if fault.strongest.rise_s > duty.rise_s:
            duty = duty._replace(rise_s=fault.strongest.rise_s, rise_at=fault.name)
        amps = abs(weak.get(name, math.nan))
        if name in clearing and not amps >= duty.smallest_a:
            duty = duty._replace(smallest_a=amps, smallest_at=fault.name)
        duties[name] = duty


def _let_through(
    fuses: Mapping[str, FuseData], fault: Fault, clearing: tuple[str, ...]
) -> Iterator[tuple[str, LetThrough]]:
    """I2t through every part of one fault's way, until its fuses have cleared it, weak and strong."""
    for weakest, current in ((False, fault.strongest), (True, fault.weakest)):
        through = dict(current.through)
        passed = {name: _passed_a2s(fuses[name], abs(through[name]), weakest) for name in clearing if name in through}
        if not passed:
            continue
        slowest = max(passed, key=lambda name: (math.isnan(passed[name][0]), passed[name][0]))
        fuse_a2s, words = passed[slowest]
        for name, amps in current.through:
            # Where packs stand side by side a part carries more or less than the fuse: I2t goes as the square.
            share = (amps / through[slowest]) ** 2
            yield name, LetThrough(fuse_a2s * share, math.nan, slowest, fault.name, weakest, words)


def _passed_a2s(fuse: FuseData, amps: float, weakest: bool) -> tuple[float, str]:
    """I2t that a fuse lets through, and how it was found; nan where its sheet does not say."""
    if not weakest:
        return fuse.clearing_a2s, "clearing I²t of its sheet"
    if fuse.curve is None or math.isnan(fuse.clearing_a2s):
        return fuse.clearing_a2s, "clearing I²t of its sheet"
    melts_s = float(melting_time_s(fuse.curve, amps))
    if math.isinf(melts_s):
        return math.inf, f"{amps:.0f} A does not melt it within its curve"
    # Without the melting I²t all of the clearing one counts as arc: the harder reading.
    arcing = fuse.clearing_a2s - (0.0 if math.isnan(fuse.melting_a2s) else fuse.melting_a2s)
    return max(amps**2 * melts_s + arcing, fuse.clearing_a2s), f"melts {amps:.0f} A in {melts_s:.3g} s, and its arc"


def _pairs(fuses: Mapping[str, FuseData], fault: Fault, clearing: tuple[str, ...]) -> Iterable[FusePair]:
    """Every other fuse that carries all of the fault has to stay whole."""
    if len(clearing) != 1:
        return
    own = fuses[clearing[0]]
    for name, amps in fault.strongest.through:
        if name in fuses and name != own.id and abs(amps) >= CARRIES_ALL * fault.strongest.current_a:
            yield FusePair(name, own.id, fuses[name].melting_a2s, own.clearing_a2s)


def _workings(
    data: ProtectionInputs,
    conductors: ConductorsResult,
    leads: Mapping[str, LetThrough],
    contactors: Mapping[str, LetThrough],
) -> Iterator[Working]:
    metals = {name: (metal, end_c) for name, metal, end_c in data.cables}
    for name, found in leads.items():
        figure = conductors.conductors.get(name)
        if figure is None or math.isnan(found.limit_a2s):
            continue
        metal, end_c = metals[name]
        constants = ALUMINIUM if metal == "aluminium" else COPPER
        yield working(
            name, "k2S2", "largest I²t that it bears, from its temperature limit",
            "(K*S)**2*ln((b + T_end)/(b + T_limit))", found.limit_a2s, "A²s", ADIABATIC,
            K=(constants.k_a_s_per_mm2, "A√s/mm²"), S=(figure.metal_area_mm2, "mm²"), b=(constants.beta_c, "°C"),
            T_end=(end_c, "°C"), T_limit=(figure.conductor_limit_c, "°C"),
        )  # fmt: skip
    for name, found in (*leads.items(), *contactors.items()):
        if math.isfinite(found.worst_a2s):
            words = f"largest I²t that {found.fuse} lets through it, fault {found.fault}: {found.words}"
            yield Working(name, "I2t", words, "", (), found.worst_a2s, "A²s", "DATASHEET#I2t of the fuse", found.words)
