"""HV106, HV107 and HV112: the currents of contactors, disconnects and devices, for ever and for a time."""

from __future__ import annotations

from collections.abc import Iterable

from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.timed import Allowed, judge_timed, overloads, peak, timed
from tristrand.rules.view import HV_FILE, OPERATING, PARTS, against_sheet, better, circuit_of
from tristrand.studies.results import Missing
from tristrand.studies.topology import uppermost


@rule(
    "HV106",
    "part-continuous-current",
    "error",
    needs=OPERATING,
    checks=(
        "Contactors, service disconnects and devices carry the largest sustained current within their continuous "
        "rating, and the current of a case with a duration within it or within an overload entry of their sheet that "
        "lasts as long."
    ),
    why="A contact that runs above its rating heats its terminals, softens, and in the end welds or opens.",
    sources=("DATASHEET#continuous current", "DATASHEET#overload", "FSAE-2026#EV.6.3.1"),
    failing=(("parts/contactor-200.yaml", "continuous_current", "40 A"),),
    passing=(
        ("parts/contactor-200.yaml", "continuous_current", "100 A"),
        ("parts/contactor-200.yaml", "overload", "[{current: 150 A, time: 60 s}]"),
    ),
)
def part_continuous_current(ctx: Context) -> Iterable[Outcome]:
    """Sustained and timed cases; an inverter's timed cases are judged by HV107."""
    operating = ctx.results["operating"]
    if not operating.cases:
        yield ctx.open(operating.missing)
        return
    for part_id, part in ctx.design.high_voltage.parts.items():
        if part.kind not in ("contactor", "service_disconnect", "inverter", "dcdc", "heater"):
            continue
        sheet = ctx.design.sheet_of(part_id)
        yield from _sustained(ctx, part_id)
        if part.kind != "inverter":
            for case in timed(operating.cases.values(), part_id):
                allowed = Allowed(sheet.continuous_current, "continuous_current", overloads(sheet))
                yield from judge_timed(ctx, part_id, case, allowed)


def _sustained(ctx: Context, part_id: str) -> Iterable[Outcome]:
    cases = ctx.results["operating"].cases.values()
    steady = [(c.flows[part_id].current_a, c) for c in cases if c.duration_s == 0 and part_id in c.flows]
    current, case = max(steady, key=lambda pair: pair[0], default=(0.0, None))
    if case is None or current <= 0:
        return
    yield against_sheet(
        ctx,
        part_id,
        "continuous_current",
        "continuous current",
        "DATASHEET#continuous current",
        "largest sustained current",
        current,
        "A",
        "<=",
        bad=f"carries more than its continuous rating in case {case.case} ({case.flows[part_id].corner})",
        good="stays within its continuous rating",
        mark="its rating",
        ways_out=better(ctx, part_id, "continuous_current", current),
    )


@rule(
    "HV107",
    "inverter-peak-current",
    "error",
    needs=OPERATING,
    checks=(
        "The inverter's bus current in a case with a duration stays within its continuous rating, or within its peak "
        "rating where that lasts as long as the case."
    ),
    why="Past its peak rating an inverter limits or trips, in the middle of an overtaking manoeuvre.",
    sources=("DATASHEET#peak current", "DATASHEET#continuous current"),
    failing=(("parts/inverter-60.yaml", "peak_time", "5 s"),),
)
def inverter_peak_current(ctx: Context) -> Iterable[Outcome]:
    """Cases with a duration. A peak rating without its time covers no case: the rule stays open and names the field."""
    operating = ctx.results["operating"]
    if not operating.cases:
        yield ctx.open(operating.missing)
        return
    inverters = ctx.design.parts_of("inverter")
    if not inverters:
        yield NotApplicable("there is no inverter")
    for part_id in inverters:
        sheet = ctx.design.sheet_of(part_id)
        points, gaps = peak(sheet, "peak_current", "peak_time")
        cases = timed(operating.cases.values(), part_id)
        for case in cases:
            allowed = Allowed(
                sheet.continuous_current,
                "continuous_current",
                points,
                gaps,
                point_source="DATASHEET#peak current",
            )
            yield from judge_timed(ctx, part_id, case, allowed)
        if not cases:
            words = f"{part_id} draws nothing in any solved case with a duration"
            yield ctx.finding("not_applicable", f"{PARTS}/{part_id}", words)


@rule(
    "HV112",
    "rules-current-limit",
    "error",
    needs=OPERATING,
    limit="pack_current_a",
    checks="The current drawn from the packs stays within what the rule sets in force allow.",
    why="Over the limit a racing result is lost, whatever fuses and cables would stand.",
    sources=("FS-FAMILY-2026#EV2.2.1",),
    failing=(
        ("vehicle.yaml", "rule_sets", "[fs-family-2026]"),
        (HV_FILE, "parts/drive/power/peak", "130 kW"),
        ("parts/pack-84s.yaml", "link_resistance", "1 mΩ"),
        (HV_FILE, "parts/pack/state_of_charge/minimum", "20 %"),
    ),
    passing=(("vehicle.yaml", "rule_sets", "[fs-family-2026]"),),
)
def rules_current_limit(ctx: Context) -> Iterable[Outcome]:
    """Packs in series carry one current; those in parallel add up. The upper bound over the corners of each pack."""
    limit = ctx.limit()
    operating = ctx.results["operating"]
    if not operating.cases:
        yield ctx.open(operating.missing)
        return
    circuit = circuit_of(ctx)
    # Packs in a ring have no uppermost one; then every pack counts.
    top = uppermost(circuit) or tuple(p.id for p in circuit.packs)
    drawn = [
        (sum(c.flows[p].current_a for p in top), c)
        for c in operating.cases.values()
        if c.drives and top and all(p in c.flows for p in top)
    ]
    if not drawn:
        failed = [c.case for c in operating.cases.values() if c.drives and c.failed]
        yield (
            ctx.open([Missing("studies/operating", f"an operating point in case {name}") for name in failed])
            if failed
            else NotApplicable("no mode uses a driving case")
        )
        return
    current, worst = max(drawn, key=lambda pair: pair[0])
    yield ctx.compare(
        f"{PARTS}/{top[0]}",
        f"current of the packs in case {worst.case}",
        current,
        "A",
        "<=",
        limit.value,
        limit.source,
        subject="the pack" if len(top) == 1 else f"the sum of {', '.join(top)}",
        bad=f"gives more current than the rules allow in case {worst.case}",
        good="stays within the rules' limit of current",
        note="" if len(top) == 1 else "packs in parallel added up",
    )
