"""HV263 to HV269: whether charging is right for the pack, ends, and is over when the shutdown circuit opens."""

import math
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from tristrand.findings import Edit, WayOut
from tristrand.physics.pilot import LEAST_CURRENT_A
from tristrand.rules.charging_view import CHARGING, FAST, NEEDS, SUPPLIES, WITH_AC, of_charging
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, PARTS, counted, sheet_pointer
from tristrand.studies.results import ChargingResult, Missing, SessionFigures, SupplyFigures

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
    for here, section in sections:
        if section is None:
            continue
        own, common = section, high_voltage.charging
        at = here if own.blocked_when is not None or common is None else CHARGING
        blocked = own.blocked_when or (common.blocked_when if common is not None else None)
        if blocked is None:
            yield ctx.open([Missing(f"{here}/blocked_when", "states in which charging does not start")])
        else:
            yield from _listed(ctx, f"{at}/blocked_when", list(blocked), result, hot_contacts=here == FAST)
        off = own.plug_blocks_drive if own.plug_blocks_drive is not None else getattr(common, "plug_blocks_drive", None)
        yield _plug(ctx, f"{here}/plug_blocks_drive", off)
    gaps = [m for m in result.missing if m.pointer.endswith(("charge_table", "/temperature"))]
    if gaps or not result.pack:
        yield ctx.open(gaps or result.missing)


