"""The surge when a main contactor closes on the voltage difference that precharge has left.

Topology: one loop of resistance, inductance and the bus capacitance, driven by a constant difference.
"""

import numpy as np

from tristrand.physics._num import FloatArray, Num, arr, finite, not_negative, positive, same
from tristrand.records import NamedTuple
from tristrand.sources import cites


class ClosingSurge(NamedTuple):
    """Peak of the closing current, when it comes, its I2t over all time, and how far the loop is damped."""

    peak_a: Num
    peak_time_s: Num
    joule_integral_a2s: Num
    damping: Num
    """r/2 * sqrt(C/L): below 1 the current swings, above 1 it does not; inf without inductance."""


def _peak_angle(damping: FloatArray) -> FloatArray:
    """omega0 * t_peak: acos(z)/sqrt(1-z^2) below 1, acosh(z)/sqrt(z^2-1) above, its series beside 1."""
    near = np.abs(damping - 1.0) < 1e-4
    under = np.where((damping < 1.0) & ~near, damping, 0.5)
    over = np.where((damping > 1.0) & ~near & np.isfinite(damping), damping, 2.0)
    step = np.where(near, damping - 1.0, 0.0)
    swinging = np.arccos(under) / np.sqrt(1.0 - under**2)
    creeping = np.arccosh(over) / np.sqrt(over**2 - 1.0)
    series = 1.0 - step / 3.0 + 2.0 * step**2 / 15.0
    return np.where(near, series, np.where(damping < 1.0, swinging, creeping))


@cites("CLOSED-FORM#series RLC step response")
def closing_surge(difference_v: Num, loop_h: Num, loop_ohm: Num, bus_f: Num) -> ClosingSurge:
    """Closing current of a loop r, L, C at a voltage difference dV, for any damping.

    a = r/(2L), w0 = 1/sqrt(LC), damping z = a/w0. The current is dV/(wd*L)*exp(-a t)*sin(wd t) (sinh above
    critical damping, dV/L*t*exp(-a t) at it). At its peak w0*t = acos(z)/sqrt(1-z^2) (acosh(z)/sqrt(z^2-1)
    above 1), and there i = dV*sqrt(C/L)*exp(-a t) in every regime. All of C*dV^2/2 ends in r, so I2t =
    C*dV^2/(2 r) exactly. Without inductance the peak is dV/r at t = 0.

    difference_v [V] any finite sign (the peak keeps it); loop_h [H] >= 0; loop_ohm [ohm] > 0; bus_f [F] > 0.
    Shapes broadcast. ValueError otherwise. Contact bounce and arc are not in it.
    """
    finite(difference_v=difference_v, loop_h=loop_h)
    not_negative(loop_h=loop_h)
    positive(loop_ohm=loop_ohm, bus_f=bus_f)
    step_v, inductance, resistance, capacitance = np.broadcast_arrays(
        arr(difference_v), arr(loop_h), arr(loop_ohm), arr(bus_f)
    )
    bare = inductance == 0.0
    some_h = np.where(bare, 1.0, inductance)
    surge_ohm = np.sqrt(some_h / capacitance)
    damping = np.where(bare, np.inf, 0.5 * resistance / surge_ohm)
    angle = _peak_angle(damping)
    time_s = np.where(bare, 0.0, angle * np.sqrt(some_h * capacitance))
    decay = np.exp(-np.where(bare, 0.0, damping) * angle)
    peak_a = np.where(bare, step_v / resistance, step_v / surge_ohm * decay)
    joule = 0.5 * capacitance * step_v**2 / resistance
    return ClosingSurge(same(peak_a), same(time_s), same(joule), same(damping))
