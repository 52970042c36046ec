"""HV128 and HV129: each fuse between the cable it protects and the load it carries."""

import math
from collections import Counter
from collections.abc import Callable, Iterable
from itertools import chain
from typing import TypeAlias

from tristrand.design import Design
from tristrand.findings import Edit, Evidence, WayOut
from tristrand.records import NamedTuple
from tristrand.rules.rule import PASSED, Context, Outcome, rule
from tristrand.rules.timed import Allowed, judge_timed, overloads, timed
from tristrand.rules.view import (
    CONDUCTORS,
    HV_FILE,
    LEADS,
    OPERATING,
    PARTS,
    sheet_pointer,
    sheets_of_kind,
    thicker_cables,
)
from tristrand.studies.circuits import with_inlets
from tristrand.studies.results import ConductorFigures, Missing
from tristrand.studies.topology import (
    REDUCED_M,
    feeding_fuses,
    own_pole_fuses,
    plus_side,
    protecting_fuses,
    reduced_runs,
    resistor_limited,
)

# Each way out costs a whole check, and only so many are tried: leave some for cables.
MOST_FUSES = 3
Ways: TypeAlias = tuple[tuple[str, ...], ...]


@rule(
    "HV128",
    "fuse-above-cable",
    "error",
    needs=CONDUCTORS,
    limit="fuse_not_above_cable",
    checks=(
        "The smallest fuse that protects a cable is rated at most what the cable carries for ever, whether the cable "
        "is loaded or not; for a plus-side cable only fuses between it and the packs count. Thinner cables may lie "
        "behind one another for 150 mm. Where FSAE-2026 is in force a thinner cable needs a fuse in its own pole."
    ),
    why="A fuse larger than the cable lets the cable be the fuse.",
    sources=(
        "FSAE-2026#EV.6.6.1",
        "FSAE-2026#EV.6.6.2b",
        "FSAE-2026#EV.6.6.4",
        "FSAE-2026#EV.6.6.6",
        "PRACTICE#fuse protects cable",
    ),
    failing=((HV_FILE, "parts/fuse_dcdc/sheet", "fuse-160"),),
    waivable=False,
)
def fuse_above_cable(ctx: Context) -> Iterable[Outcome]:
    """What protects is said in ``protecting_fuses``; where packs in parallel feed a cable one fuse of each adds up.

    Left out, and said so: leads that no pole of a pack reaches but through a resistor, and reduced conductors up to
    150 mm, counted over all that lie behind one another (``reduced_runs``). Where the cable cannot even carry its own
    current, HV125 speaks and its way out is checked against this rule too.

    Of a cable in the pole without the fuse the loop's fuse clears a fault across the load only. FSAE-2026 asks for a
    fuse in its own pole as soon as it is thinner than the fuse ahead; else the pass says what is not covered.
    """
    limit = ctx.limit()
    conductors = ctx.results["conductors"]
    if not conductors.conductors:
        yield ctx.open(conductors.missing)
        return
    circuit = with_inlets(ctx.design)
    guards = lead_guards(ctx)
    figures: dict[str, ConductorFigures] = conductors.conductors
    resisted, both = resistor_limited(circuit), "fsae-2026" in ctx.rule_sets
    reduced = frozenset(
        name
        for name, figure in figures.items()
        if name in guards and name not in resisted and guards[name].above(figure.ampacity.current_a, both)
    )
    runs = reduced_runs(circuit, reduced)
    for name, figure in figures.items():
        if name in resisted:
            yield _spared(ctx, figure, "a resistor in every loop limits what it can carry")
        elif name in guards and not figure.sustained_a > figure.ampacity.current_a:
            yield _guarded(ctx, figure, guards[name], runs.get(name, (name,)), limit.source)
    cables = {name for name, lead in ctx.design.high_voltage.connections.items() if lead.cable}
    unknown = sorted(cables - set(figures))
    if unknown:
        yield ctx.open(Missing(f"{LEADS}/{name}", "its ampacity; HV125 says what is missing") for name in unknown)


