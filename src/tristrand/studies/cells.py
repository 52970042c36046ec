"""Does the battery monitor guard the cells, and how large is what a person handles?

Every limit is judged at the cell: the monitor's reading may be wrong by its error, so what passes unseen is its trip
and the error together. Modules and pieces count as FSAE-2026#EV.5.1.1 says: maximum voltage, and the energy of maximum
voltage times rated capacity.
"""

import math
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from typing import Any

from tristrand.design import Datum, Design
from tristrand.records import NamedTuple
from tristrand.studies.circuits import hv_circuit
from tristrand.studies.results import (
    BrakeTrip,
    CellFigures,
    CellsResult,
    Later,
    Missing,
    OperatingResult,
    PackResult,
    Portion,
    Working,
    found,
    working,
)
from tristrand.studies.separators import in_series_with_packs
from tristrand.studies.topology import chains

NAN = math.nan
SERIES = "CLOSED-FORM#series and parallel"
READING = "CLOSED-FORM#a reading and its error"
MODULE = "FSAE-2026#EV.5.1.1"


class Trips(NamedTuple):
    """Trips of the monitor at the end of their tolerance that trips last, with the errors of its readings."""

    over_v: float = NAN
    under_v: float = NAN
    error_v: float = NAN
    hot_c: float = NAN
    hot_charge_c: float = NAN
    cold_c: float = NAN
    cold_charge_c: float = NAN
    error_c: float = NAN
    first_under_v: float = NAN
    first_over_v: float = NAN
    sensors: int = 0


class CellData(NamedTuple):
    """One pack. Numbers that the design does not give are nan or 0."""

    id: str
    series: int
    parallel: int
    cell_as: float
    maximum_v: float
    modules: int
    module_kg: float
    pieces: tuple[int, ...]
    trips: Trips
    rest: tuple[tuple[float, float], ...]
    link_a: float
    fuses: tuple[tuple[str, float], ...]


class CellInputs(NamedTuple):
    """Every pack, the trip of the brake plausibility circuit (nan without one), and what is missing."""

    packs: tuple[CellData, ...]
    brake_a: float
    nominal_v: float
    missing: tuple[Missing, ...]


def inputs(design: Design) -> CellInputs:
    """Collect what sheets and monitors say about the cells."""
    packs, missing = [], []
    for pack_id, part in design.parts_of("pack").items():
        sheet = design.sheet_of(pack_id)
        packs.append(_data(design, pack_id, sheet, part.monitor))
        for field, what in (("modules", "number of modules"), ("cell_temperature", "temperature limits of the cells")):
            if getattr(sheet, field) is None:
                missing.append(Missing(f"parts/{part.sheet}/{field}", f"{what} of {pack_id}"))
        if part.monitor is None:
            missing.append(Missing(f"high_voltage/parts/{pack_id}/monitor", f"battery monitor of {pack_id}"))
    brake = design.high_voltage.brake_plausibility
    current = NAN if brake is None else _end(brake.current, "high")
    return CellInputs(tuple(packs), current, NAN if brake is None else _nominal_v(design), tuple(missing))


def _nominal_v(design: Design) -> float:
    """Nominal voltage of the packs in series, of several such chains the highest (the trip is then worth most)."""
    volts = {}
    for pack_id in design.parts_of("pack"):
        sheet = design.sheet_of(pack_id)
        known = sheet.cells_in_series is not None and sheet.cell_voltage is not None
        volts[pack_id] = sheet.cells_in_series * sheet.cell_voltage.nominal.high if known else NAN
    if not volts or any(map(math.isnan, volts.values())):
        return NAN
    return max(chain.volts for chain in chains(hv_circuit(design), volts))


def _end(datum: Datum | None, end: str) -> float:
    return NAN if datum is None else float(getattr(datum, end))


def _data(design: Design, pack_id: str, sheet: Any, monitor: Any) -> CellData:
    table = sheet.open_circuit_voltage
    # Of cells that rest, the high end of the table reaches the trip first.
    volts, charge = (table.voltage, table.state_of_charge) if table is not None else ((), ())
    rest = tuple((v.high, s.value) for v, s in zip(volts, charge, strict=True))
    link = sheet.cell_fuse.rated_current if sheet.cell_fuse is not None else None
    fuses: tuple[tuple[str, float], ...] = ()
    if link is not None:
        way = in_series_with_packs(hv_circuit(design)).get(pack_id, ())
        names = [name for name in way if name in design.parts_of("fuse")]
        fuses = tuple((name, _end(design.sheet_of(name).rated_current, "high")) for name in names)
    return CellData(
        id=pack_id,
        series=sheet.cells_in_series or 0,
        parallel=sheet.cells_in_parallel or 0,
        cell_as=_end(sheet.cell_capacity, "value"),
        maximum_v=_end(sheet.cell_voltage.maximum, "high") if sheet.cell_voltage is not None else NAN,
        modules=sheet.modules or 0,
        module_kg=_end(sheet.module_mass, "high"),
        pieces=tuple(sheet.maintenance_plugs.pieces) if sheet.maintenance_plugs is not None else (),
        trips=_trips(monitor) if monitor is not None else Trips(),
        rest=rest,
        link_a=_end(link, "low"),
        fuses=fuses,
    )


