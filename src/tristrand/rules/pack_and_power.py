"""HV120 to HV124: what every case asks of the pack, and what the pack can give."""

from __future__ import annotations

from collections.abc import Iterable

from tristrand.findings import Evidence
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.timed import Allowed, judge_timed, peak, timed
from tristrand.rules.view import HV_FILE, OPERATING, PARTS, WITH_CHARGER, feeds_back_unsaid, sheet_pointer
from tristrand.studies.results import CaseFlows, Missing

LIMIT = "DATASHEET#pack current"
PEAK_LIMIT = "DATASHEET#pack peak current"
INTO_LIMIT = "DATASHEET#pack charge current"
INTO_PEAK = "DATASHEET#pack peak charge current"


@rule(
    "HV120",
    "no-operating-point",
    "error",
    needs=OPERATING,
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
    needs=OPERATING,
    checks=(
        "The pack's current stays within its continuous limit in sustained cases, and in cases with a duration within "
        "that limit or within its peak limit where that lasts as long as the case."
    ),
    why="Above its limit a cell overheats, or the battery monitor opens the contactors under load.",
    sources=(LIMIT, PEAK_LIMIT),
    failing=(("parts/pack-84s.yaml", "discharge_current", "40 A"),),
    waivable=False,
)
def pack_discharge_current(ctx: Context) -> Iterable[Outcome]:
    """What flows into the pack is judged by HV122; what it gives while it is charged or braked into counts here."""
    operating = ctx.results["operating"]
    if not operating.cases:
        yield ctx.open(operating.missing)
        return
    cases = [c.out_of_packs() for c in operating.cases.values()]
    for pack_id in ctx.design.parts_of("pack"):
        driving = [c for c in cases if c.gives(pack_id)]
        sheet = ctx.design.sheet_of(pack_id)
        points, gaps = peak(sheet, "discharge_current_peak", "discharge_peak_time")
        allowed = Allowed(sheet.discharge_current, "discharge_current", points, gaps, LIMIT, PEAK_LIMIT)
        yield from _sustained(ctx, pack_id, [c for c in driving if c.duration_s == 0 and pack_id in c.flows])
        for case in timed(driving, pack_id):
            yield from judge_timed(ctx, pack_id, case, allowed)


def _sustained(ctx: Context, pack_id: str, cases: list[CaseFlows]) -> Iterable[Outcome]:
    if not cases:
        return
    rated = ctx.design.sheet_of(pack_id).discharge_current
    pointer = sheet_pointer(ctx, pack_id, "discharge_current")
    if rated is None:
        yield ctx.open([Missing(pointer, f"discharge current of {pack_id}")])
        return
    worst = max(cases, key=lambda c: c.flows[pack_id].current_a)
    flow = worst.flows[pack_id]
    yield ctx.compare(
        f"{PARTS}/{pack_id}",
        f"pack current in case {worst.case}",
        flow.current_a,
        "A",
        "<=",
        rated.low,
        LIMIT,
        basis=rated.basis,
        subject=pack_id,
        bad=f"gives more than its limit in case {worst.case} ({flow.corner})",
        good="stays within its continuous limit",
        related=((pointer, "its limit"),),
    )


@rule(
    "HV122",
    "pack-charge-current",
    "error",
    needs=OPERATING,
    checks=(
        "The current into the pack stays within its limit, in case charge and wherever a pack beside it is fuller, and "
        "in case regeneration within that limit or within its peak limit where that lasts as long as the case."
    ),
    why="Too much charging current plates lithium and, in time, shorts cells from within.",
    sources=(INTO_LIMIT, INTO_PEAK),
    failing=(*WITH_CHARGER, ("parts/pack-84s.yaml", "charge_current", "5 A")),
    passing=WITH_CHARGER,
    waivable=False,
)
def pack_charge_current(ctx: Context) -> Iterable[Outcome]:
    """Charge and regeneration, and what a fuller pack drives into one beside it; open where feeding back is unsaid."""
    operating = ctx.results["operating"]
    if not operating.cases:
        yield ctx.open(operating.missing)
        return
    unsaid = feeds_back_unsaid(ctx)
    if unsaid:
        yield ctx.open(unsaid)
    cases = [
        (pack_id, case.into_packs())
        for pack_id in ctx.design.parts_of("pack")
        for case in operating.cases.values()
        if case.takes(pack_id) or not case.drives
    ]
    if not cases and not unsaid:
        yield NotApplicable("no mode uses the case charge or regeneration, and no pack drives current into another")
    for pack_id, case in cases:
        yield from _into(ctx, pack_id, case)


def _into(ctx: Context, pack_id: str, case: CaseFlows) -> Iterable[Outcome]:
    sheet, pointer = ctx.design.sheet_of(pack_id), sheet_pointer(ctx, pack_id, "charge_current")
    rated = sheet.charge_current
    if pack_id not in case.flows:
        yield ctx.open([Missing("studies/operating", f"an operating point in case {case.case}")])
    elif timed([case], pack_id):
        points, gaps = peak(sheet, "charge_current_peak", "charge_peak_time")
        allowed = Allowed(rated, "charge_current", points, gaps, INTO_LIMIT, INTO_PEAK)
        yield from judge_timed(ctx, pack_id, case, allowed)
    elif rated is None:
        yield ctx.open([Missing(pointer, f"charge current of {pack_id}")])
    else:
        yield ctx.compare(
            f"{PARTS}/{pack_id}",
            f"current into the pack in case {case.case}",
            case.flows[pack_id].current_a,
            "A",
            "<=",
            rated.low,
            INTO_LIMIT,
            basis=rated.basis,
            subject=pack_id,
            bad=f"takes more than its limit in case {case.case}",
            good=f"takes no more than its limit in case {case.case}",
            related=((pointer, "its limit"),),
        )


@rule(
    "HV123",
    "pack-voltage-under-load",
    "error",
    needs=OPERATING,
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
        cases = [c for c in operating.cases.values() if pack_id in c.lowest_v and c.gives(pack_id)]
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
    needs=OPERATING,
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
    set_by_rules, own = ctx.limit_if_set(), ctx.design.high_voltage.power_limit
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
    drawing = [c for c in operating.cases.values() if c.drives and c.pack_power_w]
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
