"""The equations of a circuit while no switch, diode or load changes its state.

Kirchhoff's current law at every node, C v' + G v + A_L i_L + D i_p = s, and L i_L' = A_L^T v - R i_L, are brought
to the smallest explicit form x' = F [x, 1, i_p] with x = (z, j): capacitor branch voltages and independent inductor
currents. All matrices carry the lanes first. i_p are the currents of loads in their constant-power state.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.elements import CircuitError
from tristrand.physics.circuit.frame import Frame, conductance_matrix, frame_of, solve_scaled
from tristrand.physics.circuit.signals import Signal
from tristrand.physics.circuit.topology import Topology
from tristrand.records import NamedTuple

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bytes = NDArray[np.uint8]

#: States of a power load. RAMP is POWER during soft start; CAPPED is LIMIT during soft start; STARVED is off until
#: something else in the circuit switches.
OFF, POWER, RAMP, LIMIT, CAPPED, RESISTIVE, SLIDE, STARVED = range(8)
DRAWING_POWER = (POWER, RAMP)


@dataclass(slots=True, eq=False, repr=False)
class Regime:
    """Positions of diodes (nd,) and loads (np,), shared by a group of lanes, and of switches (g, nsw), lane by lane."""

    switches: Bytes
    diodes: Bytes
    loads: Bytes
    powered: Ints = field(init=False)
    """Indices of the loads drawing constant power."""

    def __post_init__(self) -> None:
        self.powered = np.flatnonzero((self.loads == POWER) | (self.loads == RAMP))

    def take(self, where: Ints) -> "Regime":
        """The same for some of the lanes."""
        return Regime(self.switches[where], self.diodes, self.loads)


class System(NamedTuple):
    """x' = f u and outputs as rows on u = [x (m), 1, i_p (p)], for g lanes."""

    f: Floats  # (g, m, q)
    coords: Floats  # (g, k, q) coordinates of the frame
    inductor_a: Floats  # (g, nL, q)
    load_a: Floats  # (g, np, q)
    load_v: Floats  # (g, np, q)
    to_j: Floats  # (g, mj, nL) and
    to_j0: Floats  # (g, mj): j = to_j i_L + to_j0, flux kept
    frame: Frame
    conductance: Floats  # (g, nb) of the branches, 0 where open

    @property
    def m(self) -> int:
        """Number of states."""
        return int(self.f.shape[1])

    def take(self, where: Ints) -> "System":
        """The same for some of the lanes."""
        return System(
            self.f[where], self.coords[where], self.inductor_a[where], self.load_a[where], self.load_v[where],
            self.to_j[where], self.to_j0[where], self.frame.take(where), self.conductance[where],
        )  # fmt: skip

    def across(self, incidence: Floats) -> Floats:
        """Voltage (g, q) along a column (n,) of incidence."""
        return np.asarray(((incidence @ self.frame.basis)[:, None] @ self.coords)[:, 0])