class Guard(NamedTuple):
    """The fuses of one lead, and their ratings added up over the packs that feed it; nan where one is unknown.

    ``loop``: those that clear a fault on it across the load. ``pole``: those in its own pole; where there are none the
    largest of the loop, which is all that a fault onto it from the other pole is sure to meet. Of equal ratings the
    fuse that guards the fewest leads is named. ``branch``: the one of the loop that guards fewer leads than another
    fuse of the design does, so that a smaller one starves nobody else; empty where packs in parallel add up.
    """

    every: tuple[str, ...]
    loop: tuple[str, ...]
    loop_a: float
    pole: tuple[str, ...]
    pole_a: float
    in_pole: bool
    other_pole: str
    branch: str = ""

    def above(self, carries_a: float, both: bool) -> bool:
        """Whether the lead is thinner than its fuses; ``both``: than those of its own pole too."""
        return self.loop_a > carries_a or (both and self.pole_a > carries_a)


def lead_guards(ctx: Context) -> dict[str, Guard]:
    """The guard of every lead that a pack feeds, fuses at the high end of their tolerance."""
    return ctx.design.once(_lead_guards)


def _lead_guards(design: Design) -> dict[str, Guard]:
    circuit = with_inlets(design)
    rated = {f: design.sheet_of(f).rated_current for f in design.parts_of("fuse")}
    amps = {f: datum.high if datum is not None else math.nan for f, datum in rated.items()}
    shared, own, plus = feeding_fuses(circuit), own_pole_fuses(circuit), plus_side(circuit)
    loops = {lead: (common,) if common else shared.get(lead, ()) for lead, common in protecting_fuses(circuit).items()}
    guarded = Counter(
        f for lead, ways in loops.items() for f in {f for way in (*ways, *own.get(lead, ())) for f in way}
    )
    return {lead: _guard(ways, own.get(lead, ()), amps, guarded, lead in plus) for lead, ways in loops.items()}


def _guard(ways: Ways, own: Ways, amps: dict[str, float], guarded: Counter[str], plus: bool) -> Guard:
    every, other = tuple(dict.fromkeys(f for way in (*ways, *own) for f in way)), "minus" if plus else "plus"
    if any(math.isnan(amps[f]) for f in every):
        return Guard(every, (), math.nan, (), math.nan, bool(own), other)
    # Of equals the branch's own: it is the one that somebody fitted too large, or can make smaller.
    loop = tuple(min(way, key=lambda f: (amps[f], guarded[f])) for way in ways)
    pole = tuple(min(way, key=lambda f: (amps[f], guarded[f])) for way in own)
    pole = pole or tuple(max(way, key=lambda f: (amps[f], -guarded[f])) for way in ways)
    nearest = min(ways[0], key=guarded.__getitem__) if len(ways) == 1 else ""
    branch = nearest if guarded[nearest] < max(guarded.values(), default=0) else ""
    return Guard(every, loop, sum(amps[f] for f in loop), pole, sum(amps[f] for f in pole), bool(own), other, branch)


def _length_m(ctx: Context, *leads: str) -> float:
    lengths = [ctx.design.high_voltage.connections[lead].length for lead in leads]
    # To the nanometre: three times 0.05 m are 0.15 m.
    return round(sum(length.high if length is not None else math.inf for length in lengths), 9)


def _spared(ctx: Context, figure: ConductorFigures, why: str) -> Outcome:
    evidence = Evidence(
        "length of the lead",
        _length_m(ctx, figure.connection),
        "m",
        "",
        None,
        "PRACTICE#fuse protects cable",
        note=why,
    )
    message = f"cable {figure.connection} ({figure.cable}) needs no fuse of its size: {why}"
    return ctx.finding("pass", f"{LEADS}/{figure.connection}", message, evidence)


