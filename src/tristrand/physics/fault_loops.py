"""The course of a short circuit in a network of resistances and inductances with several sources, in batches.

Loops carry the currents: L i' + R i = E with L, R, E summed over the branches of each loop. All capacitors are left
out; what they add is a discharge of its own (`closing`). The fault closes at t = 0 with no current flowing.
"""

import numpy as np
from numpy.typing import NDArray

from tristrand.physics._num import FloatArray, finite, not_negative, positive
from tristrand.physics.circuit.scan import gauss
from tristrand.records import NamedTuple
from tristrand.sources import cites

IntArray = NDArray[np.intp]

#: Time constant of a loop without inductance [s]: far below anything that melts.
LEAST_S = 1e-12
#: Below this product of rate and time the integral is taken by quadrature: its closed form would cancel.
NEAR = 1.0


class FaultCourse(NamedTuple):
    """Branch currents i_b(t) = sum over modes k of weight_bk * (1 - exp(-rate_k t)), for K faults at once.

    rate: (K, m) [1/s] > 0. weight: (K, b, m) [A]. Made by `fault_course`, which numbers the branches as it was given
    them; `of_loop` gives the same for the current of one loop.
    """

    rate: FloatArray
    weight: FloatArray
    loop_weight: FloatArray

    def of_loop(self, loop: int) -> "FaultCourse":
        """The current of one loop as a course with a single branch: of the fault itself if no other loop shares it."""
        own = self.loop_weight[:, loop : loop + 1]
        return FaultCourse(self.rate, own, own)

    @property
    def final_a(self) -> FloatArray:
        """Current of every branch (K, b) once it no longer rises: what the resistances alone allow."""
        return np.asarray(self.weight.sum(axis=2))


@cites("NUMERICS#loop equations of a network with resistance and inductance, solved in its modes")
def fault_course(
    loops: FloatArray, resistance_ohm: FloatArray, inductance_h: FloatArray, emf_v: FloatArray
) -> FaultCourse:
    """The modes of K faults with m independent loops over b branches each.

    loops: (K, m, b), +1 where the branch lies in the loop in its own direction, -1 against it, else 0; the loops of
    one fault must be independent. resistance_ohm, inductance_h, emf_v: (K, b) or (b,), the e.m.f. driving current in
    the branch's own direction. Every loop needs resistance; without inductance its current jumps (LEAST_S).
    Raises ValueError for negative or non-finite values, and for loops without resistance.
    """
    finite(resistance_ohm=resistance_ohm, inductance_h=inductance_h, emf_v=emf_v)
    not_negative(resistance_ohm=resistance_ohm, inductance_h=inductance_h)
    count, b = len(loops), loops.shape[2]
    ohm, henry, volt = (np.broadcast_to(x, (count, b)) for x in (resistance_ohm, inductance_h, emf_v))
    turned = loops.swapaxes(1, 2)
    drop = (loops * ohm[:, None, :]) @ turned
    if count and not (np.linalg.eigvalsh(drop) > 0).all():
        raise ValueError("a fault loop has no resistance, or the loops are not independent")
    # In the measure of the resistances, so that loops without inductance are plain zeros beside the slow modes.
    root = np.linalg.inv(np.linalg.cholesky(drop))
    tau, shape = np.linalg.eigh(root @ ((loops * henry[:, None, :]) @ turned) @ root.swapaxes(1, 2))
    to_loops = root.swapaxes(1, 2) @ shape
    push = (to_loops.swapaxes(1, 2) @ (loops @ volt[..., None]))[..., 0]
    rate = 1.0 / np.maximum(tau, LEAST_S)
    own = to_loops * push[:, None, :]
    return FaultCourse(rate, turned @ own, own)


@cites("NUMERICS#loop equations of a network with resistance and inductance, solved in its modes")
def current_a(course: FaultCourse, time_s: FloatArray) -> FloatArray:
    """Current of every branch (K, b, T) at times (K, T) or (T,) [s] >= 0."""
    not_negative(time_s=time_s)
    risen = -np.expm1(
        -course.rate[:, :, None] * np.broadcast_to(time_s, (len(course.rate), np.shape(time_s)[-1]))[:, None]
    )
    return np.asarray(course.weight @ risen)


@cites("NUMERICS#loop equations of a network with resistance and inductance, solved in its modes")
def joule_integral_a2s(course: FaultCourse, branch: IntArray, time_s: FloatArray) -> FloatArray:
    """I2t [A2s] of one branch of each fault, `branch` (K,) whole numbers, from 0 to time_s (K,) [s] >= 0.

    Sum over pairs of modes w_k w_l t g(rate_k t, rate_l t), g(x, y) the mean of (1 - e^-xs)(1 - e^-ys) over s in
    [0, 1] = 1 - p(x) - p(y) + p(x + y) with p(x) = (1 - e^-x)/x.
    """
    not_negative(time_s=time_s)
    weight = course.weight[np.arange(len(course.rate)), branch]
    mean = _mean_of_rises(course.rate * np.asarray(time_s, dtype=np.float64)[:, None])
    return np.asarray(np.einsum("gk,gkl,gl->g", weight, mean, weight) * time_s)


