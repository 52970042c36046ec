"""Results of the studies on faults and protection. Every number carries its unit in the field's name."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

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
    """What the capacitance of one device alone drives into a fault, fully charged; its I2t ends with its energy."""

    device: str
    peak_a: float
    peak_time_s: float
    joule_integral_a2s: float


class Fault(NamedTuple):
    """A dead short between two terminals: of a terminal to the other pole at the pack, or ``across`` a device."""

    name: str
    start: str
    end: str
    across: str
    strongest: FaultCurrent
    weakest: FaultCurrent
    capacitors: tuple[FromCapacitor, ...]


class FaultsResult(NamedTuple):
    """Every fault by name. ``inductive`` says whether the design gives any inductance; without it currents jump."""

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    faults: Mapping[str, Fault] = NONE
    inductive: bool = False
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

    ``weakest`` says whether it is the weak fault, which melts the fuse slowly, that heats the part most.
    """

    worst_a2s: float
    limit_a2s: float
    fuse: str
    fault: str
    weakest: bool
    words: str


class FusePair(NamedTuple):
    """Two fuses in one fault's way: the one that is to open alone, and the one ahead that is to stay whole."""

    upstream: str
    downstream: str
    melting_a2s: float
    clearing_a2s: float


class ProtectionResult(NamedTuple):
    """Fuses, cables and main contactors in a short circuit, by id."""

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    fuses: Mapping[str, FuseDuty] = NONE
    leads: Mapping[str, LetThrough] = NONE
    contactors: Mapping[str, LetThrough] = NONE
    pairs: tuple[FusePair, ...] = ()
    bands: Mapping[str, OverloadBand] = NONE
    chains: tuple[ChainOrder, ...] = ()