def _listed(
    ctx: Context, pointer: str, blocked: list[str], result: ChargingResult, *, hot_contacts: bool
) -> Iterator[Outcome]:
    needed = dict(NECESSARY)
    if hot_contacts:
        needed["inlet_hot"] = "worn contacts heat until the inlet burns, and nothing else sees it"
    if result.cold:
        needed["pack_cold"] = "the pack may be colder than its charge table, where charging plates lithium"
    if result.hot:
        needed["pack_hot"] = "the pack may be hotter than its charge table"
    lacking = {state: why for state, why in needed.items() if state not in blocked}
    path, whole = pointer.removeprefix("high_voltage/"), f"[{', '.join([*blocked, *lacking])}]"
    mend = WayOut("list every state that is lacking", (Edit(HV_FILE, path, whole),))
    for state, why in lacking.items():
        yield ctx.finding(
            "fail",
            pointer,
            f"charging starts also in the state {state}: {why}",
            counted(f"listing of {state}", 0, ">=", 1, EMPTY),
            ways_out=lambda: [mend],
        )
    if not lacking:
        yield ctx.finding("pass", pointer, "charging does not start in any state in which it must not")


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
        "The charger is told what the pack's table allows at each temperature and charge, or never gives more than the "
        "smallest value of the table."
    ),
    why="Cold or nearly full cells take a fraction of the current: above it lithium plates and later shorts the cell.",
    sources=("DATASHEET#charge table",),
    failing=(*WITH_AC, (HV_FILE, "charging/current_control", "fixed")),
    passing=WITH_AC,
    waivable=False,
)
@of_charging("charge_table", "output_current", "rated_power", "efficiency", "input", "target", "temperature")
def charge_current_table(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    """Without control by the table: the charger's largest current against the smallest that is allowed anywhere."""
    pointer = f"{CHARGING}/current_control"
    section: Any = ctx.design.high_voltage.charging
    if section.current_control == "table":
        if not math.isnan(result.table_least_a):
            yield ctx.finding("pass", pointer, f"{result.charger} is told what the pack's table allows")
        return
    yield ctx.compare(
        pointer,
        "largest charge current",
        result.bus_a,
        "A",
        "<=",
        result.table_least_a,
        "DATASHEET#charge table",
        subject=result.charger,
        bad="gives more than the pack's table allows somewhere between its coldest and hottest, emptiest and fullest",
        good="never gives more than the pack's table allows",
        related=((f"{PARTS}/{result.pack}", "the pack"),),
        ways_out=lambda: [
            WayOut(
                "let the supervisor tell the charger what the table allows",
                (Edit(HV_FILE, "charging/current_control", "table"),),
            )
        ],
    )


@of_charging(
    "target",
    "low_voltage_draw",
    "charge_table",
    "charge_cutoff_current",
    "open_circuit_voltage",
    "charge_voltage",
    "output_current",
    "rated_power",
    "efficiency",
    "input",
    "inlet",
    "voltage",
    "pilot_duty",
    "proximity",
)
def _alternating_ends(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    for name, supply in result.supplies.items():
        yield from _ends(ctx, result, f"{SUPPLIES}/{name}", name, supply.sessions)


@of_charging(
    "target",
    "supply",
    "current",
    "charge_table",
    "charge_cutoff_current",
    "open_circuit_voltage",
    "charge_voltage",
    fast=True,
)
def _direct_ends(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    if result.fast is not None:
        yield from _ends(ctx, result, FAST, result.fast.inlet, result.fast.sessions)


@rule(
    "HV267",
    "charging-ends",
    "warning",
    needs=NEEDS,
    checks="At each supply a session reaches its target with cells cold, mild and hot, as far as the table allows.",
    why="A session that stalls short of its target keeps contactors closed all night and the car where it stands.",
    sources=("CLOSED-FORM#charging through a resistance, open-circuit voltage straight by pieces",),
    failing=(*WITH_AC, (HV_FILE, "charging/target", "100 %")),
    passing=WITH_AC,
)
def charging_ends(ctx: Context) -> Iterable[Outcome]:
    """Alternating current, then direct current held to the pack's table."""
    yield from _alternating_ends(ctx)
    yield from _direct_ends(ctx)


def _ends(
    ctx: Context, result: ChargingResult, pointer: str, name: str, sessions: tuple[SessionFigures, ...]
) -> Iterator[Outcome]:
    """End of each session against the target."""
    if result.start_soc >= result.target_soc:
        yield ctx.finding("fail", f"{CHARGING}/target", "the target is no higher than the pack's least charge")
    elif not sessions:
        yield ctx.open([Missing(pointer, f"a session at {name}")])
    for one in sessions:
        yield ctx.compare(
            pointer,
            f"charge at the end, cells {one.name} ({one.temperature_c:.0f} °C)",
            100.0 * result.target_soc if one.reached else 100.0 * one.end_soc,
            "%",
            ">=",
            100.0 * result.target_soc,
            "DESIGN#charging target",
            subject=f"charging at {name} with cells {one.name}",
            bad=_stalled(one),
            good="reaches the target",
            related=((f"{CHARGING}/target", "the target"),),
            ways_out=_lower_target(result),
        )


def _lower_target(result: ChargingResult) -> Callable[[], Iterable[WayOut]]:
    """The highest whole percent that every session which begins comes to."""

    def ways() -> Iterable[WayOut]:
        every = [f.sessions for f in (*result.supplies.values(), result.fast) if f is not None]
        ends = [s.end_soc for some in every for s in some if s.end_soc > result.start_soc]
        percent = math.floor(100.0 * min(ends, default=0.0))
        if percent > 100.0 * result.start_soc:
            yield WayOut(f"end at {percent} %", (Edit(HV_FILE, "charging/target", f"{percent} %"),))

    return ways


def _stalled(one: SessionFigures) -> str:
    why = {
        "temperature": "never starts: the table allows no current there",
        "current": "stops short of the target where the table allows less than the current at which charging ends",
        "power": "stops short of the target: too little power is left for the pack",
        "voltage": "stops short of the target: at the charging voltage the current falls to where charging ends",
    }
    return why.get(one.ended_by, "")


@rule(
    "HV268",
    "charging-power",
    "warning",
    needs=NEEDS,
    checks=(
        "At each supply, and at the least current a pilot offers, the 12 V side leaves power for the pack; and no "
        "supply brings more into the bus than the case charge counts with."
    ),
    why=(
        "Where pumps and control units take all the charger gives, the pack empties while the car seems to charge; and "
        "cables judged for less than the charger gives are not judged."
    ),
    sources=("CLOSED-FORM#energy balance of the charger", "IEC-61851-1#duty cycle to current", "DESIGN#case charge"),
    failing=(*WITH_AC, (HV_FILE, "charging/low_voltage_draw", "1.1 kW")),
    passing=WITH_AC,
)
@of_charging("low_voltage_draw", "low_power", "efficiency", "rated_power", "input", "inlet", "voltage", "pilot_duty",
             "proximity")  # fmt: skip
def charging_power_left(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    """Power left at the drawn current and at 6 A, the 12 V side through its converter."""
    for name, supply in result.supplies.items():
        for left_w, at in ((supply.pack_w, "drawn current"), (supply.floor_pack_w, f"{LEAST_CURRENT_A:.0f} A")):
            yield ctx.compare(
                f"{SUPPLIES}/{name}",
                f"power left for the pack at {at}",
                left_w,
                "W",
                ">",
                0.0,
                "CLOSED-FORM#energy balance of the charger",
                subject=f"at {name} the charger",
                bad=f"gives less than the 12 V side takes at {at}",
                good=f"gives more than the 12 V side takes at {at}",
                related=((f"{CHARGING}/low_voltage_draw", "power of the 12 V side"),),
            )
        yield _counted_with(ctx, result, supply)


def _counted_with(ctx: Context, result: ChargingResult, supply: SupplyFigures) -> Outcome:
    """What the charger gives against the power that every other study of charging currents takes it to give."""
    part: Any = ctx.design.high_voltage.parts[result.charger]
    pointer, given = f"{PARTS}/{result.charger}/power", part.power.get("charge")
    if given is None or not any("charge" in mode.high_voltage for mode in ctx.design.vehicle.modes.values()):
        where = f"{pointer}/charge" if given is None else "vehicle/modes"
        return ctx.open([Missing(where, f"case charge: power of {result.charger}, and a mode that uses it")])
    return ctx.compare(
        f"{pointer}/charge",
        f"power into the bus at {supply.supply}",
        # To the watt: a rated power goes there and back through the charger's loss.
        supply.bus_w if math.isnan(supply.bus_w) else float(round(supply.bus_w)),
        "W",
        "<=",
        given.high,
        "DESIGN#case charge",
        basis=given.basis,
        subject=result.charger,
        bad=f"gives more at {supply.supply} than case charge counts with",
        good=f"gives no more at {supply.supply} than case charge counts with",
        ways_out=lambda: [
            WayOut(
                f"count with {supply.bus_w:.0f} W in case charge",
                (Edit(HV_FILE, f"parts/{result.charger}/power/charge", f"{math.ceil(supply.bus_w)} W"),),
            )
        ],
    )


@rule(
    "HV269",
    "charging-opens-dead",
    "error",
    needs=(*NEEDS, "discharge"),
    limit="charge_opening_s",
    checks=(
        "When the shutdown circuit opens while charging, the charger stops and its terminals are at 60 V in time; "
        "where the rules ask for it, only a reset by hand allows charging again."
    ),
    why="The contactors part the pack, not the charger: until it stops, the bus stays live from the supply.",
    sources=("FSAE-2026#EV.8.4.2", "IEC-60204-1#6.2.4"),
    failing=(*WITH_AC, (HV_FILE, "charging/on_opening/off_after", "6 s")),
    passing=WITH_AC,
    waivable=False,
)
@of_charging("output_capacitance", "charge_voltage")
def charging_opens_dead(ctx: Context, result: ChargingResult) -> Iterable[Outcome]:
    """The declared stop of the charger, then the discharge: by the bus's resistor, or by the charger's own."""
    section: Any = ctx.design.high_voltage.charging
    if section.on_opening is None:
        yield ctx.open([Missing(f"{CHARGING}/on_opening", "what opening the shutdown circuit does to the charger")])
        return
    limit, by_hand = ctx.limit(), ctx.limit_if_set("charge_reset_by_hand")
    seconds, words = result.own_discharge_s, "by the charger's own resistance"
    if result.on_discharged_bus:
        bus = ctx.results["discharge"]
        if not bus.cases:
            yield ctx.open(bus.missing or [Missing("studies/discharge", "how long the bus takes to 60 V")])
            return
        seconds = math.inf if math.isnan(bus.slowest_active_s) else bus.slowest_active_s
        words = "by the resistor of the bus, its slowest opening order"
        if seconds > limit.value:
            # Then HV150 fails for the bus itself; here the charger's own part is left to judge.
            seconds, words = 0.0, "left out: the bus by itself takes too long"
    if math.isnan(seconds):
        yield ctx.open(
            [Missing(sheet_pointer(ctx, result.charger, "output_capacitance"), "capacitance of the charger")]
        )
    else:
        off = section.on_opening.off_after
        yield ctx.compare(
            f"{CHARGING}/on_opening",
            "time from opening to 60 V at the charger",
            (off.low + seconds, off.high + seconds),
            "s",
            "<=",
            limit.value,
            limit.source,
            basis=off.basis,
            subject=result.charger,
            bad="is still live when the time allowed is over",
            good="is dead in time when the shutdown circuit opens",
            note=f"the stop of the charger as declared; the discharge after it {words}",
        )
    if by_hand is not None:
        manual = section.on_opening.reset == "manual"
        yield ctx.finding(
            "pass" if manual else "fail",
            f"{CHARGING}/on_opening/reset",
            "charging is allowed again only by hand" if manual else "charging starts again by itself after an opening",
            counted("reset by hand", int(manual), ">=", 1, by_hand.source),
        )