def assemble(topology: Topology, regime: Regime, lanes: Ints) -> System:
    """Equations of the regime for the given lanes; CircuitError when a load hangs on inductance alone."""
    on = _conducting(topology, regime, lanes)
    frame = frame_of(topology, on, lanes)
    conductance = topology.branch_s[lanes] * on
    matrix = conductance_matrix(frame, conductance)
    s = ((conductance * topology.branch_emf[lanes])[:, None] @ frame.rows)[:, 0]
    island, drop = frame.island, topology.loads.incidence
    if island.shape[1] and np.any(island.T @ drop[:, ~np.isin(regime.loads, (OFF, STARVED, RESISTIVE))]):
        raise CircuitError(
            "a power load is fed through inductance alone; give its terminals a capacitance or the inductance none"
        )
    g, nz, k = lanes.size, frame.to_tree.shape[1], frame.rows.shape[2]
    basis = frame.basis[:, :, :k]
    down = basis.swapaxes(1, 2)
    a_l, drop = down @ topology.inductors.incidence, down @ drop
    n_l, n_p = a_l.shape[2], drop.shape[2]
    inductance, ohm = topology.inductance_h[lanes], topology.inductor_ohm[lanes]
    if len(topology.sources):
        s -= (topology.source_a[lanes][:, None] @ (topology.sources.incidence.T @ basis))[:, 0]
    cut = island.T @ topology.inductors.incidence
    free, i0 = _independent(cut, island.T @ topology.sources.incidence, topology.source_a[lanes])
    nj = free.shape[1]
    m = nz + nj
    i_l = np.zeros((g, n_l, m + 1 + n_p))
    i_l[:, :, nz:m] = free
    i_l[:, :, m] = i0
    push = -(a_l @ i_l) if n_l else np.zeros((g, k, m + 1 + n_p))
    push[:, :, m] += s
    push[:, :, m + 1 :] -= drop
    coords = np.zeros((g, frame.basis.shape[2], m + 1 + n_p))
    coords[:, np.arange(nz), np.arange(nz)] = 1.0
    if k > nz:  # voltages without capacitance follow from the currents
        right = push[:, nz:].copy()
        right[:, :, :nz] -= matrix[:, nz:, :nz]
        coords[:, nz:k] = solve_scaled(matrix[:, nz:, nz:], right)
    f = np.empty((g, m, m + 1 + n_p))
    cap_rows = frame.cap_rows
    mass_c = np.matmul(cap_rows.swapaxes(1, 2) * topology.capacitance_f[lanes][:, None, :], cap_rows)
    f[:, :nz] = solve_scaled(mass_c, push[:, :nz] - matrix[:, :nz] @ coords[:, :k]) if nz else 0.0
    flux = free.T[None] * inductance[:, None, :]
    to_j, to_j0 = np.zeros((g, nj, n_l)), np.zeros((g, nj))
    if n_l:
        emf = a_l.swapaxes(1, 2) @ coords[:, :k] - ohm[:, :, None] * i_l
        mass = np.matmul(flux, free)
        f[:, nz:] = solve_scaled(mass, free.T @ emf) if nj else 0.0
        to_j = solve_scaled(mass, flux) if nj else to_j
        to_j0 = -(to_j @ i0[..., None])[..., 0]
        if island.shape[1]:
            scaled = cut[None] / inductance[:, None, :]
            coords[:, k:] = -np.linalg.pinv(scaled @ cut.T, hermitian=True) @ (scaled @ emf)
    load_v = (topology.loads.incidence.T @ frame.basis) @ coords
    none = np.zeros((g, n_p, 0))
    return _fold(topology, regime, lanes, System(f, coords, i_l, none, load_v, to_j, to_j0, frame, conductance))


def _conducting(topology: Topology, regime: Regime, lanes: Ints) -> NDArray[np.bool_]:
    """Which branches conduct, (g, nb)."""
    on = np.ones((lanes.size, topology.branch_s.shape[1]), dtype=bool)
    fixed, n_sw = topology.always.size, regime.switches.shape[1]
    on[:, fixed : fixed + n_sw] = regime.switches
    on[:, fixed + n_sw :] = np.concatenate([regime.diodes == 1, regime.loads == RESISTIVE])
    # a load of no power is no branch; what it alone would join floats
    return np.asarray(on & (topology.branch_s[lanes] > 0))


def _independent(cut: Floats, source_cut: Floats, source_a: Floats) -> tuple[Floats, Floats]:
    """Basis (nL, nj) of the inductor currents that cut @ i = -source_cut @ source_a allows, and one such i (g, nL)."""
    n_l = cut.shape[1]
    if not cut.shape[0] or not n_l:
        return np.eye(n_l), np.zeros((source_a.shape[0], n_l))
    _, values, right = np.linalg.svd(cut)
    rank = int((values > 1e-9 * values[0]).sum()) if values.size and values[0] > 0 else 0
    free = right[rank:].T.copy()
    free[np.abs(free) < 1e-15] = 0.0
    i0: Floats = -(source_a @ source_cut.T) @ np.asarray(np.linalg.pinv(cut), dtype=float).T
    return free.astype(np.float64), i0


def _fold(topology: Topology, regime: Regime, lanes: Ints, raw: System) -> System:
    """Replace the currents of loads that are not in a power state by what their state says."""
    n_p = len(topology.loads)
    m = raw.m
    if not n_p:
        return raw._replace(load_a=raw.load_v[:, :, : m + 1])
    powered = regime.powered
    q = m + 1 + powered.size
    law = np.zeros((lanes.size, n_p, q))  # i_p of every load on [x, 1, i_powered]
    law[:, powered, m + 1 + np.arange(powered.size)] = 1.0
    limited = np.flatnonzero((regime.loads == LIMIT) | (regime.loads == CAPPED))
    law[:, limited, m] = topology.load.limit_a[np.ix_(lanes, limited)]
    slide = np.flatnonzero(regime.loads == SLIDE)
    if slide.size:
        law[:, slide] = _sliding(topology, lanes, raw, law, slide)

    def apply(rows: Floats) -> Floats:
        out = rows[:, :, m + 1 :] @ law
        out[:, :, : m + 1] += rows[:, :, : m + 1]
        return out

    load_v = apply(raw.load_v)
    load_a = law.copy()
    resistive = np.flatnonzero(regime.loads == RESISTIVE)
    if resistive.size:
        load_a[:, resistive] = load_v[:, resistive] * topology.load.conductance_s[np.ix_(lanes, resistive)][:, :, None]
    return System(
        apply(raw.f), apply(raw.coords), apply(raw.inductor_a), load_a, load_v,
        raw.to_j, raw.to_j0, raw.frame, raw.conductance,
    )  # fmt: skip


