"""Results about fuses beyond the clearing of faults. Every number carries its unit in the field's name."""

from collections.abc import Mapping, Sequence

from tristrand.records import NamedTuple
from tristrand.studies.results.common import NONE, Missing, Series, Working


class FromCharger(NamedTuple):
    """A charger as a source in one fault: a constant current at its output limit.

    ``adds_a``: what it adds to the fault beside the packs (below zero: it takes away). ``alone_a``: what it drives into
    the fault with every main contactor open, 0 where that lies beyond its reach; ``fuses``: those in that way.
    """

    charger: str
    fault: str
    adds_a: float
    alone_a: float
    fuses: tuple[str, ...]


class OverloadBand(NamedTuple):
    """Currents above a fuse's load that it melts too slowly for, or may not clear (``physics.fuses.overload_gap``).

    ``cable`` is the cable of least ampacity that the fuse protects in full ("" where there is none), ``cable_a`` that
    ampacity, ``allowed_s`` how long an overload of it may last. ``open_before_s``: earliest melting time at the minimum
    breaking current. ``in_series``: contactors that take off all of its load; ``behind``: devices fed through it alone;
    ``openers``: the contactors by what each of them alone takes off, devices ("") and the supply at each inlet;
    ``together``: those that do so alone or with others; ``beyond``: those of an inlet that part its supply only, since
    the packs feed a fault between fuse and contactor and nothing parts it. No gap: ``to_a`` is ``load_a``. The load is
    the largest of any case, and of direct-current charging where that is known.
    """

    fuse: str
    load_a: float
    load_case: str
    cable: str
    cable_a: float
    allowed_s: float
    slow_below_a: float
    uncleared_below_a: float
    to_a: float
    longest_s: float
    open_before_s: float
    in_series: tuple[str, ...]
    behind: tuple[str, ...]
    openers: tuple[tuple[str, tuple[str, ...]], ...] = ()
    together: tuple[tuple[str, tuple[str, ...]], ...] = ()
    beyond: tuple[tuple[str, tuple[str, ...]], ...] = ()

    @property
    def inlets(self) -> tuple[str, ...]:
        """Inlets whose supply feeds through the fuse."""
        return tuple(name for name, _ in self.openers if name)

    @property
    def members(self) -> tuple[str, ...]:
        """Contactors that take off some of its load, alone or with others."""
        return tuple(dict.fromkeys(name for _, names in self.together for name in names))

    @property
    def opening(self) -> tuple[str, ...]:
        """Contactors that take off all of its load: those in series, else all that do so only together."""
        return self.in_series or (self.members if all(names for _, names in self.together) else ())


class ChainOrder(NamedTuple):
    """One fuse, one main contactor in its way, and the cable it protects that bears least; I2t of each."""

    fuse: str
    contactor: str
    cable: str
    clearing_a2s: float
    contactor_a2s: float
    cable_a2s: float


class TimedLoad(NamedTuple):
    """A case with a duration against the constant current that melts the fuse in that time (nan: beyond its curve)."""

    case: str
    seconds: float
    current_a: float
    melting_a: float


class FuseLoad(NamedTuple):
    """One fuse under its loads. ``allowed_a``: what it may carry for ever in the air round it; nan where not known.

    ``factor``: for that air, never counted above 1, 0 where the air is hotter than the element may be. ``required_a``:
    least rating for ``sustained_a``; ``standard_a``: the next size of the usual row, nan beyond it.
    """

    rated_a: float
    ambient_c: float
    hottest_c: float
    reference_c: float
    factor: float
    share: float
    sustained_a: float
    sustained_case: str
    allowed_a: float
    required_a: float
    standard_a: float
    cases: tuple[tuple[str, float, float], ...]
    timed: tuple[TimedLoad, ...]


class FuseLoadsResult(NamedTuple):
    """Every fuse by id."""

    workings: Sequence[Working] = ()
    missing: tuple[Missing, ...] = ()
    series: Sequence[Series] = ()
    fuses: Mapping[str, FuseLoad] = NONE
