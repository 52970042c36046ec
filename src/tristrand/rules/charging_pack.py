"""HV263 to HV266: whether charging is right for the pack: voltages, current, and when it must not start."""

import math
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from tristrand.findings import Edit, WayOut
from tristrand.rules.charging_view import CHARGING, FAST, NEEDS, WITH_AC, of_charging
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, PARTS, counted, sheet_pointer
from tristrand.studies.results import ChargingResult, Missing

# States in which no charging may start, whatever the vehicle.
NECESSARY = {
    "drive_enabled": "the vehicle could drive off with the cable",
    "vehicle_moving": "the plug would be torn out live",
    "insulation_fault": "a second fault then puts high voltage on the body",
    "interlock_open": "a box or a plug may stand open",
    "cell_fault": "a cell out of its limits, or not measured, may catch fire when charged on",
    "proximity_without_pilot": "a plug that is half in, or a supply that is not ready, would be loaded",
}
EMPTY = "PRACTICE#what must keep charging from starting"


@rule(
    "HV263",
    "charger-covers-pack",
    "warning",
    needs=NEEDS,
    checks="The charger's output reaches from the pack's lowest voltage to that at which charging is held.",
    why="Below its range a charger leaves an empty pack where it is; above it the pack is never full.",
    sources=("DATASHEET#output voltage of the charger",),
    failing=(*WITH_AC, ("parts/obc.yaml", "voltage/minimum", "260 V")),
    passing=WITH_AC,
)
@of_charging("voltage", "charge_voltage", "cells_in_series", "cell_voltage")
def charger_covers_pack(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    """Lowest: every cell at its minimum; highest: every cell at the charging voltage."""
    sheet, pointer = ctx.design.sheet_of(result.charger), sheet_pointer(ctx, result.charger, "voltage")
    if sheet.voltage is None:
        yield ctx.open([Missing(pointer, f"output voltage of {result.charger}")])
        return
    low, high = sheet.voltage.minimum, sheet.voltage.maximum
    for end, datum, pack_v, what in (
        ("minimum", low, result.lowest_v, "empty"),
        ("maximum", high, result.limit_v, "full"),
    ):
        if math.isnan(pack_v):
            continue  # what the pack's sheet lacks is named by the study
        yield ctx.compare(
            f"{pointer}/{end}",
            f"{'lowest' if what == 'empty' else 'highest'} output voltage",
            (datum.low, datum.high),
            "V",
            "<=" if what == "empty" else ">=",
            pack_v,
            "DATASHEET#output voltage of the charger",
            basis=datum.basis,
            subject=result.charger,
            bad=f"does not reach the pack when it is {what}",
            good=f"reaches the pack when it is {what}",
            related=((f"{PARTS}/{result.pack}", "the pack"),),
        )


@rule(
    "HV264",
    "charge-voltage-of-cells",
    "error",
    needs=NEEDS,
    checks="Charging is held at no more than the highest voltage that the cells' maker allows.",
    why="Overcharged cells plate lithium, heat and may burn, hours after the charger has stopped.",
    sources=("DATASHEET#cell voltage",),
    failing=(*WITH_AC, ("parts/pack-84s.yaml", "charge_voltage", "4.2 V")),
    passing=WITH_AC,
    waivable=False,
)
def charge_voltage_of_cells(ctx: Context) -> Iterable[Outcome]:
    """The high end of the one against the low end of the other, for every pack of a vehicle that is charged."""
    if not (ctx.design.parts_of("charger") or ctx.design.parts_of("inlet")):
        yield NotApplicable("the vehicle has neither charger nor inlet")
        return
    for pack_id in ctx.design.parts_of("pack"):
        sheet = ctx.design.sheet_of(pack_id)
        held, cell = sheet.charge_voltage, sheet.cell_voltage
        if held is None or cell is None:
            field, what = ("charge_voltage", "charging voltage") if held is None else ("cell_voltage", "voltage")
            yield ctx.open([Missing(sheet_pointer(ctx, pack_id, field), f"{what} of one cell of {pack_id}")])
            continue
        yield ctx.compare(
            sheet_pointer(ctx, pack_id, "charge_voltage"),
            "charging voltage of one cell",
            (held.low, held.high),
            "V",
            "<=",
            cell.maximum.low,
            "DATASHEET#cell voltage",
            basis=held.basis,
            subject=pack_id,
            bad="is charged beyond the highest voltage of its cells",
            good="is charged no further than its cells allow",
            ways_out=_held_lower(ctx, pack_id, cell.maximum.text),
            related=((sheet_pointer(ctx, pack_id, "cell_voltage"), "voltage of its cells"),),
        )


def _held_lower(ctx: Context, pack_id: str, text: str) -> Callable[[], Iterable[WayOut]]:
    pointer = sheet_pointer(ctx, pack_id, "charge_voltage")
    file, field = f"{pointer.rpartition('/')[0]}.yaml", "charge_voltage"
    return lambda: [WayOut(f"hold charging at {text}, the highest that the cells allow", (Edit(file, field, text),))]


@rule(
    "HV265",
    "charging-blocked",
    "error",
    needs=NEEDS,
    checks=(
        "Charging does not start while the drive is on, a fault stands, or the pack is colder or hotter than its "
        "table; the plug alone keeps the drive off."
    ),
    why="Most fires and shocks while charging begin with a fault that was known when charging was let start.",
    sources=(EMPTY, "DATASHEET#charge table", "UN-R100#5.3.3"),
    failing=(*WITH_AC, (HV_FILE, "charging/blocked_when", "[drive_enabled, insulation_fault]")),
    passing=WITH_AC,
    waivable=False,
)
def charging_blocked(ctx: Context) -> Iterable[Outcome]:
    """The list of the section against what is necessary; too cold and too hot where the pack may be so."""
    high_voltage, result = ctx.design.high_voltage, ctx.results["charging"]
    sections: list[tuple[str, Any]] = [(CHARGING, high_voltage.charging), (FAST, high_voltage.fast_charging)]
    if not any(section for _, section in sections):
        yield ctx.open(result.missing) if result.missing else NotApplicable("the vehicle has neither charger nor inlet")
        return
    lists: dict[str, tuple[list[str], bool]] = {}
    for here, section in sections:
        if section is None:
            continue
        own, common = section, high_voltage.charging
        at = here if own.blocked_when is not None or common is None else CHARGING
        blocked = own.blocked_when if at == here else common.blocked_when if common is not None else None
        if blocked is None:
            yield ctx.open([Missing(f"{here}/blocked_when", "states in which charging does not start")])
        else:
            # One list may stand for both ways of charging: it then needs what either of them needs.
            hot_contacts = here == FAST or lists.get(at, ([], False))[1]
            lists[at] = (list(blocked), hot_contacts)
        off = own.plug_blocks_drive if own.plug_blocks_drive is not None else getattr(common, "plug_blocks_drive", None)
        yield _plug(ctx, f"{here}/plug_blocks_drive", off)
    for at, (listed, hot_contacts) in lists.items():
        yield _listed(ctx, f"{at}/blocked_when", listed, result, hot_contacts=hot_contacts)
    gaps = [m for m in result.missing if m.pointer.endswith(("charge_table", "/temperature"))]
    if gaps or not result.pack:
        yield ctx.open(gaps or result.missing)


def _listed(ctx: Context, pointer: str, blocked: list[str], result: ChargingResult, *, hot_contacts: bool) -> Outcome:
    """One conclusion about one list: every necessary state that it lacks, each with what would happen."""
    needed = dict(NECESSARY)
    if hot_contacts:
        needed["inlet_hot"] = "worn contacts heat until the inlet burns, and nothing else sees it"
    if result.cold:
        needed["pack_cold"] = "the pack may be colder than its charge table, where charging plates lithium"
    if result.hot:
        needed["pack_hot"] = "the pack may be hotter than its charge table"
    lacking = {state: why for state, why in needed.items() if state not in blocked}
    if not lacking:
        return ctx.finding("pass", pointer, "charging does not start in any state in which it must not")
    path, whole = pointer.removeprefix("high_voltage/"), f"[{', '.join([*blocked, *lacking])}]"
    mend = WayOut("list every state that is lacking", (Edit(HV_FILE, path, whole),))
    count = counted("necessary states that are listed", len(needed) - len(lacking), ">=", len(needed), EMPTY)
    words = "a state in which it must not" if len(lacking) == 1 else f"{len(lacking)} states in which it must not"
    return ctx.finding(
        "fail",
        pointer,
        f"charging starts also in {words}: {', '.join(lacking)}",
        count._replace(note="; ".join(f"{state}: {why}" for state, why in lacking.items())),
        related=((sheet_pointer(ctx, result.pack, "charge_table"), "the pack's charge table"),) if result.pack else (),
        ways_out=lambda: [mend],
    )


def _plug(ctx: Context, pointer: str, off: bool | None) -> Outcome:
    if off is None:
        return ctx.open([Missing(pointer, "whether the plug alone keeps the drive off")])
    if off:
        return ctx.finding("pass", pointer, "the plug alone keeps the drive off")
    source = "UN-R100#5.3.3" if "un-r100" in ctx.rule_sets else EMPTY
    return ctx.finding(
        "fail", pointer, "the vehicle can drive off with the cable plugged in while the supply is dead",
        counted("plug keeps the drive off", 0, ">=", 1, source),
    )  # fmt: skip


@rule(
    "HV266",
    "charge-current-table",
    "error",
    needs=NEEDS,
    checks=(
        "Charger and direct-current supply are told what the pack's table allows at each temperature and charge, or "
        "never give more than the smallest value of the table."
    ),
    why="Cold or nearly full cells take a fraction of the current: above it lithium plates and later shorts the cell.",
    sources=("DATASHEET#charge table",),
    failing=(*WITH_AC, (HV_FILE, "charging/current_control", "fixed")),
    passing=WITH_AC,
    waivable=False,
)
def charge_current_table(ctx: Context) -> Iterable[Outcome]:
    """Without control by the table: the largest current against the smallest that is allowed anywhere."""
    yield from _alternating_held(ctx)
    yield from _direct_held(ctx)


@of_charging("charge_table", "output_current", "rated_power", "efficiency", "input", "target", "temperature")
def _alternating_held(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    by_table = ctx.design.high_voltage.charging.current_control == "table"  # type: ignore[union-attr]
    yield from _held(ctx, result, CHARGING, result.charger, result.bus_a, by_table=by_table)


@of_charging("charge_table", "current", "supply", "current_control", "temperature", fast=True)
def _direct_held(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    fast = result.fast
    if fast is not None and fast.by_table is not None:
        subject = f"the supply at {fast.inlet}"
        yield from _held(ctx, result, FAST, subject, fast.largest_a, by_table=fast.by_table)


def _held(
    ctx: Context, result: ChargingResult, section: str, subject: str, most_a: float, *, by_table: bool
) -> Iterator[Outcome]:
    pointer = f"{section}/current_control"
    if by_table:
        if not math.isnan(result.table_least_a):
            yield ctx.finding("pass", pointer, f"{subject} is told what the pack's table allows")
        return
    yield ctx.compare(
        pointer,
        "largest charge current",
        most_a,
        "A",
        "<=",
        result.table_least_a,
        "DATASHEET#charge table",
        subject=subject,
        bad="gives more than the pack's table allows somewhere between its coldest and hottest, emptiest and fullest",
        good="never gives more than the pack's table allows",
        related=((f"{PARTS}/{result.pack}", "the pack"),),
        ways_out=lambda: [
            WayOut(
                "let the supervisor ask for no more than the table allows",
                (Edit(HV_FILE, pointer.removeprefix("high_voltage/"), "table"),),
            )
        ],
    )
