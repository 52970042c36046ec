"""A panel is one stretch of time on which the solution of a group of lanes is known as a function.

LinearPanel: no load draws constant power; exact, x(τ) = x0 + V φ(λ, τ) V^-1 (A x0 + b), φ = (e^{λτ} - 1)/λ.
RadauPanel: one step of the Radau IIA method; a polynomial in each mode.
Both evaluate prepared rows of signals, with derivatives, at any τ in [0, span].
"""

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.assembly import Ints, System
from tristrand.physics.circuit.modes import Modal, Modes
from tristrand.physics.circuit.radau import Tableau, radau_tableau
from tristrand.records import NamedTuple

Floats = NDArray[np.float64]

POINTS_PER_DECADE = 12
POINTS_PER_CYCLE = 10
MOST_POINTS = 4000


class LinearRows(NamedTuple):
    """Signals s(τ) = start + slope τ + Re Σ weight_k φ_k(τ); arrays (g, S), (g, S), (g, S, m)."""

    start: Floats
    slope: Floats
    weight: Modal
    rate: Modal

    def pairs(self, lane: Ints, signal: Ints) -> "LinearRows":
        """One (lane, signal) pair per lane of the result, a single signal each."""
        return LinearRows(
            self.start[lane, signal][:, None],
            self.slope[lane, signal][:, None],
            self.weight[lane, signal][:, None],
            self.rate[lane],
        )

    def part(self, columns: slice) -> "LinearRows":
        """Some of the signals."""
        return LinearRows(self.start[:, columns], self.slope[:, columns], self.weight[:, columns], self.rate)

    def at(self, tau: Floats) -> tuple[Floats, Floats]:
        """Values and derivatives (g, S, T) at τ (g, T)."""
        value = self.start[..., None] + self.slope[..., None] * tau[:, None, :]
        derivative = np.broadcast_to(self.slope[..., None], value.shape)
        if not self.rate.shape[1]:
            return value, derivative
        if np.iscomplexobj(self.rate):
            value, slope = self._ringing_at(tau, value, derivative)
            assert slope is not None
            return value, slope
        rate, weight = np.asarray(self.rate, dtype=float), np.asarray(self.weight, dtype=float)
        grown = np.expm1(rate[..., None] * tau[:, None, :])
        return value + weight @ _phi(grown, rate, tau), derivative + weight @ (1.0 + grown)

    def on_grid(self, tau: Floats) -> tuple[Floats, Floats]:
        """The same; only polynomials know their grid beforehand."""
        return self.at(tau)

    def values(self, tau: Floats) -> Floats:
        """Values alone."""
        line = self.start[..., None] + self.slope[..., None] * tau[:, None, :]
        if not self.rate.shape[1]:
            return line
        if np.iscomplexobj(self.rate):
            return self._ringing_at(tau, line, None)[0]
        rate = np.asarray(self.rate, dtype=float)
        grown = _phi(np.expm1(rate[..., None] * tau[:, None, :]), rate, tau)
        return np.asarray(line + self.weight @ grown)

    def _ringing_at(self, tau: Floats, value: Floats, derivative: Floats | None) -> tuple[Floats, Floats | None]:
        """The same where some eigenvalues are complex; one of each conjugate pair is worked out, twice its part."""
        ringing = (self.rate.imag != 0).any(axis=0)
        flat = np.flatnonzero(~ringing)
        if flat.size:
            slow, part = self.rate[:, flat].real, self.weight[:, :, flat].real
            grown = np.expm1(slow[..., None] * tau[:, None, :])
            value = value + part @ _phi(grown, slow, tau)
            derivative = None if derivative is None else derivative + part @ (1.0 + grown)
        k = np.flatnonzero(ringing & (self.rate.imag >= 0).any(axis=0))
        rate = self.rate[:, k]
        twice = np.where(rate.imag > 0, 2.0, np.where(rate.imag < 0, 0.0, 1.0))
        weight = self.weight[:, :, k] * twice[:, None, :]
        angle = rate.imag[..., None] * tau[:, None, :]
        fade = np.expm1(rate.real[..., None] * tau[:, None, :])
        half = np.sin(0.5 * angle)
        # expm1(a + ib) without cancellation: real part expm1(a) cos b - 2 sin²(b/2)
        real, imag = fade * (1.0 - 2.0 * half * half) - 2.0 * half * half, (1.0 + fade) * np.sin(angle)
        share = weight / np.where(rate == 0, 1.0, rate)[:, None, :]
        value = value + share.real @ real - share.imag @ imag
        if derivative is not None:
            derivative = derivative + weight.real @ (1.0 + real) - weight.imag @ imag
        still = rate == 0
        if still.any():
            value = value + np.where(still[:, None, :], weight.real, 0.0) @ np.broadcast_to(
                tau[:, None, :], (*rate.shape, tau.shape[1])
            )
        return value, derivative


