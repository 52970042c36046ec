"""HV282: the battery monitor's current trips between what the pack stands and what the cases ask."""

import math
from collections.abc import Callable, Iterable, Iterator

from tristrand.findings import Edit, WayOut
from tristrand.rules.charging_view import AT_STATION, of_station
from tristrand.rules.monitor import CELL_VOLTAGE, CELLS, Watched, watched
from tristrand.rules.rule import Context, Outcome, rule
from tristrand.rules.view import HV_FILE, feeds_back_unsaid
from tristrand.studies.results import CaseFlows

PEAK, LASTING = "DATASHEET#pack peak current", "DATASHEET#pack current"
INTO, INTO_PEAK = "DATASHEET#pack charge current", "DATASHEET#pack peak charge current"
_SOURCES = {
    "discharge_current_peak": PEAK, "discharge_current": LASTING,
    "charge_current_peak": INTO_PEAK, "charge_current": INTO,
}  # fmt: skip
CHARGING = "PRACTICE#a full charge ends before the over-voltage trip"


@rule(
    "HV282",
    "monitor-trips",
    "error",
    needs=(*CELLS, "charging"),
    checks=(
        "The monitor's current trips come before the pack's peak limit, discharging, and before its peak or continuous "
        "limit, charging; "
        "neither they nor the under-voltage trip come within what any case or charging inlet asks, nor the "
        "over-voltage trip within the voltage at which charging is held."
    ),
    why="A trip too late lets the cells overheat; a trip too early opens the contactors at full load, in traffic.",
    sources=(LASTING, PEAK, INTO, INTO_PEAK, CELL_VOLTAGE, CHARGING),
    failing=((HV_FILE, "parts/pack/monitor/over_current_discharge", "{current: 100 A, time: 10 s}"),),
)
def monitor_trips(ctx: Context) -> Iterable[Outcome]:
    """Each way against the peak limit and its time, else the lasting one; the mean cell stands for the lowest.

    A lasting current between the continuous and the peak limit is not the trip's business: HV121 and HV122 judge cases.
    Open where an inverter does not say what it feeds back: that current runs against the charging trip.
    """
    unsaid = feeds_back_unsaid(ctx) if ctx.design.parts_of("pack") else []
    if unsaid:
        yield ctx.open(unsaid)
    for pack in watched(ctx):
        gaps = pack.gaps(("over_current_discharge", "over_current_charge", "answer_time"))
        gaps += [gap for _, field, time in _limits(pack) for gap in pack.gaps((), (field, *time))]
        if gaps:
            yield ctx.open(gaps)
            continue
        yield from _before_limits(ctx, pack)
        yield from _beyond_cases(ctx, pack)
        held = pack.sheet.charge_voltage
        charges = ctx.design.parts_of("charger") or ctx.design.parts_of("inlet")
        unread = pack.gaps(("over_voltage", "voltage_error")) if held is not None else []
        unread += pack.gaps((), ("charge_voltage",)) if charges else []
        if unread:
            yield ctx.open(unread)
        elif held is not None:
            yield ctx.compare(
                pack.at("over_voltage"), "voltage at which charging is held", held.high, "V", "<",
                pack.figures.earliest_over_v, CHARGING, basis=held.basis, subject=f"the monitor of {pack.id}",
                bad="opens the contactors against the charging current before the pack is full",
                good="does not trip on a full charge", note="its trip less the error of its reading",
                related=((pack.on_sheet("charge_voltage"), "where charging is held"),),
                ways_out=_held_lower(pack),
            )  # fmt: skip


def _held_lower(pack: Watched) -> Callable[[], Iterable[WayOut]]:
    """A way out: charging held below the trip, on a hundredth of a volt."""
    held = pack.sheet.charge_voltage
    spread = held.high - held.value
    volts = math.floor(100 * (pack.figures.earliest_over_v - spread) - 1e-6) / 100
    text = f"{volts:.2f} V" + (f" ± {1e3 * spread:.4g} mV" if spread > 0 else "")
    edit = Edit(f"parts/{pack.sheet_name}.yaml", "charge_voltage", text)
    return lambda: [WayOut(f"hold charging at {text}, below the trip", (edit,))]


