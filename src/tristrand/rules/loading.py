"""HV12x: currents in every case against pack, cables and fuses."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Any

from tristrand.findings import Edit, Evidence, WayOut
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, circuit_of, sheet_pointer, sheets_of_kind
from tristrand.studies.results import ConductorFigures, Missing
from tristrand.studies.topology import protecting_fuses

PARTS = "high_voltage/parts"
LEADS = "high_voltage/connections"
NEEDS = ("pack", "operating")
CONDUCTORS = ("pack", "operating", "conductors")


@rule(
    "HV120",
    "no-operating-point",
    "error",
    needs=NEEDS,
    checks="In every case the pack can give the power that is asked, at every corner of charge and temperature.",
    why="Beyond the largest power the voltage collapses: the drive dies while the driver asks for more.",
    sources=("CLOSED-FORM#maximum power transfer",),
    failing=((HV_FILE, "parts/drive/power/peak", "400 kW"),),
)
def no_operating_point(ctx: Context) -> Iterable[Outcome]:
    """Corners without a solution, with the solver's own reason."""
    operating = ctx.results["operating"]
    if not operating.cases:
        yield ctx.open(operating.missing)
        return
    for case in operating.cases.values():
        pointer = f"vehicle/modes/{case.modes[0]}/high_voltage"
        evidence = Evidence(
            "corners without an operating point",
            float(len(case.failed)),
            "",
            "<=",
            0.0,
            "CLOSED-FORM#maximum power transfer",
        )
        if case.failed:
            corner, reason = next(iter(case.failed.items()))
            yield ctx.finding(
                "fail",
                pointer,
                f"case {case.case} has no operating point with the pack {corner}: {reason}",
                evidence,
            )
        else:
            yield ctx.finding(
                "pass",
                pointer,
                f"case {case.case} has an operating point at every corner of the pack",
                evidence,
            )


@rule(
    "HV121",
    "pack-discharge-current",
    "error",
    needs=NEEDS,
    checks=(
        "The pack's current stays within its continuous limit in sustained cases and its peak limit in cases with "
        "a duration."
    ),
    why="Above its limit a cell overheats, or the battery monitor opens the contactors under load.",
    sources=("DATASHEET#pack current",),
    failing=(("parts/pack-84s.yaml", "discharge_current", "40 A"),),
)
def pack_discharge_current(ctx: Context) -> Iterable[Outcome]:
    """Charge cases are judged by HV122."""
    operating = ctx.results["operating"]
    if not operating.cases:
        yield ctx.open(operating.missing)
        return
    for pack_id in ctx.design.parts_of("pack"):
        sheet = ctx.design.sheet_of(pack_id)
        for short, field in ((False, "discharge_current"), (True, "discharge_current_peak")):
            cases = [
                c
                for c in operating.cases.values()
                if c.case != "charge" and (c.duration_s > 0) == short and pack_id in c.flows
            ]
            if not cases:
                continue
            rated, pointer = getattr(sheet, field), sheet_pointer(ctx, pack_id, field)
            if rated is None:
                yield ctx.open([Missing(pointer, f"{field.replace('_', ' ')} of {pack_id}")])
                continue
            worst = max(cases, key=lambda c: c.flows[pack_id].current_a)
            flow = worst.flows[pack_id]
            yield ctx.compare(
                f"{PARTS}/{pack_id}",
                f"pack current in case {worst.case}",
                flow.current_a,
                "A",
                "<=",
                rated.low,
                "DATASHEET#pack current",
                basis=rated.basis,
                subject=pack_id,
                bad=f"gives more than its limit in case {worst.case} ({flow.corner})",
                good=f"stays within its {'peak' if short else 'continuous'} limit",
                related=((pointer, "its limit"),),
            )


