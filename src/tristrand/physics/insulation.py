"""Insulation of a high-voltage bus against the chassis: two legs, what meters show, and what readings mean.

The bus hangs between two legs: R1 from the negative pole to chassis, R2 from the positive. The poles' voltages
to chassis are V1 and V2 (magnitudes), the bus voltage Vb is stiff. A monitor reports R1 parallel R2; what
limits the current through a person is the weaker leg alone.
"""

import math
from typing import Literal, TypeAlias

import numpy as np

from tristrand.physics._num import Num, arr, finite, not_negative, positive, same
from tristrand.records import NamedTuple
from tristrand.sources import cites

Leg: TypeAlias = Literal["negative", "positive"]
"""A leg by the pole it hangs on."""

REQUIRED_DC_OHM_PER_V = 100.0
"""UN R100 5.1.3.1: least insulation of a direct-current bus [ohm/V]."""
REQUIRED_AC_OHM_PER_V = 500.0
"""UN R100 5.1.3.1 and 5.1.3.2: alternating-current bus, or both joined without further protection [ohm/V]."""
LEAST_METER_OHM = 10e6
"""UN R100 rev 2 annex 4: least internal resistance of the voltmeter [ohm]."""
RESISTOR_BAND = 0.20
"""UN R100 rev 2 annex 4: the known resistor lies within this share of required ohm per volt times volt."""


class PoleVoltages(NamedTuple):
    """What meters show from the poles to chassis."""

    negative_v: Num
    positive_v: Num


class ResistorChoice(NamedTuple):
    """The known resistor for the two-reading measurement."""

    low_ohm: Num
    nominal_ohm: Num
    high_ohm: Num


@cites("CLOSED-FORM#parallel resistances")
def parallel_ohm(*parts_ohm: Num) -> Num:
    """Resistances in parallel [ohm]: 1/sum(1/R). Of both legs: what an insulation monitor reports.

    Each >= 0 (inf: no path; all inf gives inf; 0 gives 0). Shapes broadcast. ValueError otherwise or for none.
    """
    if not parts_ohm:
        raise ValueError("needs at least one resistance")
    for part in parts_ohm:
        not_negative(parts_ohm=part)
    with np.errstate(divide="ignore"):
        return same(1.0 / arr(sum(1.0 / arr(part) for part in parts_ohm)))


@cites("UN-R100-REV2#annex 4, 1.2.3.4, what Ri is", "CLOSED-FORM#Kirchhoff's laws")
def weaker_leg_ohm(negative_ohm: Num, positive_ohm: Num) -> Num:
    """The weaker of both legs [ohm], which the two-reading measurement gives. Both >= 0. Shapes broadcast."""
    not_negative(negative_ohm=negative_ohm, positive_ohm=positive_ohm)
    return same(np.minimum(arr(negative_ohm), arr(positive_ohm)))


@cites("UN-R100#5.1.3.1")
def ohm_per_volt(resistance_ohm: Num, pack_v: Num) -> Num:
    """Insulation by bus voltage [ohm/V]: R/Vb. resistance_ohm >= 0, pack_v > 0 (highest working voltage)."""
    not_negative(resistance_ohm=resistance_ohm)
    positive(pack_v=pack_v)
    return same(arr(resistance_ohm) / arr(pack_v))


@cites("CLOSED-FORM#Ohm's law")
def body_current_a(insulation_ohm_per_v: Num) -> Num:
    """Largest steady current through a person of no resistance who touches one pole [A]: 1/(ohm per volt).

    The current comes back through the other leg, so the weaker leg counts, never both in parallel. 500 ohm/V
    means 2 mA, 100 ohm/V 10 mA. insulation_ohm_per_v > 0. Shapes broadcast.
    """
    positive(insulation_ohm_per_v=insulation_ohm_per_v)
    return same(1.0 / arr(insulation_ohm_per_v))