def _guarded(ctx: Context, figure: ConductorFigures, guard: Guard, run: tuple[str, ...], source: str) -> Outcome:
    """One cable against its fuses; ``run``: the reduced conductors that it lies among, itself included."""
    both = "fsae-2026" in ctx.rule_sets
    name, carries_a = figure.connection, figure.ampacity.current_a
    at = f"{LEADS}/{name}"
    if not guard.every or (not guard.loop and not math.isnan(guard.loop_a)):
        evidence = Evidence("fuses that protect it", 0.0, "", ">=", 1.0, source)
        return ctx.finding("fail", at, f"no fuse protects cable {name}", evidence)
    if math.isnan(guard.loop_a):
        unknown = [f for f in guard.every if ctx.design.sheet_of(f).rated_current is None]
        return ctx.open(Missing(sheet_pointer(ctx, f, "rated_current"), f"rated current of {f}") for f in unknown)
    if ctx.brief and guard.loop_a <= carries_a and not guard.above(carries_a, both):
        return PASSED
    length_m = _length_m(ctx, *run)
    if guard.above(carries_a, both) and length_m <= REDUCED_M:
        return _reduced(ctx, figure, guard, run, length_m)
    if guard.loop_a <= carries_a < guard.pole_a and both:
        return _unfused_pole(ctx, figure, guard)
    others = [lead for lead in run if lead != name]
    note = figure.ampacity.name
    if others:
        note += f"; with {', '.join(others)} {length_m:g} m of reduced conductor, allowed are {REDUCED_M:g} m"
    if guard.loop_a <= carries_a < guard.pole_a:
        note += f"; a second fault, from {guard.other_pole} onto this lead, is not covered"
    several = len(guard.loop) > 1
    fuses = " and ".join(guard.loop)
    return ctx.compare(
        at,
        f"rating of {fuses} together" if several else f"rating of {fuses}",
        guard.loop_a,
        "A",
        "<=",
        carries_a,
        source,
        subject=f"{fuses} ({guard.loop_a:g} A)",
        bad=f"{'are' if several else 'is'} larger than cable {name} ({figure.cable}) carries for ever",
        good=f"{'protect' if several else 'protects'} cable {name}",
        related=tuple((f"{PARTS}/{f}", "the fuse") for f in guard.loop),
        ways_out=thicker_cables(ctx, figure, guard.loop_a) if several else _fuse_or_cable(ctx, figure, guard),
        note=note,
    )


def _reduced(ctx: Context, figure: ConductorFigures, guard: Guard, run: tuple[str, ...], length_m: float) -> Outcome:
    name, carries_a = figure.connection, figure.ampacity.current_a
    fuses, total_a = (guard.loop, guard.loop_a) if guard.loop_a > carries_a else (guard.pole, guard.pole_a)
    others = "".join(f", with {lead}" for lead in run if lead != name)
    evidence = Evidence(
        "length of the reduced conductor",
        length_m,
        "m",
        "<=",
        REDUCED_M,
        "FSAE-2026#EV.6.6.6",
        note=f"{' and '.join(fuses)}: {total_a:g} A, the cable carries {carries_a:.1f} A{others}",
    )
    message = f"cable {name} ({figure.cable}) is a reduced conductor of at most 150 mm behind "
    return ctx.finding("pass", f"{LEADS}/{name}", message + " and ".join(fuses), evidence)


def _unfused_pole(ctx: Context, figure: ConductorFigures, guard: Guard) -> Outcome:
    """A reduced conductor whose own pole has no fuse, or only larger ones."""
    name, fuses, several = figure.connection, " and ".join(guard.pole), len(guard.pole) > 1
    missing = f", and its own pole has no fuse: a fault onto it from {guard.other_pole} is not covered"
    return ctx.compare(
        f"{LEADS}/{name}",
        f"rating of {fuses}{' together' if several else ''}",
        guard.pole_a,
        "A",
        "<=",
        figure.ampacity.current_a,
        "FSAE-2026#EV.6.6.6",
        subject=f"{fuses} ({guard.pole_a:g} A)",
        bad=f"{'are' if several else 'is'} larger than cable {name} ({figure.cable}) carries for ever"
        + ("" if guard.in_pole else missing),
        good=f"{'protect' if several else 'protects'} cable {name}",
        related=tuple((f"{PARTS}/{f}", "the fuse") for f in guard.pole),
        ways_out=thicker_cables(ctx, figure, guard.pole_a),
        note=f"{figure.ampacity.name}; a reduced conductor above 150 mm needs a fuse in its own pole",
    )


def _fuse_or_cable(ctx: Context, figure: ConductorFigures, guard: Guard) -> Callable[[], Iterable[WayOut]]:
    """A smaller fuse first where it guards a branch alone: the cable suits its load. Else a thicker cable first."""
    fuse, cables = guard.branch or guard.loop[0], thicker_cables(ctx, figure, guard.loop_a)

    def fuses() -> Iterable[WayOut]:
        smaller = [
            (sheet.rated_current.value, name, sheet.rated_current.text)
            for name, sheet in sheets_of_kind(ctx, "fuse").items()
            if sheet.rated_current is not None and sheet.rated_current.high <= figure.ampacity.current_a
        ]
        for _, name, text in sorted(smaller, reverse=True)[:MOST_FUSES]:
            yield WayOut(
                f"a {text} fuse protects it: fit {name} as {fuse}",
                (Edit(HV_FILE, f"parts/{fuse}/sheet", name),),
            )

    return lambda: chain(fuses(), cables()) if guard.branch else chain(cables(), fuses())


