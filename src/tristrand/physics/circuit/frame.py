"""Coordinates in which weak branches are not lost beside strong ones.

In node voltages a conductance of 1e-9 S vanishes beside one of 1e7 S at the same node. Here nodes are joined into
clusters along branches of falling conductance, and each joining gives one coordinate: the voltage between the two
clusters' chief nodes. A branch then appears only in its own coordinate and in those of stronger ones, so that no
number is ever added to a much larger one that cancels later. The cluster of larger capacitance keeps its chief node,
which does the same for the capacitances. All transformations hold -1, 0 and 1 only.
"""

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.elements import LEAK_S
from tristrand.physics.circuit.structure import MOST_FRAMES
from tristrand.physics.circuit.topology import Topology
from tristrand.records import NamedTuple

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


class Frame(NamedTuple):
    """Node voltages v = basis @ [z, w, p]: capacitor states, algebraic voltages, potentials of islands.

    to_tree @ z are the branch voltages of the topology's capacitor tree, and from_tree leads back. `rows` gives
    the voltage of every branch of the topology on [z, w]. `island` (n, k) are the islands that
    only inductors tie to the rest. The first axis of the others is 1, or the lanes where their switches differ.
    """

    basis: Floats  # (1, n, nz + nw + islands)
    rows: Floats  # (1, nb, nz + nw)
    pins: Floats  # (1, nz + nw, nz + nw): conductance of the pins
    to_tree: Floats  # (1, nz, nz)
    from_tree: Floats
    cap_rows: Floats  # (1, capacitors, nz)
    island: Floats

    def take(self, where: Ints) -> "Frame":
        """The same for some of the lanes."""
        if self.basis.shape[0] == 1:
            return self
        return Frame(
            self.basis[where], self.rows[where], self.pins[where], self.to_tree[where], self.from_tree[where],
            self.cap_rows[where], self.island,
        )  # fmt: skip


def frame_of(topology: Topology, on: NDArray[np.bool_], lanes: Ints) -> Frame:
    """The frame for the conducting branches `on` (g, nb); patterns may differ where there are no islands."""
    order = np.argsort(-topology.branch_log[lanes].mean(axis=0), kind="stable")
    capacitance = topology.capacitance_log[lanes].mean(axis=0)
    sizes = np.argsort(-capacitance, kind="stable").tobytes()

    def kept(pattern: NDArray[np.bool_]) -> Frame:
        """The frame for one pattern, kept by the structure for the next lanes with the same order of strengths."""
        which = order[pattern[order]]
        key = which.tobytes() + b"|" + sizes
        found = topology.frames.get(key)
        if not isinstance(found, Frame):
            if len(topology.frames) >= MOST_FRAMES:
                topology.frames.clear()
            found = topology.frames[key] = _build(topology, which.tolist(), np.exp(capacitance).tolist())
        return found

    if (on == on[0]).all():
        return kept(on[0])
    found: dict[bytes, list[int]] = {}
    for row, pattern in enumerate(on):
        found.setdefault(pattern.tobytes(), []).append(row)
    frames = [kept(on[rows[0]]) for rows in found.values()]
    which = np.empty(lanes.size, dtype=np.intp)
    for k, members in enumerate(found.values()):
        which[members] = k
    basis, rows, pins, to_tree, from_tree, cap_rows = (
        np.concatenate([getattr(f, name) for f in frames])[which]
        for name in ("basis", "rows", "pins", "to_tree", "from_tree", "cap_rows")
    )
    return Frame(basis, rows, pins, to_tree, from_tree, cap_rows, frames[0].island)


