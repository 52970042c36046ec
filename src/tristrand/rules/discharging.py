"""HV15x: discharge of the bus after the contactors open."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Any

from tristrand.findings import Edit, WayOut
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, PARTS, sheet_pointer, sheets_of_kind
from tristrand.studies.results import DischargeResult, Missing

NEEDS = ("pack", "discharge")


def _limit(ctx: Context) -> tuple[float, str] | None:
    """The stricter of the rule sets' and the owner's time to 60 V."""
    found = []
    limit, own = ctx.limit_if_set("discharge_time_s"), ctx.design.high_voltage.discharge.within
    if limit is not None:
        found.append((limit.value, limit.source))
    if own is not None:
        found.append((own.value, "DESIGN#discharge within"))
    return min(found, key=lambda pair: pair[0]) if found else None


def _result(ctx: Context) -> DischargeResult | None:
    result: DischargeResult = ctx.results["discharge"]
    return result if result.cases else None


def _no_result(ctx: Context, reason: str) -> Outcome:
    """What to say instead of a verdict: what is missing, else why there is nothing to discharge."""
    missing = ctx.results["discharge"].missing
    return ctx.open(missing) if missing else NotApplicable(reason)


@rule(
    "HV150",
    "discharge-too-slow",
    "error",
    needs=NEEDS,
    limit="discharge_time_s",
    checks="After every opening order the bus falls to 60 V within the time the rule sets and the owner ask for.",
    why="Whoever opens a box after the contactors have dropped counts on the bus being dead.",
    sources=("FSAE-2026#EV.7.2.2c", "FS-FAMILY-2026#EV6.1.5", "IEC-60204-1#6.2.4"),
    failing=(("parts/resistor-2k2.yaml", "resistance", "8 kΩ ± 5 %"),),
    waivable=False,
)
def discharge_too_slow(ctx: Context) -> Iterable[Outcome]:
    """The slowest opening order that leaves no source on the bus, at the high ends of capacitance and resistance."""
    limit, result = _limit(ctx), _result(ctx)
    if limit is None:
        yield ctx.no_limit()
        return
    if result is None:
        yield _no_result(ctx, "no main contactor joins a pack to a capacitor on a bus")
        return
    seconds = result.slowest_active_s if not math.isnan(result.slowest_active_s) else math.inf
    pointer = f"{PARTS}/{result.resistors[0]}" if result.resistors else PARTS
    yield ctx.compare(
        pointer,
        "time to 60 V",
        seconds,
        "s",
        "<=",
        limit[0],
        limit[1],
        subject="the bus",
        bad=f"takes too long to fall to 60 V ({result.slowest_active_case})",
        good="falls to 60 V in time",
        ways_out=_faster(ctx, result),
        note=(
            f"{result.capacitance_f * 1e6:.0f} µF from {result.start_v:.0f} V; counted from the loss of coil supply, "
            "machine at rest, nothing charging"
        ),
    )


def _faster(ctx: Context, result: DischargeResult) -> Callable[[], Iterable[WayOut]]:
    def ways() -> Iterable[WayOut]:
        for name in result.resistors:
            most = result.largest_resistance_ohm.get(name, math.nan)
            part: Any = ctx.design.high_voltage.parts[name]
            fitting = sorted(
                (
                    (s.resistance.value, key, s)
                    for key, s in sheets_of_kind(ctx, "resistor").items()
                    if s.resistance is not None
                    and key != part.sheet
                    and s.resistance.high <= most
                    and s.rated_power is not None
                    and s.rated_power.low >= result.start_v**2 / s.resistance.low
                ),
                key=lambda item: -item[0],
            )
            for _, key, sheet in fitting:
                below = f"{sheet.resistance.text} is below the {most / 1000:.3g} kΩ that the time allows"
                yield WayOut(f"fit {key} as {name}: {below}", (Edit(HV_FILE, f"parts/{name}/sheet", key),))
            if not fitting and most > 0:
                yield _by_value(part.sheet, name, result, most, ctx)

    return ways


def _by_value(sheet: str, name: str, result: DischargeResult, most: float, ctx: Context) -> WayOut:
    """No sheet of the folder fits: ask for a resistance and a power."""
    old = ctx.design.sheets[sheet].resistance
    spread = max(old.high / old.value - 1.0, 0.0)
    ohm = float(f"{most / (1 + spread) * 0.98:.2g}")
    while ohm * (1 + spread) > most:
        ohm *= 0.95
    watts = math.ceil(result.start_v**2 / (ohm * (1 - spread)) / 5) * 5
    tolerance = f" ± {100 * spread:.3g} %" if spread else ""
    words = f"fit a resistor of at most {ohm:.3g} Ω rated for {watts:g} W as {name}"
    return WayOut(words, _new_sheet(ctx, name, f"{ohm:.6g} Ω{tolerance}", watts))


def _new_sheet(ctx: Context, name: str, ohm: str, watts: float) -> tuple[Edit, ...]:
    """Edits that put a resistor not yet bought in a part's place: a sheet of its own, its other data still unknown."""
    part: Any = ctx.design.high_voltage.parts[name]
    old = ctx.design.sheets[part.sheet]
    sheet = f"{name}-{watts:g}w"
    lines = [
        "schema_version: 1",
        "kind: resistor",
        f"title: resistor to be found for {name}",
        "basis: assumed",
        "source: asked for by a check, not yet bought",
        f"resistance: {ohm}",
        f"rated_power: {watts:g} W",
    ]
    lines += [f"rated_voltage: {old.rated_voltage.text}"] if old.rated_voltage is not None else []
    text = "\n".join(lines) + "\n"
    return Edit(f"parts/{sheet}.yaml", "", text), Edit(HV_FILE, f"parts/{name}/sheet", sheet)


