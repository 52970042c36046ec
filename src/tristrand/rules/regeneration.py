"""HV308 and HV309: what braking may drive into cold or nearly full cells."""

import math
from collections.abc import Callable, Iterable, Iterator
from functools import wraps

from tristrand.findings import Edit, WayOut
from tristrand.rules.charging_view import WITH_AC
from tristrand.rules.monitor import Watched, watched
from tristrand.rules.rule import Check, Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, PARTS, feeds_back_unsaid, sheet_pointer
from tristrand.studies.results import BRAKING, CaseFlows, Missing

CONTROL = "high_voltage/regeneration/current_control"
TABLE = "DATASHEET#charge table"
CELL_VOLTAGE = "DATASHEET#cell voltage"
HELD = "voltage of a cell at which regeneration is held"
BRAKES = (
    *WITH_AC,
    (HV_FILE, "parts/drive/power/regeneration", "10 kW"),
    ("vehicle.yaml", "modes/drive", "{high_voltage: [continuous, peak, regeneration]}"),
)


def _where_it_brakes(check: Callable[[Context, CaseFlows], Iterable[Outcome]]) -> Check:
    """A rule on the case in which inverters feed back: open where one of them does not say what it feeds back."""

    @wraps(check)
    def on(ctx: Context) -> Iterator[Outcome]:
        unsaid, operating = feeds_back_unsaid(ctx), ctx.results["operating"]
        if unsaid:
            yield ctx.open(unsaid)
        said = [p.power[BRAKING] for p in ctx.design.parts_of("inverter").values() if BRAKING in p.power]
        if any(watts.high > 0 for watts in said):
            case = operating.cases.get(BRAKING)
            if case is not None and case.failed:
                # What flows at a corner without an operating point is not known, least of all that it is small.
                yield ctx.open([Missing("studies/operating", f"an operating point in case {BRAKING}")])
            yield from [ctx.open(operating.missing)] if case is None else check(ctx, case)
        elif not unsaid:
            yield NotApplicable("no inverter feeds back")

    return on


@rule(
    "HV308",
    "regeneration-by-table",
    "error",
    needs=("pack", "operating"),
    checks=(
        "What the inverters feed back is held to what the pack's charge table allows at each temperature and charge, "
        "or never is more than the smallest value of the table."
    ),
    why="Braking charges: into cold or nearly full cells it plates lithium as surely as a charger does, at every stop.",
    sources=(TABLE, "DESIGN#what holds the current"),
    failing=(*BRAKES, (HV_FILE, "regeneration", "{current_control: fixed}")),
    passing=(*BRAKES, (HV_FILE, "regeneration", "{current_control: table}")),
    waivable=False,
)
@_where_it_brakes
def regeneration_by_table(ctx: Context, case: CaseFlows) -> Iterable[Outcome]:
    """Without control by the table: the largest current in case regeneration against the smallest allowed anywhere."""
    section = ctx.design.high_voltage.regeneration
    if section is None:
        yield ctx.open([Missing(CONTROL, "what holds the current of regeneration: table or fixed")])
        return
    if section.current_control == "table":
        yield from _by_table(ctx)
        return
    for pack, flow in case.into_pack.items():
        yield _fixed(ctx, pack, flow.current_a)


def _by_table(ctx: Context) -> Iterable[Outcome]:
    without = [name for name in ctx.design.parts_of("pack") if ctx.design.sheet_of(name).charge_table is None]
    if without:
        yield ctx.open(Missing(sheet_pointer(ctx, name, "charge_table"), f"charge table of {name}") for name in without)
    else:
        yield ctx.finding("pass", CONTROL, "regeneration is held to what the pack's charge table allows")


