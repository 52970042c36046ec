"""What each cable may carry, what it does carry, how warm it gets, and what it drops.

The limit is the smaller of the printed table whose column lies nearest the conductor's temperature limit and our heat
balance; both are shown. Resistance comes from tables or the sheet, never from the nominal area.
"""

import math
from functools import lru_cache

from tristrand.design import Design
from tristrand.physics.adiabatic import ALUMINIUM, COPPER, ConductorMetal, final_temperature_c
from tristrand.physics.conductors import (
    ALUMINIUM_ALPHA,
    ALUMINIUM_RESISTIVITY_OHM_MM2_PER_M,
    COPPER_ALPHA,
    COPPER_RESISTIVITY_OHM_MM2_PER_M,
    resistance_at_ohm,
)
from tristrand.records import NamedTuple
from tristrand.studies.cable_limits import CableData, Run, ampacities, balances, limit_c, temperatures
from tristrand.studies.circuits import Needs, ambient_of, cable_ohm_per_m, with_inlets
from tristrand.studies.results import (
    DIRECT,
    Ampacity,
    CableOption,
    ChargingResult,
    ConductorFigures,
    ConductorsResult,
    Later,
    Missing,
    OperatingResult,
    Working,
    found,
    working,
)
from tristrand.studies.topology import REDUCED_M, protecting_fuses, resistor_limited

CONVECTION = "CHURCHILL-CHU-1975#horizontal cylinder, laminar and turbulent"


class ConductorInputs(NamedTuple):
    """All runs and all cable sheets of the folder."""

    runs: tuple[Run, ...]
    cables: tuple[CableData, ...]
    missing: tuple[Missing, ...]


def inputs(design: Design) -> ConductorInputs:
    """Collect the runs of a design. A run with a gap is left out and the gap listed."""
    needs = Needs(design)
    cables = {key: _cable(needs, key) for key in design.sheets_of_kind("cable")}
    needs.missing = []
    circuit = with_inlets(design)
    fuses, resisted = protecting_fuses(circuit), resistor_limited(circuit)
    runs = []
    for key, lead in design.high_voltage.connections.items():
        if lead.cable is None:
            continue
        length = needs.of(f"high_voltage/connections/{key}/length", lead.length, f"length of {key}")
        ambient = ambient_of(design, lead.ambient)
        if math.isnan(ambient):
            needs.of("vehicle/ambient", None, f"air temperature round {key}")
        gaps = _gaps(needs, cables[lead.cable])
        if length is None or math.isnan(ambient) or gaps:
            continue
        terminal = lead.terminal_limit.value if lead.terminal_limit is not None else math.inf
        # Behind a resistor, and on a short reduced conductor, no fuse is asked for.
        spared = key in resisted or length.high <= REDUCED_M
        rated = [design.sheet_of(f).rated_current for f in (() if spared else fuses.get(key, ()))]
        smallest = min((d.high for d in rated if d is not None), default=math.inf)
        runs.append(Run(key, lead.cable, length.value, ambient, lead.bundled, terminal, smallest))
    whole = tuple(sorted((c for c in cables.values() if not _blank(c)), key=lambda c: c.metal_mm2))
    return ConductorInputs(tuple(runs), whole, tuple(needs.missing))


def _cable(needs: Needs, name: str) -> CableData:
    sheet = needs.design.sheets[name]
    return CableData(
        id=name,
        nominal_mm2=sheet.cross_section.to("mm²") if sheet.cross_section else math.nan,
        metal=sheet.conductor,
        ohm_per_m=cable_ohm_per_m(needs, name),
        conductor_m=sheet.conductor_diameter.value if sheet.conductor_diameter else math.nan,
        outer_m=sheet.outer_diameter.value if sheet.outer_diameter else math.nan,
        rating_c=sheet.temperature_rating.low if sheet.temperature_rating else math.nan,
        given=sheet.resistance is not None,
    )


def _blank(cable: CableData) -> bool:
    return math.isnan(cable.ohm_per_m) or math.isnan(cable.rating_c)


