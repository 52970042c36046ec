"""HV109, HV110, HV113 and HV125 to HV127: what a cable must be, what it carries, how warm it gets, what it loses."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from tristrand.findings import Evidence
from tristrand.rules.charging_view import station_gaps
from tristrand.rules.fuses import lead_guards
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import (
    CONDUCTORS,
    HV_FILE,
    LEADS,
    OPERATING,
    PARTS,
    sheets_of_kind,
    thicker_cables,
)
from tristrand.studies.results import DIRECT, ConductorFigures, Missing


@rule(
    "HV109",
    "cable-orange",
    "error",
    limit="orange",
    checks="High-voltage cables have an orange covering.",
    why="Orange is how rescuers, mechanics and inspectors know what can kill them.",
    sources=("UN-R100#5.1.1.5.3", "FSAE-2026#EV.6.3.4"),
    failing=(("parts/hv-16.yaml", "colour", "black"), (HV_FILE, "connections/W13/cable", "hv-16")),
)
def cable_orange(ctx: Context) -> Iterable[Outcome]:
    """Colour of every cable sheet that a connection uses."""
    limit = ctx.limit()
    for name in sorted({lead.cable for lead in ctx.design.high_voltage.connections.values() if lead.cable}):
        colour = ctx.design.sheets[name].colour
        pointer = f"parts/{name}/colour"
        if not colour:
            yield ctx.open([Missing(pointer, f"colour of {name}")])
            continue
        orange = colour.strip().lower() == "orange"
        evidence = Evidence(
            "orange covering", float(orange), "", ">=", 1.0, limit.source, note=f"the sheet says {colour}"
        )
        words = "is orange" if orange else f"is {colour}, not orange"
        yield ctx.finding("pass" if orange else "fail", pointer, f"cable {name} {words}", evidence)


@rule(
    "HV110",
    "insulation-temperature-class",
    "error",
    limit="insulation_c",
    checks="Cable insulation is rated for at least the temperature the rule sets ask for.",
    why="Insulation that softens near brakes, motors or under full load lets the conductor through to the chassis.",
    sources=("FSAE-2026#EV.6.2.1", "FSAE-2026#EV.6.3.2"),
    failing=(
        ("vehicle.yaml", "rule_sets", "[fsae-2026]"),
        ("parts/hv-4.yaml", "temperature_rating", "80 °C"),
    ),
    passing=(("vehicle.yaml", "rule_sets", "[fsae-2026]"),),
)
def insulation_temperature_class(ctx: Context) -> Iterable[Outcome]:
    """Temperature rating of every cable sheet that a connection uses."""
    limit = ctx.limit()
    used = {lead.cable for lead in ctx.design.high_voltage.connections.values() if lead.cable}
    for name, sheet in sheets_of_kind(ctx, "cable").items():
        if name not in used:
            continue
        rating = sheet.temperature_rating
        pointer = f"parts/{name}/temperature_rating"
        if rating is None:
            yield ctx.open([Missing(pointer, f"temperature rating of {name}")])
            continue
        yield ctx.compare(
            pointer,
            "temperature rating",
            (rating.low, rating.high),
            "°C",
            ">=",
            limit.value,
            limit.source,
            basis=rating.basis,
            subject=f"cable {name}",
            bad="has insulation below the temperature the rules ask for",
            good="has insulation for the temperature the rules ask for",
        )


@rule(
    "HV113",
    "bundled-count",
    "warning",
    needs=(*OPERATING, "charging"),
    checks="No more loaded cables share a route than each cable's `bundled` says.",
    why="Cables in a bundle heat each other: an ampacity found for two is too much for each of six.",
    sources=("33CFR183#183.435(b)", "DESIGN#bundled"),
    failing=(
        (HV_FILE, "connections/W10/route", "left sill"),
        (HV_FILE, "connections/W11/route", "left sill"),
        (HV_FILE, "connections/W13/route", "left sill"),
    ),
    passing=(
        (HV_FILE, "connections/W10/route", "left sill"),
        (HV_FILE, "connections/W11/route", "left sill"),
    ),
)
def bundled_count(ctx: Context) -> Iterable[Outcome]:
    """Cables with the same text in ``route`` that carry current in one and the same case count as loaded together.

    While a supply at an inlet charges the pack, so do those on its way and those of the case charge.
    """
    routes: dict[str, list[str]] = {}
    for name, lead in ctx.design.high_voltage.connections.items():
        if lead.cable and lead.route.strip():
            routes.setdefault(lead.route.strip(), []).append(name)
    if not routes:
        yield NotApplicable("no cable names its route")
        return
    operating = ctx.results["operating"]
    if not operating.cases:
        yield ctx.open(operating.missing)
        return
    fast = ctx.results["charging"].fast
    loads = {key: {n for n, flow in c.flows.items() if flow.current_a > 0} for key, c in operating.cases.items()}
    if fast is not None:
        loads[DIRECT] = {*fast.path, *loads.get("charge", ())}
    for route, names in routes.items():
        together = [[n for n in names if n in case] for case in loads.values()]
        loaded = max(together, key=len)
        for name in names:
            said = ctx.design.high_voltage.connections[name].bundled
            # An idle cable heats no other, and its own ampacity is not asked for.
            if not any(name in case for case in together):
                continue
            most = max(len(case) for case in together if name in case)
            yield ctx.compare(
                f"{LEADS}/{name}",
                f"loaded cables on the route {route}",
                float(most),
                "",
                "<=",
                float(said),
                "DESIGN#bundled",
                subject=f"cable {name}",
                bad=f"shares its route with more loaded cables than its bundle of {said} says ({', '.join(loaded)})",
                good="shares its route with no more loaded cables than its bundle says",
                related=((f"{LEADS}/{name}/bundled", "the bundle"),),
            )


@rule(
    "HV125",
    "cable-ampacity",
    "error",
    needs=(*CONDUCTORS, "charging"),
    checks=(
        "Every cable carries its largest sustained current, that of a supply at its inlet included, within the smaller "
        "of table and heat-balance ampacity."
    ),
    why=(
        "A cable above its ampacity ages its insulation until it fails to the chassis or to its neighbour, and can "
        "start a fire."
    ),
    sources=("33CFR183#183.425 Table 5", "OWN-COMPARISON#heat balance factor", "FSAE-2026#EV.6.3.1"),
    failing=((HV_FILE, "connections/W10/cable", "hv-4"),),
    waivable=False,
)
def cable_ampacity(ctx: Context) -> Iterable[Outcome]:
    """Sustained cases; the folder's next thicker cables are the ways out."""
    conductors = ctx.results["conductors"]
    gaps = station_gaps(ctx, tuple(ctx.design.parts_of("inlet")))
    if gaps:
        yield ctx.open(gaps)
    for figure in conductors.conductors.values():
        limit = figure.ampacity
        yield ctx.compare(
            f"{LEADS}/{figure.connection}",
            "sustained current",
            figure.sustained_a,
            "A",
            "<=",
            limit.current_a,
            limit.source,
            subject=f"cable {figure.connection} ({figure.cable})",
            note=f"{limit.name}: {limit.detail}",
            bad=f"carries more than its ampacity in case {figure.sustained_case}",
            good="stays within its ampacity",
            related=((f"{LEADS}/{figure.connection}/cable", "the cable"), *_fuse_too_large(ctx, figure)),
            ways_out=thicker_cables(ctx, figure, figure.sustained_a),
        )
    if conductors.missing and not conductors.conductors:
        yield ctx.open(conductors.missing)
    elif any("/connections/" in m.pointer or m.pointer.startswith("parts/") for m in conductors.missing):
        yield ctx.open(m for m in conductors.missing)


