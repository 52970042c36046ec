"""HV128 and HV129: each fuse between the cable it protects and the load it carries."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

from tristrand.findings import Edit, WayOut
from tristrand.rules.rule import Context, Outcome, rule
from tristrand.rules.view import (
    CONDUCTORS,
    HV_FILE,
    LEADS,
    OPERATING,
    PARTS,
    circuit_of,
    sheet_pointer,
    sheets_of_kind,
    thicker_cables,
)
from tristrand.studies.results import ConductorFigures, Missing
from tristrand.studies.topology import protecting_fuses


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
        yield from thicker_cables(ctx, figure, rated_a)()
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
    needs=OPERATING,
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
