"""HV250 to HV253: creepage and clearance by the standard, and the distances to 12 V circuits by the student rules."""

import math
from collections.abc import Callable, Iterable
from functools import wraps

from tristrand.findings import Edit, WayOut
from tristrand.rules.monitoring import FSAE
from tristrand.rules.rule import Check, Context, NotApplicable, Open, Outcome, rule
from tristrand.rules.view import HV_FILE, counted
from tristrand.studies.results import Missing, SpacingFigures, SpacingsResult

NEEDS = ("pack", "insulation", "spacings")
SPACINGS = "high_voltage/spacings"
BETWEEN = {"poles": "the poles", "chassis": "high voltage and chassis", "low_voltage": "high voltage and 12 V circuits"}
WAYS = {"creepage": "along the surface", "clearance": "through air"}
STATED = (
    "{{between: low_voltage, kind: housing, creepage: {0}, clearance: {1}, pollution_degree: 2, "
    "overvoltage_category: II, material_group: IIIa}}"
)


def _each(check: Callable[[Context, SpacingFigures], Outcome | None]) -> Check:
    """A rule on every spacing; open where the design does not say which there are."""

    @wraps(check)
    def on(ctx: Context) -> Iterable[Outcome]:
        if ctx.rule.limit:
            ctx.limit()  # where no rule set sets it the rule does not apply, whatever is missing
        result: SpacingsResult = ctx.results["spacings"]
        if not result.told:
            words = "creepage and clearance of what you build yourself; {} where there is nothing"
            return (ctx.open([Missing(SPACINGS, words)]),)
        if not result.spacings and result.missing and ctx.design.high_voltage.spacings:
            return (ctx.open(result.missing),)
        if not result.spacings:
            return (NotApplicable("the design says that no box or board is its own"),)
        outcomes = [check(ctx, one) for one in result.spacings.values()]
        return [o for o in outcomes if o is not None] or (NotApplicable("no board with both circuits is stated"),)

    return on


def _gaps(ctx: Context, one: SpacingFigures, gaps: tuple[tuple[str, str], ...]) -> Open | None:
    """What keeps a spacing from being judged; a field with a slash is a pointer of its own."""
    if not gaps:
        return None
    own = f"{SPACINGS}/{one.name}"
    return ctx.open(
        [Missing(f if "/" in f else f"{own}/{f}" if f else own, f"{words}, {one.name}") for f, words in gaps]
    )


def _farther(one: SpacingFigures, creepage_mm: float = 0.0, clearance_mm: float = 0.0) -> Iterable[WayOut]:
    """The same spacing with at least these distances and what the standard asks of it, rounded up to 0.1 mm."""
    has = {"creepage": one.has_creepage_mm, "clearance": one.has_clearance_mm}
    # Where creepage is short the next printed row: between the rows a way out would have no reserve at all.
    surface_mm = one.stepped_mm if one.has_creepage_mm < one.creepage_mm else 0.0
    gap_mm = max(clearance_mm, _known(one.clearance_mm), _known(one.has_clearance_mm))
    # No way along the surface is shorter than the gap.
    wanted = {"creepage": max(creepage_mm, surface_mm, gap_mm), "clearance": gap_mm}
    # What is not stated at all is for the rule that asks for it.
    needed = {field: math.ceil(10 * mm - 1e-9) / 10 for field, mm in wanted.items() if mm > has[field]}
    words = " and ".join(f"{mm:g} mm {WAYS[field]}" for field, mm in needed.items())
    # The surface first: between both edits it would be shorter than the gap.
    yield WayOut(
        f"leave {words} at {one.name}",
        tuple(Edit(HV_FILE, f"spacings/{one.name}/{field}", f"{mm:g} mm") for field, mm in needed.items()),
    )


def _known(mm: float) -> float:
    return 0.0 if math.isnan(mm) else mm


def _student_ways(ctx: Context, one: SpacingFigures) -> Iterable[WayOut]:
    entry = (ctx.design.high_voltage.spacings or {})[one.name]
    if one.kind == "housing":
        barrier = (Edit(HV_FILE, f"spacings/{one.name}/barrier", "true"),)
        yield WayOut(f"at {one.name}, put in a moisture-proof insulating barrier for at least 90 °C", barrier)
        yield from _farther(one, one.fsae_mm, one.fsae_mm)
    elif entry.gap == "air":
        yield from _farther(one, clearance_mm=one.fsae_mm)
    else:
        yield from _farther(one, creepage_mm=one.fsae_mm)


def _insulation(one: SpacingFigures) -> str:
    if one.reinforced:
        return "reinforced insulation"
    bonded = ", as stated: only where the 12 V circuit is bonded to the chassis" if one.between == "low_voltage" else ""
    return f"basic insulation{bonded}"


@rule(
    "HV250",
    "creepage",
    "error",
    needs=NEEDS,
    checks=(
        "Along surfaces, high voltage keeps the distance that the standard asks for the highest pack voltage, "
        "pollution and material, interpolated between its rows; twice that against 12 V circuits, unless the design "
        "states basic insulation there."
    ),
    why="Dirt and damp on a short surface carbonise it to a track, which leaks, glows and then arcs.",
    sources=(
        "IEC-60664-1#table F.4 (2007), F.5 (2020)",
        "PRACTICE#reinforced insulation towards circuits people touch",
    ),
    failing=((HV_FILE, "spacings/bus_to_lid/creepage", "3.2 mm"), (HV_FILE, "spacings/bus_to_lid/clearance", "3.1 mm")),
    waivable=False,
)
@_each
def creepage(ctx: Context, one: SpacingFigures) -> Outcome:
    """The low end of the stated distance."""
    return _gaps(ctx, one, one.creepage_gaps) or ctx.compare(
        f"{SPACINGS}/{one.name}",
        "creepage distance",
        one.has_creepage_mm,
        "mm",
        ">=",
        one.creepage_mm,
        "IEC-60664-1#table F.4 (2007), F.5 (2020)",
        subject=one.name,
        bad=f"leaves too short a way along the surface between {BETWEEN[one.between]}",
        good=f"leaves way enough along the surface between {BETWEEN[one.between]}",
        note=f"{_insulation(one)}, {one.creepage_words}; the next printed row asks {one.stepped_mm:.3g} mm",
        ways_out=lambda: _farther(one),
    )