def _gaps(needs: Needs, cable: CableData) -> bool:
    for field, value, what in (
        ("resistance", cable.ohm_per_m, "cross-section or resistance"),
        ("temperature_rating", cable.rating_c, "temperature rating"),
        ("conductor_diameter", cable.conductor_m, "conductor diameter, for the heat balance"),
        ("outer_diameter", cable.outer_m, "outer diameter, for the heat balance"),
    ):
        if math.isnan(value):
            needs.of(f"parts/{cable.id}/{field}", None, f"{what} of {cable.id}")
    return _blank(cable)


def study(
    data: ConductorInputs,
    operating: OperatingResult,
    charging: ChargingResult = ChargingResult(),  # noqa: B008 - a named tuple, never changed
) -> ConductorsResult:
    """Ampacity, temperature and drop of every run at the currents of the operating study and of a supply's inlet."""
    missing = (*data.missing, *operating.missing)
    if not operating.cases or not data.runs:
        return ConductorsResult(missing=missing)
    cables = {c.id: c for c in data.cables}
    pairs = [(run, cables[run.cable]) for run in data.runs]
    cold = [
        _figures(run, cable, amp, _drawn(run, operating, charging))
        for (run, cable), amp in zip(pairs, balances(pairs), strict=True)
    ]
    warm = temperatures([figure.sustained_a for figure in cold], pairs)
    figures = {
        run.id: _warmed(run, cable, figure, warm_c)
        for (run, cable), figure, warm_c in zip(pairs, cold, warm, strict=True)
    }
    options = {run.id: _options(run, data.cables) for run in data.runs if _needs_thicker(run, figures[run.id])}
    lines = Later(lambda: [line for run in data.runs for line in _workings(run, cables[run.cable], figures[run.id])])
    return ConductorsResult(lines, missing, (), figures, options)


def _needs_thicker(run: Run, figure: ConductorFigures) -> bool:
    """Only where a rule may ask for a way out: too thin for its current, or for its fuse."""
    fuse = run.fuse_a if math.isfinite(run.fuse_a) else 0.0
    return figure.ampacity.current_a < max(figure.sustained_a, fuse)


class Drawn(NamedTuple):
    """What one run carries in one case, for how long (0: for ever), and the lowest voltage of any part then."""

    case: str
    current_a: float
    duration_s: float
    lowest_v: float


def _drawn(run: Run, operating: OperatingResult, charging: ChargingResult) -> tuple[Drawn, ...]:
    """The cases that draw current through a run; one without current names no case: the lead is idle in it.

    A supply's largest current lasts; where it is not known HV271 is open.
    """
    cases = tuple(
        Drawn(name, flow.current_a, case.duration_s, min(case.lowest_v.values(), default=math.nan))
        for name, case in operating.cases.items()
        if (flow := case.flows.get(run.id)) is not None and flow.current_a > 0
    )
    fast = charging.fast
    if fast is None or run.id not in fast.path or not fast.largest_a > 0:
        return cases
    return (*cases, Drawn(DIRECT, fast.largest_a, 0.0, charging.lowest_v))


@lru_cache(maxsize=4096)
def _figures(run: Run, cable: CableData, balance_a: float, drawn: tuple[Drawn, ...]) -> ConductorFigures:
    """The figures of one run without its temperatures; kept, since most runs of a changed design are unchanged."""
    limits = ampacities(run, cable, balance_a)
    smallest = (
        min(limits, key=lambda a: a.current_a)
        if limits
        else Ampacity("none", math.nan, "", "no table holds for this size")
    )
    ohm = cable.ohm_per_m * run.length_m
    idle = Drawn("", 0.0, 0.0, math.nan)
    steady = max((d for d in drawn if d.duration_s == 0), key=lambda d: d.current_a, default=idle)
    # The case with the largest I²t heats the conductor most when nothing is lost.
    short = max((d for d in drawn if d.duration_s > 0), key=lambda d: d.current_a**2 * d.duration_s, default=idle)
    most = max(drawn, key=lambda d: d.current_a, default=idle)
    law = ALUMINIUM_ALPHA if cable.metal == "aluminium" else COPPER_ALPHA
    drop = most.current_a * float(resistance_at_ohm(ohm, limit_c(run, cable), law))
    return ConductorFigures(
        connection=run.id,
        cable=run.cable,
        cross_section_mm2=cable.nominal_mm2,
        metal_area_mm2=cable.metal_mm2,
        resistance_20c_ohm=ohm,
        ambient_c=run.ambient_c,
        conductor_limit_c=limit_c(run, cable),
        ampacities=limits,
        ampacity=smallest,
        sustained_a=steady.current_a,
        sustained_case=steady.case,
        sustained_temperature_c=math.nan,
        short_a=short.current_a,
        short_case=short.case,
        short_duration_s=short.duration_s,
        short_end_temperature_c=math.nan,
        drop_v=drop,
        drop_share=drop / most.lowest_v if most.lowest_v > 0 else math.nan,
        drop_case=most.case,
    )