@rule(
    "HV122",
    "pack-charge-current",
    "error",
    needs=NEEDS,
    checks="The pack's charging current stays within its limit.",
    why="Too much charging current plates lithium and, in time, shorts cells from within.",
    sources=("DATASHEET#pack charge current",),
    failing=(
        ("vehicle.yaml", "modes/charging", "{high_voltage: [charge]}"),
        ("parts/pack-84s.yaml", "charge_current", "5 A"),
        (HV_FILE, "parts/obc", "{kind: charger, sheet: obc, power: {charge: 6 kW}}"),
        (HV_FILE, "connections/W97", "{from: bus_plus.bar, to: obc.plus, cable: hv-16, length: 1 m}"),
        (HV_FILE, "connections/W98", "{from: bus_minus.bar, to: obc.minus, cable: hv-16, length: 1 m}"),
        ("parts/obc.yaml", "", "{schema_version: 1, kind: charger, output_current: 18 A, output_capacitance: 20 µF}"),
    ),
    passing=(
        ("vehicle.yaml", "modes/charging", "{high_voltage: [charge]}"),
        (HV_FILE, "parts/obc", "{kind: charger, sheet: obc, power: {charge: 6 kW}}"),
        (HV_FILE, "connections/W97", "{from: bus_plus.bar, to: obc.plus, cable: hv-16, length: 1 m}"),
        (HV_FILE, "connections/W98", "{from: bus_minus.bar, to: obc.minus, cable: hv-16, length: 1 m}"),
        ("parts/obc.yaml", "", "{schema_version: 1, kind: charger, output_current: 18 A, output_capacitance: 20 µF}"),
    ),
)
def pack_charge_current(ctx: Context) -> Iterable[Outcome]:
    """The case charge."""
    operating = ctx.results["operating"]
    if not operating.cases:
        yield ctx.open(operating.missing)
        return
    case = operating.cases.get("charge")
    if case is None:
        yield NotApplicable("no mode uses the case charge")
        return
    for pack_id in ctx.design.parts_of("pack"):
        rated, pointer = (
            ctx.design.sheet_of(pack_id).charge_current,
            sheet_pointer(ctx, pack_id, "charge_current"),
        )
        if rated is None:
            yield ctx.open([Missing(pointer, f"charge current of {pack_id}")])
            continue
        yield ctx.compare(
            f"{PARTS}/{pack_id}",
            "charging current",
            case.flows[pack_id].current_a,
            "A",
            "<=",
            rated.low,
            "DATASHEET#pack charge current",
            basis=rated.basis,
            subject=pack_id,
            bad="is charged with more than its limit",
            good="is charged within its limit",
            related=((pointer, "its limit"),),
        )


@rule(
    "HV123",
    "pack-voltage-under-load",
    "error",
    needs=NEEDS,
    checks="Under load the pack stays above the least voltage of its cells, at every corner.",
    why="Below it the battery monitor opens the contactors under load, or cells are harmed for good.",
    sources=("DATASHEET#cell voltage",),
    failing=(
        (HV_FILE, "parts/pack/state_of_charge/minimum", "0 %"),
        ("parts/pack-84s.yaml", "cell_voltage/minimum", "3.1 V"),
    ),
)
def pack_voltage_under_load(ctx: Context) -> Iterable[Outcome]:
    """Terminal voltage against series cells times the least cell voltage."""
    operating = ctx.results["operating"]
    if not operating.cases:
        yield ctx.open(operating.missing)
        return
    for pack_id, figures in ctx.results["pack"].packs.items():
        cases = [c for c in operating.cases.values() if pack_id in c.lowest_v and c.case != "charge"]
        if not cases:
            continue
        worst = min(cases, key=lambda c: c.lowest_v[pack_id])
        yield ctx.compare(
            f"{PARTS}/{pack_id}",
            f"lowest pack voltage in case {worst.case}",
            worst.lowest_v[pack_id],
            "V",
            ">=",
            figures.minimum_v,
            "DATASHEET#cell voltage",
            subject=pack_id,
            bad=f"sags below the least voltage of its cells in case {worst.case}",
            good="stays above the least voltage of its cells",
            related=((sheet_pointer(ctx, pack_id, "cell_voltage"), "its cells"),),
        )


@rule(
    "HV124",
    "power-limit",
    "error",
    needs=NEEDS,
    limit="pack_power_w",
    checks="The power drawn from the pack stays within the rule sets' and the owner's limit.",
    why="Over the limit a racing result is lost; over the owner's own limit the supervisor will cut torque.",
    sources=("FSAE-2026#EV.3.3.1", "FS-FAMILY-2026#EV2.2.1", "DESIGN#power limit"),
    failing=((HV_FILE, "power_limit", "20 kW"),),
    passing=((HV_FILE, "power_limit", "45 kW"),),
)
def power_limit(ctx: Context) -> Iterable[Outcome]:
    """Largest pack power over all cases and corners."""
    limits: list[tuple[float, str]] = []
    set_by_rules, own = ctx.limit(), ctx.design.high_voltage.power_limit
    if set_by_rules is not None:
        limits.append((set_by_rules.value, set_by_rules.source))
    if own is not None:
        limits.append((own.value, "DESIGN#power limit"))
    if not limits:
        yield ctx.no_limit()
        return
    operating = ctx.results["operating"]
    if not operating.cases:
        yield ctx.open(operating.missing)
        return
    most, source = min(limits)
    drawing = [c for c in operating.cases.values() if c.case != "charge" and c.pack_power_w]
    for worst in [max(drawing, key=lambda c: sum(c.pack_power_w.values()))] if drawing else []:
        yield ctx.compare(
            "high_voltage/power_limit" if own is not None else PARTS,
            f"pack power in case {worst.case}",
            sum(worst.pack_power_w.values()),
            "W",
            "<=",
            most,
            source,
            subject="the pack",
            bad=f"gives more than the power limit in case {worst.case}",
            good="stays within the power limit",
        )


