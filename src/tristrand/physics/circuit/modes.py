"""Modal form of a system: x = V y with y' = λ y + β + b i_p."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.assembly import CAPPED, LIMIT, SLIDE, Ints, Regime, System
from tristrand.physics.circuit.topology import Topology

Floats = NDArray[np.float64]
Modal = NDArray[np.float64] | NDArray[np.complex128]

#: Above this size of V^-1 the eigenvectors are nearly parallel (critical damping, equal time constants).
DEFECTIVE = 1e6
#: Relative change of the matrix entries that parts equal eigenvalues; far below any tolerance of the solver.
JITTER = 1e-10


#: Ratio of eigenvalues from which they are polished and checked.
WIDE = 1e4
#: Relative difference of eigenvalues below which their modes need not be orthogonal as computed.
ALIKE = 1e-3


@dataclass(slots=True, eq=False, repr=False)
class Modes:
    """Eigenvalues (g, m), eigenvectors and their inverse (g, m, m), drive β (g, m) and b (g, m, p)."""

    rate: Modal
    vectors: Modal
    inverse: Modal
    drive: Modal
    feed: Modal
    orthogonal: bool = False  # inverse and drive are those of `balanced`

    def take(self, where: Ints) -> Modes:
        """The same for some of the lanes."""
        return Modes(
            self.rate[where], self.vectors[where], self.inverse[where], self.drive[where], self.feed[where],
            self.orthogonal,
        )  # fmt: skip

    def rates_of(self, system: System, x: Floats) -> NDArray[Any]:
        """Rate of change of every mode's share (g, m) at state x (g, m), without loads of constant power."""
        if self.orthogonal:
            return np.asarray(self.rate * (self.inverse @ x[..., None])[..., 0] + self.drive, dtype=self.rate.dtype)
        m = system.m
        slope = (system.f[:, :, :m] @ x[..., None])[..., 0] + system.f[:, :, m]
        return np.asarray((self.inverse @ slope[..., None])[..., 0], dtype=self.inverse.dtype)


def modes_of(system: System) -> Modes:
    """Eigen-decomposition of the state matrix of every lane."""
    m = system.m
    a = system.f[:, :, :m]
    rate, vectors = _eig(a) if m else (np.zeros(a.shape[:2]), np.zeros(a.shape))
    inverse = _inverse(vectors)
    bad = np.flatnonzero(np.abs(inverse).max(axis=(1, 2), initial=0.0) > DEFECTIVE)
    if bad.size:
        pattern = 1.0 + JITTER * np.sin(1.0 + 2.7 * np.arange(m * m).reshape(m, m))
        new_rate, new_vectors = _eig(a[bad] * pattern)
        kind = np.result_type(rate, new_rate)
        rate, vectors, inverse = rate.astype(kind), vectors.astype(kind), inverse.astype(kind)
        rate[bad], vectors[bad], inverse[bad] = new_rate, new_vectors, _inverse(new_vectors)
    if _wide(rate):
        rate, vectors, inverse = _polished(a, rate, vectors, inverse)
    if np.iscomplexobj(inverse):
        # one of each conjugate pair is worked out for both: rounding makes their rows differ by 1e-16 |V^-1|²
        second = rate.imag < 0
        mean = 0.5 * (inverse[:, :-1] + inverse[:, 1:].conj())
        inverse[:, :-1] = np.where(second[:, 1:, None], mean, inverse[:, :-1])
        inverse[:, 1:] = np.where(second[:, 1:, None], mean.conj(), inverse[:, 1:])
    drive = (inverse @ system.f[:, :, m, None])[..., 0]
    return Modes(rate, vectors, inverse, drive, inverse @ system.f[:, :, m + 1 :])


