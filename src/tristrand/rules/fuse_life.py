"""HV297 and HV298: fuses that many starts or passing loads wear out."""

import math
from collections.abc import Iterable, Iterator

from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, OPERATING, PARTS, better, sheet_pointer
from tristrand.studies.results import FusePulse, Missing

DUTY = "high_voltage/switching_duty"


@rule(
    "HV297",
    "fuse-outlives-starts",
    "warning",
    needs=("pack", "precharge", "fuse_pulses"),
    checks="The surge of one closing stays within the share of a fuse's melting I²t that the starts of a life leave.",
    why="Each pulse strains the element a little: after thousands of starts a fuse opens one day without a fault.",
    sources=("FUSE-GUIDE#pulse cycle life", "DATASHEET#I2t of the fuse"),
    failing=(("parts/fuse-160.yaml", "melting_joule_integral", "6 A²s"),),
)
def fuse_outlives_starts(ctx: Context) -> Iterable[Outcome]:
    """Every fuse takes of the surge what the capacitors behind it take."""
    result = ctx.results["fuse_pulses"]
    if not result.fuses:
        gone = NotApplicable("no closing surge is computed, or no fuse lies in its way")
        yield ctx.open(result.missing) if result.missing else gone
    for name, pulse in result.fuses.items():
        gaps = list(_pulse_gaps(ctx, name, pulse))
        if gaps:
            yield ctx.open(gaps)
            continue
        yield ctx.compare(
            f"{PARTS}/{name}",
            "I²t of the closing surge through it",
            pulse.surge_a2s,
            "A²s",
            "<=",
            pulse.allowed_share * pulse.melting_a2s,
            "FUSE-GUIDE#pulse cycle life",
            subject=name,
            bad=f"is strained by every closing and may not live through {pulse.starts:g} of them",
            good=f"outlives {pulse.starts:g} closings",
            related=((DUTY, "the starts"),),
            ways_out=better(ctx, name, "melting_joule_integral", pulse.surge_a2s / pulse.allowed_share),
            note=f"{100 * pulse.allowed_share:.0f} % of its melting I²t for so many pulses",
        )


def _pulse_gaps(ctx: Context, name: str, pulse: FusePulse) -> Iterator[Missing]:
    if math.isnan(pulse.melting_a2s):
        yield Missing(sheet_pointer(ctx, name, "melting_joule_integral"), f"melting I²t of {name}")
    if math.isnan(pulse.starts):
        yield Missing(f"{DUTY}/starts", "closings of the main contactors in the vehicle's life")
    elif math.isnan(pulse.allowed_share):
        yield Missing(f"{DUTY}/starts", f"a share for {pulse.starts:g} pulses: none is printed above 100 000")


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