@cites("CLOSED-FORM#Kirchhoff's laws")
def pole_voltages(
    pack_v: Num,
    negative_ohm: Num,
    positive_ohm: Num,
    meter_ohm: Num = math.inf,
    *,
    both_meters: bool = False,
    resistor_ohm: Num = math.inf,
    resistor_leg: Leg = "negative",
) -> PoleVoltages:
    """What meters of `meter_ohm` show from negative and positive pole to chassis [V].

    One meter moved from pole to pole: V1 = Vb G2/(G1 + G2 + Gm), V2 = Vb G1/(G1 + G2 + Gm); a meter on each:
    V1 = Vb (G2 + Gm)/(G1 + G2 + 2 Gm), mirrored for V2. The known resistor lies parallel to its leg. pack_v >= 0,
    resistances > 0 (inf: not there). Shapes broadcast. ValueError otherwise or where nothing leads to chassis.
    """
    _known_leg(resistor_leg)
    not_negative(pack_v=pack_v)
    positive(negative_ohm=negative_ohm, positive_ohm=positive_ohm, meter_ohm=meter_ohm, resistor_ohm=resistor_ohm)
    added, meter_s = 1.0 / arr(resistor_ohm), 1.0 / arr(meter_ohm)
    negative_s = 1.0 / arr(negative_ohm) + (added if resistor_leg == "negative" else 0.0)
    positive_s = 1.0 / arr(positive_ohm) + (added if resistor_leg == "positive" else 0.0)
    other_s = meter_s if both_meters else np.zeros_like(meter_s)
    total_s = negative_s + positive_s + meter_s + other_s
    positive(conductance_to_chassis=same(total_s))
    volts = arr(pack_v) / total_s
    return PoleVoltages(same(volts * (positive_s + other_s)), same(volts * (negative_s + other_s)))


@cites("UN-R100-REV2#annex 4, choice of Ro")
def known_resistor_ohm(required_ohm_per_v: Num, pack_v: Num) -> ResistorChoice:
    """The known resistor Ro [ohm]: required ohm per volt times bus voltage, within 20 %. Any Ro is valid.

    It carries the bus voltage if a leg is shorted: choose its voltage and power for that. Both > 0.
    """
    positive(required_ohm_per_v=required_ohm_per_v, pack_v=pack_v)
    nominal = arr(required_ohm_per_v) * arr(pack_v)
    return ResistorChoice(same(nominal * (1.0 - RESISTOR_BAND)), same(nominal), same(nominal * (1.0 + RESISTOR_BAND)))


@cites("UN-R100-REV2#annex 4, 1.2.3.4", "CLOSED-FORM#Kirchhoff's laws")
def two_reading_ohm(pack_v: Num, before_v: Num, after_v: Num, resistor_ohm: Num) -> Num:
    """The leg opposite the known resistor [ohm]: Ri = Ro Vb (1/V' - 1/V), V and V' on the resistor's own leg.

    Exact for one meter moved; with a meter on each leg the far one is in the result: `without_meter_ohm`. Only
    with the resistor on the leg of the larger reading is this the weaker leg: `reduce_two_readings` sees to it.
    0 < after_v <= before_v <= pack_v, resistor_ohm > 0. Shapes broadcast. ValueError otherwise.
    """
    positive(pack_v=pack_v, before_v=before_v, after_v=after_v, resistor_ohm=resistor_ohm)
    not_negative(fall_v=same(arr(before_v) - arr(after_v)), rest_v=same(arr(pack_v) - arr(before_v)))
    return same(arr(resistor_ohm) * arr(pack_v) * (1.0 / arr(after_v) - 1.0 / arr(before_v)))


@cites("FMVSS-305#S7.6", unverified="from memory, the text was not seen; equals the Vb form where Vb = V1 + V2")
def two_reading_sum_ohm(before_v: Num, other_v: Num, after_v: Num, resistor_ohm: Num) -> Num:
    """The same leg without a reading of Vb [ohm]: Ro (1 + V2/V1)(V1 - V1')/V1'. V1 on the resistor's leg.

    Low by the share Vb exceeds V1 + V2 when one real meter is moved: prefer `two_reading_ohm`.
    0 < after_v <= before_v, other_v >= 0, resistor_ohm > 0. Shapes broadcast. ValueError otherwise.
    """
    positive(before_v=before_v, after_v=after_v, resistor_ohm=resistor_ohm)
    not_negative(other_v=other_v, fall_v=same(arr(before_v) - arr(after_v)))
    v1, v2, after = arr(before_v), arr(other_v), arr(after_v)
    return same(arr(resistor_ohm) * (1.0 + v2 / v1) * (v1 - after) / after)