@rule(
    "HV125",
    "cable-ampacity",
    "error",
    needs=CONDUCTORS,
    checks="Every cable carries its largest sustained current within the smaller of table and heat-balance ampacity.",
    why=(
        "A cable above its ampacity ages its insulation until it fails to the chassis or to its neighbour, and can "
        "start a fire."
    ),
    sources=("33CFR183#183.425 Table 5", "OWN-COMPARISON#heat balance factor", "FSAE-2026#EV.6.3.1"),
    failing=((HV_FILE, "connections/W10/cable", "hv-4"),),
)
def cable_ampacity(ctx: Context) -> Iterable[Outcome]:
    """Sustained cases; the folder's next thicker cables are the ways out."""
    conductors = ctx.results["conductors"]
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
            related=((f"{LEADS}/{figure.connection}/cable", "the cable"),),
            ways_out=_thicker(ctx, figure, figure.sustained_a),
        )
    if conductors.missing and not conductors.conductors:
        yield ctx.open(conductors.missing)
    elif any("/connections/" in m.pointer or m.pointer.startswith("parts/") for m in conductors.missing):
        yield ctx.open(m for m in conductors.missing)


def _thicker(ctx: Context, figure: ConductorFigures, current_a: float) -> Callable[[], Iterable[WayOut]]:
    def ways() -> Iterable[WayOut]:
        for option in ctx.results["conductors"].options.get(figure.connection, ()):
            if option.ampacity_a >= current_a and option.cable != figure.cable:
                text = f"{option.cable} carries it: {option.ampacity_a:.0f} A as laid in {figure.connection}"
                yield WayOut(text, (Edit(HV_FILE, f"connections/{figure.connection}/cable", option.cable),))

    return ways


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
)
def cable_short_time_heating(ctx: Context) -> Iterable[Outcome]:
    """Adiabatic upper bound: nothing of the pulse's heat is lost. Where the sustained current alone is too much, HV125 speaks."""
    conductors = ctx.results["conductors"]
    if conductors.missing and not conductors.conductors:
        yield ctx.open(conductors.missing)
        return
    judged = False
    for figure in conductors.conductors.values():
        if figure.short_a <= 0 or figure.sustained_a > figure.ampacity.current_a:
            continue
        judged = True
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
        yield NotApplicable("no case has a duration")


