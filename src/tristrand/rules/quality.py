"""HV19x: how far the data carry the verdicts."""

from __future__ import annotations

from collections.abc import Iterable

from tristrand.findings import Evidence, Relation
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import DRIVING, HV_FILE, PARTS, feeds_back_unsaid
from tristrand.studies.results import Missing

RANGE = "DESIGN#range of temperature"


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
        "back in regeneration, 0 W where it does not; no inverter and no charger draws power in precharge. For every "
        "other device a case that is left out means that it is off."
    ),
    why="A case forgotten at the largest load is computed without it: cables, fuses and pack then seem to have room.",
    sources=("DESIGN#power in each case",),
    failing=((HV_FILE, "parts/drive/power/precharge", "100 W"),),
)
def case_without_power(ctx: Context) -> Iterable[Outcome]:
    """Open where an entry is missing; failed where a power in precharge is given that no study models."""
    used = {case for mode in ctx.design.vehicle.modes.values() for case in mode.high_voltage}
    parts = {**ctx.design.parts_of("inverter"), **ctx.design.parts_of("charger")}
    if not parts:
        yield NotApplicable("there is no inverter and no charger")
    unsaid = feeds_back_unsaid(ctx)
    if unsaid:
        yield ctx.open(unsaid)
    for part_id, part in parts.items():
        at = f"{PARTS}/{part_id}/power"
        driving = [case for case in DRIVING if case in used] if part.kind == "inverter" else []
        gaps = [case for case in driving if case not in part.power]
        if gaps:
            yield ctx.open(
                [Missing(f"{at}/{case}", f"power of {part_id} in case {case}, 0 W where it rests") for case in gaps]
            )
        watts = part.power["precharge"].high if "precharge" in part.power else 0.0
        evidence = Evidence("power in precharge", watts, "W", "<=", 0.0, "DESIGN#power in each case")
        if watts > 0:
            words = "draws power in precharge, which is not modelled: model it as dcdc or heater that starts with_bus"
            yield ctx.finding("fail", f"{at}/precharge", f"{part_id} {words}", evidence)
        elif not gaps:
            said = "says its power in every driving case" if driving else "draws no power in precharge"
            yield ctx.finding("pass", f"{PARTS}/{part_id}", f"{part_id} {said}", evidence)


@rule(
    "HV193",
    "pack-range-left",
    "warning",
    checks="The battery monitor lets the pack work at no temperature for which it was not computed.",
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
    packs = ctx.design.parts_of("pack")
    if not packs:
        yield NotApplicable("there is no pack")
    for name, part in packs.items():
        monitor, span = part.monitor, part.temperature
        trips = None if monitor is None else (monitor.under_temperature, monitor.over_temperature)
        if span is None or trips is None or None in trips or monitor.temperature_error is None:
            gap = "temperature" if span is None else "monitor"
            yield ctx.open([Missing(f"{PARTS}/{name}/{gap}", f"{gap} of {name}, and where its monitor trips")])
            continue
        error, (cold, hot) = monitor.temperature_error.high, (span.minimum.value, span.maximum.value)
        low, high = trips[0].low - error, trips[1].high + error
        out = low < cold or high > hot
        # Of both ends the one that is left further is shown.
        at_cold = not out or cold - low >= high - hot
        worst: tuple[float, Relation, float] = (low, ">=", cold) if at_cold else (high, "<=", hot)
        evidence = Evidence("temperature that the monitor allows", worst[0], "°C", *worst[1:], RANGE)
        said = f"from {low:g} to {high:g} °C; computed is {cold:g} to {hot:g} °C"
        words = "what lies beyond is not covered: widen the range, let it trip sooner, or say what keeps it inside"
        yield ctx.finding(
            "review" if out else "pass",
            f"{PARTS}/{name}/temperature",
            f"{name} may be used {said}" + (f"; {words}" if out else ""),
            evidence,
            related=((f"{PARTS}/{name}/monitor", "its monitor"),),
        )
