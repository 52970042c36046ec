"""Who is connected with whom: islands, packs in series, loops through a pack, and the fuses that protect a conductor.

Graph questions only, on the ids and terminals of an HvCircuit; nothing electrical is computed here.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import TypeAlias

from tristrand.records import NamedTuple
from tristrand.studies.circuits import Device, HvCircuit
from tristrand.studies.graph import blocks
from tristrand.studies.opening import Groups, conductors, stack

# What a fault current from a pack's plus terminal reaches a cable through.
CONDUCTING = frozenset({"lead", "fuse", "service_disconnect", "contactor"})
# Up to this length a reduced conductor needs no fuse of its own (FSAE-2026#EV.6.6.6).
REDUCED_M = 0.15


class Edge(NamedTuple):
    """Something that joins two terminals: a connection, a two-terminal part, a device across the bus or a pack."""

    id: str
    a: str
    b: str
    kind: str


Edges: TypeAlias = tuple[Edge, ...]
Count: TypeAlias = dict[str, int]


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
    for block in blocks(_named(drawn, *some)):
        if "" in block:
            return block - {""}
    return set()


@lru_cache(maxsize=256)
def looped(some: tuple[Edge, ...]) -> frozenset[str]:
    """Ids of the edges that lie on some loop; all others can carry no current."""
    return frozenset(edge for block in blocks(_named(*some)) if len(block) > 1 for edge in block)


def closed(circuit: HvCircuit) -> Groups:
    """Terminals joined while driving: connections, fuses, service disconnects and main contactors conduct."""
    return Groups([*conductors(circuit), *((c.a, c.b) for c in circuit.role("main"))])


class Chain(NamedTuple):
    """Packs in series, from the highest to the lowest, and the sum of their voltages [V]."""

    packs: tuple[str, ...]
    volts: float


def chains(circuit: HvCircuit, volts: Mapping[str, float]) -> tuple[Chain, ...]:
    """For every pack the chain of packs in series through it with the largest sum of ``volts``, main contactors closed.

    A pack whose minus terminal is joined to the plus terminal of another stands on it; a device need not be there.
    Chains that are alike are given once, in the order of the file.
    """
    return _chains(circuit, tuple(volts.items()))


@lru_cache(maxsize=64)
def _chains(circuit: HvCircuit, known: tuple[tuple[str, float], ...]) -> tuple[Chain, ...]:
    groups, volts = closed(circuit), dict(known)
    ends = {p.id: (groups.of(p.plus), groups.of(p.minus)) for p in circuit.packs if p.id in volts}

    def longest(pack: str, down: bool, seen: tuple[str, ...]) -> Chain:
        at = ends[pack][1 if down else 0]
        nexts = [k for k, pair in ends.items() if k not in seen and pair[0 if down else 1] == at]
        best = max((longest(k, down, (*seen, k)) for k in nexts), key=lambda c: c.volts, default=Chain((), 0.0))
        return Chain((pack, *best.packs), volts[pack] + best.volts)

    found: dict[tuple[str, ...], Chain] = {}
    for pack in ends:
        below = longest(pack, True, (pack,))
        above = longest(pack, False, below.packs)
        packs = (*reversed(above.packs[1:]), *below.packs)
        found.setdefault(packs, Chain(packs, above.volts + below.volts - volts[pack]))
    return tuple(found.values())


def uppermost(circuit: HvCircuit) -> tuple[str, ...]:
    """Packs on whose plus terminal no other pack stands: one for each string in parallel."""
    groups = closed(circuit)
    below = {groups.of(p.minus) for p in circuit.packs}
    return tuple(p.id for p in circuit.packs if groups.of(p.plus) not in below)


def turned(device: Device) -> Device:
    """The device with its poles exchanged."""
    return device._replace(plus=device.minus, minus=device.plus)


class Feed(NamedTuple):
    """How a device hangs on packs with main contactors closed: ``right``, ``swapped`` or ``none``.

    ``top`` and ``bottom`` are the terminals of the stack that feeds it, ``packs`` its packs.
    """

    way: str
    top: str
    bottom: str
    packs: tuple[str, ...]


@lru_cache(maxsize=64)
def feeds(circuit: HvCircuit) -> Mapping[str, Feed]:
    """For every device the stack of packs across its two poles."""
    groups = closed(circuit)
    found = {}
    for device in circuit.devices:
        right, wrong = stack(circuit, groups, device), stack(circuit, groups, turned(device))
        way = "right" if right[2] else "swapped" if wrong[2] else "none"
        found[device.id] = Feed(way, *(wrong if way == "swapped" else right))
    return MappingProxyType(found)


def protecting_fuses(circuit: HvCircuit) -> Mapping[str, tuple[str, ...]]:
    """For every connection that a pack feeds the fuses that protect it: each alone clears a fault on it.

    Fuses stand in one pole, as a rule the plus: a fault from a plus-side conductor to the chassis (with the minus at
    the chassis by an earlier fault) or to the minus is fed from the pack's plus terminal only. So for a plus-side lead,
    one that a pack's plus reaches through leads, fuses, disconnects and contactors, the protecting fuses are those
    whose removal parts it from every pack's plus that way; a fuse at its far end sees nothing of such a fault. A lead
    that no fuse parts so lies ahead of the first fuse: for it, and for every minus-side lead, the fuses count that lie
    in all of its loops through a pack, those in the minus side among them; for a plus-side lead only these where there
    are any, since they clear a fault on it to the minus, which a fuse at its far end does not. For packs in parallel
    see ``feeding_fuses``.
    """
    return _protecting(edges(circuit))


def feeding_fuses(circuit: HvCircuit) -> Mapping[str, tuple[tuple[str, ...], ...]]:
    """For leads that several packs feed: for each such pack, alone in the circuit, the fuses that protect the lead.

    Only leads are named for which every feeding pack has one: a fault there draws the sum of one fuse of each pack.
    """
    return _feeding(edges(circuit))


def resistor_limited(circuit: HvCircuit) -> frozenset[str]:
    """Leads whose loops through a pack all pass a resistor, and which no pole of a pack reaches but through one.

    A lead ahead of the resistor, on either side, is not among them: a fault on it is fed without the resistor.
    """
    return _limited(edges(circuit))


def own_pole_fuses(circuit: HvCircuit) -> Mapping[str, tuple[tuple[str, ...], ...]]:
    """For every lead that a pole of a pack reaches through what conducts: the fuses that part it from that pole.

    One tuple of fuses to choose from where these part it from all packs at once; else one for each pack that reaches
    it, whose currents add up; empty where some pack reaches it without a fuse. What a plus reaches is plus-side.
    """
    return _own_pole(edges(circuit))


def plus_side(circuit: HvCircuit) -> set[str]:
    """Leads that a pack's plus reaches through what conducts."""
    return _reached(edges(circuit), tuple(p.plus for p in circuit.packs))