@rule(
    "HV151",
    "discharge-resistor-power",
    "error",
    needs=NEEDS,
    checks="A discharge resistor stands the full pack voltage for ever, by its rated power and by its temperature.",
    why="A welded contactor leaves the pack on the discharge: it must not become the fire.",
    sources=("FS-FAMILY-2026#EV4.9.1", "CLOSED-FORM#power in a resistor"),
    failing=(("parts/resistor-2k2.yaml", "rated_power", "20 W"),),
    waivable=False,
)
def discharge_resistor_power(ctx: Context) -> Iterable[Outcome]:
    """V²/R at the highest pack voltage and the low end of the resistance; the body's steady temperature where known."""
    result = _result(ctx)
    if result is None or not result.resistors:
        yield _no_result(ctx, "there is no discharge resistor")
        return
    for name in result.resistors:
        rated = ctx.design.sheet_of(name).rated_power
        pointer = sheet_pointer(ctx, name, "rated_power")
        if rated is None:
            yield ctx.open([Missing(pointer, f"rated power of {name}")])
            continue
        power = result.resistor_power_w[name]
        yield ctx.compare(
            f"{PARTS}/{name}",
            "power if left on the bus",
            power,
            "W",
            "<=",
            rated.low,
            "CLOSED-FORM#power in a resistor",
            basis=rated.basis,
            subject=name,
            bad="would burn if it stayed on the bus",
            good="stands the bus for ever",
            related=((pointer, "its rating"),),
            ways_out=_stronger(ctx, name, power),
        )
        steady = result.resistor_steady_c.get(name, math.nan)
        limit = ctx.design.sheet_of(name).temperature_limit
        if limit is None or math.isnan(steady):
            fields = [
                f for f in ("thermal_resistance", "temperature_limit") if getattr(ctx.design.sheet_of(name), f) is None
            ]
            gaps = [Missing(sheet_pointer(ctx, name, f), f"{f.replace('_', ' ')} of {name}") for f in fields]
            yield ctx.open(gaps or [Missing("vehicle/ambient", f"air temperature round {name}")])
        else:
            yield ctx.compare(
                f"{PARTS}/{name}",
                "body temperature if left on the bus",
                steady,
                "°C",
                "<=",
                limit.low,
                "CLOSED-FORM-HEAT#one-node thermal model",
                basis=limit.basis,
                subject=name,
                bad="would get too hot if it stayed on the bus",
                good="stays cool enough on the bus for ever",
            )


def _stronger(ctx: Context, name: str, power: float) -> Callable[[], Iterable[WayOut]]:
    def ways() -> Iterable[WayOut]:
        part: Any = ctx.design.high_voltage.parts[name]
        own = ctx.design.sheets[part.sheet].resistance
        for key, sheet in sheets_of_kind(ctx, "resistor").items():
            alike = sheet.resistance is not None and own.low <= sheet.resistance.value <= own.high
            if key != part.sheet and alike and sheet.rated_power is not None and sheet.rated_power.low >= power:
                yield WayOut(f"fit {key} as {name}", (Edit(HV_FILE, f"parts/{name}/sheet", key),))
        watts = math.ceil(power / 5) * 5.0
        yield WayOut(f"fit the same resistance rated for {watts:g} W", _new_sheet(ctx, name, own.text, watts))

    return ways