@cites("CLOSED-FORM#parallel resistances")
def without_meter_ohm(reduced_ohm: Num, meter_ohm: Num) -> Num:
    """A resistance without the meter that lay across it [ohm]: 1/(1/Ri - 1/Rm); inf where both are equal.

    0 <= reduced_ohm <= meter_ohm, meter_ohm > 0 (inf: ideal). Shapes broadcast. ValueError otherwise.
    """
    positive(meter_ohm=meter_ohm)
    not_negative(reduced_ohm=reduced_ohm)
    if not bool(np.all(arr(reduced_ohm) <= arr(meter_ohm))):
        raise ValueError("reduced_ohm is above the resistance of the meter that lay across it")
    with np.errstate(divide="ignore"):
        return same(1.0 / (1.0 / arr(reduced_ohm) - 1.0 / arr(meter_ohm)))


class TwoReadings(NamedTuple):
    """The record of one two-reading measurement; all voltages as magnitudes."""

    pack_v: float
    """Vb, pole to pole."""
    negative_v: float
    """V1, negative pole to chassis, without the known resistor."""
    positive_v: float
    """V2, positive pole to chassis, without the known resistor."""
    with_resistor_v: float
    """V1' or V2': on the leg that the known resistor is on."""
    resistor_ohm: float
    resistor_leg: Leg
    meter_ohm: float
    both_meters: bool
    """A meter stays on each leg throughout; else one meter is moved from pole to pole."""


class Tolerance(NamedTuple):
    """How far what was read and written down may be off."""

    reading_share: float
    """Share of each voltage reading."""
    reading_v: float
    """Volts on top of that share."""
    resistor_share: float
    meter_share: float
    """Share of the meter's internal resistance."""


class Interval(NamedTuple):
    """A value with the ends it may lie between; inf where the readings cannot tell it from no leak."""

    value: float
    low: float
    high: float


class MeasuredLegs(NamedTuple):
    """What a two-reading measurement says."""

    weaker_leg: Leg
    weaker_ohm: Interval
    parallel_ohm: Interval
    """What an insulation monitor would report."""
    negative_ohm: Interval
    positive_ohm: Interval
    gap_v: float
    """Vb - V1 - V2."""
    explained_v: tuple[float, float]
    """The ends between which the meter's loading explains that gap."""
    remarks: tuple[str, ...]


Fault: TypeAlias = Literal["negative", "above pack", "wrong leg", "no reading", "rises", "above meter", "gap"]


class Refusal(NamedTuple):
    """Why no resistance may be drawn from readings."""

    fault: Fault
    reason: str


@cites("UN-R100-REV2#annex 4, 1.2.3.4", "CLOSED-FORM#Kirchhoff's laws")
def reduce_two_readings(readings: TwoReadings, tolerance: Tolerance) -> MeasuredLegs | Refusal:
    """Both legs from a two-reading measurement where one tolerance holds for all readings: see `reduce_between`.

    ValueError also for tolerances that cannot be (shares from 0 to below 1).
    """
    finite(**tolerance._asdict())
    not_negative(**tolerance._asdict())
    if max(tolerance.reading_share, tolerance.resistor_share, tolerance.meter_share) >= 1.0:
        raise ValueError("a tolerance of the whole value or more leaves nothing to reduce")
    return reduce_between(readings, _at(readings, tolerance, -1.0), _at(readings, tolerance, 1.0))


def _at(readings: TwoReadings, tolerance: Tolerance, end: float) -> TwoReadings:
    """All at their low (-1) or high (1) ends."""
    pack_v, negative_v, positive_v, with_resistor_v = (
        v + end * (abs(v) * tolerance.reading_share + tolerance.reading_v) for v in readings[:4]
    )
    return readings._replace(
        pack_v=pack_v,
        negative_v=negative_v,
        positive_v=positive_v,
        with_resistor_v=with_resistor_v,
        resistor_ohm=readings.resistor_ohm * (1.0 + end * tolerance.resistor_share),
        meter_ohm=readings.meter_ohm * (1.0 + end * tolerance.meter_share),
    )


