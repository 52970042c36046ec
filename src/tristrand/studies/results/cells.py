"""Results of the studies on cells, modules and the branches of the bus. Every number carries its unit in its name.

A number that the design does not give is nan, and the rules that need it name what is missing.
"""

from collections.abc import Mapping, Sequence

from tristrand.records import NamedTuple
from tristrand.studies.results.common import NONE, Missing, Series, Working

NAN = float("nan")


class Portion(NamedTuple):
    """A module, or a piece that the maintenance plugs leave: every cell at its maximum, capacity as rated."""

    groups: int
    volts: float
    energy_j: float
    mass_kg: float


class CellFigures(NamedTuple):
    """One pack's cells against its monitor. What trips is the true value at the cell, the error of the reading added.

    ``over_v`` to ``cold_charge_c``: the worst true value that may pass unseen. ``full_charge``: charge at which cells
    at rest may reach the trip. ``loaded_v``: the mean cell in the worst case. ``share_read``: of all cells.
    ``link_a``: largest sustained current of one cell; ``links_a``: the ratings of a group's links added up;
    ``short_a``: prospective short circuit of the pack.
    """

    pack: str
    series: int
    parallel: int
    over_v: float = NAN
    under_v: float = NAN
    hot_c: float = NAN
    hot_charge_c: float = NAN
    cold_c: float = NAN
    cold_charge_c: float = NAN
    full_charge: float = NAN
    loaded_v: float = NAN
    loaded_case: str = ""
    earliest_under_v: float = NAN
    earliest_over_v: float = NAN
    share_read: float = NAN
    module: Portion | None = None
    pieces: tuple[Portion, ...] = ()
    link_a: float = NAN
    link_case: str = ""
    links_a: float = NAN
    short_a: float = NAN
    series_fuses: tuple[tuple[str, float], ...] = ()


class BrakeTrip(NamedTuple):
    """What the trip of the brake plausibility circuit is worth at the nominal voltage of the pack."""

    current_a: float
    nominal_v: float
    power_w: float


class CellsResult(NamedTuple):
    """Every pack's cells by id, and the brake plausibility circuit where the design has one."""

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    packs: Mapping[str, CellFigures] = NONE
    brake: BrakeTrip | None = None


class Branch(NamedTuple):
    """One device and what feeds it alone.

    ``lasting_a``: the largest current it may take for long, at ``lasting_v`` and for the reason in ``words``;
    ``least_a``: the same at the highest voltage. ``low_v``: lowest voltage at its terminals in the case ``low_case``;
    ``aged_v``: the same with the pack at the end of its life, 0 where the pack then cannot give the power.
    ``off_v``: below it a converter turns off; ``full_from_v``: from it upwards it gives its rated output, ``left_w``:
    what is left at ``aged_v``. ``live``: a contactor of its own connects it to a bus that is up.
    """

    device: str
    kind: str
    starts: str
    fuses: tuple[str, ...]
    contactors: tuple[str, ...]
    live: bool
    lasting_a: float = NAN
    lasting_v: float = NAN
    least_a: float = NAN
    words: str = ""
    low_v: float = NAN
    low_case: str = ""
    aged_v: float = NAN
    off_v: float = NAN
    full_from_v: float = NAN
    rated_w: float = NAN
    left_w: float = NAN


class BranchFuse(NamedTuple):
    """One fuse and the surge of the capacitors behind it at every start.

    ``lasting_a``: what the devices behind it may take for long together (nan with an inverter among them: the cases
    say that). ``joule_a2s``: I2t of the surge; ``needed_a2s``: melting I2t that outlives ``pulses`` of them.
    """

    fuse: str
    devices: tuple[str, ...]
    lasting_a: float
    share: float
    step_v: float
    ohm: float
    farad: float
    joule_a2s: float
    pulses: float
    needed_a2s: float
    words: str


class Trunk(NamedTuple):
    """A conductor in front of several devices: the sum of what protects each, and the fuse that protects itself."""

    lead: str
    devices: tuple[str, ...]
    sum_a: float
    fuse: str
    fuse_a: float


class BranchesResult(NamedTuple):
    """Devices, fuses and common conductors of the bus, by id."""

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    branches: Mapping[str, Branch] = NONE
    fuses: Mapping[str, BranchFuse] = NONE
    trunks: Mapping[str, Trunk] = NONE
