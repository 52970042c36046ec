"""The insulation budget of a bus, part by part: legs, monitor, Y-capacitance, and which part to unplug first."""

import math
from collections.abc import Iterable, Sequence

from tristrand.physics._num import Num, arr, finite, not_negative, positive, same
from tristrand.physics.discharge import touch_energy_above_limit_j, touch_energy_j
from tristrand.physics.insulation import Leg, _known_leg, parallel_ohm, weaker_leg_ohm
from tristrand.records import NamedTuple
from tristrand.sources import cites

SETTLING_TIME_CONSTANTS = 5.0
"""After this many time constants a reading has settled to exp(-5) = 0.7 %."""


class PartInsulation(NamedTuple):
    """One part's resistances and Y-capacitances to chassis; inf and 0 stand for none, never for unknown."""

    name: str
    negative_ohm: float
    positive_ohm: float
    negative_f: float
    positive_f: float


class LegBudget(NamedTuple):
    """Both legs of a bus, summed over its parts."""

    negative_ohm: float
    positive_ohm: float
    parallel_ohm: float
    """What an insulation monitor reports."""
    weaker_leg: Leg
    weaker_ohm: float
    negative_f: float
    positive_f: float
    total_f: float
    negative_shares: tuple[float, ...]
    """Each part's share of the leak of the negative leg, in the order given."""
    positive_shares: tuple[float, ...]


class YEnergies(NamedTuple):
    """Energy in the Y-capacitances [J]; `above_limit`: the crash regulations' form, counted above 60 V."""

    negative_j: Num
    positive_j: Num
    negative_above_limit_j: Num
    positive_above_limit_j: Num
    touch_negative_j: Num
    """What a person takes who touches the negative pole: both legs' capacitance at that pole's voltage."""
    touch_positive_j: Num
    worst_j: Num
    """The same with the other pole shorted to chassis: both legs' capacitance at the full bus voltage."""
    worst_above_limit_j: Num


def _shares(legs_ohm: Sequence[float]) -> tuple[float, ...]:
    total = float(parallel_ohm(*legs_ohm))
    if total == 0.0:
        shorts = legs_ohm.count(0.0)
        return tuple(1.0 / shorts if leg == 0.0 else 0.0 for leg in legs_ohm)
    return tuple(0.0 if math.isinf(leg) else total / leg for leg in legs_ohm)


@cites("CLOSED-FORM#parallel resistances and capacitances")
def leg_budget(parts: Iterable[PartInsulation]) -> LegBudget:
    """Resistances in parallel and capacitances added, leg by leg, over all parts of one bus.

    Put the monitor itself in as a part. Resistances >= 0, capacitances finite and >= 0. ValueError otherwise, for
    no part and for a name given twice.
    """
    listed = tuple(parts)
    if not listed or len({part.name for part in listed}) < len(listed):
        raise ValueError("needs at least one part, and each name once")
    for part in listed:
        not_negative(**dict(zip(PartInsulation._fields[1:], part[1:], strict=True)))
        finite(negative_f=part.negative_f, positive_f=part.positive_f)
    _, negatives, positives, negative_fs, positive_fs = zip(*listed, strict=True)
    negative, positive_leg = float(parallel_ohm(*negatives)), float(parallel_ohm(*positives))
    negative_f, positive_f = math.fsum(negative_fs), math.fsum(positive_fs)
    return LegBudget(
        negative, positive_leg, float(parallel_ohm(negative, positive_leg)),
        "negative" if negative < positive_leg else "positive", float(weaker_leg_ohm(negative, positive_leg)),
        negative_f, positive_f, negative_f + positive_f, _shares(negatives), _shares(positives),
    )  # fmt: skip


@cites("CLOSED-FORM#parallel resistances and capacitances")
def faulted_budget(
    parts: Iterable[PartInsulation], failed: str, left_ohm: float, legs: Sequence[Leg] = ("negative", "positive")
) -> LegBudget:
    """`leg_budget` after one part's insulation has fallen to `left_ohm` on the named leg, or on both alike.

    One leg: an asymmetric fault, the monitor reports about the weaker leg. Both: a symmetric one, the monitor
    reports half of each leg, while the poles' voltages to chassis still look balanced. left_ohm >= 0.
    ValueError otherwise, for an unknown part or leg and for no leg.
    """
    listed = tuple(parts)
    if not legs or failed not in {part.name for part in listed}:
        raise ValueError(f"needs a leg, and a part that is listed: {failed!r}")
    for leg in legs:
        _known_leg(leg)
    budget = []
    for part in listed:
        if part.name == failed:
            negative_ohm = left_ohm if "negative" in legs else part.negative_ohm
            positive_ohm = left_ohm if "positive" in legs else part.positive_ohm
            part = part._replace(negative_ohm=negative_ohm, positive_ohm=positive_ohm)
        budget.append(part)
    return leg_budget(budget)