def _sliding(topology: Topology, lanes: Ints, raw: System, law: Floats, slide: Ints) -> Floats:
    """Currents (g, ns, q) that hold the sliding loads at their threshold.

    Across capacitance the voltage is a state and its rate is set to zero; elsewhere the voltage itself is set.
    """
    m = raw.m
    held = raw.load_v[:, slide].copy()
    held[:, :, m] -= topology.load.on_v[np.ix_(lanes, slide)]
    for row, k in enumerate(slide):
        first, second = topology.loads.ends[k]
        if topology.component[first] == topology.component[second]:
            branch = (topology.loads.incidence[:, k] @ topology.t1) @ raw.frame.to_tree
            held[:, row] = (branch[:, None] @ raw.f[:, : branch.shape[1]])[:, 0]
    rest = held[:, :, m + 1 :] @ law  # the sliding rows of law are still zero here
    rest[:, :, : m + 1] += held[:, :, : m + 1]
    return np.asarray(-np.linalg.solve(held[:, :, m + 1 + slide], rest), dtype=float)


def signal_rows(topology: Topology, regime: Regime, lanes: Ints, system: System, signals: Sequence[Signal]) -> Floats:
    """The signals as rows (g, S, q) on u = [x, 1, i_p]."""
    volts = np.zeros((len(signals), topology.n))
    for row, signal in enumerate(signals):
        for name, factor in signal.volts:
            k = topology.node.get(name)
            if k is None:
                raise CircuitError(f"no node is named {name!r}; the nodes are {', '.join(topology.node)}")
            if k:
                volts[row, k - 1] += factor
    rows = (volts @ system.frame.basis) @ system.coords
    for row, signal in enumerate(signals):
        rows[:, row, system.m] += signal.constant
        for name, factor in signal.amps:
            rows[:, row] += factor * current_row(topology, regime, lanes, system, name)
    return np.asarray(rows)


def current_row(topology: Topology, regime: Regime, lanes: Ints, system: System, name: str) -> Floats:
    """The current of one element as a row (g, q)."""
    m = system.m
    if (k := topology.batteries.index.get(name)) is not None:
        row = -(system.across(topology.batteries.incidence[:, k]))
        row[:, m] += topology.ocv_v[lanes, k]
        return np.asarray(row * topology.battery_s[lanes, k][:, None])
    if (k := topology.resistors.index.get(name)) is not None:
        return np.asarray((system.across(topology.resistors.incidence[:, k])) * topology.resistor_s[lanes, k][:, None])
    if (k := topology.inductors.index.get(name)) is not None:
        return system.inductor_a[:, k]
    if (k := topology.capacitors.index.get(name)) is not None:
        cap = system.frame.cap_rows[:, None, k]
        rate = (cap @ system.f[:, : cap.shape[2]])[:, 0]
        return np.asarray(rate * topology.capacitance_f[lanes, k][:, None])
    if (k := topology.switches.index.get(name)) is not None:
        row = system.across(topology.switches.incidence[:, k])
        return np.asarray(row * (topology.switch_s[lanes, k] * regime.switches[:, k])[:, None])
    if (k := topology.diodes.index.get(name)) is not None:
        row = system.across(topology.diodes.incidence[:, k])
        row[:, m] -= topology.forward_v[lanes, k]
        return np.asarray(row * (topology.diode_s[lanes, k] * float(regime.diodes[k]))[:, None])
    if (k := topology.loads.index.get(name)) is not None:
        return system.load_a[:, k]
    if (k := topology.sources.index.get(name)) is not None:
        row = np.zeros((lanes.size, system.f.shape[2]))
        row[:, m] = topology.source_a[lanes, k]
        return row
    topology.circuit.element(name)
    raise CircuitError(f"element {name!r} has no current")