def _fuse_too_large(ctx: Context, figure: ConductorFigures) -> tuple[tuple[str, str], ...]:
    """The fuse of an overloaded cable, where it would not save the cable from a smaller load either."""
    if not figure.sustained_a > figure.ampacity.current_a:
        return ()
    guard = lead_guards(ctx).get(figure.connection)
    if guard is None or not guard.loop_a > figure.ampacity.current_a:
        return ()
    words = f"rated {guard.loop_a:.0f} A, above the cable too: with less load HV128 fails instead"
    return tuple((f"{PARTS}/{fuse}", words) for fuse in guard.loop)


@rule(
    "HV126",
    "cable-short-time-heating",
    "error",
    needs=CONDUCTORS,
    checks=(
        "After the case with a duration, starting from the sustained temperature, the conductor stays below its limit."
    ),
    why="A launch or a hill on top of a warm cable is what softens insulation that steady currents leave alone.",
    sources=("IEC-60364-5-54#adiabatic equation",),
    failing=(
        (HV_FILE, "case_duration/peak", "900 s"),
        (HV_FILE, "parts/drive/power/peak", "50 kW"),
        (HV_FILE, "connections/W10/cable", "hv-16"),
        (HV_FILE, "connections/W11/cable", "hv-16"),
    ),
    passing=((HV_FILE, "case_duration/peak", "10 s"),),
    waivable=False,
)
def cable_short_time_heating(ctx: Context) -> Iterable[Outcome]:
    """Adiabatic upper bound: nothing of the pulse's heat is lost.

    Where the sustained current alone is too much, HV125 speaks.
    """
    conductors = ctx.results["conductors"]
    if conductors.missing and not conductors.conductors:
        yield ctx.open(conductors.missing)
        return
    short = [figure for figure in conductors.conductors.values() if figure.short_a > 0]
    judged = [figure for figure in short if not figure.sustained_a > figure.ampacity.current_a]
    for figure in judged:
        yield ctx.compare(
            f"{LEADS}/{figure.connection}",
            f"conductor temperature after {figure.short_duration_s:g} s of {figure.short_case}",
            figure.short_end_temperature_c,
            "°C",
            "<=",
            figure.conductor_limit_c,
            "IEC-60364-5-54#adiabatic equation",
            subject=f"cable {figure.connection} ({figure.cable})",
            bad=f"gets too warm in case {figure.short_case} (upper bound, no heat lost)",
            good="stays below its temperature limit",
            related=((f"{LEADS}/{figure.connection}/cable", "the cable"),),
        )
    if not judged:
        cases = ctx.results["operating"].cases.values()
        unsolved = [c.case for c in cases if c.duration_s > 0 and not c.flows]
        if unsolved:
            yield ctx.open([Missing("studies/operating", f"an operating point in case {name}") for name in unsolved])
        elif not any(c.duration_s > 0 for c in cases):
            yield NotApplicable("no case that a mode uses has a duration")
        elif not short:
            yield NotApplicable("no cable carries current in a case with a duration")
        else:
            yield NotApplicable("every cable concerned carries too much sustained current already: see HV125")