def _phi(grown: Floats, rate: Floats, tau: Floats) -> Floats:
    """φ(λ, τ) = (e^{λτ} - 1)/λ from e^{λτ} - 1, with φ(0, τ) = τ."""
    still = rate == 0
    phi = grown / np.where(still, 1.0, rate)[..., None]
    return np.where(still[..., None], tau[:, None, :], phi) if still.any() else phi


@dataclass(slots=True, eq=False, repr=False)
class LinearPanel:
    """Exact solution from `t0` (g,) over `span` (g,), starting at x0 (g, m)."""

    system: System
    modes: Modes
    x0: Floats
    t0: Floats
    span: Floats
    amplitude: Modal = field(init=False)  # V^-1 (A x0 + b)

    def __post_init__(self) -> None:
        self.amplitude = self.modes.rates_of(self.system, self.x0)

    def rows(self, rows: Floats, slope: Floats | None = None) -> LinearRows:
        """Prepare signal rows (g, S, q)."""
        m = self.system.m
        start = (rows[:, :, :m] @ self.x0[..., None])[..., 0] + rows[:, :, m]
        weight = (rows[:, :, :m] @ self.modes.vectors) * self.amplitude[:, None, :]
        return LinearRows(start, np.zeros_like(start) if slope is None else slope, weight, self.modes.rate)

    def take(self, where: Ints) -> "LinearPanel":
        """The same for some of the lanes."""
        return LinearPanel(
            self.system.take(where), self.modes.take(where), self.x0[where], self.t0[where], self.span[where]
        )

    def state(self, tau: Floats) -> Floats:
        """x (g, m) at τ (g,)."""
        m = self.system.m
        identity = np.zeros((tau.size, m, m + 1))
        identity[:, np.arange(m), np.arange(m)] = 1.0
        return self.rows(identity).at(tau[:, None])[0][..., 0]

    def grid(self) -> Floats:
        """Points (g, T) from 0 to span that resolve every mode that moves; may shorten the span (see MOST_POINTS)."""
        rate = self.modes.rate
        span = self.span
        if not rate.shape[1]:
            return np.stack([np.zeros_like(span), span], axis=1)
        reach = np.abs(self.modes.vectors).max(axis=1) * np.abs(self.amplitude) / np.maximum(np.abs(rate), 1e-300)
        scale = 1e-12 * (np.abs(self.x0).max(axis=1, initial=1e-6) + 1e-6)
        fastest = np.where(reach > scale[:, None], np.abs(rate), 0.0).max(axis=1)
        first = np.minimum(0.05 / np.maximum(fastest, 1e-300), 0.05 * span)
        first = np.maximum(first, 1e-18 * np.maximum(span, 1e-300))
        decades = np.log10(np.maximum(span, 1e-300) / np.maximum(first, 1e-300)).max(initial=1.0)
        count = int(np.ceil(POINTS_PER_DECADE * decades)) + 1
        points = [np.zeros((span.size, 1)), first[:, None] * (span / first)[:, None] ** np.linspace(0, 1, count)]
        points[1][:, -1] = span
        points.extend(self._ringing())
        grid = np.concatenate(points, axis=1)
        if len(points) > 2:
            grid = np.sort(np.minimum(grid, self.span[:, None]), axis=1)
        return grid

    def _ringing(self) -> list[Floats]:
        """Even points over each oscillating mode while it is seen, and a shorter span when they would be too many."""
        rate = self.modes.rate
        if not np.iscomplexobj(rate):
            return []
        reach = np.abs(self.modes.vectors).max(axis=1) * np.abs(self.amplitude) / np.maximum(np.abs(rate), 1e-300)
        scale = 1e-11 * (np.abs(self.x0).max(axis=1, initial=1e-6) + 1e-6)[:, None]
        seen = (rate.imag > 0.05 * np.abs(rate.real)) & (reach > scale)
        out = []
        until = np.zeros(rate.shape)
        order = np.argsort(-np.abs(rate.imag).max(axis=0), kind="stable")
        for k in order[seen.any(axis=0)[order]]:
            damping = np.maximum(-rate[:, k].real, 1e-300)
            lasting = np.where(seen[:, k], np.log(np.maximum(reach[:, k] / scale[:, 0], 1.0)) / damping, 0.0)
            lasting = np.minimum(lasting, self.span)
            cycles = lasting * rate[:, k].imag / (2 * np.pi)
            longest = np.maximum(cycles * POINTS_PER_CYCLE / MOST_POINTS, 1.0)
            self.span = np.where(longest > 1.0, np.minimum(self.span, lasting / longest), self.span)
            lasting = lasting / longest
            # where a faster mode's points lie there is no need of more
            faster = rate.imag >= rate[:, k, None].imag
            begin = np.minimum(np.where(faster, until, 0.0).max(axis=1), lasting)
            until[:, k] = lasting
            cycles = (lasting - begin) * rate[:, k].imag / (2 * np.pi)
            count = int(np.ceil((cycles * POINTS_PER_CYCLE).max(initial=0.0))) + 2
            out.append(begin[:, None] + (lasting - begin)[:, None] * np.linspace(0.0, 1.0, count))
        return out