def _warmed(run: Run, cable: CableData, figure: ConductorFigures, warm_c: float) -> ConductorFigures:
    """The steady temperature, then the short case added without any loss of heat (upper bound)."""
    end_c = warm_c
    if figure.short_a > 0 and math.isfinite(warm_c):
        metal = ALUMINIUM if cable.metal == "aluminium" else COPPER
        end_c = _after_pulse(figure.short_a**2 * figure.short_duration_s, cable.metal_mm2, warm_c, metal)
    return figure._replace(sustained_temperature_c=warm_c, short_end_temperature_c=end_c)


@lru_cache(maxsize=4096)
def _after_pulse(pulse_a2s: float, area_mm2: float, start_c: float, metal: ConductorMetal) -> float:
    try:
        return float(final_temperature_c(pulse_a2s, area_mm2, start_c, metal))
    except ValueError:
        return math.inf


def _options(run: Run, cables: tuple[CableData, ...]) -> tuple[CableOption, ...]:
    """Every cable sheet of the folder in this run, thinnest first, with what it would carry."""
    options = []
    for cable, amp in zip(cables, balances([(run, cable) for cable in cables]), strict=True):
        limits = ampacities(run, cable, amp)
        if limits:
            options.append(CableOption(cable.id, cable.nominal_mm2, min(a.current_a for a in limits)))
    return tuple(options)


def _workings(run: Run, cable: CableData, figure: ConductorFigures) -> list[Working]:
    rho = ALUMINIUM_RESISTIVITY_OHM_MM2_PER_M if cable.metal == "aluminium" else COPPER_RESISTIVITY_OHM_MM2_PER_M
    per_m, aluminium = (cable.ohm_per_m, "Ω/m"), cable.metal == "aluminium"
    read = "the high end of the sheet's value" if cable.given else "the largest value of the table"
    table = "IEC-60228#class 1 and 2, aluminium" if aluminium else "IEC-60228#class 5"
    source = "DATASHEET#resistance per metre" if cable.given else table
    metal = "IEC-60889#resistivity at 20 °C" if aluminium else "IEC-60028#resistivity at 20 °C"
    lines = [
        found(run.id, "r20", f"resistance per metre of {run.cable} at 20 °C", *per_m, source, read),
        working(
            run.id,
            "R20",
            "resistance of the run at 20 °C",
            "r20*length",
            figure.resistance_20c_ohm,
            "Ω",
            "CLOSED-FORM#resistance of a length",
            r20=per_m,
            length=(run.length_m, "m"),
        ),
        working(
            run.id,
            "S",
            "metal area that gives this resistance",
            "rho/r20",
            figure.metal_area_mm2,
            "mm²",
            metal,
            rho=(rho, "Ω mm²/m"),
            r20=per_m,
        ),
    ]
    for limit in figure.ampacities:
        words = f"ampacity by {limit.name}"
        lines.append(found(run.id, "I_z", words, limit.current_a, "A", limit.source, limit.detail))
    if not math.isnan(figure.sustained_temperature_c):
        words = f"conductor temperature at {figure.sustained_a:.1f} A, {figure.sustained_case}"
        how = "heat balance at the current over its factors"
        lines.append(found(run.id, "T", words, figure.sustained_temperature_c, "°C", CONVECTION, how))
    return lines