@rule(
    "HV129",
    "fuse-carries-load",
    "error",
    needs=(*OPERATING, "fuse_loads"),
    limit="fuse_share",
    checks=(
        "Each fuse carries its largest sustained current within its continuous share of the rating, less what the air "
        "round it takes, and the current of a case with a duration within its rating or an overload entry of its sheet "
        "that lasts as long."
    ),
    why="A fuse run near its rating ages and opens one day without a fault, perhaps in traffic.",
    sources=(
        "FUSE-GUIDE#continuous derating",
        "FUSE-GUIDE#ambient factor",
        "DATASHEET#continuous share",
        "DATASHEET#rated current",
        "DATASHEET#overload",
    ),
    failing=((HV_FILE, "parts/main_fuse/sheet", "fuse-15"),),
)
def fuse_carries_load(ctx: Context) -> Iterable[Outcome]:
    """The smaller of the sheet's own continuous share and that of the rule sets.

    Hot air takes its factor from that. Where the sheet's share holds for hot air already, `reference_ambient` says so.
    What a supply drives through an inlet is held to the same by HV271.
    """
    operating = ctx.results["operating"]
    if not operating.cases:
        yield ctx.open(operating.missing)
        return
    for part_id in ctx.design.parts_of("fuse"):
        yield from _sustained(ctx, part_id)
        sheet = ctx.design.sheet_of(part_id)
        allowed = Allowed(
            sheet.rated_current, "rated_current", overloads(sheet), rated_source="DATASHEET#rated current"
        )
        for case in timed(operating.cases.values(), part_id):
            yield from judge_timed(ctx, part_id, case, allowed)


def _sustained(ctx: Context, part_id: str) -> Iterable[Outcome]:
    steady = [
        (c.flows[part_id].current_a, c.case)
        for c in ctx.results["operating"].cases.values()
        if c.duration_s == 0 and part_id in c.flows
    ]
    current, case = max(steady, default=(0.0, ""))
    if current <= 0:
        return
    sheet, limit = ctx.design.sheet_of(part_id), ctx.limit_if_set()
    if sheet.rated_current is None:
        yield ctx.open([Missing(sheet_pointer(ctx, part_id, "rated_current"), f"rated current of {part_id}")])
        return
    shares = [(limit.value, limit.source)] if limit else []
    if sheet.continuous_share is not None:
        shares.insert(0, (sheet.continuous_share.low, "DATASHEET#continuous share"))
    # Of equals the sheet's own; a sheet cannot loosen what the rule sets ask.
    share, source = min(shares, key=lambda pair: pair[0], default=(math.nan, ""))
    if math.isnan(share):
        yield ctx.open([Missing(sheet_pointer(ctx, part_id, "continuous_share"), f"continuous share of {part_id}")])
        return
    load = ctx.results["fuse_loads"].fuses.get(part_id)
    if load is None or math.isnan(load.factor):
        yield ctx.open(ctx.results["fuse_loads"].missing or [_no_air(ctx, part_id)])
        return
    factor = load.factor
    yield ctx.compare(
        f"{PARTS}/{part_id}",
        "largest sustained current",
        current,
        "A",
        "<=",
        share * factor * sheet.rated_current.low,
        source,
        basis=sheet.rated_current.basis,
        subject=f"{part_id} ({sheet.rated_current.text})",
        bad=f"carries more than {100 * share * factor:.0f} % of its rating in case {case}"
        + (f", all that air of {load.ambient_c:g} °C leaves it" if factor < 1 else ""),
        good="carries its load",
        ways_out=_larger_fuse(ctx, part_id, current / (share * factor)) if factor > 0 else None,
        note=f"{100 * share:.0f} % of the rating"
        + (f" times {factor:.3f} for air of {load.ambient_c:g} °C (form from memory)" if factor < 1 else ""),
    )


def _no_air(ctx: Context, part_id: str) -> Missing:
    return Missing(sheet_pointer(ctx, part_id, "hottest_element"), f"air temperatures of {part_id} that fit each other")


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
