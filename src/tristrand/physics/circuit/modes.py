"""Modal form of a system: x = V y with y' = λ y + β + b i_p."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.assembly import Ints, System

Floats = NDArray[np.float64]
Modal = NDArray[np.float64] | NDArray[np.complex128]

#: Above this size of V^-1 the eigenvectors are nearly parallel (critical damping, equal time constants).
DEFECTIVE = 1e6
#: Relative change of the matrix entries that parts equal eigenvalues; far below any tolerance of the solver.
JITTER = 1e-10


@dataclass(frozen=True, slots=True)
class Modes:
    """Eigenvalues (g, m), eigenvectors and their inverse (g, m, m), drive β (g, m) and b (g, m, p)."""

    rate: Modal
    vectors: Modal
    inverse: Modal
    drive: Modal
    feed: Modal

    def take(self, where: Ints) -> Modes:
        """The same for some of the lanes."""
        return Modes(*(getattr(self, f.name)[where] for f in fields(self)))


def modes_of(system: System) -> Modes:
    """Eigen-decomposition of the state matrix of every lane."""
    m = system.m
    a = system.f[:, :, :m]
    rate, vectors = np.linalg.eig(a) if m else (np.zeros(a.shape[:2]), np.zeros(a.shape))
    inverse = _inverse(vectors)
    bad = np.flatnonzero(np.abs(inverse).max(axis=(1, 2), initial=0.0) > DEFECTIVE)
    if bad.size:
        pattern = 1.0 + JITTER * np.sin(1.0 + 2.7 * np.arange(m * m).reshape(m, m))
        new_rate, new_vectors = np.linalg.eig(a[bad] * pattern)
        kind = np.result_type(rate, new_rate)
        rate, vectors, inverse = rate.astype(kind), vectors.astype(kind), inverse.astype(kind)
        rate[bad], vectors[bad], inverse[bad] = new_rate, new_vectors, _inverse(new_vectors)
    return Modes(rate, vectors, inverse, (inverse @ system.f[:, :, m, None])[..., 0], inverse @ system.f[:, :, m + 1 :])


def _inverse(vectors: Modal) -> Modal:
    try:
        return np.asarray(np.linalg.inv(vectors))
    except np.linalg.LinAlgError:  # exactly parallel in some lane: handled by the jitter
        return np.full_like(vectors, np.inf)
