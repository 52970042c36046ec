"""Modal form of a system: x = V y with y' = λ y + β + b i_p."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.assembly import Ints, System

Floats = NDArray[np.float64]
Modal = NDArray[np.float64] | NDArray[np.complex128]

#: Above this size of V^-1 the eigenvectors are nearly parallel (critical damping, equal time constants).
DEFECTIVE = 1e6
#: Relative change of the matrix entries that parts equal eigenvalues; far below any tolerance of the solver.
JITTER = 1e-10
EPSILON = float(np.finfo(float).eps)


#: Ratio of eigenvalues from which they are polished, and their error estimated.
WIDE = 1e4


@dataclass(slots=True, eq=False, repr=False)
class Modes:
    """Eigenvalues (g, m), eigenvectors and their inverse (g, m, m), drive β (g, m) and b (g, m, p), error (g, m).

    `error` [1/s] is what rounding may have done to an eigenvalue, in a linear estimate.
    """

    rate: Modal
    vectors: Modal
    inverse: Modal
    drive: Modal
    feed: Modal
    error: Floats

    def take(self, where: Ints) -> Modes:
        """The same for some of the lanes."""
        return Modes(
            self.rate[where], self.vectors[where], self.inverse[where], self.drive[where], self.feed[where],
            self.error[where],
        )  # fmt: skip


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
    error = np.zeros(a.shape[:2])
    size = np.abs(rate)
    if m > 1 and (size.max(axis=1) > WIDE * size.min(axis=1)).any():
        rate, vectors, inverse = _polished(a, rate, vectors, inverse)
        error = EPSILON * m * np.einsum("gij,gjk,gki->gi", np.abs(inverse), np.abs(a), np.abs(vectors))
    drive = (inverse @ system.f[:, :, m, None])[..., 0]
    return Modes(rate, vectors, inverse, drive, inverse @ system.f[:, :, m + 1 :], error)


def _eig(a: Floats) -> tuple[Modal, Modal]:
    """Eigenvalues and vectors, the fast states put first: the iteration keeps small eigenvalues only if they end last."""
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
    return np.where(np.abs(now - rate) < 0.5 * np.abs(rate).max(axis=1, keepdims=True), now, rate), vectors, _inverse(vectors)


def _inverse(vectors: Modal) -> Modal:
    try:
        return np.asarray(np.linalg.inv(vectors))
    except np.linalg.LinAlgError:  # exactly parallel in some lane: handled by the jitter
        return np.full_like(vectors, np.inf)