def reduced_runs(circuit: HvCircuit, reduced: frozenset[str]) -> Mapping[str, tuple[str, ...]]:
    """For every reduced lead the reduced leads that lie with it beyond the same full-size conductors, itself included.

    Leads that meet end to end through junctions, fuses, disconnects and contactors are one run; so are the arms of a
    branch. It ends at a resistor, which limits what flows on, and where full-size conductors lead to a pack.
    """
    return _runs(edges(circuit), reduced)


def shorts(circuit: HvCircuit) -> Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]]:
    """For every pack in a dead short, all contactors closed, the packs of the smallest one and what joins them.

    The pack's own poles are joined by conductors, or it stands in a chain of packs whose top is joined to its bottom;
    two packs side by side with one of them turned round are such a chain.
    """
    return _shorts(edges(circuit))


@lru_cache(maxsize=64)
def _limited(every: tuple[Edge, ...]) -> frozenset[str]:
    fed = _reached(every, tuple(end for e in every if e.kind == "pack" for end in (e.a, e.b)))
    bare = tuple(e for e in every if e.kind != "resistor")
    live: set[str] = set()
    all_loops: set[str] = set()
    for pack in (e for e in every if e.kind == "pack"):
        live |= on_loops(_without(bare, pack.id), pack.a, pack.b)
        all_loops |= on_loops(_without(every, pack.id), pack.a, pack.b)
    return frozenset(e.id for e in every if e.kind == "lead" and e.id in all_loops - live - fed)


def _reached(every: tuple[Edge, ...], starts: tuple[str, ...], kind: str = "lead") -> set[str]:
    """Ids of the edges of a kind that the starts reach through what conducts."""
    some = tuple(e for e in every if e.kind in CONDUCTING)
    live = {node for group in groups(some) if group & set(starts) for node in group}
    return {e.id for e in some if e.kind == kind and e.a in live}


@lru_cache(maxsize=64)
def _protecting(every: tuple[Edge, ...]) -> Mapping[str, tuple[str, ...]]:
    packs = [e for e in every if e.kind == "pack"]
    fuses, starts = [e.id for e in every if e.kind == "fuse"], tuple(p.a for p in packs)
    near = _reached(every, starts, "fuse")
    plus = _parting(every, starts, fuses)
    with_all = [on_loops(_without(every, p.id), p.a, p.b) for p in packs]
    without = {f: [on_loops(_without(every, p.id, f), p.a, p.b) for p in packs] for f in fuses}
    found: dict[str, tuple[str, ...]] = {}
    for lead in every:
        on_loop = any(lead.id in loops for loops in with_all)
        if lead.kind == "lead" and (on_loop or lead.id in plus):
            around = tuple(f for f, loops in without.items() if not any(lead.id in ids for ids in loops))
            if lead.id in plus:
                around = tuple(f for f in around if f not in near) or around
            found[lead.id] = plus.get(lead.id) or (around if on_loop else ())
    return MappingProxyType(found)


