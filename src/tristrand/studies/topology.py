"""Who is connected with whom: islands, loops through the pack, and which fuse lies in every loop of a conductor.

Graph questions only, on the ids and terminals of an HvCircuit; nothing electrical is computed here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from tristrand.studies.circuits import HvCircuit


@dataclass(frozen=True, slots=True)
class Edge:
    """Something that joins two terminals: a connection, a two-terminal part, a device across the bus or a pack."""

    id: str
    a: str
    b: str
    kind: str


@lru_cache(maxsize=256)
def edges(circuit: HvCircuit) -> tuple[Edge, ...]:
    """All edges of the circuit; contactors count whatever their state."""
    return (
        *(Edge(p.id, p.plus, p.minus, "pack") for p in circuit.packs),
        *(Edge(item.id, item.a, item.b, "lead") for item in circuit.leads),
        *(Edge(s.id, s.a, s.b, s.kind) for s in circuit.series),
        *(Edge(c.id, c.a, c.b, "contactor") for c in circuit.contacts),
        *(Edge(r.id, r.a, r.b, "resistor") for r in circuit.resistors),
        *(Edge(d.id, d.plus, d.minus, d.kind) for d in circuit.devices),
    )


@lru_cache(maxsize=1024)
def groups(some: tuple[Edge, ...]) -> tuple[frozenset[str], ...]:
    """Terminals joined by the edges, group by group. Kept: an edit of a value leaves the graph as it was."""
    parent: dict[str, str] = {}

    def root(node: str) -> str:
        while parent.setdefault(node, node) != node:
            parent[node] = parent[parent[node]]
            node = parent[node]
        return node

    for edge in some:
        parent[root(edge.a)] = root(edge.b)
    found: dict[str, set[str]] = defaultdict(set)
    for node in list(parent):
        found[root(node)].add(node)
    return tuple(frozenset(group) for group in found.values())


def joined(some: Iterable[Edge], a: str, b: str) -> bool:
    """Whether the edges lead from a to b."""
    return a == b or any(a in group and b in group for group in groups(tuple(some)))


def islands(circuit: HvCircuit) -> tuple[tuple[str, ...], ...]:
    """Groups of parts and connections that no pack reaches, each in the order of the file."""
    every = edges(circuit)
    powered = {p.plus for p in circuit.packs} | {p.minus for p in circuit.packs}
    lost = [group for group in groups(every) if not group & powered]
    return tuple(tuple(e.id for e in every if e.a in group) for group in lost)


def on_loops(some: tuple[Edge, ...], plus: str, minus: str) -> set[str]:
    """Ids of the edges that lie on some simple path from ``plus`` to ``minus``.

    An edge does so exactly when it shares a block (biconnected component) with an edge drawn from plus to minus.
    """
    drawn = Edge("", plus, minus, "drawn")
    for block in _blocks((drawn, *some)):
        if "" in block:
            return block - {""}
    return set()


@lru_cache(maxsize=256)
def looped(some: tuple[Edge, ...]) -> frozenset[str]:
    """Ids of the edges that lie on some loop; all others can carry no current."""
    return frozenset(edge for block in _blocks(some) if len(block) > 1 for edge in block)


def protecting_fuses(circuit: HvCircuit) -> Mapping[str, tuple[str, ...]]:
    """For every connection the fuses in all of its loops through a pack: with one of them open no pack feeds it."""
    return _protecting(edges(circuit))


@lru_cache(maxsize=64)
def _protecting(every: tuple[Edge, ...]) -> Mapping[str, tuple[str, ...]]:
    packs = [e for e in every if e.kind == "pack"]
    fuses = [e.id for e in every if e.kind == "fuse"]
    with_all = [on_loops(_without(every, p.id), p.a, p.b) for p in packs]
    without = {f: [on_loops(_without(every, p.id, f), p.a, p.b) for p in packs] for f in fuses}
    found: dict[str, tuple[str, ...]] = {}
    for lead in every:
        if lead.kind == "lead" and any(lead.id in loops for loops in with_all):
            found[lead.id] = tuple(f for f, loops in without.items() if not any(lead.id in ids for ids in loops))
    return MappingProxyType(found)


def _without(every: tuple[Edge, ...], *ids: str) -> tuple[Edge, ...]:
    return tuple(e for e in every if e.id not in ids)


def _blocks(some: tuple[Edge, ...]) -> list[set[str]]:
    """Biconnected components as sets of edge ids (Tarjan's algorithm, written without recursion)."""
    near: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for index, edge in enumerate(some):
        near[edge.a].append((edge.b, index))
        near[edge.b].append((edge.a, index))
    order: dict[str, int] = {}
    low: dict[str, int] = {}
    found: list[set[str]] = []
    for start in near:
        if start in order:
            continue
        order[start] = low[start] = len(order)
        pending: list[int] = []
        stack = [(start, -1, iter(near[start]))]
        while stack:
            node, came_by, rest = stack[-1]
            step = next(rest, None)
            if step is None:
                stack.pop()
                if stack:
                    _leave(stack[-1][0], node, came_by, low, order, pending, some, found)
                continue
            other, index = step
            if index == came_by:
                continue
            if other not in order:
                pending.append(index)
                order[other] = low[other] = len(order)
                stack.append((other, index, iter(near[other])))
            elif order[other] < order[node]:
                pending.append(index)
                low[node] = min(low[node], order[other])
    return found


def _leave(
    above: str,
    node: str,
    came_by: int,
    low: dict[str, int],
    order: dict[str, int],
    pending: list[int],
    some: tuple[Edge, ...],
    found: list[set[str]],
) -> None:
    low[above] = min(low[above], low[node])
    if low[node] >= order[above]:
        block: set[str] = set()
        while True:
            index = pending.pop()
            block.add(some[index].id)
            if index == came_by:
                break
        found.append(block)
