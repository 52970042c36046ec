"""What follows from the topology and the numbers alone, before any switch has a position.

Nodes carry voltages v (the reference left out). The capacitor graph is cut into trees: z are the voltages along
tree branches (child over parent), and v = T1 z + T0 w with w one common voltage per capacitor component that does
not hold the reference. T1 and T0 hold zeros and ones, so capacitors in parallel merge by themselves with their
charge kept, and w follows from the currents alone.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.elements import (
    Battery,
    Capacitor,
    Circuit,
    CurrentSource,
    Diode,
    Element,
    Inductor,
    PowerLoad,
    Resistor,
    Switch,
)

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ends = tuple[int, int]

KINDS: tuple[type[Element], ...] = (
    Battery, Resistor, Inductor, Capacitor, Switch, Diode, PowerLoad, CurrentSource
)  # fmt: skip
MOST_FRAMES = 256


class Group:
    """All elements of one kind: incidence (n, k) with +1 at the first and -1 at the second terminal, names."""

    __slots__ = ("ends", "incidence", "index", "names")

    def __init__(self, names: list[str], ends: list[Ends], n: int) -> None:
        self.names = tuple(names)
        self.index = {name: k for k, name in enumerate(names)}
        self.ends = ends
        self.incidence = incidence(ends, n)

    def __len__(self) -> int:
        return len(self.names)


class Structure:
    """Index and incidence arrays of one wiring, whatever its numbers."""

    def __init__(self, nodes: tuple[str, ...], elements: tuple[tuple[int, str, str, str], ...]) -> None:
        self.node = {name: k for k, name in enumerate(nodes)}
        self.n = len(nodes) - 1
        groups = []
        for kind in range(len(KINDS)):
            mine = [e for e in elements if e[0] == kind]
            ends = [(self.node[first], self.node[second]) for _, _, first, second in mine]
            groups.append(Group([name for _, name, _, _ in mine], ends, self.n))
        (self.batteries, self.resistors, self.inductors, self.capacitors) = groups[:4]
        (self.switches, self.diodes, self.loads, self.sources) = groups[4:]
        # conductances in one row; their order is batteries, resistors, switches, diodes, loads (as resistances)
        conducting = (self.batteries, self.resistors, self.switches, self.diodes, self.loads)
        self.branch_incidence = np.concatenate([g.incidence for g in conducting], axis=1)
        self.branch_ends = [ends for g in conducting for ends in g.ends]
        self.always = np.ones(len(self.batteries) + len(self.resistors), dtype=bool)
        self.frames: dict[bytes, object] = {}
        self._capacitor_trees()

    def _capacitor_trees(self) -> None:
        """Spanning trees of the capacitor graph: T1 (n, nz), T0 (n, nc), component of every node (reference: -1)."""
        near: list[list[int]] = [[] for _ in range(self.n + 1)]
        for first, second in self.capacitors.ends:
            near[first].append(second)
            near[second].append(first)
        component = np.full(self.n + 1, -2)
        paths: list[list[int]] = [[] for _ in range(self.n + 1)]
        branches = 0
        tree: list[tuple[int, int]] = []
        roots = 0
        for root in range(self.n + 1):
            if component[root] != -2:
                continue
            component[root] = -1 if root == 0 else roots
            roots += root != 0
            queue = [root]
            for parent in queue:
                for child in near[parent]:
                    if component[child] == -2:
                        component[child] = component[root]
                        paths[child] = [*paths[parent], branches]
                        branches += 1
                        tree.append((child, parent))
                        queue.append(child)
        self.component = component
        self.t1 = np.zeros((self.n, branches))
        self.t0 = np.zeros((self.n, roots))
        for k in range(1, self.n + 1):
            self.t1[k - 1, paths[k]] = 1.0
            if component[k] >= 0:
                self.t0[k - 1, component[k]] = 1.0
        self.tree_incidence = incidence(tree, self.n)
        self.cap_z = self.capacitors.incidence.T @ self.t1


@lru_cache(maxsize=64)
def _structure(nodes: tuple[str, ...], elements: tuple[tuple[int, str, str, str], ...]) -> Structure:
    return Structure(nodes, elements)


def structure_of(circuit: Circuit) -> Structure:
    """The structure of a circuit, kept: a change of numbers alone finds it made."""
    elements = tuple(
        (KINDS.index(type(e)), e.name, *(getattr(e, terminal) for terminal in e.terminals)) for e in circuit.elements
    )
    return _structure(circuit.nodes, elements)


def incidence(ends: list[Ends], n: int) -> Floats:
    """+1 at the first and -1 at the second node (n, k), the reference's row left out."""
    full = np.zeros((n + 1, len(ends)))
    for k, (first, second) in enumerate(ends):
        full[first, k] += 1.0
        full[second, k] -= 1.0
    return full[1:]


def stamp(incidence: Floats, conductance: Floats) -> Floats:
    """Nodal conductance matrices (g, n, n) of branches with conductance (g, k)."""
    scaled = incidence[None, :, :] * conductance[:, None, :]
    return np.asarray(np.matmul(scaled, incidence.T))


def pins_at_rest(topology: Structure, switches: Bools, diodes: Bools) -> list[int]:
    """Nodes to pin in the steady state, where inductors conduct and capacitors do not."""
    joined = _Sets(topology.n + 1)
    groups: tuple[tuple[Group, Bools | None], ...] = (
        (topology.batteries, None), (topology.resistors, None), (topology.inductors, None),
        (topology.switches, switches), (topology.diodes, diodes),
    )  # fmt: skip
    for group, on in groups:
        for k, (first, second) in enumerate(group.ends):
            if on is None or on[k]:
                joined.join(first, second)
    found: dict[int, int] = {}
    for k in range(1, topology.n + 1):
        found.setdefault(joined.root(k), k - 1)
    found.pop(joined.root(0), None)
    return list(found.values())


class _Sets:
    """Disjoint sets of whole numbers."""

    def __init__(self, count: int) -> None:
        self.parent = list(range(count))

    def root(self, k: int) -> int:
        """The number that stands for the set of k."""
        while self.parent[k] != k:
            self.parent[k] = self.parent[self.parent[k]]
            k = self.parent[k]
        return k

    def join(self, a: int, b: int) -> None:
        """Make one set of two."""
        self.parent[self.root(a)] = self.root(b)
