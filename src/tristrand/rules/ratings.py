"""HV101 to HV105 and HV108: what each part is rated for against what the circuit asks of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from tristrand.findings import Evidence
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, OPERATING, PARTS, better, highest_v, sheet_pointer, stacks
from tristrand.studies.results import CaseFlows, Missing


def _rated_voltage(ctx: Context, kinds: tuple[str, ...], source: str) -> Iterator[Outcome]:
    """Rated voltage of every part of some kinds against the highest voltage of the packs, those in series added up."""
    highest = highest_v(ctx)
    if highest is None:
        yield ctx.open(ctx.results["pack"].missing)
        return
    for part_id, part in ctx.design.high_voltage.parts.items():
        if part.kind not in kinds or part.kind == "junction":
            continue
        sheet = ctx.design.sheet_of(part_id)
        ranged = part.kind in ("inverter", "dcdc", "heater", "charger")
        rated = (sheet.voltage.maximum if sheet.voltage else None) if ranged else sheet.rated_voltage
        pointer = sheet_pointer(ctx, part_id, "voltage" if ranged else "rated_voltage")
        if rated is None:
            yield ctx.open([Missing(pointer, f"rated voltage of {part_id}")])
            continue
        yield ctx.compare(
            f"{PARTS}/{part_id}",
            "rated voltage",
            (rated.low, rated.high),
            "V",
            ">=",
            highest,
            source,
            basis=rated.basis,
            subject=f"{part_id} ({part.sheet})",
            bad=f"is rated for less than the pack's highest voltage of {highest:.1f} V",
            good="stands the pack's highest voltage",
            related=((pointer, "its data sheet"),),
            ways_out=None if ranged else better(ctx, part_id, "rated_voltage", highest),
        )


def _by(ctx: Context, clause: str) -> str:
    """The clause where its rule set is in force, else the data sheet, which holds in every car."""
    return clause if "fsae-2026" in ctx.rule_sets else "DATASHEET#rated voltage"


@rule(
    "HV101",
    "part-voltage-rating",
    "error",
    needs=("pack",),
    checks="Every part is rated for at least the highest voltage of the pack, packs in series added up.",
    why="Above its rated voltage a contactor no longer breaks the arc, and capacitors and transistors fail short.",
    sources=("FSAE-2026#EV.5.2.1", "DATASHEET#rated voltage"),
    failing=(("parts/inverter-60.yaml", "voltage/maximum", "340 V"),),
    waivable=False,
)
def part_voltage_rating(ctx: Context) -> Iterable[Outcome]:
    """All kinds but fuses and cables, which have rules of their own."""
    kinds = ("contactor", "service_disconnect", "resistor", "inverter", "dcdc", "heater", "charger")
    yield from _rated_voltage(ctx, kinds, _by(ctx, "FSAE-2026#EV.5.2.1"))


@rule(
    "HV102",
    "fuse-dc-voltage",
    "error",
    needs=("pack",),
    checks="Every fuse is rated for direct current of at least the pack's highest voltage, packs in series added up.",
    why="A fuse below its voltage melts but keeps the arc, and burns its box instead of opening.",
    sources=("FSAE-2026#EV.6.6.2a", "DATASHEET#rated voltage"),
    failing=(("parts/fuse-15.yaml", "rated_voltage", "250 V"),),
    waivable=False,
)
def fuse_dc_voltage(ctx: Context) -> Iterable[Outcome]:
    """Rated direct voltage of each fuse."""
    yield from _rated_voltage(ctx, ("fuse",), _by(ctx, "FSAE-2026#EV.6.6.2a"))


@rule(
    "HV103",
    "cable-voltage-rating",
    "error",
    needs=("pack",),
    checks="Every cable is rated for at least the highest voltage of the pack, packs in series added up.",
    why="Insulation below its rating tracks and breaks down, first where it is bent or wet.",
    sources=("FSAE-2026#EV.5.2.5", "DATASHEET#rated voltage"),
    failing=(("parts/hv-4.yaml", "rated_voltage", "60 V"),),
    waivable=False,
)
def cable_voltage_rating(ctx: Context) -> Iterable[Outcome]:
    """Rated voltage of every cable sheet that a connection uses."""
    highest = highest_v(ctx)
    if highest is None:
        yield ctx.open(ctx.results["pack"].missing)
        return
    for name in sorted({lead.cable for lead in ctx.design.high_voltage.connections.values() if lead.cable}):
        sheet: Any = ctx.design.sheets[name]
        pointer = f"parts/{name}/rated_voltage"
        if sheet.rated_voltage is None:
            yield ctx.open([Missing(pointer, f"rated voltage of {name}")])
            continue
        rated = sheet.rated_voltage
        yield ctx.compare(
            pointer,
            "rated voltage",
            (rated.low, rated.high),
            "V",
            ">=",
            highest,
            _by(ctx, "FSAE-2026#EV.5.2.5"),
            basis=rated.basis,
            subject=f"cable {name}",
            bad=f"is rated for less than the pack's highest voltage of {highest:.1f} V",
            good="stands the pack's highest voltage",
        )


@rule(
    "HV104",
    "system-voltage",
    "error",
    needs=("pack",),
    limit="system_voltage_v",
    checks="The highest voltage of the pack, packs in series added up, stays within what the rule sets in force allow.",
    why=(
        "Above it the car is refused, or falls into a class of voltage that its parts and its people are not "
        "prepared for."
    ),
    sources=("FSAE-2026#EV.3.3.2", "UN-R100#2"),
    failing=(("parts/pack-84s.yaml", "cells_in_series", "400"),),
    waivable=False,
)
def system_voltage(ctx: Context) -> Iterable[Outcome]:
    """Every cell at its maximum."""
    limit = ctx.limit()
    if highest_v(ctx) is None:
        yield ctx.open(ctx.results["pack"].missing)
        return
    for chain in stacks(ctx):
        several = len(chain.packs) > 1
        yield ctx.compare(
            f"{PARTS}/{chain.packs[0]}",
            f"highest voltage of {' and '.join(chain.packs)} in series" if several else "highest pack voltage",
            chain.volts,
            "V",
            "<=",
            limit.value,
            limit.source,
            subject=f"{' and '.join(chain.packs)} in series" if several else chain.packs[0],
            bad="goes above the voltage that the rules allow",
            good="stays within the voltage that the rules allow",
        )


@rule(
    "HV105",
    "device-voltage-window",
    "error",
    needs=OPERATING,
    checks=(
        "In every case each device sees a voltage inside its working range and, asked for power, does not stay off nor "
        "get less than 99 % of what is asked, at every corner of the pack."
    ),
    why="Below its window a converter or inverter switches off while driving: lights, steering and drive go with it.",
    sources=("DATASHEET#voltage range", "DATASHEET#input current limit"),
    failing=(("parts/inverter-60.yaml", "voltage/minimum", "300 V"),),
)
def device_voltage_window(ctx: Context) -> Iterable[Outcome]:
    """Lowest and highest voltage of the operating study at the device's own terminals.

    A device that is asked for power and draws none, because the voltage lies below its turn-on voltage, stays off. One
    whose input current limit is reached, or that hovers at its threshold, gets less than is asked.
    """
    operating = ctx.results["operating"]
    if not operating.cases:
        yield ctx.open(operating.missing)
        return
    for part_id, part in ctx.design.high_voltage.parts.items():
        if part.kind not in ("inverter", "dcdc", "heater", "charger"):
            continue
        window = ctx.design.sheet_of(part_id).voltage
        pointer = sheet_pointer(ctx, part_id, "voltage")
        used = [
            c
            for c in operating.cases.values()
            if part_id in c.lowest_v and c.flows.get(part_id) and c.flows[part_id].current_a > 0
        ]
        off = [c for c in operating.cases.values() if part_id in c.stays_off]
        for case in off:
            yield _stays_off(ctx, part_id, case)
        for case in operating.cases.values():
            if part_id in case.starved:
                yield _starved(ctx, part_id, case)
        if window is None:
            yield ctx.open([Missing(pointer, f"voltage range of {part_id}")])
            continue
        if not used:
            if not off:
                words = f"{part_id} draws nothing in any solved case"
                yield ctx.finding("not_applicable", f"{PARTS}/{part_id}", words)
            continue
        low = min(used, key=lambda c: c.lowest_v[part_id])
        high = max(used, key=lambda c: c.highest_v[part_id])
        at = f"{PARTS}/{part_id}"
        yield ctx.compare(
            at,
            f"lowest voltage in case {low.case}",
            low.lowest_v[part_id],
            "V",
            ">=",
            window.minimum.value,
            "DATASHEET#voltage range",
            basis=window.minimum.basis,
            subject=part_id,
            bad=f"falls below its working range in case {low.case}",
            good="stays above its least voltage",
            related=((pointer, "its voltage range"),),
        )
        yield ctx.compare(
            at,
            f"highest voltage in case {high.case}",
            high.highest_v[part_id],
            "V",
            "<=",
            window.maximum.value,
            "DATASHEET#voltage range",
            basis=window.maximum.basis,
            subject=part_id,
            bad=f"rises above its working range in case {high.case}",
            good="stays below its highest voltage",
            related=((pointer, "its voltage range"),),
        )


def _stays_off(ctx: Context, part_id: str, case: CaseFlows) -> Outcome:
    corners = case.stays_off[part_id]
    evidence = Evidence(
        f"corners at which it draws nothing in case {case.case}",
        float(len(corners)),
        "",
        "<=",
        0.0,
        "DATASHEET#turn-on voltage",
        note=f"lowest voltage at its terminals {case.lowest_v[part_id]:.1f} V",
    )
    return ctx.finding(
        "fail",
        f"{PARTS}/{part_id}",
        f"{part_id} stays off in case {case.case} with the pack {corners[0]}, though power is asked of it",
        evidence,
        related=((sheet_pointer(ctx, part_id, "turn_on_voltage"), "its turn-on voltage"),),
    )


def _starved(ctx: Context, part_id: str, case: CaseFlows) -> Outcome:
    worst = case.starved[part_id]
    cap = getattr(ctx.design.sheet_of(part_id), "input_current_limit", None)
    limited = cap is not None and worst.current_a >= 0.999 * cap.value
    field = "input_current_limit" if limited else "turn_on_voltage"
    evidence = Evidence(
        f"power at the bus in case {case.case}, {worst.corner}",
        worst.power_w,
        "W",
        ">=",
        worst.asked_w,
        "DATASHEET#input current limit" if limited else "DATASHEET#turn-on voltage",
        note=f"{worst.current_a:.3g} A, its input current limit" if limited else "it hovers at its turn-on voltage",
    )
    got = f"{part_id} gets only {worst.power_w:.0f} W of {worst.asked_w:.0f} W in case {case.case}"
    return ctx.finding(
        "fail",
        f"{PARTS}/{part_id}",
        f"{got} with the pack {worst.corner}",
        evidence,
        related=((sheet_pointer(ctx, part_id, field), f"its {field.replace('_', ' ')}"),),
    )


@rule(
    "HV108",
    "converter-power",
    "error",
    needs=("pack",),
    checks=(
        "The power asked of a DC-DC converter, heater or charger in each case stays within its rated power; for a "
        "plain resistance, what the pack's highest voltage drives through it."
    ),
    why="An overloaded converter limits its output voltage: the 12 V circuit falls while everything looks switched on.",
    sources=("DATASHEET#rated power",),
    failing=((HV_FILE, "parts/dcdc/power/continuous", "2 kW"),),
)
def converter_power(ctx: Context) -> Iterable[Outcome]:
    """Power at the bus terminals; for a DC-DC converter its rated output over its efficiency.

    A heater with control resistance takes V²/R whatever power is typed: judged where a case asks any of it.
    """
    found = False
    for part_id, part in ctx.design.high_voltage.parts.items():
        if part.kind not in ("dcdc", "heater", "charger") or not part.power:
            continue
        found = True
        sheet = ctx.design.sheet_of(part_id)
        pointer = sheet_pointer(ctx, part_id, "rated_power")
        share = sheet.efficiency if part.kind == "dcdc" else None
        if sheet.rated_power is None or (part.kind == "dcdc" and share is None):
            field = "rated_power" if sheet.rated_power is None else "efficiency"
            yield ctx.open([Missing(sheet_pointer(ctx, part_id, field), f"{field.replace('_', ' ')} of {part_id}")])
            continue
        if part.kind == "heater" and sheet.control == "resistance":
            yield _resistance_power(ctx, part_id, max(part.power.values(), key=lambda datum: datum.high).high)
            continue
        most = sheet.rated_power.value / (share.value if share is not None else 1.0)
        case, power = max(part.power.items(), key=lambda item: item[1].value)
        yield ctx.compare(
            f"{PARTS}/{part_id}",
            f"power at the bus in case {case}",
            (power.low, power.high),
            "W",
            "<=",
            most,
            "DATASHEET#rated power",
            subject=part_id,
            bad=f"is asked for more than its rated power in case {case}",
            good="stays within its rated power",
            related=((pointer, "its rating"),),
            note="rated output over efficiency" if share is not None else "",
        )
    if not found:
        yield NotApplicable("no converter, heater or charger draws power in any case")


def _resistance_power(ctx: Context, part_id: str, asked_w: float) -> Outcome:
    """A plain resistance against its rating: V_max²/R_low, or nothing where no case switches it on."""
    sheet, highest = ctx.design.sheet_of(part_id), highest_v(ctx)
    if highest is None:
        return ctx.open(ctx.results["pack"].missing)
    if sheet.resistance is None:
        return ctx.open([Missing(sheet_pointer(ctx, part_id, "resistance"), f"resistance of {part_id}")])
    return ctx.compare(
        f"{PARTS}/{part_id}",
        f"power at the pack's highest voltage, {highest:.1f} V",
        highest**2 / sheet.resistance.low if asked_w > 0 else 0.0,
        "W",
        "<=",
        sheet.rated_power.low,
        "DATASHEET#rated power",
        basis=sheet.rated_power.basis,
        subject=part_id,
        bad="draws more than its rated power at the pack's highest voltage",
        good="stays within its rated power",
        related=((sheet_pointer(ctx, part_id, "rated_power"), "its rating"),),
        note="V²/R with R at the low end of its tolerance: a plain resistance takes this whatever power is typed",
    )