@cites("UN-R100-REV2#annex 4, 1.2.3.4", "CLOSED-FORM#Kirchhoff's laws")
def reduce_between(readings: TwoReadings, low: TwoReadings, high: TwoReadings) -> MeasuredLegs | Refusal:
    """Both legs, with intervals, from a two-reading measurement, or the reason why it says nothing.

    `low` and `high` hold the least and the largest that each reading and instrument may truly be; a voltage's low
    end below zero counts as zero. Far leg: Ri = Ro Vb (1/V' - 1/V); near leg: Ri V/Vother; monitor:
    Ri V/(V + Vother); the meters are taken out where a meter stays on each leg. Every result is monotonic in every
    reading, so its interval comes from the ends, taken as independent. Refused: readings that cannot be, the known
    resistor on the weaker leg (it would give the larger resistance), a gap Vb - V1 - V2 that the meter's loading
    does not explain. Swapped readings of both poles with the resistor on cannot be told from the numbers.
    ValueError for instruments that cannot be (resistor and meter > 0 at their low ends) and ends in a wrong order.
    """
    _check_ends(readings, low, high)
    refusal = _impossible(readings, low, high)
    if refusal is not None:
        return refusal
    near_v, other_v = _near_and_other(readings)
    ends = [_reduced(readings, readings, 0.0), _reduced(low, high, -1.0), _reduced(high, low, 1.0)]
    if any(math.isnan(value) for value in ends[1]):
        return Refusal("above meter", "A leg comes out above the meter's own resistance, which lay across it.")
    far, near, both = (Interval(*values) for values in zip(*ends, strict=True))
    gap_v = readings.pack_v - near_v - other_v
    explained_v = _explained_gap(low, high, both)
    least_v = low.pack_v - high.negative_v - high.positive_v
    most_v = high.pack_v - low.negative_v - low.positive_v
    dust_v = 1e-9 * readings.pack_v
    if least_v > explained_v[1] + dust_v or most_v < explained_v[0] - dust_v:
        return Refusal(
            "gap",
            f"The pack's voltage less both poles' readings is {gap_v:.4g} V, with the tolerances {least_v:.4g} to"
            f" {most_v:.4g} V; the meter's loading"
            f" explains {explained_v[0]:.4g} to {explained_v[1]:.4g} V: the bus moved between the readings, had not"
            " settled, or the meter is not as stated.",
        )
    legs = {readings.resistor_leg: near, _other(readings.resistor_leg): far}
    weaker_leg: Leg = _other(readings.resistor_leg) if not near.value < far.value else readings.resistor_leg
    weaker = Interval(*(min(pair) for pair in zip(near, far, strict=True)))
    remarks = _remarks(readings, low, high)
    return MeasuredLegs(weaker_leg, weaker, both, legs["negative"], legs["positive"], gap_v, explained_v, remarks)


def _other(leg: Leg) -> Leg:
    return "negative" if leg == "positive" else "positive"


def _near_and_other(readings: TwoReadings) -> tuple[float, float]:
    """The readings of the leg that the known resistor is on, and of the other."""
    both = (readings.negative_v, readings.positive_v)
    return both if readings.resistor_leg == "negative" else (both[1], both[0])


def _known_leg(leg: str) -> None:
    if leg not in ("negative", "positive"):
        raise ValueError(f"a leg is 'negative' or 'positive', not {leg!r}")


def _check_ends(readings: TwoReadings, low: TwoReadings, high: TwoReadings) -> None:
    _known_leg(readings.resistor_leg)
    for given in (readings, low, high):
        finite(**dict(zip(TwoReadings._fields[:4], given[:4], strict=True)), resistor_ohm=given.resistor_ohm)
        positive(resistor_ohm=given.resistor_ohm, meter_ohm=given.meter_ohm)
    for name in (*TwoReadings._fields[:5], "meter_ohm"):
        if not getattr(low, name) <= getattr(readings, name) <= getattr(high, name):
            raise ValueError(f"{name} must lie between its low and its high end")
    if len({(given.resistor_leg, given.both_meters) for given in (readings, low, high)}) > 1:
        raise ValueError("the leg and the number of meters are the same at both ends")


