"""Finding times and values on a panel: first crossing, root, peak, integral. All work on many lanes at once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tristrand.physics.circuit.panels import Rows

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]


@dataclass(slots=True, eq=False, repr=False)
class Sampled:
    """Signals of a panel on its grid: tau (g, T), value and slope (g, S, T)."""

    rows: Rows
    tau: Floats
    value: Floats
    slope: Floats
    _humps: tuple[Ints, Ints, Ints, Floats] | None = None

    @classmethod
    def of(cls, rows: Rows, tau: Floats) -> Sampled:
        """Evaluate the rows on the grid."""
        return cls(rows, tau, *rows.on_grid(tau))

    def clipped(self, end: Floats) -> Sampled:
        """The same up to `end` (g,): later points are drawn back to the end."""
        late = self.tau > end[:, None]
        if not late.any():
            return self
        value, slope = self.rows.at(end[:, None])
        mask = late[:, None, :]
        return Sampled(
            self.rows,
            np.where(late, end[:, None], self.tau),
            np.where(mask, value, self.value),
            np.where(mask, slope, self.slope),
        )

    def humps(self) -> tuple[Ints, Ints, Ints, Floats]:
        """The maxima of all signals, see `humps`."""
        if self._humps is None:
            lo, hi = self.slope[:, :, :-1], self.slope[:, :, 1:]
            lane, signal, k = np.nonzero((lo > 0) & (hi < 0))
            up, down = lo[lane, signal, k], hi[lane, signal, k]
            width = self.tau[lane, k + 1] - self.tau[lane, k]
            estimate = self.value[lane, signal, k] + width * up * up / (up - down)
            self._humps = lane, signal, k, estimate
        return self._humps


def root(rows: Rows, lo: Floats, hi: Floats) -> Floats:
    """Root τ of each single-signal row that rises through 0 in [lo, hi] (k,), by Newton kept in its bracket."""
    lo, hi = lo.copy(), hi.copy()
    at = lo + 0.5 * (hi - lo)
    for step in range(80):
        f, slope = (a[:, 0, 0] for a in rows.at(at[:, None]))
        lo, hi = np.where(f < 0, at, lo), np.where(f < 0, hi, at)
        new = middle = lo + 0.5 * (hi - lo)
        if step < 20:
            with np.errstate(divide="ignore", invalid="ignore"):
                new = at - f / slope
            new = np.where((new > lo) & (new < hi), new, middle)
        new = np.where(f == 0, at, new)
        width = 1e-15 * hi
        if np.all((np.abs(new - at) <= width) | (hi - lo <= width)):
            return new
        at = new
    return at


def summit(rows: Rows, lo: Floats, hi: Floats) -> Floats:
    """τ in [lo, hi] (k,) of the maximum of each single-signal row, whose slope falls through 0 there (Illinois)."""
    lo, hi = lo.copy(), hi.copy()
    f_lo, f_hi = (rows.at(end[:, None])[1][:, 0, 0].copy() for end in (lo, hi))
    at = lo
    for step in range(80):
        new = lo + (hi - lo) * (f_lo / (f_lo - f_hi) if step < 40 else 0.5)
        f = rows.at(new[:, None])[1][:, 0, 0]
        up = f > 0
        again = up == (at == lo) if step else np.zeros(up.shape, dtype=bool)
        # an end that stays twice running gets half its weight, or the bracket would shrink from one side only
        f_lo, f_hi = (
            np.where(up, f, np.where(again & (at == hi), 0.5 * f_lo, f_lo)),
            np.where(up, np.where(again & (at == lo), 0.5 * f_hi, f_hi), f),
        )
        done = (np.abs(new - at) <= 1e-11 * hi) | (f == 0) | (hi - lo <= 1e-14 * hi)
        lo, hi, at = np.where(up, new, lo), np.where(up, hi, new), new
        if done.all():
            break
    return at


def humps(sampled: Sampled, columns: slice) -> tuple[Ints, Ints, Ints, Floats]:
    """Grid intervals holding a maximum, as (lane, signal, interval), with an upper estimate of the value there."""
    lane, signal, k, estimate = sampled.humps()
    if not lane.size:
        return lane, signal, k, estimate
    mine = (signal >= (columns.start or 0)) & (signal < columns.stop)
    return lane[mine], signal[mine], k[mine], estimate[mine]


def first_reach(sampled: Sampled, columns: slice, tolerance: Floats, from_start: Bools) -> Floats:
    """First τ (g, S) at which each signal of the columns is at or above 0; inf when never.

    `from_start` (S,) says which signals count when already there at τ = 0; the others must exceed `tolerance`
    (g, S) at a later point. Maxima between two grid points are looked at too.
    """
    value = sampled.value[:, columns]
    g, s, count = value.shape
    if not s:
        return np.zeros((g, 0))
    there = value > tolerance[..., None]
    there[:, :, 0] = False
    at_start = from_start & (value[:, :, 0] >= 0)
    there |= (value >= 0) & from_start[None, :, None]
    reached = there.any(axis=2)
    index = np.where(reached, there.argmax(axis=2), count)
    out = np.where(at_start, 0.0, np.inf)
    lane, signal = np.nonzero(reached & ~at_start)
    k = index[lane, signal]
    lo, hi = sampled.tau[lane, k - 1], sampled.tau[lane, k]
    base = columns.start or 0
    if lane.size:
        rows = sampled.rows.pairs(lane, signal + base)
        found = root(rows, lo, hi)
        out[lane, signal] = np.where(value[lane, signal, k - 1] >= 0, lo, found)
    lane, column, k, estimate = humps(sampled, columns)
    maybe = (estimate > 0) & (k + 1 < index[lane, column - base]) & ~at_start[lane, column - base]
    if maybe.any():
        lane, column, k = lane[maybe], column[maybe], k[maybe]
        rows = sampled.rows.pairs(lane, column)
        top = summit(rows, sampled.tau[lane, k], sampled.tau[lane, k + 1])
        over = rows.at(top[:, None])[0][:, 0, 0] > tolerance[lane, column - base]
        if over.any():
            lane, column, k, top = lane[over], column[over], k[over], top[over]
            found = root(sampled.rows.pairs(lane, column), sampled.tau[lane, k], top)
            np.minimum.at(out, (lane, column - base), found)
    return out


def largest(sampled: Sampled, columns: slice, known: Floats) -> tuple[Floats, Floats]:
    """Largest value (g, S) of each signal on the panel and its τ; exact where it exceeds the value `known` (g, S)."""
    value = sampled.value[:, columns]
    k = value.argmax(axis=2)
    row = np.arange(k.shape[0])[:, None]
    best = value[row, np.arange(k.shape[1]), k]
    when = sampled.tau[row, k]
    lane, column, k, estimate = humps(sampled, columns)
    base = columns.start or 0
    maybe = estimate > np.maximum(best, known)[lane, column - base]
    if maybe.any():
        lane, column, k = lane[maybe], column[maybe], k[maybe]
        rows = sampled.rows.pairs(lane, column)
        top = summit(rows, sampled.tau[lane, k], sampled.tau[lane, k + 1])
        height = rows.at(top[:, None])[0][:, 0, 0]
        for order in np.argsort(height):  # rising, so that the largest of a lane is written last
            if height[order] > best[lane[order], column[order] - base]:
                best[lane[order], column[order] - base] = height[order]
                when[lane[order], column[order] - base] = top[order]
    return best, when


@lru_cache(maxsize=2)
def gauss(points: int) -> tuple[Floats, Floats]:
    """Gauss-Legendre nodes and weights on [0, 1]."""
    k = np.arange(1.0, points)
    beside = k / np.sqrt(4 * k * k - 1)  # the three-term recurrence of the Legendre polynomials
    nodes, vectors = np.linalg.eigh(np.diag(beside, 1) + np.diag(beside, -1))
    return (nodes + 1) / 2, vectors[0] ** 2


def integrals(rows: Rows, edges: Floats, factors: list[tuple[int, int | None]]) -> Floats:
    """Integrals (g, I) over the panel between the first and last edge (g, E) of s or s * other."""
    nodes, weights = gauss(8)
    width = np.diff(edges, axis=1)
    tau = (edges[:, :-1, None] + width[:, :, None] * nodes).reshape(edges.shape[0], -1)
    measure = (width[:, :, None] * weights).reshape(tau.shape)
    value = rows.values(tau)
    out = np.empty((edges.shape[0], len(factors)))
    for k, (first, second) in enumerate(factors):
        term = value[:, first] if second is None else value[:, first] * value[:, second]
        out[:, k] = (term * measure).sum(axis=1)
    return out
