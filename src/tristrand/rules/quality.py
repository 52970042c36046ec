"""HV19x: how far the data carry the verdicts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from tristrand.design import Datum
from tristrand.findings import Evidence, Relation
from tristrand.rules.monitor import CELLS, Watched, watched
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import DRIVING, HV_FILE, PARTS, feeds_back_unsaid
from tristrand.studies.circuits import CASES
from tristrand.studies.results import Missing

RANGE = "DESIGN#range of temperature"
# What the monitor must say before anybody knows where it lets the pack be used.
TEMPERATURES = (
    "under_temperature", "under_temperature_charge", "over_temperature", "over_temperature_charge", "temperature_error",
)  # fmt: skip


@rule(
    "HV190",
    "pack-table-left",
    "warning",
    needs=("pack",),
    checks="The pack's range of charge and temperature lies inside the tables of its cells.",
    why="Outside its table a cell's resistance is a guess, and in the cold it is always the wrong way.",
    sources=("DATASHEET#cell tables",),
    failing=(("high_voltage.yaml", "parts/pack/temperature/minimum", "-20 °C"),),
)
def pack_table_left(ctx: Context) -> Iterable[Outcome]:
    """Corners whose table look-up was held at the table's edge."""
    result = ctx.results["pack"]
    if not result.packs:
        yield ctx.open(result.missing)
        return
    for figures in result.packs.values():
        outside = [c.name for c in figures.corners if c.outside_table]
        evidence = Evidence(
            "corners outside the cell's tables", float(len(outside)), "", "<=", 0.0, "DATASHEET#cell tables"
        )
        words = (
            f"is used outside its cells' tables ({', '.join(outside)}): the edge of the table was taken"
            if outside
            else "is used inside its cells' tables"
        )
        yield ctx.finding("fail" if outside else "pass", f"{PARTS}/{figures.pack}", f"{figures.pack} {words}", evidence)


@rule(
    "HV191",
    "values-assumed",
    "note",
    checks="Data sheets hold no values that are only assumed or estimated.",
    why=(
        "A verdict is as good as the numbers under it: what is assumed must be measured or looked up before the "
        "car is built."
    ),
    sources=("DESIGN#basis of values",),
    failing=(),
    passing=tuple(
        (f"parts/{name}.yaml", "basis", "datasheet")
        for name in (
            "contactor-20",
            "contactor-200",
            "dcdc-1k2",
            "disconnect-200",
            "fuse-15",
            "fuse-160",
            "hv-16",
            "hv-35",
            "hv-4",
            "hv-50",
            "inverter-60",
            "machine-60",
            "pack-84s",
            "resistor-100r",
            "resistor-2k2",
        )
    ),
)
def values_assumed(ctx: Context) -> Iterable[Outcome]:
    """Sheets in use whose head, or any value, is assumed or estimated: to be reviewed."""
    used = {p.sheet for p in ctx.design.high_voltage.parts.values() if p.kind != "junction"}
    used |= {lead.cable for lead in ctx.design.high_voltage.connections.values() if lead.cable}
    used |= {p.machine for p in ctx.design.parts_of("inverter").values() if p.machine}
    weak = sorted(name for name in used if ctx.design.sheets[name].basis in ("assumed", "estimated"))
    if not used:
        yield NotApplicable("no data sheet is used")
        return
    evidence = Evidence(
        "sheets that rest on assumed or estimated values",
        float(len(weak)),
        "",
        "<=",
        0.0,
        "DESIGN#basis of values",
    )
    if weak:
        shown = ", ".join(weak[:4]) + (f" and {len(weak) - 4} more" if len(weak) > 4 else "")
        yield ctx.finding(
            "review",
            f"parts/{weak[0]}/basis",
            f"{len(weak)} of {len(used)} data sheets rest on assumed or estimated values: {shown}",
            evidence,
        )
    else:
        yield ctx.finding("pass", PARTS, "no data sheet in use rests on assumed or estimated values", evidence)