@rule(
    "HV251",
    "clearance",
    "error",
    needs=NEEDS,
    checks=(
        "Through air, high voltage keeps the distance that the standard asks for the impulse voltage of its "
        "overvoltage category, at the highest place of use."
    ),
    why="A spike from the charger or from a contactor jumps a short gap, and the pack's current follows its arc.",
    sources=(
        "IEC-60664-1#table F.1",
        "IEC-60664-1#table F.2, inhomogeneous field",
        "IEC-60664-1#table A.2",
        "MEMORY#clearance of reinforced insulation: the next impulse step up",
    ),
    failing=((HV_FILE, "spacings/bus_to_lid/clearance", "2.5 mm"),),
    waivable=False,
)
@_each
def clearance(ctx: Context, one: SpacingFigures) -> Outcome:
    """The highest pack voltage counts as the system's voltage; thin air up a mountain asks for more."""
    source = "IEC-60664-1#table F.2, inhomogeneous field"
    if one.reinforced:
        source = "MEMORY#clearance of reinforced insulation: the next impulse step up"
    return _gaps(ctx, one, one.clearance_gaps) or ctx.compare(
        f"{SPACINGS}/{one.name}",
        "clearance through air",
        one.has_clearance_mm,
        "mm",
        ">=",
        one.clearance_mm,
        source,
        subject=one.name,
        bad=f"leaves too little air between {BETWEEN[one.between]}",
        good=f"leaves air enough between {BETWEEN[one.between]}",
        note=f"{_insulation(one)}, impulses of {one.impulse_v / 1e3:.3g} kV",
        ways_out=lambda: _farther(one),
    )


def _by_student_rules(ctx: Context, one: SpacingFigures, kind: str, what: str) -> Outcome | None:
    if one.kind != kind or one.between != "low_voltage":
        return None
    limit, pointer = ctx.limit(), f"{SPACINGS}/{one.name}"
    if one.fsae_has_mm == math.inf:
        evidence = counted("barriers", 1, ">=", 1, limit.source)
        return ctx.finding("pass", pointer, f"{one.name} has a barrier between both circuits", evidence)
    return _gaps(ctx, one, one.fsae_gaps) or ctx.compare(
        pointer,
        what,
        one.fsae_has_mm,
        "mm",
        ">=",
        one.fsae_mm,
        limit.source,
        subject=one.name,
        bad="keeps high voltage too close to 12 V circuits",
        good="keeps high voltage away from 12 V circuits",
        ways_out=lambda: _student_ways(ctx, one),
    )


@rule(
    "HV252",
    "distance-to-low-voltage-in-housing",
    "error",
    needs=NEEDS,
    limit="housing_spacing",
    checks="In a housing a barrier, or the distance that the rule set asks, is between high voltage and 12 V circuits.",
    why="A 12 V wire that comes loose in the box brings the pack's voltage to every lamp and switch in the car.",
    sources=("FSAE-2026#EV.6.5.5b",),
    failing=(FSAE, (HV_FILE, "spacings/box_12v", STATED.format("28 mm", "25 mm"))),
    passing=(FSAE, (HV_FILE, "spacings/box_12v", STATED.format("40 mm", "32 mm"))),
    waivable=False,
)
def distance_to_low_voltage_in_housing(ctx: Context) -> Iterable[Outcome]:
    """The shorter of the ways through air and over surfaces; a barrier takes the place of any distance."""
    ctx.limit()
    result: SpacingsResult = ctx.results["spacings"]
    if not result.spacings and result.told and result.missing and ctx.design.high_voltage.spacings:
        return (ctx.open(result.missing),)
    what = "shortest way through air or over a surface"
    found = [_by_student_rules(ctx, one, "housing", what) for one in result.spacings.values()]
    outcomes = [outcome for outcome in found if outcome is not None]
    if outcomes or not ctx.design.parts_of("contactor"):
        return outcomes or (NotApplicable("no contactor brings 12 V into a box with high voltage"),)
    # The coil of every contactor is a 12 V circuit in a box with high voltage.
    return (ctx.open([Missing(SPACINGS, "distance, or barrier, between high voltage and the coils' 12 V leads")]),)


@rule(
    "HV253",
    "distance-to-low-voltage-on-board",
    "error",
    needs=NEEDS,
    limit="board_spacing",
    checks="On a board the distance that the rule set asks lies between high voltage and 12 V circuits.",
    why="On a board both circuits lie side by side: a drop of water or a sliver of solder joins them.",
    sources=("FSAE-2026#EV.6.5.7",),
    failing=(FSAE, (HV_FILE, "spacings/voltage_sense_board/creepage", "12 mm")),
    passing=(FSAE,),
    waivable=False,
)
@_each
def distance_to_low_voltage_on_board(ctx: Context, one: SpacingFigures) -> Outcome | None:
    """Over the surface or under a coating the creepage counts, across a slot the clearance."""
    return _by_student_rules(ctx, one, "board", "distance on the board")