@cites("ISO-6469-4#touch energy of Y capacitors", "UN-R94#TEy = 0.5 Cy (V^2 - 3600)", "CLOSED-FORM#Kirchhoff's laws")
def y_energies(negative_f: Num, positive_f: Num, negative_v: Num, positive_v: Num) -> YEnergies:
    """Energy in the Y-capacitances of both legs [J]: C V^2/2, and C/2 (V^2 - 3600) as the crash regulations count.

    negative_v, positive_v >= 0: pole to chassis; their sum is the bus voltage. Capacitances >= 0 [F]. A person's
    touch discharges one leg while the bus charges the other: the energy is that of both at the pole's voltage.
    Shapes broadcast. ValueError otherwise.
    """
    not_negative(negative_f=negative_f, positive_f=positive_f, negative_v=negative_v, positive_v=positive_v)
    total_f, pack_v = same(arr(negative_f) + arr(positive_f)), same(arr(negative_v) + arr(positive_v))
    return YEnergies(
        touch_energy_j(negative_f, negative_v), touch_energy_j(positive_f, positive_v),
        touch_energy_above_limit_j(negative_f, negative_v), touch_energy_above_limit_j(positive_f, positive_v),
        touch_energy_j(total_f, negative_v), touch_energy_j(total_f, positive_v),
        touch_energy_j(total_f, pack_v), touch_energy_above_limit_j(total_f, pack_v),
    )  # fmt: skip


@cites("CLOSED-FORM#first-order RC settling")
def settling_time_s(parallel_legs_ohm: Num, total_y_f: Num) -> Num:
    """Wait before a reading to chassis counts [s]: 5 R Cy, both legs (with meters) in parallel, all Y-capacitance.

    parallel_legs_ohm >= 0 (finite), total_y_f >= 0. Shapes broadcast. ValueError otherwise.
    """
    not_negative(parallel_legs_ohm=parallel_legs_ohm, total_y_f=total_y_f)
    finite(parallel_legs_ohm=parallel_legs_ohm)
    return same(SETTLING_TIME_CONSTANTS * arr(parallel_legs_ohm) * arr(total_y_f))


class UnplugStep(NamedTuple):
    """One step of the search: of the groups still suspected, unplug exactly these and read the monitor."""

    suspected: tuple[str, ...]
    unplug: tuple[str, ...]
    if_gone: "UnplugStep | str"
    """Next step when the fault is gone, or the name of the group that has it."""
    if_stays: "UnplugStep | str"


class UnplugPlan(NamedTuple):
    """A search for one faulty group."""

    first: UnplugStep | str
    expected_steps: float
    most_steps: int


class _Branch(NamedTuple):
    weight: float
    depth: int
    places: tuple[int, ...]
    plan: UnplugStep | str


@cites("NUMERICS#least expected number of yes-no questions, by joining the two least likely; compared with all plans")
def unplug_plan(groups: Sequence[str], weights: Sequence[float] | None = None, fixed: str | None = None) -> UnplugPlan:
    """The plan that finds one faulty group in the fewest readings on average; the same input, the same plan.

    groups: names of what can be unplugged at once, each once; weights: how likely each is (any scale, > 0; all
    alike without); fixed: a group that is never unplugged, such as the pack with the monitor. Of two equal ways
    the one with fewer plugs to pull, then the one listed first. ValueError for bad names or weights.
    """
    likely = [1.0] * len(groups) if weights is None else [float(w) for w in weights]
    if not groups or len(set(groups)) < len(groups) or len(likely) != len(groups):
        raise ValueError("needs at least one group, each name once, and a weight for each or none at all")
    if fixed is not None and fixed not in groups:
        raise ValueError(f"{fixed!r} is not among the groups")
    for weight in likely:
        positive(weights=weight)
        finite(weights=weight)
    branches = [_Branch(w, 0, (i,), name) for i, (name, w) in enumerate(zip(groups, likely, strict=True))]
    readings = 0.0
    while len(branches) > 1:
        branches.sort(key=lambda b: (b.weight, b.depth, b.places))
        joined = _join(branches[0], branches[1], groups, fixed)
        # Every join adds one reading for each group below it.
        readings += joined.weight
        branches = [*branches[2:], joined]
    return UnplugPlan(branches[0].plan, readings / branches[0].weight, branches[0].depth)


def _join(one: _Branch, two: _Branch, groups: Sequence[str], fixed: str | None) -> _Branch:
    """The step that tells two branches apart: the side with fewer plugs is unplugged, never the fixed group."""

    def effort(side: _Branch) -> tuple[bool, int, tuple[int, ...]]:
        return any(groups[i] == fixed for i in side.places), len(side.places), side.places

    out, stay = sorted((one, two), key=effort)
    places = tuple(sorted(one.places + two.places))
    step = UnplugStep(tuple(groups[i] for i in places), tuple(groups[i] for i in out.places), out.plan, stay.plan)
    return _Branch(one.weight + two.weight, 1 + max(one.depth, two.depth), places, step)