@rule(
    "HV127",
    "voltage-drop",
    "warning",
    needs=NEEDS,
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
    if limit is None:
        yield ctx.no_limit()
        return
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


@rule(
    "HV128",
    "fuse-above-cable",
    "error",
    needs=CONDUCTORS,
    limit="fuse_not_above_cable",
    checks="The smallest fuse in all of a cable's loops is rated at most what the cable carries for ever.",
    why="A fuse larger than the cable lets the cable be the fuse.",
    sources=("FSAE-2026#EV.6.6.2b", "PRACTICE#fuse protects cable"),
    failing=((HV_FILE, "parts/fuse_dcdc/sheet", "fuse-160"),),
)
def fuse_above_cable(ctx: Context) -> Iterable[Outcome]:
    """Cables with no sustained current of their own (precharge, discharge) are limited by a resistor and left out.

    Where the cable cannot even carry its own current, HV125 speaks and its way out is checked against this rule too.
    """
    limit = ctx.limit()
    if limit is None:
        yield ctx.no_limit()
        return
    conductors = ctx.results["conductors"]
    if not conductors.conductors:
        yield ctx.open(conductors.missing)
        return
    guarded = protecting_fuses(circuit_of(ctx))
    for figure in conductors.conductors.values():
        if figure.sustained_a <= 0.05 or figure.sustained_a > figure.ampacity.current_a:
            continue
        fuses = guarded.get(figure.connection, ())
        rated = {f: ctx.design.sheet_of(f).rated_current for f in fuses}
        unknown = [f for f, datum in rated.items() if datum is None]
        if unknown or not fuses:
            missing = [Missing(sheet_pointer(ctx, f, "rated_current"), f"rated current of {f}") for f in unknown]
            yield (
                ctx.open(missing)
                if unknown
                else ctx.finding(
                    "fail",
                    f"{LEADS}/{figure.connection}",
                    f"no fuse lies in every loop of cable {figure.connection}",
                )
            )
            continue
        name, datum = min(((f, d) for f, d in rated.items() if d is not None), key=lambda pair: pair[1].value)
        yield ctx.compare(
            f"{LEADS}/{figure.connection}",
            f"rating of {name}",
            datum.value,
            "A",
            "<=",
            figure.ampacity.current_a,
            limit.source,
            subject=f"{name} ({datum.text})",
            bad=f"is larger than cable {figure.connection} ({figure.cable}) carries for ever",
            good=f"protects cable {figure.connection}",
            related=((f"{PARTS}/{name}", "the fuse"),),
            ways_out=_fuse_or_cable(ctx, figure, name, datum.value),
            note=figure.ampacity.name,
        )


def _fuse_or_cable(ctx: Context, figure: ConductorFigures, fuse: str, rated_a: float) -> Callable[[], Iterable[WayOut]]:
    def ways() -> Iterable[WayOut]:
        yield from _thicker(ctx, figure, rated_a)()
        smaller = [
            (sheet.rated_current.value, name, sheet.rated_current.text)
            for name, sheet in sheets_of_kind(ctx, "fuse").items()
            if sheet.rated_current is not None and sheet.rated_current.value <= figure.ampacity.current_a
        ]
        for _, name, text in sorted(smaller, reverse=True):
            yield WayOut(
                f"a {text} fuse protects it: fit {name} as {fuse}",
                (Edit(HV_FILE, f"parts/{fuse}/sheet", name),),
            )

    return ways


@rule(
    "HV129",
    "fuse-carries-load",
    "error",
    needs=NEEDS,
    limit="fuse_share",
    checks="Each fuse carries its largest sustained current within its continuous share of the rating.",
    why="A fuse run near its rating ages and opens one day without a fault, perhaps in traffic.",
    sources=("FUSE-GUIDE#continuous derating", "DATASHEET#continuous share"),
    failing=((HV_FILE, "parts/main_fuse/sheet", "fuse-15"),),
)
def fuse_carries_load(ctx: Context) -> Iterable[Outcome]:
    """The sheet's own continuous share where it gives one, else that of the rule sets."""
    operating = ctx.results["operating"]
    if not operating.cases:
        yield ctx.open(operating.missing)
        return
    for part_id in ctx.design.parts_of("fuse"):
        steady = [
            (c.flows[part_id].current_a, c.case)
            for c in operating.cases.values()
            if c.duration_s == 0 and part_id in c.flows
        ]
        current, case = max(steady, default=(0.0, ""))
        if current < 1e-3:
            continue
        sheet, limit = ctx.design.sheet_of(part_id), ctx.limit()
        if sheet.rated_current is None:
            yield ctx.open([Missing(sheet_pointer(ctx, part_id, "rated_current"), f"rated current of {part_id}")])
            continue
        share, source = (
            (sheet.continuous_share.low, "DATASHEET#continuous share")
            if sheet.continuous_share
            else (limit.value, limit.source)
            if limit
            else (math.nan, "")
        )
        if math.isnan(share):
            yield ctx.open([Missing(sheet_pointer(ctx, part_id, "continuous_share"), f"continuous share of {part_id}")])
            continue
        yield ctx.compare(
            f"{PARTS}/{part_id}",
            "largest sustained current",
            current,
            "A",
            "<=",
            share * sheet.rated_current.value,
            source,
            basis=sheet.rated_current.basis,
            subject=f"{part_id} ({sheet.rated_current.text})",
            bad=f"carries more than {100 * share:.0f} % of its rating in case {case}",
            good="carries its load",
            ways_out=_larger_fuse(ctx, part_id, current / share),
            note=f"{100 * share:.0f} % of the rating",
        )


def _larger_fuse(ctx: Context, part_id: str, least: float) -> Callable[[], Iterable[WayOut]]:
    def ways() -> Iterable[WayOut]:
        fitting = [
            (s.rated_current.value, name, s.rated_current.text)
            for name, s in sheets_of_kind(ctx, "fuse").items()
            if s.rated_current is not None and s.rated_current.value >= least
        ]
        for _, name, text in sorted(fitting):
            yield WayOut(
                f"a {text} fuse carries it: fit {name} as {part_id}",
                (Edit(HV_FILE, f"parts/{part_id}/sheet", name),),
            )

    return ways