class RadauRows(NamedTuple):
    """Signals as polynomials through s + 1 nodes, plus shares of the load currents P(τ)/v(τ)."""

    nodes: Floats  # (g, S, s + 1)
    slope: Floats  # (g, S)
    share: Floats  # (g, S, p)
    load_v: Floats  # (g, p, s + 1)
    power: Floats  # (g, p, 2): P(τ) = power0 + power1 τ
    step: Floats  # (g,)
    tableau: Tableau

    def pairs(self, lane: Ints, signal: Ints) -> "RadauRows":
        """One (lane, signal) pair per lane of the result, a single signal each."""
        return RadauRows(
            self.nodes[lane, signal][:, None],
            self.slope[lane, signal][:, None],
            self.share[lane, signal][:, None],
            self.load_v[lane],
            self.power[lane],
            self.step[lane],
            self.tableau,
        )

    def part(self, columns: slice) -> "RadauRows":
        """Some of the signals."""
        return RadauRows(
            self.nodes[:, columns], self.slope[:, columns], self.share[:, columns],
            self.load_v, self.power, self.step, self.tableau,
        )  # fmt: skip

    def at(self, tau: Floats) -> tuple[Floats, Floats]:
        """Values and derivatives (g, S, T) at τ (g, T)."""
        return self._on(tau, *self.tableau.lagrange(tau / self.step[:, None]))

    def on_grid(self, tau: Floats) -> tuple[Floats, Floats]:
        """Values and derivatives at the panel's own grid τ."""
        return self._on(tau, *grid_basis(self.tableau.c.size))

    def values(self, tau: Floats) -> Floats:
        """Values alone."""
        return self.at(tau)[0]

    def _on(self, tau: Floats, basis: Floats, rise: Floats) -> tuple[Floats, Floats]:
        """Values and derivatives from the Lagrange basis (g, T, s + 1) and its derivative."""
        basis, rise = basis.swapaxes(1, 2), rise.swapaxes(1, 2) / self.step[:, None, None]
        value = self.nodes @ basis + self.slope[..., None] * tau[:, None, :]
        derivative = self.nodes @ rise + self.slope[..., None]
        if self.share.any():
            v, dv = self.load_v @ basis, self.load_v @ rise
            power = self.power[..., :1] + self.power[..., 1:] * tau[:, None, :]
            value = value + self.share @ (power / v)
            derivative = derivative + self.share @ ((self.power[..., 1:] - power * dv / v) / v)
        return value, derivative


class RadauPanel(NamedTuple):
    """One accepted step: modal values at the nodes 0, c1 .. cs = 1."""

    system: System
    modes: Modes
    x0: Floats
    t0: Floats
    span: Floats
    step: Floats
    nodes: Modal  # (g, m, s + 1)
    load_v: Floats  # (g, p, s + 1)
    power: Floats  # (g, p, 2)
    tableau: Tableau

    def rows(self, rows: Floats, slope: Floats | None = None) -> RadauRows:
        """Prepare signal rows (g, S, q)."""
        m = self.system.m
        nodes = ((rows[:, :, :m] @ self.modes.vectors) @ self.nodes).real + rows[:, :, m, None]
        flat = np.zeros(rows.shape[:2]) if slope is None else slope
        return RadauRows(nodes, flat, rows[:, :, m + 1 :], self.load_v, self.power, self.step, self.tableau)

    def state(self, tau: Floats) -> Floats:
        """x (g, m) at τ (g,)."""
        basis, _ = self.tableau.lagrange((tau / self.step)[:, None])
        return np.asarray((self.modes.vectors @ (self.nodes @ basis.swapaxes(1, 2))).real[..., 0])

    def grid(self) -> Floats:
        """Points (g, T) from 0 to span."""
        return self.span[:, None] * GRID

    def take(self, where: Ints) -> "RadauPanel":
        """The same for some of the lanes."""
        return RadauPanel(
            self.system.take(where), self.modes.take(where), self.x0[where], self.t0[where], self.span[where],
            self.step[where], self.nodes[where], self.load_v[where], self.power[where], self.tableau,
        )  # fmt: skip


#: Points of a step at which it is looked at.
GRID = np.linspace(0.0, 1.0, 13)


@lru_cache(maxsize=8)
def grid_basis(stages: int) -> tuple[Floats, Floats]:
    """Lagrange basis and its derivative (1, 13, s + 1) on GRID."""
    return radau_tableau(stages).lagrange(GRID[None])


Panel = LinearPanel | RadauPanel
Rows = LinearRows | RadauRows