@rule(
    "HV192",
    "case-without-power",
    "error",
    checks=(
        "Every inverter says its power in every driving case that a mode uses, 0 W where it rests, and what it feeds "
        "back in regeneration, 0 W where it does not; no inverter draws power in precharge, and no charger has power "
        "in any case but charge. For every other device a case that is left out means that it is off."
    ),
    why=(
        "A case forgotten at the largest load, or fed by a charger that hangs on the wall, is computed with too little "
        "current: cables, fuses and pack then seem to have room."
    ),
    sources=("DESIGN#power in each case",),
    failing=((HV_FILE, "parts/drive/power/precharge", "100 W"),),
)
def case_without_power(ctx: Context) -> Iterable[Outcome]:
    """Open where an entry is missing; failed where a power is given that no study models, or that is not there."""
    used = {case for mode in ctx.design.vehicle.modes.values() for case in mode.high_voltage}
    inverters, chargers = ctx.design.parts_of("inverter"), ctx.design.parts_of("charger")
    if not inverters and not chargers:
        yield NotApplicable("there is no inverter and no charger")
    unsaid = feeds_back_unsaid(ctx)
    if unsaid:
        yield ctx.open(unsaid)
    driving = [case for case in DRIVING if case in used]
    for part_id, part in inverters.items():
        gaps = [case for case in driving if case not in part.power]
        if gaps:
            at = f"{PARTS}/{part_id}/power"
            words = f"power of {part_id} in case"
            yield ctx.open([Missing(f"{at}/{case}", f"{words} {case}, 0 W where it rests") for case in gaps])
        given = [case for case in ("precharge",) if case in part.power and part.power[case].high > 0]
        good = "says its power in every driving case" if driving else "draws no power in precharge"
        bad = "draws power in precharge, which is not modelled: model it as dcdc or heater that starts with_bus"
        if given or not gaps:
            yield from _only(ctx, part_id, part.power, given, "precharge", bad, good)
    for part_id, part in chargers.items():
        given = [case for case in CASES if case != "charge" and case in part.power and part.power[case].high > 0]
        bad = "has power in case {}: it feeds the bus only from the wall, in case charge"
        yield from _only(ctx, part_id, part.power, given, "any case but charge", bad, "has power in no case but charge")


def _only(
    ctx: Context, part_id: str, power: Mapping[str, Datum], given: list[str], where: str, bad: str, good: str
) -> Iterable[Outcome]:
    """A failure for each case in which a part may have no power, but has; else that it has none."""
    source = "DESIGN#power in each case"
    for case in given:
        evidence = Evidence(f"power in {case}", power[case].high, "W", "<=", 0.0, source)
        yield ctx.finding("fail", f"{PARTS}/{part_id}/power/{case}", f"{part_id} {bad.format(case)}", evidence)
    if not given:
        evidence = Evidence(f"power in {where}", 0.0, "W", "<=", 0.0, source)
        yield ctx.finding("pass", f"{PARTS}/{part_id}", f"{part_id} {good}", evidence)


@rule(
    "HV193",
    "pack-range-left",
    "warning",
    needs=CELLS,
    checks="The battery monitor lets the pack work, charged or not, at no temperature for which it was not computed.",
    why=(
        "Every current, voltage and fuse here holds in the range that the design gives: a colder pack sags more and "
        "blows fuses later, a hotter one ages faster, and only the monitor keeps it from being used there."
    ),
    sources=(RANGE,),
    failing=((HV_FILE, "parts/pack/temperature/minimum", "20 °C"),),
    passing=((HV_FILE, "parts/pack/monitor/under_temperature", "2 °C"), (HV_FILE, "parts/pack/monitor/over_temperature",
             "43 °C")),
)  # fmt: skip
def pack_range_left(ctx: Context) -> Iterable[Outcome]:
    """The monitor's trips with the error of its reading. A review: what keeps the pack inside may be another thing."""
    packs = list(watched(ctx))
    if not packs:
        yield NotApplicable("there is no pack")
    for pack in packs:
        gaps, span = pack.gaps(TEMPERATURES), ctx.design.parts_of("pack")[pack.id].temperature
        if span is None:
            gaps.insert(0, Missing(f"{PARTS}/{pack.id}/temperature", f"range of temperature of {pack.id}"))
        yield ctx.open(gaps) if gaps or span is None else _range(ctx, pack, span.minimum.value, span.maximum.value)


def _range(ctx: Context, pack: Watched, cold: float, hot: float) -> Outcome:
    """What the monitor lets pass, charging or discharging, against the range [degC] that was computed."""
    cells = pack.figures
    low, high = min(cells.cold_c, cells.cold_charge_c), max(cells.hot_c, cells.hot_charge_c)
    # Units and sums leave last digits that are no temperature.
    cold, hot = round(cold, 9), round(hot, 9)
    out = low < cold or high > hot
    # Of both ends the one that is left further is shown.
    at_cold = not out or cold - low >= high - hot
    worst: tuple[float, Relation, float] = (low, ">=", cold) if at_cold else (high, "<=", hot)
    evidence = Evidence("temperature that the monitor allows", worst[0], "°C", *worst[1:], RANGE)
    said = f"from {low:g} to {high:g} °C; computed is {cold:g} to {hot:g} °C"
    words = "what lies beyond is not covered: widen the range, let it trip sooner, or say what keeps it inside"
    return ctx.finding(
        "review" if out else "pass",
        f"{PARTS}/{pack.id}/temperature",
        f"{pack.id} may be used {said}" + (f"; {words}" if out else ""),
        evidence,
        related=((f"{PARTS}/{pack.id}/monitor", "its monitor"),),
    )
