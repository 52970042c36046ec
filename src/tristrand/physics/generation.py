"""A permanent-magnet motor that turns with its inverter's gates off, or with all three phases shorted.

Sinusoidal machine, amplitude-invariant d and q axes, currents and voltages per phase and as peak values unless
a name says rms. Speeds are in rad/s; n rpm is 2 pi n/60. A cold magnet has the most flux: use that one.
"""

import math
from enum import StrEnum

import numpy as np

from tristrand.physics._num import FloatArray, Num, arr, finite, not_negative, positive, same
from tristrand.records import NamedTuple
from tristrand.sources import cites

BELOW_ONSET_NOTE = (
    "A machine whose inductances differ between the axes may go on generating below the speed at which it starts "
    "(from memory, not confirmed): once current flows, slowing to the onset does not end it."
)
"""To be said beside every onset speed of a machine with Ld unlike Lq."""
BELOW_ONSET_SOURCE = "GENERATION-PAPER-1999#generation below the onset speed"

_KRPM_RAD_PER_S = 1000.0 * 2.0 * math.pi / 60.0
_SQRT3 = math.sqrt(3.0)


class BackEmfForm(StrEnum):
    """The ways in which sheets state a back-EMF constant. They differ by factors up to hundreds: ask the maker."""

    LINE_RMS_PER_KRPM = "line_rms_per_krpm"
    """Between two phases, rms, per 1000 turns a minute of the shaft [V/krpm]."""
    LINE_PEAK_PER_KRPM = "line_peak_per_krpm"
    """Between two phases, peak, per 1000 turns a minute of the shaft [V/krpm]."""
    PHASE_PEAK_PER_MECHANICAL = "phase_peak_per_mechanical_rad_per_s"
    """Phase to star point, peak, per rad/s of the shaft [V s]."""
    PHASE_PEAK_PER_ELECTRICAL = "phase_peak_per_electrical_rad_per_s"
    """Phase to star point, peak, per electrical rad/s [V s]: the flux linkage itself."""


def _pole_pairs(pole_pairs: Num) -> FloatArray:
    pairs = arr(pole_pairs)
    if not bool(np.all((pairs >= 1.0) & (pairs == np.floor(pairs)) & np.isfinite(pairs))):
        raise ValueError("pole_pairs must be a whole number from 1 up: half the number of poles")
    return pairs


def _constant_per_weber(form: BackEmfForm, pairs: FloatArray) -> FloatArray:
    if form is BackEmfForm.LINE_RMS_PER_KRPM:
        return pairs * _KRPM_RAD_PER_S * _SQRT3 / math.sqrt(2.0)
    if form is BackEmfForm.LINE_PEAK_PER_KRPM:
        return pairs * _KRPM_RAD_PER_S * _SQRT3
    return pairs if form is BackEmfForm.PHASE_PEAK_PER_MECHANICAL else np.ones_like(pairs)


@cites("CLOSED-FORM#EMF of a sinusoidal three-phase machine")
def flux_linkage_wb(constant: Num, form: BackEmfForm | str, pole_pairs: Num) -> Num:
    """Flux linkage of the magnets, peak per phase [Wb], from a back-EMF constant in one of four forms.

    With p pole pairs and k = 1000 * 2 pi/60: Ke sqrt(2)/(sqrt(3) k p) from line rms per krpm; Ke/(sqrt(3) k p)
    from line peak per krpm; Ke/p from phase peak per mechanical rad/s; Ke from phase peak per electrical rad/s.
    constant > 0; form: a `BackEmfForm` or its text; pole_pairs whole, >= 1. Shapes broadcast. ValueError otherwise.
    """
    positive(constant=constant)
    return same(arr(constant) / _constant_per_weber(BackEmfForm(form), _pole_pairs(pole_pairs)))


@cites("CLOSED-FORM#EMF of a sinusoidal three-phase machine")
def back_emf_constant(flux_wb: Num, form: BackEmfForm | str, pole_pairs: Num) -> Num:
    """Back-EMF constant of a flux linkage, in the unit of `form`: inverse of `flux_linkage_wb`. flux_wb > 0."""
    positive(flux_wb=flux_wb)
    return same(arr(flux_wb) * _constant_per_weber(BackEmfForm(form), _pole_pairs(pole_pairs)))


@cites("CLOSED-FORM#electrical angle = pole pairs times mechanical angle")
def electrical_speed_rad_per_s(shaft_rad_per_s: Num, pole_pairs: Num) -> Num:
    """Electrical speed [rad/s]: p times the shaft's; keeps the sign. pole_pairs whole, >= 1, else ValueError."""
    finite(shaft_rad_per_s=shaft_rad_per_s)
    return same(_pole_pairs(pole_pairs) * arr(shaft_rad_per_s))


