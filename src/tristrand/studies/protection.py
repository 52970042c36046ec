"""Do the fuses protect? What every fuse must clear, and the I2t it lets through cables, main and charge contactors."""

import math
from collections.abc import Iterator, Mapping

from tristrand.design import Datum, Design
from tristrand.physics.adiabatic import ALUMINIUM, COPPER, joule_integral_limit_a2s, k_factor
from tristrand.physics.fuses import TimeCurrentCurve
from tristrand.records import NamedTuple
from tristrand.studies.circuits import HvCircuit, with_inlets
from tristrand.studies.clearing import FuseData, scan
from tristrand.studies.fuse_ways import fuse_ways, past_fuses
from tristrand.studies.overload import Slow, band_workings, bands, chain_workings, chains
from tristrand.studies.protection_curves import fuse_curves
from tristrand.studies.results import (
    NO_ARC_A,
    ChargingResult,
    ConductorsResult,
    FaultsResult,
    Later,
    LetThrough,
    OperatingResult,
    ProtectionResult,
    Working,
    shorted,
    working,
)
from tristrand.studies.slices import wiring

ADIABATIC = "IEC-60364-5-54#adiabatic equation"
USUAL_SPREAD = 0.1
"""How far a printed melting curve may lie off in current where its sheet does not say (PRACTICE#melting curves)."""


class ProtectionInputs(NamedTuple):
    """Fuses, what each contactor withstands, the end temperature of each cable connection, and the circuit.

    ``charge_contactors``: each with the sign of a current from its marked terminal, 0 where nothing is marked;
    ``marked``: polarised main contactors, likewise, where something is marked.
    """

    fuses: tuple[FuseData, ...]
    contactors: tuple[tuple[str, float], ...]
    cables: tuple[tuple[str, str, float], ...]
    circuit: HvCircuit
    charge_contactors: tuple[tuple[str, float], ...] = ()
    marked: tuple[tuple[str, float], ...] = ()


def inputs(design: Design) -> ProtectionInputs:
    """Collect what the sheets say about short circuits; what they leave out is nan and left to the rules to name."""
    contactors = []
    opening = {**design.parts_of("contactor", role="main"), **design.parts_of("contactor", role="charge")}
    for part_id in opening:
        stands = design.sheet_of(part_id).withstand
        contactors.append((part_id, math.nan if stands is None else stands.current.low**2 * stands.time.low))
    cables = []
    for key, lead in design.high_voltage.connections.items():
        if lead.cable is not None:
            sheet = design.sheets[lead.cable]
            cables.append((key, sheet.conductor, _number(sheet.short_circuit_temperature, "low")))
    fuses = tuple(_fuse(part_id, design.sheet_of(part_id)) for part_id in design.parts_of("fuse"))
    marks = {"a": 1.0, "b": -1.0}
    fitted = design.parts_of("contactor", role="charge")
    charge = tuple((k, marks.get(p.marked_plus or "", 0.0)) for k, p in fitted.items())
    marked = tuple(
        (k, marks[p.marked_plus])
        for k, p in design.parts_of("contactor", role="main").items()
        if p.marked_plus and design.sheet_of(k).polarised
    )
    return ProtectionInputs(fuses, tuple(contactors), tuple(cables), wiring(with_inlets(design)), charge, marked)


def _number(datum: Datum | None, end: str) -> float:
    return math.nan if datum is None else float(getattr(datum, end))


def _fuse(part_id: str, sheet: object) -> FuseData:
    points = getattr(sheet, "melting", [])
    curve = early = None
    if points:
        # A fuse that melts late lets the most through; one that melts early opens when another should.
        curve = TimeCurrentCurve(tuple(p.current.high for p in points), tuple(p.time.high for p in points))
        early = TimeCurrentCurve(tuple(p.current.low for p in points), tuple(p.time.low for p in points))
    return FuseData(
        part_id,
        _number(getattr(sheet, "rated_current", None), "value"),
        _number(getattr(sheet, "melting_joule_integral", None), "low"),
        _number(getattr(sheet, "clearing_joule_integral", None), "high"),
        curve,
        early,
        _number(getattr(sheet, "minimum_breaking_current", None), "high"),
        _number(getattr(sheet, "breaking_time_constant", None), "low"),
        0.0 if any(p.current.low < p.current.high or p.time.low < p.time.high for p in points) else USUAL_SPREAD,
    )


def study(
    data: ProtectionInputs,
    faults: FaultsResult,
    conductors: ConductorsResult,
    operating: OperatingResult = OperatingResult(),  # noqa: B008 - a named tuple, never changed
    charging: ChargingResult = ChargingResult(),  # noqa: B008 - likewise
) -> ProtectionResult:
    """Go through every fault at both of its ends, then through the overloads that each fuse leaves to others."""
    if not faults.faults:
        return ProtectionResult(missing=faults.missing)
    limits = dict(data.contactors) | _cable_limits(data, conductors)
    every = tuple(faults.faults.values())
    bare = past_fuses(data.circuit, tuple((f.name, f.start, f.end, f.across) for f in every))
    # A main contactor that no driving current shows to stand wrong, which HV217 says, is taken as it is marked.
    marks = tuple((k, sign) for k, sign in data.marked if operating.cases and not _driven(k, operating))
    seen = scan(data.fuses, tuple(name for name, _ in data.contactors), every, bare, data.charge_contactors, marks)
    worst = {name: found._replace(limit_a2s=limits[name]) for name, found in seen.worst.items() if name in limits}
    contactors = {name: worst[name] for name, _ in data.contactors if name in worst}
    leads = {name: found for name, found in worst.items() if name not in contactors}
    slow = tuple(
        Slow(f.id, f.rated_a, _off(f.curve, f.spread), _off(f.early, -f.spread), f.minimum_breaking_a)
        for f in data.fuses
    )
    left = bands(slow, fuse_ways(data.circuit), leads, conductors, operating, charging) if operating.cases else {}
    order = chains({f.id: (f.rated_a, f.clearing_a2s) for f in data.fuses}, leads, contactors, conductors)
    lines = Later(
        lambda: [*_workings(data, conductors, leads, contactors), *chain_workings(order), *band_workings(left)]
    )
    duties = seen.duties
    curves = {f.id: f.curve for f in data.fuses if f.curve is not None}
    clears = {f.id: f.clearing_a2s for f in data.fuses}
    drawn = Later(lambda: tuple(fuse_curves(curves, clears, duties, leads, contactors, conductors, left)))
    return ProtectionResult(
        lines, (), drawn, duties, leads, contactors, seen.pairs, left, order,
        seen.peaks, seen.left, seen.unfused,
    )  # fmt: skip


def _driven(contactor: str, operating: OperatingResult) -> bool:
    """Whether some case drives through a contactor what is worth an arc."""
    ways = [case.through.get(contactor, (0.0, 0.0)) for case in operating.cases.values() if case.drives]
    return any(max(way) >= NO_ARC_A for way in ways)


def _off(curve: TimeCurrentCurve | None, share: float) -> TimeCurrentCurve | None:
    """The curve with its currents off by a share."""
    if curve is None or share == 0:
        return curve
    return curve._replace(currents_a=tuple(amps * (1 + share) for amps in curve.currents_a))


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
            words = (
                f"largest I²t that {found.fuse} lets through it, short circuit {shorted(found.fault)}: {found.words}"
            )
            yield Working(name, "I2t", words, "", (), found.worst_a2s, "A²s", "DATASHEET#I2t of the fuse", found.words)