@rule(
    "HV127",
    "voltage-drop",
    "warning",
    needs=OPERATING,
    limit="drop_share",
    checks="The drop between pack and device, conductors hot, stays within the share of common practice.",
    why="Drop is heat in cables and joints, and voltage the drive does not have.",
    sources=("ABYC-E11#voltage drop",),
    failing=((HV_FILE, "connections/W10/length", "150 m"),),
)
def voltage_drop(ctx: Context) -> Iterable[Outcome]:
    """Per device, over everything between pack and device, as a share of the pack voltage."""
    operating = ctx.results["operating"]
    limit = ctx.limit()
    if not operating.cases:
        yield ctx.open(operating.missing)
        return
    shares: dict[str, tuple[float, Any]] = {}
    for case in operating.cases.values():
        for part_id, share in case.drop_share.items():
            if share > shares.get(part_id, (-1.0, None))[0]:
                shares[part_id] = (share, case)
    for part_id, (share, case) in shares.items():
        yield ctx.compare(
            f"{PARTS}/{part_id}",
            f"drop in case {case.case}",
            100 * share,
            "%",
            "<=",
            100 * limit.value,
            limit.source,
            subject=part_id,
            bad=f"loses {case.drop_v[part_id]:.1f} V on the way from the pack",
            good="gets the pack's voltage with little loss",
        )
