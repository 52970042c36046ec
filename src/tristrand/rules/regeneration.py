"""HV308: what braking may drive into cold or nearly full cells."""

import math
from collections.abc import Iterable

from tristrand.findings import Edit, WayOut
from tristrand.rules.charging_view import WITH_AC
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, PARTS, feeds_back_unsaid, sheet_pointer
from tristrand.studies.results import BRAKING, Missing

CONTROL = "high_voltage/regeneration/current_control"
TABLE = "DATASHEET#charge table"
BRAKES = (
    *WITH_AC,
    (HV_FILE, "parts/drive/power/regeneration", "10 kW"),
    ("vehicle.yaml", "modes/drive", "{high_voltage: [continuous, peak, regeneration]}"),
)


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
def regeneration_by_table(ctx: Context) -> Iterable[Outcome]:
    """Without control by the table: the largest current in case regeneration against the smallest allowed anywhere."""
    unsaid = feeds_back_unsaid(ctx)
    if unsaid:
        yield ctx.open(unsaid)
    fed = [p.power[BRAKING] for p in ctx.design.parts_of("inverter").values() if BRAKING in p.power]
    if not any(watts.high > 0 for watts in fed):
        if not unsaid:
            yield NotApplicable("no inverter feeds back")
        return
    case = ctx.results["operating"].cases.get(BRAKING)
    if case is None:
        yield ctx.open(ctx.results["operating"].missing)
        return
    section = ctx.design.high_voltage.regeneration
    if section is None:
        yield ctx.open([Missing(CONTROL, "what holds the current of regeneration: table or fixed")])
        return
    if section.current_control == "table":
        yield from _by_table(ctx)
        return
    for pack, flow in ((p, case.flows.get(p)) for p in ctx.design.parts_of("pack")):
        if flow is not None:
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
    return ctx.compare(
        CONTROL,
        f"largest current of {BRAKING}",
        current_a,
        "A",
        "<=",
        figures.charge_least_a,
        TABLE,
        subject=BRAKING,
        bad="drives more into the pack than its table allows between its coldest and hottest, emptiest and fullest",
        good="never drives more into the pack than its table allows",
        related=((f"{PARTS}/{pack}", "the pack"),),
        ways_out=lambda: [
            WayOut(
                "let the supervisor hold it to what the table allows",
                (Edit(HV_FILE, "regeneration/current_control", "table"),),
            )
        ],
    )
