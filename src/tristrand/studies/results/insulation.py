"""Results of the studies on insulation and spacings. Every number carries its unit in the field's name."""

import math
from collections.abc import Mapping, Sequence

from tristrand.physics.insulation_budget import LegBudget, PartInsulation, UnplugPlan
from tristrand.records import NamedTuple
from tristrand.studies.results.common import NONE, Missing, Series, Working


class PartFault(NamedTuple):
    """What the monitor reads when one part's insulation falls, all others at their least.

    ``one_leg_ohm`` reads with one of its poles fallen to the least that the regulation allows (the leg that reads
    more), ``both_legs_ohm`` with both. ``trips_below_ohm``: at or below this resistance of one pole the monitor trips
    (nan without its trip level). ``share``: its share of the leak of the weaker leg as designed.
    """

    name: str
    share: float
    one_leg_ohm: float
    both_legs_ohm: float
    trips_below_ohm: float
    trips_one_leg: bool
    trips_both_legs: bool


class YFigures(NamedTuple):
    """Capacitance of the poles to the chassis and the energy in it, at the highest pack voltage.

    ``leg_j``: the larger leg at the full voltage; ``leg_above_limit_j`` the same as the crash regulations count it,
    above 60 V; ``touch_j``: what a person takes from a pole of a healthy bus; ``touch_fault_j``: the same with the
    other pole at the chassis. ``settling_s``: wait before a hand reading counts, one meter of 10 MΩ.
    """

    negative_f: float
    positive_f: float
    total_f: float
    leg_j: float
    leg_above_limit_j: float
    touch_j: float
    touch_fault_j: float
    settling_s: float


class PlugGroup(NamedTuple):
    """What one plug takes off the bus: a device and the cables, fuses and contactors that feed nothing else."""

    name: str
    members: tuple[str, ...]
    weight: int


class InsulationResult(NamedTuple):
    """Insulation of the bus against the chassis, every part at its least.

    ``highest_v`` is that of the packs (nan: not known), ``alternating_v`` the largest rms value behind an inverter (0:
    none). ``legs`` counts the monitor's own resistance in, ``shows_ohm`` is what the monitor reads beside it.
    ``joined``: parts whose alternating side hangs on the bus without further protection, or that do not say.
    ``watches``: what the monitor hangs on while the main contactors are open.
    """

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    highest_v: float = math.nan
    alternating_v: float = 0.0
    parts: tuple[PartInsulation, ...] = ()
    legs: LegBudget | None = None
    shows_ohm: float = math.nan
    ohm_per_volt: float = math.nan
    joined: tuple[str, ...] = ()
    least_ohm: float = math.nan
    faults: tuple[PartFault, ...] = ()
    y: YFigures | None = None
    wrong_poles: tuple[str, ...] = ()
    watches: str = ""
    groups: tuple[PlugGroup, ...] = ()
    unplug: UnplugPlan | None = None


class SpacingFigures(NamedTuple):
    """One spacing: what it has and what it needs [mm]; nan where that is not known or nothing asks for it.

    ``creepage_mm`` is interpolated as the standard allows, ``stepped_mm`` the next printed row. ``fsae_mm`` is what the
    student rules ask, ``fsae_has_mm`` the distance they mean; inf where a barrier lies between. ``gaps``: (field,
    words) that keep it from being judged.
    """

    name: str
    between: str
    kind: str
    reinforced: bool
    voltage_v: float
    has_creepage_mm: float
    has_clearance_mm: float
    creepage_mm: float
    stepped_mm: float
    creepage_words: str
    impulse_v: float
    clearance_mm: float
    fsae_mm: float
    fsae_has_mm: float
    creepage_gaps: tuple[tuple[str, str], ...]
    clearance_gaps: tuple[tuple[str, str], ...]
    fsae_gaps: tuple[tuple[str, str], ...]


class SpacingsResult(NamedTuple):
    """Every spacing by name; ``told``: the design says which there are, be it none."""

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    spacings: Mapping[str, SpacingFigures] = NONE
    told: bool = False
    altitude_factor: float = math.nan