@lru_cache(maxsize=64)
def _feeding(every: tuple[Edge, ...]) -> Mapping[str, tuple[tuple[str, ...], ...]]:
    packs = [e for e in every if e.kind == "pack"]
    alone = [_protecting(_without(every, *(o.id for o in packs if o is not pack))) for pack in packs]
    found = {}
    for lead in every:
        ways = tuple(protecting[lead.id] for protecting in alone if lead.id in protecting)
        if len(ways) > 1 and all(ways):
            found[lead.id] = ways
    return MappingProxyType(found)


@lru_cache(maxsize=64)
def _own_pole(every: tuple[Edge, ...]) -> Mapping[str, tuple[tuple[str, ...], ...]]:
    fuses = [e.id for e in every if e.kind == "fuse"]
    found: dict[str, tuple[tuple[str, ...], ...]] = {}
    for ends in ([e.a for e in every if e.kind == "pack"], [e.b for e in every if e.kind == "pack"]):
        together = _parting(every, tuple(ends), fuses)
        alone = [_parting(every, (end,), fuses) for end in ends]
        for lead, common in together.items():
            ways = (common,) if common else tuple(one[lead] for one in alone if lead in one)
            found.setdefault(lead, ways if all(ways) else ())
    return MappingProxyType(found)


def _parting(every: tuple[Edge, ...], starts: tuple[str, ...], fuses: list[str]) -> dict[str, tuple[str, ...]]:
    """For every lead that the starts reach the fuses without which none of them does."""
    lost = {f: _reached(_without(every, f), starts) for f in fuses}
    return {lead: tuple(f for f in fuses if lead not in lost[f]) for lead in _reached(every, starts)}


@lru_cache(maxsize=256)
def _runs(every: tuple[Edge, ...], reduced: frozenset[str]) -> Mapping[str, tuple[str, ...]]:
    some = tuple(e for e in every if e.kind in CONDUCTING)
    poles = {end for e in every if e.kind == "pack" for end in (e.a, e.b)}
    full = groups(tuple(e for e in some if e.id not in reduced))
    sources = poles.union(*(group for group in full if group & poles))
    # A source ends a run: each edge gets an end of its own there.
    own = {(e.id, end): f"{end} {e.id}" if end in sources else end for e in some for end in (e.a, e.b)}
    beyond = tuple(e._replace(a=own[e.id, e.a], b=own[e.id, e.b]) for e in some)
    found: dict[str, tuple[str, ...]] = {}
    for group in groups(beyond):
        run = tuple(e.id for e in beyond if e.a in group and e.id in reduced)
        found.update(dict.fromkeys(run, run))
    return MappingProxyType(found)


@lru_cache(maxsize=64)
def _shorts(every: Edges) -> Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]]:
    some = tuple(e for e in every if e.kind in CONDUCTING)
    joints = Groups((e.a, e.b) for e in some)
    packs = {e.id: e for e in every if e.kind == "pack"}
    ends = {key: (joints.of(e.a), joints.of(e.b)) for key, e in packs.items()}
    found = {}
    for name, (top, bottom) in ends.items():
        chain = _down(ends, name, bottom, top)
        if chain:
            loop = on_loops((*(packs[key] for key in chain[1:]), *some), packs[name].a, packs[name].b)
            found[name] = (tuple(key for key in packs if key in chain), tuple(e.id for e in some if e.id in loop))
    return MappingProxyType(found)


def _down(ends: Mapping[str, tuple[str, str]], name: str, bottom: str, top: str) -> tuple[str, ...]:
    """The fewest packs, from ``name`` downwards, whose lowest end is ``top`` again; none where there are none."""
    ways: list[tuple[tuple[str, ...], str]] = [((name,), bottom)]
    seen = {bottom}
    for chain, at in ways:
        if at == top:
            return chain
        for key, (plus, minus) in ends.items():
            if plus == at and minus not in seen:
                seen.add(minus)
                ways.append(((*chain, key), minus))
    return ()


def _without(every: tuple[Edge, ...], *ids: str) -> tuple[Edge, ...]:
    return tuple(e for e in every if e.id not in ids)


def _named(*some: Edge) -> list[tuple[str, str, str]]:
    return [(edge.id, edge.a, edge.b) for edge in some]
