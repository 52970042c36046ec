"""HV305: contactors that open for a fuse are told to above every load, below what melts it, and in time."""

import math
from collections.abc import Callable, Iterable, Iterator

from tristrand.findings import Edit, Relation, WayOut
from tristrand.rules.charging_view import AT_STATION
from tristrand.rules.clearing import PROTECTION
from tristrand.rules.overloads import acts_for, fuse_bands, kind_of, no_fuse
from tristrand.rules.rule import Context, NotApplicable, Outcome, rule
from tristrand.rules.view import HV_FILE, PARTS, sheet_pointer
from tristrand.studies.results import DIRECT, Missing, OverloadBand


@rule(
    "HV305",
    "overload-trip-in-time",
    "error",
    needs=(*PROTECTION, "charging"),
    checks=(
        "Contactors that open for a fuse are told to above a stated current, within a stated time: above every load, "
        "below what melts the fuse, and before it melts where it may not clear."
    ),
    why="A contactor able to open helps nobody if the trip comes after the fuse has begun to arc, or in every hill.",
    sources=("DESIGN#overload_trip", "DATASHEET#melting curve", "DATASHEET#minimum breaking current"),
    failing=((HV_FILE, "parts/main_fuse/overload_trip/time", "2 s"),),
)
def overload_trip_in_time(ctx: Context) -> Iterable[Outcome]:
    """The contactors' own opening time counts. Currents below the trip are loads: HV125 and HV129 judge them."""
    waits, judged = False, False
    for name, band, gaps in fuse_bands(ctx):
        judged = True
        if gaps:
            waits = True
            yield ctx.open(gaps)
        if band is None:
            continue
        opening = [p for p in acts_for(ctx, name, band) if kind_of(ctx, p) == "contactor" and p in band.members]
        if band.to_a <= band.load_a or not opening:
            continue
        waits = True
        yield from _trip(ctx, name, band, opening)
    if not judged:
        yield no_fuse(ctx)
    elif not waits:
        yield NotApplicable("no fuse leaves a gap that a contactor has to close")


def _trip(ctx: Context, name: str, band: OverloadBand, opening: list[str]) -> Iterator[Outcome]:
    trip = ctx.design.high_voltage.parts[name].overload_trip  # type: ignore[union-attr]
    at = f"{PARTS}/{name}/overload_trip"
    if trip is None:
        yield ctx.open([Missing(at, f"current and time at which {' and '.join(opening)} open for {name}")])
        return
    times = [(part, ctx.design.sheet_of(part).open_time) for part in opening]
    gaps = [Missing(sheet_pointer(ctx, p, "open_time"), f"opening time of {p}") for p, t in times if t is None]
    if gaps:
        yield ctx.open(gaps)
        return
    least = min(point.current.low for point in ctx.design.sheet_of(name).melting)
    slow_s = max(t.high for _, t in times if t is not None)
    # The cable's own patience counts where the fuse would hold still longer.
    within_s = min(band.open_before_s, band.allowed_s)

    def said(
        quantity: str,
        value: float,
        unit: str,
        relation: Relation,
        limit: float,
        source: str,
        bad: str,
        good: str,
        mend: Callable[[], Iterable[WayOut]] | None,
    ) -> Outcome:
        near, basis = ((f"{PARTS}/{name}", "the fuse"),), trip.current.basis
        return ctx.compare(
            at, quantity, value, unit, relation, limit, source,
            subject=name, bad=bad, good=good, basis=basis, related=near, ways_out=mend,
        )  # fmt: skip

    load_a, when, load = band.load_a, f"in case {band.load_case}", "NUMERICS#circuit solver, operating point"
    if band.load_case == DIRECT:
        when, load = AT_STATION, "DESIGN#overload_trip"
    amps = _between(name, load_a, least)
    bad, good = f"is switched off {when}, with no fault", "is switched off only above every load"
    yield said("trip current against the loads", trip.current.low, "A", ">", load_a, load, bad, good, amps)
    bad, good = "may melt at currents at which nobody opens", "does not melt at currents below the trip"
    curve = "DATASHEET#melting curve"
    yield said("trip current against the melting curve", trip.current.high, "A", "<", least, curve, bad, good, amps)
    bad = "may melt and go on arcing, or leave its cable to burn, before the contactors have opened"
    good = "is relieved before it melts where it may not clear"
    broken, sooner = "DATASHEET#minimum breaking current", _within(name, 0.8 * within_s - slow_s)
    yield said("time to open", trip.time.high + slow_s, "s", "<", within_s, broken, bad, good, sooner)


def _between(fuse: str, load_a: float, melts_a: float) -> Callable[[], Iterable[WayOut]] | None:
    """Way out: a trip current in the middle between the loads and the melting curve."""
    amps = f"{math.sqrt(load_a * melts_a):.3g} A"
    edit = Edit(HV_FILE, f"parts/{fuse}/overload_trip/current", amps)
    return (lambda: (WayOut(f"let it trip above {amps}", (edit,)),)) if 0 < load_a < melts_a else None


def _within(fuse: str, seconds: float) -> Callable[[], Iterable[WayOut]] | None:
    """Way out: a shorter time to the trip, with a fifth to spare."""
    # Rounded down, to two digits.
    digits = 1 - math.floor(math.log10(1e3 * seconds)) if seconds > 0 else 0
    shown = f"{math.floor(1e3 * seconds * 10**digits) / 10**digits:g} ms"
    edit = Edit(HV_FILE, f"parts/{fuse}/overload_trip/time", shown)
    return (lambda: (WayOut(f"let it trip within {shown}", (edit,)),)) if seconds > 0 else None