@rule(
    "HV152",
    "discharge-endurance",
    "error",
    needs=NEEDS,
    limit="discharge_endurance_s",
    checks="A discharge resistor stands the full pack voltage for the time the rule sets ask for.",
    why=(
        "The shutdown circuit may open with the main contactors welded: the discharge is then the last thing that "
        "still works."
    ),
    sources=("FSAE-2026#EV.5.6.3d",),
    failing=(
        ("vehicle.yaml", "rule_sets", "[fsae-2026]"),
        ("parts/resistor-2k2.yaml", "heat_capacity", "2 J/K"),
        ("parts/resistor-2k2.yaml", "thermal_resistance", "8 K/W"),
    ),
    passing=(("vehicle.yaml", "rule_sets", "[fsae-2026]"),),
    waivable=False,
)
def discharge_endurance(ctx: Context) -> Iterable[Outcome]:
    """Body temperature after 15 s at the highest pack voltage, one-node model."""
    limit, result = ctx.limit(), _result(ctx)
    if result is None or not result.resistors:
        yield _no_result(ctx, "there is no discharge resistor")
        return
    for name in result.resistors:
        sheet = ctx.design.sheet_of(name)
        warm = result.resistor_temperature_15s_c.get(name, math.nan)
        if sheet.temperature_limit is None or math.isnan(warm):
            fields = [
                f for f in ("heat_capacity", "thermal_resistance", "temperature_limit") if getattr(sheet, f) is None
            ]
            yield ctx.open(
                [
                    Missing(sheet_pointer(ctx, name, f), f"{f.replace('_', ' ')} of {name}")
                    for f in fields or ["heat_capacity"]
                ]
            )
            continue
        yield ctx.compare(
            f"{PARTS}/{name}",
            f"body temperature after {limit.value:g} s",
            warm,
            "°C",
            "<=",
            sheet.temperature_limit.low,
            limit.source,
            subject=name,
            bad="gets too hot in the time it must stand the full voltage",
            good="stands the full voltage long enough",
        )


@rule(
    "HV153",
    "bus-live-after-one-weld",
    "error",
    needs=NEEDS,
    checks="With any single main contactor welded, the others still take the voltage between the poles off the bus.",
    why="Welding is the likeliest single failure; one weld must not leave the bus live.",
    sources=("DESIGN#single failures",),
    failing=((HV_FILE, "connections/W98", "{from: k_minus.a, to: k_minus.b, resistance: 1 mΩ}"),),
    waivable=False,
)
def bus_live_after_one_weld(ctx: Context) -> Iterable[Outcome]:
    """The discharge study's cases with one contactor welded."""
    result = _result(ctx)
    if result is None:
        yield _no_result(ctx, "no main contactor joins a pack to a capacitor on a bus")
        return
    # With the discharge at work; the discharge failed as well would be two failures.
    welded = [case for case in result.cases if case.active and "weld" in case.name]
    if not welded:
        yield NotApplicable("there is no main contactor")
    for case in welded:
        yield ctx.compare(
            PARTS,
            f"bus voltage, {case.name}",
            case.final_v,
            "V",
            "<=",
            60.0,
            "DESIGN#single failures",
            subject="the bus",
            bad=f"stays live: {case.name}",
            good=f"goes dead between its poles: {case.name} (one pole may stay on the pack)",
        )


@rule(
    "HV154",
    "passive-discharge",
    "warning",
    needs=NEEDS,
    checks=(
        "If the switched discharge fails, the built-in resistances still bring the bus below 60 V within five minutes."
    ),
    why="The time on the warning label is the passive one; without it nobody knows how long to wait.",
    sources=("MEMORY#passive discharge in five minutes",),
    failing=(("parts/inverter-60.yaml", "bleed_resistance", "2 MΩ"),),
)
def passive_discharge(ctx: Context) -> Iterable[Outcome]:
    """Five minutes stand from memory; the finding says so."""
    result = _result(ctx)
    if result is None:
        yield _no_result(ctx, "no main contactor joins a pack to a capacitor on a bus")
        return
    seconds = result.passive_s if not math.isnan(result.passive_s) else math.inf
    yield ctx.compare(
        PARTS,
        "time to 60 V without the switched discharge",
        seconds,
        "s",
        "<=",
        300.0,
        "MEMORY#passive discharge in five minutes",
        subject="the bus",
        bad="stays live for more than five minutes if the switched discharge fails",
        good="goes dead by itself within five minutes",
    )