@cites("CLOSED-FORM#EMF of a sinusoidal three-phase machine")
def line_peak_v(flux_wb: Num, electrical_rad_per_s: Num) -> Num:
    """Peak open-circuit voltage between two phases [V]: sqrt(3) flux w. What the bus may be charged up to.

    flux_wb, electrical_rad_per_s >= 0. Shapes broadcast. ValueError otherwise.
    """
    not_negative(flux_wb=flux_wb, electrical_rad_per_s=electrical_rad_per_s)
    return same(_SQRT3 * arr(flux_wb) * arr(electrical_rad_per_s))


@cites("CLOSED-FORM#EMF of a sinusoidal three-phase machine")
def line_rms_v(flux_wb: Num, electrical_rad_per_s: Num) -> Num:
    """Open-circuit voltage between two phases, rms [V]: sqrt(3/2) flux w. Arguments as in `line_peak_v`."""
    return same(arr(line_peak_v(flux_wb, electrical_rad_per_s)) / math.sqrt(2.0))


@cites("CLOSED-FORM#peak line voltage against the bus through two diodes")
def onset_rad_per_s(dc_v: Num, flux_wb: Num, pole_pairs: Num, diode_v: Num = 0.0) -> Num:
    """Shaft speed above which the motor drives current into a bus of `dc_v` with the gates off [rad/s].

    (Vdc + 2 Vd)/(sqrt(3) flux p). The lowest bus voltage gives the lowest speed; Vd = 0 is on the safe side. It
    is where current starts: a machine with Ld unlike Lq may go on below it (`BELOW_ONSET_NOTE`). dc_v, diode_v
    >= 0; flux_wb > 0; pole_pairs whole, >= 1. Shapes broadcast. ValueError otherwise.
    """
    not_negative(dc_v=dc_v, diode_v=diode_v)
    positive(flux_wb=flux_wb)
    return same((arr(dc_v) + 2.0 * arr(diode_v)) / (_SQRT3 * arr(flux_wb) * _pole_pairs(pole_pairs)))


@cites("CLOSED-FORM#mean of a six-pulse rectified sine")
def six_pulse_mean_v(peak_v: Num, diode_v: Num = 0.0) -> Num:
    """Mean of the rectified voltage while every phase feeds in turn [V]: 3/pi V - 2 Vd; 0 where the diodes eat it.

    peak_v: between two phases, from `line_peak_v`, >= 0. diode_v >= 0 each. Without the drop of commutation in the
    machine's own inductance, which lowers it further; an unloaded bus charges to the peak. Shapes broadcast.
    ValueError otherwise.
    """
    not_negative(peak_v=peak_v, diode_v=diode_v)
    return same(np.maximum(3.0 / math.pi * arr(peak_v) - 2.0 * arr(diode_v), 0.0))


@cites("CLOSED-FORM#power of EMF times current equals torque times speed")
def torque_constant_nm_per_a(flux_wb: Num, pole_pairs: Num) -> Num:
    """Magnet torque per ampere rms in phase with the EMF [Nm/A]: 3/sqrt(2) p flux.

    The same as sqrt(3) times the line rms voltage per shaft rad/s. Per peak ampere it is 1.5 p flux. Reluctance
    torque comes on top. flux_wb > 0; pole_pairs whole, >= 1. Shapes broadcast. ValueError otherwise.
    """
    positive(flux_wb=flux_wb)
    return same(3.0 / math.sqrt(2.0) * _pole_pairs(pole_pairs) * arr(flux_wb))


# ---------------------------------------------------------------- active short circuit
class ShortCircuit(NamedTuple):
    """Steady state with all three phases shorted: peak currents of the axes, their amount, and the shaft torque."""

    d_a: Num
    q_a: Num
    current_a: Num
    torque_nm: Num
    """Against the rotation: negative at positive speed."""


