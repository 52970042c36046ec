"""HV250 to HV253: creepage and clearance by the standard, and the distances to 12 V circuits by the student rules."""

import math
from collections.abc import Callable, Iterable
from functools import wraps

from tristrand.rules.monitoring import FSAE
from tristrand.rules.rule import Check, Context, NotApplicable, Open, Outcome, rule
from tristrand.rules.view import HV_FILE, counted
from tristrand.studies.results import Missing, SpacingFigures, SpacingsResult

NEEDS = ("pack", "insulation", "spacings")
SPACINGS = "high_voltage/spacings"
BETWEEN = {"poles": "the poles", "chassis": "high voltage and chassis", "low_voltage": "high voltage and 12 V circuits"}
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
        return [o for o in outcomes if o is not None] or (NotApplicable("no spacing of this kind is stated"),)

    return on


def _gaps(ctx: Context, one: SpacingFigures, gaps: tuple[tuple[str, str], ...]) -> Open | None:
    """What keeps a spacing from being judged; a field with a slash is a pointer of its own."""
    if not gaps:
        return None
    own = f"{SPACINGS}/{one.name}"
    return ctx.open(
        [Missing(f if "/" in f else f"{own}/{f}" if f else own, f"{words}, {one.name}") for f, words in gaps]
    )


def _insulation(one: SpacingFigures) -> str:
    return "reinforced insulation" if one.reinforced else "basic insulation"


@rule(
    "HV250",
    "creepage",
    "error",
    needs=NEEDS,
    checks=(
        "Along surfaces, high voltage keeps the distance that the standard asks for the highest pack voltage, "
        "pollution and material, interpolated between its rows; twice that against circuits people touch."
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
@_each
def distance_to_low_voltage_in_housing(ctx: Context, one: SpacingFigures) -> Outcome | None:
    """The shorter of the ways through air and over surfaces; a barrier takes the place of any distance."""
    return _by_student_rules(ctx, one, "housing", "shortest way through air or over a surface")


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