def _limits(pack: Watched) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """Each way: discharge or charge, the field of its limit (the peak where there is one), the field of its time."""
    for way in ("discharge", "charge"):
        peak = f"{way}_current_peak"
        has = getattr(pack.sheet, peak) is not None
        yield way, peak if has else f"{way}_current", (f"{way}_peak_time",) if has else ()


def _before_limits(ctx: Context, pack: Watched) -> Iterable[Outcome]:
    """Trips against what the pack stands."""
    subject = f"the monitor of {pack.id}"
    for way, field, timed in _limits(pack):
        at, trip, limit = (
            f"over_current_{way}",
            getattr(pack.monitor, f"over_current_{way}"),
            getattr(pack.sheet, field),
        )
        source = _SOURCES[field]
        doing = "discharging" if way == "discharge" else "charging"
        yield ctx.compare(
            pack.at(at), f"trip, {doing}", (trip.current.low, trip.current.high), "A", "<=", limit.low, source,
            basis=limit.basis, subject=subject, bad=f"lets more current pass than the pack stands {doing}",
            good=f"trips before the pack's limit, {doing}",
        )  # fmt: skip
        for name in timed:
            time = getattr(pack.sheet, name)
            yield ctx.compare(
                pack.at(at), "time to the opening order",
                trip.time.high + pack.monitor.answer_time.high, "s", "<=", time.low, source,
                basis=time.basis, subject=subject, bad=f"waits longer than the pack stands its peak current {doing}",
                good=f"does not wait longer than the pack stands its peak current {doing}",
                note="trip time and answer time",
            )  # fmt: skip


def _currents(cases: Iterable[CaseFlows], pack: str, doing: str) -> Iterator[tuple[CaseFlows, float]]:
    """What flows into a pack: charged, braked into, or from another pack beside it; what it gives in any case."""
    for case in cases:
        if doing == "charging" and case.takes(pack):
            yield case, case.into_pack[pack].current_a
        elif doing == "driving" and pack in case.out_of_pack and case.gives(pack):
            yield case, case.out_of_pack[pack].current_a


def _beyond_cases(ctx: Context, pack: Watched) -> Iterable[Outcome]:
    """Trips against what the cases ask."""
    operating = ctx.results["operating"]
    if not operating.cases:
        yield ctx.open(operating.missing)
        return
    for field, doing in (("over_current_discharge", "driving"), ("over_current_charge", "charging")):
        trip = getattr(pack.monitor, field)
        lasting = [
            (amps, f"in case {c.case}")
            for c, amps in _currents(operating.cases.values(), pack.id, doing)
            if c.duration_s == 0 or c.duration_s >= trip.time.low
        ]
        if doing == "charging":
            station_a, gaps = of_station(ctx, pack.id)
            if gaps:
                yield ctx.open(gaps)
            lasting += [(station_a, AT_STATION)] if station_a > 0.0 else []
        if lasting:
            current, when = max(lasting)
            yield ctx.compare(
                pack.at(field), f"pack current {when}", current, "A", "<=", trip.current.low,
                LASTING, subject=f"the monitor of {pack.id}",
                bad=f"may trip {when} and open the contactors under load", good=f"does not trip {when}",
            )  # fmt: skip
    unread = pack.gaps(("under_voltage", "voltage_error"))
    if unread:
        yield ctx.open(unread)
    if unread or not pack.figures.loaded_case:
        return
    case = pack.figures.loaded_case
    yield ctx.compare(
        pack.at("under_voltage"), f"lowest mean cell voltage in case {case}", pack.figures.loaded_v, "V", ">=",
        pack.figures.earliest_under_v, CELL_VOLTAGE, subject=f"the monitor of {pack.id}",
        bad=f"takes the sag of case {case} for an empty cell and opens the contactors under load",
        good=f"does not trip on the sag of case {case}", note="its trip and the error of its reading",
    )  # fmt: skip
