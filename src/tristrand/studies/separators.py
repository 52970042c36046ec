"""What a device or a pack cannot do without: the conductors that every way between its two poles goes through.

Graph questions only. A conductor on some way from pole to pole parts them exactly when it lies on no loop.
"""

from collections import defaultdict
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

from tristrand.studies.circuits import HvCircuit
from tristrand.studies.topology import CONDUCTING, Edge, Edges, edges, looped

DEVICES = frozenset({"inverter", "dcdc", "heater", "charger"})


def needed_by_devices(circuit: HvCircuit) -> Mapping[str, tuple[str, ...]]:
    """For every device that a pack reaches: leads, fuses, disconnects and contactors without which none does.

    In the order of the way from its plus to its minus; contactors count as closed.
    """
    return _by_devices(edges(circuit))


def served_by(needed: Mapping[str, tuple[str, ...]]) -> Mapping[str, tuple[str, ...]]:
    """The same turned round: for every conductor that some device cannot do without, those devices."""
    found: dict[str, list[str]] = defaultdict(list)
    for name, way in needed.items():
        for item in way:
            found[item].append(name)
    return {item: tuple(names) for item, names in found.items()}


def in_series_with_packs(circuit: HvCircuit) -> Mapping[str, tuple[str, ...]]:
    """For every pack the leads, fuses, disconnects and contactors that all of its current to the devices flows in."""
    return _with_packs(edges(circuit))


@lru_cache(maxsize=64)
def _by_devices(every: Edges) -> Mapping[str, tuple[str, ...]]:
    some = tuple(e for e in every if e.kind in CONDUCTING or e.kind == "pack")
    ways = {e.id: _parting(some, e) for e in every if e.kind in DEVICES}
    return MappingProxyType({name: way for name, way in ways.items() if way is not None})


@lru_cache(maxsize=64)
def _with_packs(every: Edges) -> Mapping[str, tuple[str, ...]]:
    alone = tuple(e for e in every if e.kind in CONDUCTING or e.kind in DEVICES)
    found = {}
    for pack in (e for e in every if e.kind == "pack"):
        others = tuple(e for e in every if e.kind == "pack" and e is not pack)
        # Packs side by side are no load of one another; packs in series are part of the way.
        way = _parting(alone, pack)
        found[pack.id] = (_parting((*alone, *others), pack) if way is None else way) or ()
    return MappingProxyType(found)


def _parting(some: Edges, across: Edge) -> tuple[str, ...] | None:
    """The conductors that part the ends of ``across``, in their order; None where nothing joins these."""
    near: dict[str, list[tuple[str, Edge]]] = defaultdict(list)
    for edge in some:
        near[edge.a].append((edge.b, edge))
        near[edge.b].append((edge.a, edge))
    came: dict[str, tuple[str, Edge] | None] = {across.a: None}
    order = [across.a]
    for node in order:
        for other, edge in near[node]:
            if other not in came:
                came[other] = (node, edge)
                order.append(other)
    if across.b not in came:
        return None
    loops, found = looped(some), []
    step = came[across.b]
    while step is not None:
        node, edge = step
        if edge.id not in loops and edge.kind in CONDUCTING:
            found.append(edge.id)
        step = came[node]
    return tuple(reversed(found))
