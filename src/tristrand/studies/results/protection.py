"""Results of the studies on faults and protection. Every number carries its unit in the field's name."""

import math
from collections.abc import Mapping, Sequence

from tristrand.records import NamedTuple
from tristrand.studies.results.common import NONE, Missing, Series, Working
from tristrand.studies.results.fuses import ChainOrder, FromCharger, OverloadBand


class FaultCurrent(NamedTuple):
    """One fault with the packs at one end of what they can drive.

    ``rise_s`` is the time to 63 % of the final current; ``joule_integral_a2s`` that of the first second if nothing
    opens. ``through`` holds the final current of every part and connection that carries some of it, in its own
    direction (a pack's from minus to plus).
    """

    current_a: float
    rise_s: float
    joule_integral_a2s: float
    through: tuple[tuple[str, float], ...]


class FromCapacitor(NamedTuple):
    """What the capacitance of one device, or of several at once, drives into a fault; its I2t ends with its energy.

    ``device``: those of several joined by "and". ``through``: the parts and connections on its way.
    """

    device: str
    peak_a: float
    peak_time_s: float
    joule_integral_a2s: float
    through: tuple[str, ...] = ()


class Fault(NamedTuple):
    """A dead short between two terminals: of a terminal to the other pole at the pack, or ``across`` a device.

    ``alone``: the weak current from each single pack where several stand side by side; ``strong_alone``: the strong.
    """

    name: str
    start: str
    end: str
    across: str
    strongest: FaultCurrent
    weakest: FaultCurrent
    capacitors: tuple[FromCapacitor, ...]
    alone: tuple[tuple[str, FaultCurrent], ...] = ()
    strong_alone: tuple[tuple[str, FaultCurrent], ...] = ()

    @property
    def least_a(self) -> float:
        """The weakest current of all."""
        return min(self.weakest.current_a, *(current.current_a for _, current in self.alone), math.inf)


def shorted(fault: str) -> str:
    """Where the short circuit of this name is, in words: "at k_plus.a", "between the terminals of dcdc"."""
    spot, comma, rest = fault.partition(", ")
    device = spot.removesuffix(" across")
    return (f"at {spot}" if device == spot else f"between the terminals of {device}") + comma + rest


class FaultsResult(NamedTuple):
    """Every fault by name. ``no_inductance``: each pack and cable whose inductance is not known, and its pointer."""

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    faults: Mapping[str, Fault] = NONE
    no_inductance: tuple[tuple[str, str], ...] = ()
    from_chargers: tuple[FromCharger, ...] = ()


class FuseDuty(NamedTuple):
    """What faults ask of one fuse.

    ``largest_a`` is the strongest prospective current through it, ``rise_s`` the slowest rise to 63 % of such a
    current; ``smallest_a`` the weakest current of a fault that it, and no smaller fuse in its way, has to clear (nan
    where there is none). Each with the fault it comes from.
    """

    largest_a: float
    largest_at: str
    rise_s: float
    rise_at: str
    smallest_a: float
    smallest_at: str


class LetThrough(NamedTuple):
    """The largest I2t that a fuse lets through a part, of all faults, and what the part bears (nan: not known).

    ``weakest`` says whether it is the weak fault, which melts the fuse slowly, that heats the part most. Where no fuse
    ends the fault ``fuse`` is empty and the I2t inf.
    """

    worst_a2s: float
    limit_a2s: float
    fuse: str
    fault: str
    weakest: bool
    words: str


class FusePair(NamedTuple):
    """Two fuses in one fault's way: the one behind that is to open alone, and the one ahead that is to stay whole.

    ``clearing_a2s`` is what of it flows through the one ahead. ``ahead_s`` and ``behind_s``: its earliest and the
    other's latest time to melt in the weak fault where they come closest, nan where a curve is missing.
    """

    upstream: str
    downstream: str
    melting_a2s: float
    clearing_a2s: float
    ahead_s: float = float("nan")
    behind_s: float = float("nan")
    closest_at: str = ""


class PeakCurrent(NamedTuple):
    """The largest instantaneous current through a contactor, the fault, and what drives it."""

    current_a: float
    fault: str
    source: str


class LeftToOpen(NamedTuple):
    """The largest current that a contactor may have to open: there a fuse may still not clear it (nan: not known)."""

    contactor: str
    current_a: float
    fuse: str
    fault: str
    reverse: bool


class ProtectionResult(NamedTuple):
    """Fuses, cables, main and charge contactors in a short circuit; ``unfused``: faults fed past every fuse."""

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    fuses: Mapping[str, FuseDuty] = NONE
    leads: Mapping[str, LetThrough] = NONE
    contactors: Mapping[str, LetThrough] = NONE
    pairs: tuple[FusePair, ...] = ()
    bands: Mapping[str, OverloadBand] = NONE
    chains: tuple[ChainOrder, ...] = ()
    peaks: Mapping[str, PeakCurrent] = NONE
    left: Mapping[str, tuple[LeftToOpen, ...]] = NONE
    unfused: tuple[str, ...] = ()