def balanced(topology: Topology, regime: Regime, lanes: Ints, system: System, modes: Modes) -> tuple[Floats, Floats]:
    """Set inverse, drive and feed of the modes by the elements' energy; errors of the rates (g, m) and shapes (g,).

    With y = (v, i) the circuit reads E y' = -K y + s, where E = diag(C, -L) and K = [[G, A], [A^T, -R]] are symmetric.
    So modes y_k are orthogonal in E: the share of each in a state is y_k^T E y, its drive y_k^T s, both over
    y_k^T E y_k; all are sums over the elements as given, which keep their digits however far apart the rates are.
    Likewise λ y^T E y + y^T K y = 0 for an exact mode. An error of its shape drops out to first order: what remains
    is the error of λ [1/s], wherever in the assembly it arose. What the modes together leave of a state, measured by
    its energy, is the error of their shapes. Modes with rates alike are left as they are (errors 0).
    """
    m, frame = system.m, system.frame
    if not _wide(modes.rate) or (regime.loads == SLIDE).any():  # a held load makes the equations lopsided
        return np.zeros((lanes.size, m)), np.zeros(lanes.size)
    shape = system.coords[:, :, :m] @ modes.vectors
    nk = frame.rows.shape[2]
    volts, cap_v = frame.rows @ shape[:, :nk], frame.cap_rows @ modes.vectors[:, : frame.cap_rows.shape[2]]
    amps = system.inductor_a[:, :, :m] @ modes.vectors
    along = (topology.inductors.incidence.T @ frame.basis[:, :, :nk]) @ shape[:, :nk]
    farad, henry = topology.capacitance_f[lanes][:, :, None], topology.inductance_h[lanes][:, :, None]
    ohm = topology.inductor_ohm[lanes][:, :, None]
    held_c, held_l = (farad * cap_v).swapaxes(1, 2), (henry * amps).swapaxes(1, 2)
    store = held_c @ cap_v - held_l @ amps
    size = np.sqrt((farad * np.abs(cap_v) ** 2).sum(axis=1) + (henry * np.abs(amps) ** 2).sum(axis=1))[..., None]
    nz = frame.cap_rows.shape[2]
    states = np.concatenate([held_c @ frame.cap_rows, -(held_l @ system.inductor_a[:, :, nz:m])], axis=2)
    drive = (system.conductance * topology.branch_emf[lanes])[:, None] @ volts
    drive = drive + system.inductor_a[:, None, :, m] @ (ohm * amps - along)
    if len(topology.sources):
        drive = drive - topology.source_a[lanes][:, None] @ ((topology.sources.incidence.T @ frame.basis) @ shape)
    load_v = system.load_v[:, :, :m] @ modes.vectors
    limited = np.flatnonzero((regime.loads == LIMIT) | (regime.loads == CAPPED))
    if limited.size:
        drive = drive - topology.load.limit_a[np.ix_(lanes, limited)][:, None] @ load_v[:, limited]
    feed = -load_v[:, regime.powered].swapaxes(1, 2)
    sides = np.concatenate([states, drive.swapaxes(1, 2), feed], axis=2) / size
    rate = np.abs(modes.rate)
    gap = np.abs(modes.rate[:, :, None] - modes.rate[:, None, :])
    # modes of different rates are orthogonal; what rounding says else would carry fast drives into slow modes
    close = gap < ALIKE * np.maximum(rate[:, :, None], rate[:, None, :])
    close[:, np.arange(m), np.arange(m)] = True
    answer = np.linalg.solve(np.where(close, store, 0.0) / size / size.swapaxes(1, 2), sides) / size
    modes.inverse, modes.drive, modes.feed = answer[:, :, :m], answer[:, :, m], answer[:, :, m + 1 :]
    modes.orthogonal = True
    loss = (system.conductance[:, :, None] * volts**2).sum(axis=1) + (2 * along * amps - ohm * amps**2).sum(axis=1)
    if frame.pins.any():
        loss = loss + (shape[:, :nk] * (frame.pins @ shape[:, :nk])).sum(axis=1)
    own = np.diagonal(store, axis1=1, axis2=2)
    joule = np.concatenate([
        (farad * frame.cap_rows**2).sum(axis=1), (henry * system.inductor_a[:, :, nz:m] ** 2).sum(axis=1)
    ], axis=1)  # fmt: skip
    root = np.sqrt(joule)
    rest = np.abs(modes.vectors @ modes.inverse - np.eye(m)) * root[:, :, None] / root[:, None, :]
    rates = np.abs(modes.rate * own + loss) / np.maximum(size[..., 0] ** 2, 1e-300)
    return np.asarray(rates), np.asarray(rest.max(axis=(1, 2)))


def _wide(rate: Modal) -> bool:
    size = np.abs(rate)
    return rate.shape[1] > 1 and bool((size.max(axis=1) > WIDE * size.min(axis=1)).any())


def _eig(a: Floats) -> tuple[Modal, Modal]:
    """Eigenvalues and vectors, with the fast states put first: the iteration then keeps the slow modes' accuracy."""
    order = np.argsort(-np.abs(np.diagonal(a, axis1=1, axis2=2)).max(axis=0), kind="stable")
    rate, vectors = np.linalg.eig(a[:, order[:, None], order])
    back = np.empty_like(order)
    back[order] = np.arange(order.size)
    return rate, vectors[:, back]


def _polished(a: Floats, rate: Modal, vectors: Modal, inverse: Modal) -> tuple[Modal, Modal, Modal]:
    """One step of first-order correction: with E = V^-1 A V - Λ, λ_i grows by E_ii and v_j by Σ v_i E_ij/(λ_j - λ_i).

    The iteration for eigenvalues is accurate to rounding of the largest of them; this makes each its own.
    """
    rest = inverse @ (a @ vectors)
    now = np.diagonal(rest, axis1=1, axis2=2)
    gap = now[:, None, :] - now[:, :, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        mix = rest / gap
    # equal or close eigenvalues keep their vectors: the correction is small or it is none
    mix = np.where(np.isfinite(mix) & (np.abs(mix) < 1e-3), mix, 0.0)
    mix[:, np.arange(rate.shape[1]), np.arange(rate.shape[1])] = 0.0
    vectors = vectors + vectors @ mix
    near = np.abs(now - rate) < 0.5 * np.abs(rate).max(axis=1, keepdims=True)
    rate, was = np.where(near, now, rate), rate
    if np.iscomplexobj(was):
        # rounding must not part conjugate pairs, nor make a real mode ring
        alone, second = was.imag == 0, was.imag < 0
        rate = np.where(alone, rate.real, rate)
        vectors = np.where(alone[:, None, :], vectors.real, vectors)
        rate[:, 1:] = np.where(second[:, 1:], rate[:, :-1].conj(), rate[:, 1:])
        vectors[:, :, 1:] = np.where(second[:, None, 1:], vectors[:, :, :-1].conj(), vectors[:, :, 1:])
    return rate, vectors, _inverse(vectors)


def _inverse(vectors: Modal) -> Modal:
    try:
        return np.asarray(np.linalg.inv(vectors))
    except np.linalg.LinAlgError:  # exactly parallel in some lane: handled by the jitter
        return np.full_like(vectors, np.inf)