@cites("CLOSED-FORM#steady dq equations of a permanent-magnet machine with zero voltage")
def short_circuit(
    electrical_rad_per_s: Num, flux_wb: Num, d_h: Num, q_h: Num, resistance_ohm: Num, pole_pairs: Num
) -> ShortCircuit:
    """Steady active short circuit of a permanent-magnet machine.

    0 = R id - w Lq iq and 0 = R iq + w (Ld id + flux), so with D = R^2 + w^2 Ld Lq: id = -w^2 Lq flux/D and
    iq = -w R flux/D; torque = 1.5 p iq (flux + (Ld - Lq) id). All losses in R: 1.5 R I^2 = -torque w/p.
    Steady: shorting a spinning motor that carries no current first swings to nearly twice the steady d current.
    electrical_rad_per_s: any sign; flux_wb, d_h, q_h, resistance_ohm > 0 (of the winding at its temperature and of
    what shorts it); pole_pairs whole, >= 1. Constant inductances: take the saturated ones. Shapes broadcast.
    ValueError otherwise.
    """
    finite(electrical_rad_per_s=electrical_rad_per_s)
    positive(flux_wb=flux_wb, d_h=d_h, q_h=q_h, resistance_ohm=resistance_ohm)
    speed, flux, ohm = arr(electrical_rad_per_s), arr(flux_wb), arr(resistance_ohm)
    d, q = arr(d_h), arr(q_h)
    below = ohm**2 + speed**2 * d * q
    d_a = -(speed**2) * q * flux / below
    q_a = -speed * ohm * flux / below
    # flux + (Ld - Lq) id with the difference worked out: exact also where id nearly cancels the flux.
    torque_flux = flux * (ohm**2 + speed**2 * q**2) / below
    torque = 1.5 * _pole_pairs(pole_pairs) * torque_flux * q_a
    return ShortCircuit(same(d_a), same(q_a), same(np.hypot(d_a, q_a)), same(torque))


@cites("CLOSED-FORM#steady dq equations of a permanent-magnet machine with zero voltage")
def short_circuit_limit_a(flux_wb: Num, d_h: Num) -> Num:
    """Peak phase current that the active short circuit comes to at high speed [A]: flux/Ld.

    The steady current stays below it unless Ld > 2 Lq, when it passes above at middling speed; the first swing
    after shorting does pass it (see `short_circuit`). flux_wb, d_h > 0. Shapes broadcast. ValueError otherwise.
    """
    positive(flux_wb=flux_wb, d_h=d_h)
    return same(arr(flux_wb) / arr(d_h))


@cites("CLOSED-FORM#steady dq equations of a permanent-magnet machine with zero voltage, largest torque")
def hardest_braking_rad_per_s(d_h: Num, q_h: Num, resistance_ohm: Num) -> Num:
    """Electrical speed at which the active short circuit brakes hardest [rad/s]; R/L where Ld = Lq = L.

    Zero slope of w (R^2 + w^2 Lq^2)/(R^2 + w^2 Ld Lq)^2 with s = Lq/Ld: w = R/Lq sqrt(y), where y is the positive
    root of y^2 - 3 (s - 1) y - s = 0. A low speed: about R/L, far below base speed. Arguments > 0. Shapes
    broadcast. ValueError otherwise.
    """
    positive(d_h=d_h, q_h=q_h, resistance_ohm=resistance_ohm)
    ratio = arr(q_h) / arr(d_h)
    half = 1.5 * (ratio - 1.0)
    root = np.sqrt(half**2 + ratio)
    # Of the two ways to write the root, the one without a difference of like numbers.
    y = np.where(half >= 0.0, half + root, ratio / (root - np.minimum(half, 0.0)))
    return same(arr(resistance_ohm) / arr(q_h) * np.sqrt(y))


# ---------------------------------------------------------------- road speed
@cites("CLOSED-FORM#rolling without slip")
def motor_speed_rad_per_s(vehicle_m_per_s: Num, gear_ratio: Num, tyre_radius_m: Num) -> Num:
    """Shaft speed of the motor at a road speed [rad/s]: v i/r; keeps the sign.

    gear_ratio: turns of the motor per turn of the wheel, all stages together, > 0. tyre_radius_m: rolling radius
    > 0; a worn tyre is smaller and turns the motor faster. No slip; a towed vehicle turns it as well unless it is
    out of gear. Shapes broadcast. ValueError otherwise.
    """
    finite(vehicle_m_per_s=vehicle_m_per_s)
    positive(gear_ratio=gear_ratio, tyre_radius_m=tyre_radius_m)
    return same(arr(vehicle_m_per_s) * arr(gear_ratio) / arr(tyre_radius_m))


@cites("CLOSED-FORM#rolling without slip")
def vehicle_speed_m_per_s(motor_rad_per_s: Num, gear_ratio: Num, tyre_radius_m: Num) -> Num:
    """Road speed at a shaft speed of the motor [m/s]: w r/i, inverse of `motor_speed_rad_per_s`."""
    finite(motor_rad_per_s=motor_rad_per_s)
    positive(gear_ratio=gear_ratio, tyre_radius_m=tyre_radius_m)
    return same(arr(motor_rad_per_s) * arr(tyre_radius_m) / arr(gear_ratio))