def _fixed(ctx: Context, pack: str, current_a: float) -> Outcome:
    figures = ctx.results["pack"].packs.get(pack)
    if figures is None or math.isnan(figures.charge_least_a):
        return ctx.open([Missing(sheet_pointer(ctx, pack, "charge_table"), f"charge table of {pack}")])
    monitor = ctx.design.parts_of("pack")[pack].monitor
    trips = () if monitor is None else (monitor.under_temperature_charge, monitor.over_temperature_charge)
    if current_a > figures.charge_least_a and any(trips) and monitor.temperature_error is None:
        # With the error the monitor would shut out some of the range, perhaps all that is in the way.
        error = Missing(f"{PARTS}/{pack}/monitor/temperature_error", f"temperature error of the monitor of {pack}")
        return ctx.open([error])
    return ctx.compare(
        CONTROL,
        f"largest current of {BRAKING}",
        current_a,
        "A",
        "<=",
        figures.charge_least_a,
        TABLE,
        subject=BRAKING,
        bad=(
            "drives more into the pack than its table allows between its coldest and hottest, emptiest and fullest"
            if figures.charge_least_a > 0
            else "drives current into the pack where its table allows none or does not reach: at an end of the range "
            "of charge and temperature in which the monitor lets it charge"
        ),
        good="never drives more into the pack than its table allows",
        related=((f"{PARTS}/{pack}", "the pack"),),
        ways_out=lambda: [
            WayOut(
                "let the supervisor hold it to what the table allows",
                (Edit(HV_FILE, "regeneration/current_control", "table"),),
            )
        ],
    )


@rule(
    "HV309",
    "regeneration-voltage",
    "error",
    needs=("pack", "operating", "cells"),
    checks=(
        "Braking lifts no cell above its largest voltage nor to where the monitor may trip: by itself, or because the "
        "supervisor takes it back at a cell voltage that the design gives. By itself, the pack is at the end of its "
        "life."
    ),
    why="Down a hill with a full pack the monitor opens the contactors under braking current, and the brake is gone.",
    sources=(
        CELL_VOLTAGE,
        "PRACTICE#a full charge ends before the over-voltage trip",
        "PRACTICE#aged pack, twice the resistance",
    ),
    failing=(*BRAKES, (HV_FILE, "regeneration", "{current_control: table}")),
    passing=(*BRAKES, (HV_FILE, "regeneration", "{current_control: table, cell_voltage: 4.12 V}")),
    waivable=False,
)
@_where_it_brakes
def regeneration_voltage(ctx: Context, case: CaseFlows) -> Iterable[Outcome]:
    """The voltage at which it is held; where nothing holds it, the mean cell at the end of the pack's life."""
    section = ctx.design.high_voltage.regeneration
    held = None if section is None else section.cell_voltage
    for pack in watched(ctx):
        if held is None and pack.id not in case.highest_v:
            yield ctx.open([Missing("studies/operating", f"an operating point in case {BRAKING}")])
            continue
        volts = held.high if held is not None else case.highest_v[pack.id] / pack.figures.series
        yield from _lifted(ctx, pack, volts, "mean cell in regeneration" if held is None else HELD)


def _lifted(ctx: Context, pack: Watched, volts: float, quantity: str) -> Iterable[Outcome]:
    """Against the cell's own voltage, and against the trip: open where that is not known and the cell itself bears it.

    A trip acts as soon as it is reached, so what is held has to stay below it.
    """
    gaps, own = pack.gaps(("over_voltage", "voltage_error")), pack.sheet.cell_voltage
    most_v, trip = (math.nan if own is None else own.maximum.low), pack.figures.earliest_over_v
    if own is None:
        gaps += pack.gaps((), ("cell_voltage",))
    if gaps:
        yield ctx.open(gaps)
    if not gaps or volts > most_v:
        below = not gaps and trip <= most_v
        yield ctx.compare(
            f"{PARTS}/{pack.id}",
            quantity,
            volts,
            "V",
            "<" if below else "<=",
            trip if below else most_v,
            CELL_VOLTAGE,
            subject=pack.id,
            bad="is braked into beyond its cells' largest voltage, or until the monitor opens the contactors",
            good="is braked into no further than its cells and its monitor bear",
            note="the smaller of the cells' largest voltage and the monitor's trip less its error",
            related=((CONTROL.rpartition("/")[0], "what holds it"),),
        )