def _trips(monitor: Any) -> Trips:
    return Trips(
        over_v=_end(monitor.over_voltage, "high"),
        under_v=_end(monitor.under_voltage, "low"),
        error_v=_end(monitor.voltage_error, "high"),
        hot_c=_end(monitor.over_temperature, "high"),
        hot_charge_c=_end(monitor.over_temperature_charge, "high"),
        cold_c=_end(monitor.under_temperature, "low"),
        cold_charge_c=_end(monitor.under_temperature_charge, "low"),
        error_c=_end(monitor.temperature_error, "high"),
        first_under_v=_end(monitor.under_voltage, "high"),
        first_over_v=_end(monitor.over_voltage, "low"),
        sensors=monitor.temperature_sensors or 0,
    )


def study(data: CellInputs, packs: PackResult, operating: OperatingResult) -> CellsResult:
    """The monitor's trips at the cell, modules and pieces, and what the links of cells in parallel carry."""
    figures = {pack.id: _figures(pack, packs, operating) for pack in data.packs}
    brake = None
    if not math.isnan(data.brake_a):
        brake = BrakeTrip(data.brake_a, data.nominal_v, data.brake_a * data.nominal_v)
    lines = Later(lambda: list(_workings(data, figures, brake)))
    return CellsResult(lines, data.missing, (), figures, brake)


def _figures(pack: CellData, packs: PackResult, operating: OperatingResult) -> CellFigures:
    trips, cells = pack.trips, pack.series * pack.parallel
    sag, sag_case = _loaded(pack, operating)
    amps, case = _sustained(pack, operating)
    known = packs.packs.get(pack.id)
    short = max(c.open_circuit_v for c in known.corners) / known.fault_ohm if known is not None else NAN
    return CellFigures(
        pack=pack.id,
        series=pack.series,
        parallel=pack.parallel,
        over_v=_sum(trips.over_v + trips.error_v),
        under_v=_sum(trips.under_v - trips.error_v),
        hot_c=_sum(trips.hot_c + trips.error_c),
        hot_charge_c=_sum(trips.hot_charge_c + trips.error_c),
        cold_c=_sum(trips.cold_c - trips.error_c),
        cold_charge_c=_sum(trips.cold_charge_c - trips.error_c),
        full_charge=_charge_at(pack.rest, trips.first_over_v - trips.error_v),
        loaded_v=sag,
        loaded_case=sag_case,
        earliest_under_v=_sum(trips.first_under_v + trips.error_v),
        earliest_over_v=_sum(trips.first_over_v - trips.error_v),
        share_read=trips.sensors / cells if cells and trips.sensors else NAN,
        module=_module(pack),
        pieces=tuple(_portion(pack, groups, _piece_kg(pack, groups)) for groups in pack.pieces),
        link_a=amps,
        link_case=case,
        links_a=pack.parallel * pack.link_a if pack.parallel else NAN,
        short_a=short,
        series_fuses=pack.fuses,
    )


def _module(pack: CellData) -> Portion | None:
    """The largest module; None where modules or cells in series are not known."""
    if not pack.modules or not pack.series:
        return None
    return _portion(pack, math.ceil(pack.series / pack.modules), pack.module_kg)


def _sum(true: float) -> float:
    """Without the last digits that binary sums leave: 4.14 V and 10 mV are 4.15 V."""
    return round(true, 9)


def _portion(pack: CellData, groups: int, mass_kg: float) -> Portion:
    volts = groups * pack.maximum_v
    return Portion(groups, volts, volts * pack.cell_as * (pack.parallel or NAN), mass_kg)


def _piece_kg(pack: CellData, groups: int) -> float:
    """Mass of a piece: that of its share of the modules."""
    return pack.module_kg * groups * pack.modules / pack.series if pack.modules and pack.series else NAN


def _charge_at(rest: Sequence[tuple[float, float]], volts: float) -> float:
    """Charge at which a resting cell has a voltage: the table read backwards, its ends held."""
    if math.isnan(volts) or not rest:
        return NAN
    at = bisect_right([v for v, _ in rest], volts)
    if at in (0, len(rest)):
        return rest[min(at, len(rest) - 1)][1]
    (v0, s0), (v1, s1) = rest[at - 1], rest[at]
    return s0 + (s1 - s0) * (volts - v0) / (v1 - v0)


def _loaded(pack: CellData, operating: OperatingResult) -> tuple[float, str]:
    """The lowest mean cell voltage of all cases in which the pack gives, and the case."""
    cases = [c for c in operating.cases.values() if c.gives(pack.id) and pack.id in c.lowest_v]
    if not cases or not pack.series:
        return NAN, ""
    worst = min(cases, key=lambda c: c.lowest_v[pack.id])
    return worst.lowest_v[pack.id] / pack.series, worst.case


