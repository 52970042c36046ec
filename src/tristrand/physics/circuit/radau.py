"""Radau IIA collocation in modal coordinates, for loads that draw constant power.

The network between the loads is linear, so each step is solved exactly in the modes and Newton's iteration runs on
the load voltages alone: v_j = α_j + Σ M_jl P_l / v_l at the collocation times. With s = 7 stages the method is of
order 13, stiffly accurate and L-stable; the polynomial between the stages is of order 7.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tristrand.records import NamedTuple
from tristrand.sources import cites

if TYPE_CHECKING:
    from tristrand.physics.circuit.modes import Modal, Modes

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
STAGES = 7


class Tableau(NamedTuple):
    """Coefficients of one Radau IIA method; A = w diag(d) w^-1."""

    c: Floats  # (s,)
    a: Floats  # (s, s)
    d: Complexes  # (s,)
    w: Complexes  # (s, s)
    w_inverse: Complexes
    gamma: float  # weight of the start in the embedded formula
    error: Floats  # (s,): embedded minus main, on Z = Y - y0
    monomial: Floats  # (s + 1, s + 1): Lagrange basis on 0, c as rows of powers

    def lagrange(self, theta: Floats) -> tuple[Floats, Floats]:
        """Lagrange basis and its derivative (..., s + 1) at θ in [0, 1]."""
        degree = np.arange(self.c.size + 1)
        powers = theta[..., None] ** degree
        lower = np.concatenate([np.zeros_like(powers[..., :1]), degree[1:] * powers[..., :-1]], axis=-1)
        return powers @ self.monomial.T, lower @ self.monomial.T


def _nodes(stages: int) -> Floats:
    """Radau nodes on (0, 1]: 1, and the zeros of the Jacobi polynomial P^(1,0) by its three-term recurrence."""
    k = np.arange(float(stages))[: stages - 1]
    beside = np.sqrt(k[1:] * (k[1:] + 1)) / (2 * k[1:] + 1)
    matrix = np.diag(-1 / ((2 * k + 1) * (2 * k + 3))) + np.diag(beside, 1) + np.diag(beside, -1)
    return np.append((np.linalg.eigvalsh(matrix) + 1) / 2 if stages > 1 else k, 1.0)


@cites("HAIRER-WANNER-1996#IV.5, Radau IIA methods", unverified="read from memory; the tests derive it")
@lru_cache(maxsize=8)
def radau_tableau(stages: int = STAGES) -> Tableau:
    """Radau IIA method with `stages` stages (1 .. 9).

    Nodes are the roots of P_s(2x - 1) - P_{s-1}(2x - 1); A follows from collocation, Σ_j a_ij c_j^(q-1) = c_i^q / q.
    The embedded formula of order s adds the start with weight γ, the real eigenvalue of A.
    """
    c = _nodes(stages)
    q = np.arange(1, stages + 1)
    vandermonde = c[:, None] ** (q - 1)
    a = (c[:, None] ** q / q) @ np.linalg.inv(vandermonde)
    d, w = np.linalg.eig(a)
    real = np.argmin(np.abs(d.imag))
    gamma = float(d[real].real) if stages % 2 else 0.1
    target = 1.0 / q
    target[0] -= gamma
    embedded = np.linalg.solve(vandermonde.T, target)
    error = np.linalg.solve(a.T, embedded - a[-1])
    nodes = np.concatenate([[0.0], c])
    monomial = np.zeros((stages + 1, stages + 1))
    for k in range(stages + 1):
        others = np.delete(nodes, k)
        monomial[k] = np.poly(others)[::-1] / np.prod(nodes[k] - others)
    w = np.asarray(w, dtype=complex)
    return Tableau(c, a, np.asarray(d, dtype=complex), w, np.linalg.inv(w), gamma, error, monomial)


class Step(NamedTuple):
    """Outcome of one trial step for g lanes."""

    nodes: Modal  # (g, m, s + 1) modal values, start included
    load_v: Floats  # (g, p, s + 1)
    solved: NDArray[np.bool_]
    error: Modal  # (g, m) modal error estimate


def radau_step(
    modes: Modes, y0: Modal, start_v: Floats, probe: Floats, power: Floats, h: Floats, stages: int = STAGES
) -> Step:
    """One step of length h (g,) from modal state y0 (g, m), load voltages start_v (g, p) at the start.

    `probe` (g, p, q) gives the load voltages on [x, 1, i_p]; `power` (g, p, 2) is P(τ) = P0 + P1 τ.
    """
    t = radau_tableau(stages)
    m = y0.shape[1]
    rate, feed = modes.rate, modes.feed
    d = t.d / (1.0 - (h[:, None] * rate)[..., None] * t.d)  # (g, m, s)
    linear = rate * y0 + modes.drive
    ones = t.w_inverse.sum(axis=1)
    z_linear = (h[:, None, None] * (d * linear[..., None] * ones)) @ t.w.T
    reach = probe[:, :, :m] @ modes.vectors  # (g, p, m)
    alpha = (reach @ (y0[..., None] + z_linear)).real + probe[:, :, m, None]
    transfer = np.einsum("gpk,gkj,gkq->gpqj", reach, d, feed) * h[:, None, None, None]
    matrix = ((t.w * transfer[..., None, :]) @ t.w_inverse).real  # (g, p, p, s, s)
    matrix += probe[:, :, m + 1 :, None, None] * np.eye(stages)
    tau = h[:, None] * t.c
    watts = power[:, :, :1] + power[:, :, 1:] * tau[:, None, :]
    v, solved = _newton(alpha, matrix, watts, start_v)
    current = watts / v
    z = z_linear + (h[:, None, None] * (d * (feed @ (current @ t.w_inverse.T)))) @ t.w.T
    rest = linear + (feed @ (power[:, :, :1] / start_v[..., None]))[..., 0]
    error = (t.gamma * h[:, None] * rest + z @ t.error) / (1.0 - h[:, None] * t.gamma * rate)
    nodes = np.concatenate([y0[..., None], y0[..., None] + z], axis=2)
    return Step(nodes, np.concatenate([start_v[..., None], v], axis=2), solved, error)


def _newton(alpha: Floats, matrix: Floats, watts: Floats, start_v: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Load voltages (g, p, s) with v = α + M (P/v), and which lanes converged."""
    g, p, s = alpha.shape
    flat = matrix.transpose(0, 1, 3, 2, 4).reshape(g, p * s, p * s)
    a, w = alpha.reshape(g, -1), watts.reshape(g, -1)
    v = np.repeat(start_v[..., None], s, axis=2).reshape(g, -1)
    solved = np.zeros(g, dtype=bool)
    busy = np.ones(g, dtype=bool)
    eye = np.eye(p * s)
    for _ in range(15):
        residual = v - a - (flat @ (w / v)[..., None])[..., 0]
        jacobian = eye + flat * (w / v**2)[:, None, :]
        move = np.linalg.solve(jacobian, residual[..., None])[..., 0]
        move[~busy] = 0.0
        size, far = np.abs(v).max(axis=1), np.abs(move).max(axis=1)
        new = v - move
        v = np.where(new > 0.2 * v, new, 0.2 * v)
        solved |= busy & (far < 1e-8 * size)
        # quadratic: a move of 1e-8 leaves 1e-16
        busy &= (far >= 1e-8 * size) & np.isfinite(move).all(axis=1)
        if not busy.any():
            break
    return v.reshape(g, p, s), solved
