"""Where each fuse lies: the contactors that switch it off, and the devices that it alone connects to the packs."""

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import NamedTuple

from tristrand.studies.circuits import HvCircuit
from tristrand.studies.topology import Edge, edges, on_loops

DEVICES = frozenset({"inverter", "dcdc", "heater", "charger"})
OPENING = ("main", "charge")


class Way(NamedTuple):
    """``in_series``: contactors without which no pack feeds the fuse; ``behind``: devices fed through it alone."""

    in_series: tuple[str, ...]
    behind: tuple[str, ...]


def fuse_ways(circuit: HvCircuit) -> Mapping[str, Way]:
    """For every fuse on a loop through a pack. Contactors of precharge and discharge count as open."""
    roles = tuple((c.id, c.role in OPENING) for c in circuit.contacts)
    return _ways(edges(circuit), roles)


@lru_cache(maxsize=64)
def _ways(every: tuple[Edge, ...], roles: tuple[tuple[str, bool], ...]) -> Mapping[str, Way]:
    resting = {name for name, opens in roles if not opens}
    some = tuple(e for e in every if e.id not in resting)
    fed = _fed(some)
    without = {name: _fed(tuple(e for e in some if e.id != name)) for name, opens in roles if opens}
    found = {}
    for fuse in (e.id for e in some if e.kind == "fuse" and e.id in fed):
        rest = _fed(tuple(e for e in some if e.id != fuse))
        found[fuse] = Way(
            tuple(name for name, live in without.items() if fuse not in live),
            tuple(e.id for e in some if e.kind in DEVICES and e.id in fed and e.id not in rest),
        )
    return MappingProxyType(found)


def _fed(some: tuple[Edge, ...]) -> set[str]:
    """Ids of what lies on a loop through some pack."""
    found: set[str] = set()
    for pack in (e for e in some if e.kind == "pack"):
        found |= on_loops(tuple(e for e in some if e.id != pack.id), pack.a, pack.b)
    return found