def _sustained(pack: CellData, operating: OperatingResult) -> tuple[float, str]:
    """The largest sustained current of one cell, shared evenly, and the case."""
    cases = [c for c in operating.cases.values() if c.duration_s == 0 and pack.id in c.flows]
    if not cases or not pack.parallel:
        return NAN, ""
    worst = max(cases, key=lambda c: c.flows[pack.id].current_a)
    return worst.flows[pack.id].current_a / pack.parallel, worst.case


def _workings(data: CellInputs, figures: dict[str, CellFigures], brake: BrakeTrip | None) -> Iterator[Working]:
    for pack in data.packs:
        yield from _trip_lines(pack, figures[pack.id])
        yield from _size_lines(pack, figures[pack.id])
        yield from _link_lines(pack, figures[pack.id])
    if brake is not None and not math.isnan(brake.power_w):
        given = {"I": (brake.current_a, "A"), "V": (brake.nominal_v, "V")}
        words = "what the trip of the brake plausibility circuit is worth at nominal voltage"
        yield working("brake_plausibility", "P", words, "I*V", brake.power_w, "W", "FSAE-2026#EV.7.7.2", **given)


def _trip_lines(pack: CellData, figures: CellFigures) -> Iterator[Working]:
    t, name = pack.trips, pack.id
    error_v, error_c = (t.error_v, "V"), (t.error_c, "K")
    for symbol, words, sign, trip, value, unit, error in (
        ("v_max", "highest cell voltage that passes unseen", "+", t.over_v, figures.over_v, "V", error_v),
        ("v_min", "lowest cell voltage that passes unseen", "-", t.under_v, figures.under_v, "V", error_v),
        ("T_max", "hottest cell that passes unseen, discharged", "+", t.hot_c, figures.hot_c, "°C", error_c),
        ("T_c", "hottest cell that passes unseen, charged", "+", t.hot_charge_c, figures.hot_charge_c, "°C", error_c),
        ("T_min", "coldest cell that passes unseen, discharged", "-", t.cold_c, figures.cold_c, "°C", error_c),
        ("T_f", "coldest cell that passes unseen, charged", "-", t.cold_charge_c, figures.cold_charge_c, "°C", error_c),
    ):  # fmt: skip
        if not math.isnan(value):
            yield working(name, symbol, words, f"trip {sign} e", value, unit, READING, trip=(trip, unit), e=error)
    if not math.isnan(figures.full_charge):
        words = "charge at which resting cells may reach the over-voltage trip"
        method = "open-circuit table of the cell, read backwards at the trip less the error"
        yield found(name, "s", words, 100 * figures.full_charge, "%", "DATASHEET#open-circuit voltage", method)


def _size_lines(pack: CellData, figures: CellFigures) -> Iterator[Working]:
    name, top = pack.id, (pack.maximum_v, "V")
    portions = [("module", figures.module)] if figures.module is not None else []
    portions += [(f"piece {n}", piece) for n, piece in enumerate(figures.pieces, 1)]
    for what, part in portions:
        n = (part.groups, "1")
        if not math.isnan(part.volts):
            words = f"largest voltage of the {'largest ' if what == 'module' else ''}{what}"
            yield working(name, "V", words, "n*v", part.volts, "V", SERIES, n=n, v=top)
        if not math.isnan(part.energy_j):
            given = {"n": n, "v": top, "p": (pack.parallel, "1"), "q": (pack.cell_as / 3600, "Ah")}
            words = f"energy of the {what}: maximum voltage times rated capacity"
            yield working(name, "E", words, "n*v*p*q*3600/1000000", part.energy_j / 1e6, "MJ", MODULE, **given)
    if not math.isnan(figures.share_read):
        given = {"k": (pack.trips.sensors, "1"), "n": (pack.series, "1"), "p": (pack.parallel, "1")}
        share = 100 * figures.share_read
        yield working(name, "c", "share of cells whose temperature is read", "100*k/(n*p)", share, "%", SERIES, **given)


def _link_lines(pack: CellData, figures: CellFigures) -> Iterator[Working]:
    if math.isnan(figures.links_a):
        return
    given = {"p": (pack.parallel, "1"), "i": (pack.link_a, "A")}
    words = "ratings of the links of one group added up"
    yield working(pack.id, "I_links", words, "p*i", figures.links_a, "A", SERIES, **given)
    if not math.isnan(figures.link_a):
        total = figures.link_a * pack.parallel
        words = f"largest sustained current of one cell, case {figures.link_case}, shared evenly"
        inputs_ = {"I": (total, "A"), "p": (pack.parallel, "1")}
        yield working(pack.id, "i", words, "I/p", figures.link_a, "A", SERIES, **inputs_)
