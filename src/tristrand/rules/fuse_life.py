"""HV298: fuses that passing loads wear out."""

import math
from collections.abc import Iterable

from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, OPERATING, PARTS, better, sheet_pointer
from tristrand.studies.results import Missing


@rule(
    "HV298",
    "fuse-peak-below-melting",
    "warning",
    needs=(*OPERATING, "fuse_loads"),
    limit="fuse_peak_share",
    checks="The current of a case with a duration is at most half of what melts the fuse in that time.",
    why="Peaks near the melting curve age the element: a fuse that survives the first hill opens on the hundredth.",
    sources=("FUSE-EV-ARTICLE#share of the melting current", "DATASHEET#melting curve"),
    failing=((HV_FILE, "case_duration/peak", "500 s"),),
)
def fuse_peak_below_melting(ctx: Context) -> Iterable[Outcome]:
    """The early end of the sheet's curve; a case longer than the curve reaches stays open."""
    limit, result = ctx.limit(), ctx.results["fuse_loads"]
    if not result.fuses:
        yield ctx.open(result.missing) if result.missing else NotApplicable("there is no fuse")
    if not any(case.duration_s > 0 for case in ctx.results["operating"].cases.values()):
        yield NotApplicable("every case is sustained")
        return
    for name, load in result.fuses.items():
        for timed in load.timed:
            if math.isnan(timed.melting_a):
                what = f"current that melts {name} in {timed.seconds:g} s"
                yield ctx.open([Missing(sheet_pointer(ctx, name, "melting"), what)])
                continue
            yield ctx.compare(
                f"{PARTS}/{name}",
                f"current for {timed.seconds:g} s in case {timed.case}",
                timed.current_a,
                "A",
                "<=",
                limit.value * timed.melting_a,
                limit.source,
                subject=name,
                bad=f"comes too near its melting current in case {timed.case} and ages",
                good=f"stays well below its melting current in case {timed.case}",
                ways_out=better(ctx, name, "rated_current", load.rated_a) if load.rated_a > 0 else None,
                note=f"{100 * limit.value:.0f} % of {timed.melting_a:.0f} A",
            )