class _Clusters:
    """Nodes joined one branch at a time; node 0 is the reference and always stays chief of its cluster."""

    def __init__(self, topology: Topology, farad: list[float]) -> None:
        self.n = topology.n
        self.caps = [(a, b, c) for (a, b), c in zip(topology.capacitors.ends, farad, strict=True)]
        self.chief = list(range(self.n + 1))
        self.members = [[k] for k in range(self.n + 1)]
        self.columns: list[list[int]] = []

    def join(self, first: int, second: int) -> bool:
        """Join the clusters of two nodes; the members of the one that loses its chief are the new column."""
        a, b = self.chief[first], self.chief[second]
        if a == b:
            return False
        if a == 0 or (b != 0 and self._weight(a) >= self._weight(b)):
            a, b = b, a
        lost = self.members[a]
        self.columns.append(list(lost))
        for k in lost:
            self.chief[k] = b
        self.members[b] = self.members[b] + lost
        return True

    def _weight(self, chief: int) -> tuple[float, int]:
        """Capacitance between a cluster and the rest; its size where that is equal."""
        inside = self.chief
        total = sum(c for a, b, c in self.caps if (inside[a] == chief) != (inside[b] == chief))
        return total, len(self.members[chief])


def _build(topology: Topology, order: list[int], farad: list[float]) -> Frame:
    clusters = _Clusters(topology, farad)
    for k in order:
        clusters.join(*topology.branch_ends[k])
    for k in sorted(range(len(farad)), key=lambda k: -farad[k]):
        clusters.join(*topology.capacitors.ends[k])
    crossed = set()
    for first, second in topology.inductors.ends:
        if clusters.chief[first] != clusters.chief[second]:
            crossed |= {clusters.chief[first], clusters.chief[second]}
    pins, islands = [], []
    for chief in sorted(set(clusters.chief) - {0}):
        members = clusters.members[chief]
        if chief in crossed:
            islands.append(members)
        else:
            pins.append(min(members))
    for pin in pins:
        clusters.join(pin, 0)
    whole = _columns(topology.n, clusters.columns)
    island = _columns(topology.n, islands)
    # voltages of the capacitor tree on the coordinates; the weakest that span them become states
    tree = topology.tree_incidence.T @ whole
    states = _independent(tree)
    rest = [k for k in range(whole.shape[1]) if k not in set(states)]
    to_tree = tree[:, states]
    from_tree = np.rint(np.linalg.inv(to_tree)) if states else to_tree
    share = np.rint(from_tree @ tree[:, rest])
    basis = np.concatenate([whole[:, states], whole[:, rest] - whole[:, states] @ share], axis=1)
    pinned = np.zeros((len(pins), topology.n))
    for row, pin in enumerate(pins):
        pinned[row, pin - 1] = 1.0
    pin_rows = pinned @ basis
    return Frame(
        np.concatenate([basis, island], axis=1)[None],
        (topology.branch_incidence.T @ basis)[None],
        (LEAK_S * pin_rows.T @ pin_rows)[None],
        to_tree[None],
        from_tree[None],
        (topology.cap_z @ to_tree)[None],
        island,
    )


def _columns(n: int, sets: list[list[int]]) -> Floats:
    out = np.zeros((n, len(sets)))
    for column, members in enumerate(sets):
        out[[k - 1 for k in members], column] = 1.0
    return out


def _independent(tree: Floats) -> list[int]:
    """Columns that span all others, the last ones (of the weakest branches) taken first."""
    held: list[tuple[int, list[float]]] = []
    chosen: list[int] = []
    for k, column in reversed(list(enumerate(tree.T.tolist()))):
        if len(chosen) == tree.shape[0]:
            break
        for row, other in held:
            if column[row]:
                share = column[row] / other[row]
                column = [a - share * b for a, b in zip(column, other, strict=True)]
        first = next((row for row, value in enumerate(column) if value), None)
        if first is not None:
            held.append((first, column))
            chosen.append(k)
    return chosen[::-1]


def conductance_matrix(frame: Frame, conductance: Floats) -> Floats:
    """Σ g r r^T over all branches and pins (g, nz + nw, nz + nw), from conductances (g, nb), 0 where open."""
    return np.asarray(np.matmul(frame.rows.swapaxes(1, 2) * conductance[:, None, :], frame.rows) + frame.pins)


def solve_scaled(matrix: Floats, right: Floats) -> Floats:
    """Solution of symmetric positive definite systems whose unknowns differ by many decades."""
    d = 1.0 / np.sqrt(np.diagonal(matrix, axis1=1, axis2=2))
    return np.asarray(d[..., None] * np.linalg.solve(matrix * d[..., None] * d[:, None, :], d[..., None] * right))