def _impossible(readings: TwoReadings, low: TwoReadings, high: TwoReadings) -> Refusal | None:
    """The first reason why the readings cannot be those of two legs, on the numbers alone."""
    leg = readings.resistor_leg
    near_low_v, other_low_v = _near_and_other(low)
    near_high_v = _near_and_other(high)[0]
    if min(readings[:4]) < 0.0:
        return Refusal("negative", "A reading is negative: enter magnitudes, and look which lead was on which pole.")
    if near_low_v + other_low_v > high.pack_v + 1e-9 * readings.pack_v:
        return Refusal("above pack", "V1 and V2 together are above Vb: the bus or the meter changed between readings.")
    if other_low_v > near_high_v:
        right, weak = _other(leg), leg
        return Refusal(
            "wrong leg",
            f"The {right} pole reads more, so the {weak} leg is the weaker one and the known resistor belongs between"
            f" the {right} pole and chassis; on the {weak} leg it gives the larger resistance. Measure again.",
        )
    if near_low_v <= 0.0 or low.pack_v <= 0.0:
        return Refusal("no reading", "The bus, or both poles to chassis, show no voltage above the meter's tolerance.")
    if low.with_resistor_v > near_high_v:
        return Refusal(
            "rises",
            f"The {leg} pole reads more with the known resistor than without: the resistor is on the other leg, or"
            " the other pole was read.",
        )
    return None


def _reduced(this: TwoReadings, opposite: TwoReadings, end: float) -> tuple[float, float, float]:
    """Far leg, near leg and both in parallel [ohm] at one end: 0 as read, -1 lowest, 1 highest; nan: impossible.

    They rise with Vb, V and Ro, taken from `this` end, and fall with V', Vother and Rm, taken from the `opposite`.
    """
    before = _near_and_other(this)[0]
    after = max(opposite.with_resistor_v, 0.0)
    other = max(_near_and_other(opposite)[1], 0.0)
    scale = this.pack_v * this.resistor_ohm
    # Ri times V, from which all three follow by one division; below zero only within the tolerances.
    product = scale * max(before / after - 1.0, 0.0) if after > 0.0 else math.inf
    far, both = product / before, product / (before + other)
    near = product / other if other > 0.0 else math.inf
    if not this.both_meters:
        return far, near, both
    meter = opposite.meter_ohm
    return _less_meter(far, meter, end), _less_meter(near, meter, end), _less_meter(both, 0.5 * meter, end)


def _less_meter(reduced_ohm: float, meter_ohm: float, end: float) -> float:
    # At or above the meter's own value the readings cannot tell the leg from none; at the low end that is a fault.
    if reduced_ohm < meter_ohm:
        return float(without_meter_ohm(reduced_ohm, meter_ohm))
    return math.nan if end < 0.0 and reduced_ohm > meter_ohm * (1.0 + 1e-9) else math.inf


def _explained_gap(low: TwoReadings, high: TwoReadings, both: Interval) -> tuple[float, float]:
    """Vb - V1 - V2 = Vb Rp/(Rp + Rm) for one meter moved, at both ends; meters on both legs leave no gap."""
    if low.both_meters or math.isinf(low.meter_ohm):
        return 0.0, 0.0
    ends = []
    for leak_ohm, pack_v, meter_ohm in (
        (both.low, low.pack_v, high.meter_ohm),
        (both.high, high.pack_v, low.meter_ohm),
    ):
        share = 1.0 if math.isinf(leak_ohm) else leak_ohm / (leak_ohm + meter_ohm)
        ends.append(share * pack_v)
    return ends[0], ends[1]


def _remarks(readings: TwoReadings, low: TwoReadings, high: TwoReadings) -> tuple[str, ...]:
    remarks = []
    if _near_and_other(low)[0] <= high.with_resistor_v:
        remarks.append("The known resistor changes nothing measurable: a leg is nearly shorted, or its lead is open.")
    if readings.meter_ohm < LEAST_METER_OHM:
        remarks.append("The meter has less than the 10 MΩ that UN R100 asks for.")
    return tuple(remarks)