def _mean_of_rises(x: FloatArray) -> FloatArray:
    """g(x_k, x_l) for all pairs, (K, m, m) from (K, m)."""
    one, two = x[:, :, None], x[:, None, :]
    safe_one, safe_two = np.maximum(one, 1e-300), np.maximum(two, 1e-300)
    both = safe_one + safe_two
    wide = 1.0 + np.expm1(-safe_one) / safe_one + np.expm1(-safe_two) / safe_two - np.expm1(-both) / both
    nodes, weights = gauss(12)
    risen = -np.expm1(-x[:, :, None] * nodes)
    # By quadrature only where it is exact to rounding; a fast mode beside a slow one does not cancel.
    near = np.einsum("gks,gls,s->gkl", risen, risen, weights)
    return np.asarray(np.where(np.maximum(one, two) < NEAR, near, wide))


@cites("NUMERICS#loop equations of a network with resistance and inductance, solved in its modes")
def time_to_joule_integral_s(course: FaultCourse, branch: IntArray, target_a2s: FloatArray) -> FloatArray:
    """When the I2t of one branch of each fault reaches its target (K,) [A2s] > 0; inf where no current flows in it.

    Newton's iteration kept in a bracket, to 1e-13 of the time. nan targets give nan.
    """
    target = np.asarray(target_a2s, dtype=np.float64)
    known = np.isfinite(target)
    positive(target_a2s=target[known])
    rows = np.arange(len(course.rate))
    final = course.final_a[rows, branch]
    flows = np.abs(final) > 1e-12 * np.abs(course.weight[rows, branch]).max(axis=1, initial=1e-300)
    usable = known & flows
    want = np.where(usable, target, 1.0)
    low = np.zeros(want.shape)
    # I2t never exceeds that of the largest current held from the start, nor lags it by more than the slowest rise.
    high = want / np.where(flows, final**2, 1.0) + 4.0 / course.rate.min(axis=1)
    for _ in range(60):
        short = usable & (joule_integral_a2s(course, branch, high) < want)
        if not short.any():
            break
        high = np.where(short, 2.0 * high, high)
    time = 0.5 * high
    for _ in range(100):
        value = joule_integral_a2s(course, branch, time)
        slope = current_a(course, time[:, None])[rows, branch, 0] ** 2
        low, high = np.where(value < want, time, low), np.where(value < want, high, time)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = time - (value - want) / slope
        new = np.where((step > low) & (step < high), step, 0.5 * (low + high))
        done = np.abs(new - time) <= 1e-13 * time
        time = new
        if (done | ~usable).all():
            break
    return np.where(usable, time, np.where(known, np.inf, np.nan))


@cites("NUMERICS#loop equations of a network with resistance and inductance, solved in its modes")
def rise_time_s(course: FaultCourse, branch: IntArray, share: float = 0.6321205588285577) -> FloatArray:
    """When the current of one branch of each fault first reaches `share` of its final value (K,) [s].

    With one mode and the share 1 - 1/e it is the time constant L/R. inf where no current flows in the branch.
    """
    rows = np.arange(len(course.rate))
    weight = course.weight[rows, branch]
    final = weight.sum(axis=1)
    flows = np.abs(final) > 1e-12 * np.abs(weight).max(axis=1, initial=1e-300)
    if course.rate.shape[1] == 1:
        return np.where(flows, -np.log1p(-share) / course.rate[:, 0], np.inf)
    sense = np.sign(final)
    grid = np.concatenate([[0.0], np.geomspace(1e-4, 60.0, 240)]) / course.rate.min(axis=1)[:, None]
    # Where a fast mode reaches the share long before the slow one moves, the grid must begin early enough.
    early = np.geomspace(1e-6, 60.0, 240) / course.rate.max(axis=1)[:, None]
    grid = np.sort(np.concatenate([grid, early], axis=1), axis=1)
    level = (share * np.abs(final))[:, None]
    value = sense[:, None] * (weight[:, None, :] @ -np.expm1(-course.rate[:, :, None] * grid[:, None, :]))[:, 0]
    there = value >= level
    first = np.maximum(there.argmax(axis=1), 1)
    low, high = grid[rows, first - 1], grid[rows, first]
    for _ in range(200):
        middle = 0.5 * (low + high)
        now = sense * (weight * -np.expm1(-course.rate * middle[:, None])).sum(axis=1)
        low, high = np.where(now < level[:, 0], middle, low), np.where(now < level[:, 0], high, middle)
        if (high - low <= 1e-15 * high).all():
            break
    return np.where(flows & there.any(axis=1), high, np.inf)
