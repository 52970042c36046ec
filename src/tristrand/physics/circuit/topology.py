"""What follows from the topology and the numbers alone, before any switch has a position.

Nodes carry voltages v (the reference left out). The capacitor graph is cut into trees: z are the voltages along
tree branches (child over parent), and v = T1 z + T0 w with w one common voltage per capacitor component that does
not hold the reference. T1 and T0 hold zeros and ones, so capacitors in parallel merge by themselves with their
charge kept, and w follows from the currents alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.elements import (
    FLOOR_V,
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
Kind = TypeVar("Kind", bound=Element)


class Group:
    """All elements of one kind: incidence (n, k) with +1 at the first and -1 at the second terminal, names."""

    __slots__ = ("ends", "incidence", "index", "names")

    def __init__(self, elements: list[Element], node: dict[str, int], n: int) -> None:
        self.names = tuple(e.name for e in elements)
        self.index = {name: k for k, name in enumerate(self.names)}
        self.ends = [tuple(node[getattr(e, t)] for t in e.terminals) for e in elements]
        full = np.zeros((n + 1, len(elements)))
        for k, (first, second) in enumerate(self.ends):
            full[first, k] += 1.0
            full[second, k] -= 1.0
        self.incidence: Floats = full[1:]

    def __len__(self) -> int:
        return len(self.names)


@dataclass(frozen=True, slots=True)
class Loads:
    """Parameters of the power loads, each (N, k)."""

    power_w: Floats
    on_v: Floats
    off_v: Floats
    soft_s: Floats
    limit_a: Floats
    alive: Bools
    resistive: Bools
    conductance_s: Floats
    sliding: Bools


class Topology:
    """Index, incidence and parameter arrays of one circuit; see the module's own text."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.lanes = circuit.lanes
        self.node = {name: k for k, name in enumerate(circuit.nodes)}
        self.n = len(circuit.nodes) - 1
        kinds = (Battery, Resistor, Inductor, Capacitor, Switch, Diode, PowerLoad, CurrentSource)
        groups = [Group([e for e in circuit.elements if isinstance(e, kind)], self.node, self.n) for kind in kinds]
        (self.batteries, self.resistors, self.inductors, self.capacitors) = groups[:4]
        (self.switches, self.diodes, self.loads, self.sources) = groups[4:]
        self.ocv_v = self._values(Battery, "ocv_v")
        self.battery_s = 1.0 / self._values(Battery, "resistance_ohm")
        self.resistor_s = 1.0 / self._values(Resistor, "resistance_ohm")
        self.inductance_h = self._values(Inductor, "inductance_h")
        self.inductor_ohm = self._values(Inductor, "resistance_ohm")
        self.capacitance_f = self._values(Capacitor, "capacitance_f")
        self.switch_s = 1.0 / self._values(Switch, "on_ohm")
        self.diode_s = 1.0 / self._values(Diode, "on_ohm")
        self.forward_v = self._values(Diode, "forward_v")
        self.source_a = self._values(CurrentSource, "current_a")
        self.load = self._load_parameters()
        self.closed = np.array([e.closed for e in self._of(Switch)], dtype=bool)
        self.close_delay_s = self._values(Switch, "close_delay_s")
        self.open_delay_s = self._values(Switch, "open_delay_s")
        self._capacitor_trees()
        self._branches()

    def _of(self, kind: type[Kind]) -> list[Kind]:
        return [e for e in self.circuit.elements if isinstance(e, kind)]

    def _values(self, kind: type[Kind], name: str) -> Floats:
        """One parameter of all elements of a kind as (N, k)."""
        elements = self._of(kind)
        out = np.empty((self.lanes, len(elements)))
        for k, element in enumerate(elements):
            out[:, k] = getattr(element, name)
        return out

    def _load_parameters(self) -> Loads:
        loads = self._of(PowerLoad)
        power = self._values(PowerLoad, "power_w")
        resistive = np.array([e.below == "resistive" for e in loads], dtype=bool)
        off_v = np.maximum(self._values(PowerLoad, "turn_off_v"), FLOOR_V)
        on_v = np.where(resistive, off_v, np.maximum(self._values(PowerLoad, "turn_on_v"), FLOOR_V))
        soft_s = self._values(PowerLoad, "soft_start_s")
        return Loads(
            power_w=power,
            on_v=on_v,
            off_v=off_v,
            soft_s=soft_s,
            limit_a=self._values(PowerLoad, "current_limit_a"),
            alive=(self._values(PowerLoad, "enabled") > 0) & (power > 0),
            resistive=np.broadcast_to(resistive, power.shape),
            conductance_s=power / off_v**2,
            sliding=(on_v == off_v) & ~resistive & (soft_s == 0),
        )

    def _branches(self) -> None:
        """All conductances in one row: incidence (n, nb), conductance and e.m.f. (N, nb), switches and the like last.

        Their order is batteries, resistors, switches, diodes, loads (as resistances).
        """
        groups = (self.batteries, self.resistors, self.switches, self.diodes, self.loads)
        self.branch_incidence = np.concatenate([g.incidence for g in groups], axis=1)
        self.branch_ends = [ends for g in groups for ends in g.ends]
        parts = (self.battery_s, self.resistor_s, self.switch_s, self.diode_s, self.load.conductance_s)
        self.branch_s = np.concatenate(parts, axis=1)
        self.branch_log = np.log(np.maximum(self.branch_s, 1e-300))
        self.branch_emf = np.zeros_like(self.branch_s)
        fixed, n_sw = len(self.batteries) + len(self.resistors), len(self.switches)
        self.branch_emf[:, : len(self.batteries)] = self.ocv_v
        self.branch_emf[:, fixed + n_sw : fixed + n_sw + len(self.diodes)] = self.forward_v
        self.always = np.ones(fixed, dtype=bool)
        self.frames: dict[bytes, object] = {}

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
        full = np.zeros((self.n + 1, branches))
        for k, (child, parent) in enumerate(tree):
            full[child, k], full[parent, k] = 1.0, -1.0
        self.tree_incidence: Floats = full[1:]
        self.cap_z = self.capacitors.incidence.T @ self.t1
        matrix = np.einsum("ki,gk,kj->gij", self.cap_z, self.capacitance_f, self.cap_z)
        self.inverse_c = np.linalg.inv(matrix)

    def initial_states(self) -> tuple[Floats, Floats]:
        """Branch voltages z (N, nz) with the charge of the given capacitor voltages kept; inductor currents."""
        charge = (self.capacitance_f * self._values(Capacitor, "voltage_v")) @ self.cap_z
        return np.einsum("gij,gj->gi", self.inverse_c, charge), self._values(Inductor, "current_a")


def stamp(incidence: Floats, conductance: Floats) -> Floats:
    """Nodal conductance matrices (g, n, n) of branches with conductance (g, k)."""
    scaled = incidence[None, :, :] * conductance[:, None, :]
    return np.asarray(np.matmul(scaled, incidence.T))


def pins_at_rest(topology: Topology, switches: Bools, diodes: Bools) -> list[int]:
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
