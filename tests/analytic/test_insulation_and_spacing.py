"""Insulation and spacing: round trips, limits, symmetry under exchange of poles, and independent solutions."""

from __future__ import annotations

import itertools
import math
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from tests.evidence import covers
from tristrand.physics import insulation, insulation_budget, spacing
from tristrand.physics.insulation import MeasuredLegs, Refusal, Tolerance, TwoReadings
from tristrand.physics.insulation_budget import PartInsulation, UnplugStep

EXACT = Tolerance(0.0, 0.0, 0.0, 0.0)
legs = st.floats(5e3, 50e6)
meters = st.sampled_from([1e6, 10e6, 20e6, math.inf])
resistors = st.floats(10e3, 500e3)
volts = st.floats(60.0, 900.0)


def measure(
    pack_v: float, negative: float, positive: float, meter: float, both: bool, resistor: float, wrong: bool = False
) -> TwoReadings:
    """Readings as the procedure asks for them: the known resistor on the leg of the larger reading."""
    without = insulation.pole_voltages(pack_v, negative, positive, meter, both_meters=both)
    on_negative = (without.negative_v >= without.positive_v) != wrong
    leg: insulation.Leg = "negative" if on_negative else "positive"
    added = insulation.pole_voltages(
        pack_v, negative, positive, meter, both_meters=both, resistor_ohm=resistor, resistor_leg=leg
    )
    after = added.negative_v if on_negative else added.positive_v
    return TwoReadings(
        pack_v, float(without.negative_v), float(without.positive_v), float(after), resistor, leg, meter, both
    )


def reduced(readings: TwoReadings, tolerance: Tolerance = EXACT) -> MeasuredLegs:
    found = insulation.reduce_two_readings(readings, tolerance)
    assert isinstance(found, MeasuredLegs), found
    return found


def refused(readings: TwoReadings, tolerance: Tolerance = EXACT) -> str:
    found = insulation.reduce_two_readings(readings, tolerance)
    assert isinstance(found, Refusal), found
    assert found.reason.endswith(".")
    return found.fault


# ---------------------------------------------------------------- what meters show
@covers("physics.insulation.pole_voltages")
@given(volts, legs, legs, meters, st.booleans(), resistors)
def test_pole_voltages_solve_the_node_equation(
    pack_v: float, negative: float, positive: float, meter: float, both: bool, resistor: float
) -> None:
    """The currents into chassis sum to nothing, in each of the two positions of a moved meter."""
    shown = insulation.pole_voltages(
        pack_v, negative, positive, meter, both_meters=both, resistor_ohm=resistor, resistor_leg="positive"
    )
    for v_negative, on_negative in ((float(shown.negative_v), True), (pack_v - float(shown.positive_v), False)):
        v_positive = pack_v - v_negative
        away = v_negative / negative + (v_negative / meter if both or on_negative else 0.0)
        back = v_positive / positive + v_positive / resistor + (v_positive / meter if both or not on_negative else 0.0)
        assert away == pytest.approx(back, rel=1e-9)


@covers("physics.insulation.pole_voltages")
@given(volts, legs, legs, meters, st.booleans(), resistors)
def test_exchange_of_poles_exchanges_the_readings(
    pack_v: float, negative: float, positive: float, meter: float, both: bool, resistor: float
) -> None:
    one = insulation.pole_voltages(
        pack_v, negative, positive, meter, both_meters=both, resistor_ohm=resistor, resistor_leg="negative"
    )
    two = insulation.pole_voltages(
        pack_v, positive, negative, meter, both_meters=both, resistor_ohm=resistor, resistor_leg="positive"
    )
    assert (one.negative_v, one.positive_v) == (pytest.approx(two.positive_v), pytest.approx(two.negative_v))


@covers("physics.insulation.pole_voltages")
def test_ideal_meter_limit_and_arrays() -> None:
    ideal = insulation.pole_voltages(400.0, 3e5, 1e5)
    assert (ideal.negative_v, ideal.positive_v) == (pytest.approx(300.0), pytest.approx(100.0))
    for both in (False, True):
        real = insulation.pole_voltages(400.0, 3e5, 1e5, np.array([1e5, 1e7, 1e15]), both_meters=both)
        gaps = 400.0 - np.asarray(real.negative_v) - np.asarray(real.positive_v)
        assert np.asarray(real.negative_v)[-1] == pytest.approx(300.0, rel=1e-8)
        # One meter moved: the gap is Vb Rp/(Rp + Rm), Rp = 75 kohm; a meter on each leg: none.
        expected = [0.0] * 3 if both else [400 * 75 / 175, 400 * 0.075 / 10.075, 0.0]
        assert gaps == pytest.approx(expected, abs=1e-6)
    # Only the meters lead to chassis: they share the bus.
    assert insulation.pole_voltages(400.0, math.inf, math.inf, 10e6, both_meters=True).negative_v == pytest.approx(
        200.0
    )


# ---------------------------------------------------------------- the formula itself
@covers("physics.insulation.two_reading_ohm", "physics.insulation.two_reading_sum_ohm")
@given(legs, legs, resistors)
def test_both_forms_agree_where_the_poles_add_up(negative: float, positive: float, resistor: float) -> None:
    """With Vb = V1 + V2 the sum form is the Vb form: Ro (V1 + V2)/V1 (V1 - V1')/V1' = Ro Vb (1/V1' - 1/V1)."""
    before = insulation.pole_voltages(400.0, negative, positive)
    after = float(insulation.pole_voltages(400.0, negative, positive, resistor_ohm=resistor).negative_v)
    v1, v2 = float(before.negative_v), float(before.positive_v)
    by_sum = insulation.two_reading_sum_ohm(v1, v2, after, resistor)
    assert by_sum == pytest.approx(insulation.two_reading_ohm(v1 + v2, v1, after, resistor), rel=1e-9)
    assert by_sum == pytest.approx(positive, rel=1e-6)


@covers("physics.insulation.two_reading_sum_ohm")
@given(legs, legs)
def test_sum_form_is_low_by_the_gap(negative: float, positive: float) -> None:
    readings = measure(400.0, negative, negative + positive, 10e6, False, 180e3, wrong=True)
    v1, v2 = readings.negative_v, readings.positive_v
    by_vb = float(insulation.two_reading_ohm(400.0, v1, readings.with_resistor_v, 180e3))
    by_sum = insulation.two_reading_sum_ohm(v1, v2, readings.with_resistor_v, 180e3)
    assert by_sum == pytest.approx(by_vb * (v1 + v2) / 400.0, rel=1e-9)


@covers("physics.insulation.two_reading_ohm", "physics.insulation.without_meter_ohm")
@given(legs, legs, st.floats(1e6, 100e6), resistors)
def test_meter_drops_out(negative: float, positive: float, meter: float, resistor: float) -> None:
    """One meter moved: the formula gives the leg itself; one on each leg: leg and meter in parallel."""
    for both in (False, True):
        shown = [
            float(
                insulation.pole_voltages(400.0, negative, positive, meter, both_meters=both, resistor_ohm=r).negative_v
            )
            for r in (math.inf, resistor)
        ]
        ri = float(insulation.two_reading_ohm(400.0, shown[0], shown[1], resistor))
        if both:
            assert ri == pytest.approx(float(insulation.parallel_ohm(positive, meter)), rel=1e-6)
            ri = float(insulation.without_meter_ohm(ri, meter))
        assert ri == pytest.approx(positive, rel=1e-5)


@covers("physics.insulation.two_reading_ohm")
def test_reading_falls_more_the_better_the_far_leg() -> None:
    after = np.linspace(50.0, 250.0, 9)
    found = np.asarray(insulation.two_reading_ohm(400.0, 250.0, after, 200e3))
    assert (np.diff(found) < 0.0).all()
    assert found[-1] == 0.0


@covers("physics.insulation.without_meter_ohm", "physics.insulation.parallel_ohm")
@given(legs, st.floats(1e6, 100e6))
def test_taking_a_meter_out_inverts_putting_it_in(leg: float, meter: float) -> None:
    assert insulation.without_meter_ohm(insulation.parallel_ohm(leg, meter), meter) == pytest.approx(leg, rel=1e-6)
    assert insulation.without_meter_ohm(leg, math.inf) == pytest.approx(leg, rel=1e-14)
    assert insulation.without_meter_ohm(meter, meter) == math.inf


# ---------------------------------------------------------------- reduction of real readings
@covers("physics.insulation.reduce_two_readings")
@given(volts, legs, legs, meters, st.booleans(), resistors)
def test_round_trip(pack_v: float, negative: float, positive: float, meter: float, both: bool, resistor: float) -> None:
    found = reduced(measure(pack_v, negative, positive, meter, both, resistor))
    assert found.negative_ohm.value == pytest.approx(negative, rel=1e-5)
    assert found.positive_ohm.value == pytest.approx(positive, rel=1e-5)
    assert found.weaker_ohm.value == pytest.approx(min(negative, positive), rel=1e-5)
    assert found.parallel_ohm.value == pytest.approx(1.0 / (1.0 / negative + 1.0 / positive), rel=1e-5)
    if abs(negative - positive) > 1e-4 * negative:
        assert found.weaker_leg == ("negative" if negative < positive else "positive")


def mirrored(r: TwoReadings) -> TwoReadings:
    leg: insulation.Leg = "negative" if r.resistor_leg == "positive" else "positive"
    return r._replace(negative_v=r.positive_v, positive_v=r.negative_v, resistor_leg=leg)


@covers("physics.insulation.reduce_two_readings")
@given(legs, legs, meters, st.booleans(), st.booleans())
def test_exchange_of_poles_exchanges_the_legs(
    negative: float, positive: float, meter: float, both: bool, wrong: bool
) -> None:
    readings = measure(400.0, negative, positive, meter, both, 200e3, wrong)
    tolerance = Tolerance(0.005, 0.05, 0.01, 0.01)
    one = insulation.reduce_two_readings(readings, tolerance)
    two = insulation.reduce_two_readings(mirrored(readings), tolerance)
    if isinstance(one, Refusal):
        assert isinstance(two, Refusal)
        assert one.fault == two.fault
    else:
        assert isinstance(two, MeasuredLegs)
        assert (one.negative_ohm, one.positive_ohm) == (two.positive_ohm, two.negative_ohm)
        assert one.weaker_ohm == two.weaker_ohm
        assert one.weaker_leg != two.weaker_leg


OFF = st.floats(-1.0, 1.0)


@covers("physics.insulation.reduce_two_readings")
@given(legs, legs, meters, st.booleans(), st.tuples(OFF, OFF, OFF, OFF, OFF, OFF))
def test_interval_holds_the_truth_for_any_error_within_the_tolerance(
    negative: float, positive: float, meter: float, both: bool, off: tuple[float, ...]
) -> None:
    """True legs and instruments, then readings off by up to the stated tolerance: never refused, never outside."""
    share, resistor_share, meter_share = 0.004, 0.01, 0.02
    true_meter, true_resistor = meter * (1.0 + meter_share * off[4]), 200e3 * (1.0 + resistor_share * off[5])
    # Twice the share is stated: the slack is a share of what was read, not of the truth.
    tolerance = Tolerance(2 * share, 0.02, 2 * resistor_share, 2 * meter_share)
    true = measure(400.0, negative, positive, true_meter, both, true_resistor)
    v = [reading * (1.0 + share * o) + 0.01 * o for reading, o in zip(true[:4], off[:4], strict=True)]
    off_readings = TwoReadings(v[0], v[1], v[2], v[3], 200e3, true.resistor_leg, meter, both)
    found = insulation.reduce_two_readings(off_readings, tolerance)
    if isinstance(found, Refusal):
        # Insulation so good that the meters see nothing of it but their own noise is the only way to be refused.
        assert found.fault == "no reading"
        assert max(true.negative_v, true.positive_v) < 0.2
        return
    for interval, ohm in (
        (found.negative_ohm, negative),
        (found.positive_ohm, positive),
        (found.weaker_ohm, min(negative, positive)),
        (found.parallel_ohm, 1.0 / (1.0 / negative + 1.0 / positive)),
    ):
        assert interval.low <= ohm * (1.0 + 1e-9)
        assert interval.high >= ohm * (1.0 - 1e-9)
        assert interval.low <= interval.value <= interval.high


@covers("physics.insulation.reduce_two_readings")
@pytest.mark.parametrize("both", [False, True])
def test_interval_is_what_the_corners_span(both: bool) -> None:
    """Every corner of the tolerances by its own; the interval may be no narrower and no wider."""
    tolerance = Tolerance(0.005, 0.1, 0.01, 0.02)
    readings = measure(400.0, 500e3, 200e3, 10e6, both, 200e3)
    found = reduced(readings, tolerance)
    weaker, parallel = [], []
    for corner in itertools.product((-1.0, 1.0), repeat=6):
        vb, v1, v2, after = (v + s * (0.005 * v + 0.1) for v, s in zip(readings[:4], corner[:4], strict=True))
        resistor, meter = 200e3 * (1 + 0.01 * corner[4]), 10e6 * (1 + 0.02 * corner[5])
        ri = resistor * vb * (1 / after - 1 / v1)
        rn = ri * v1 / v2
        if both:
            ri, rn = 1 / (1 / ri - 1 / meter), 1 / (1 / rn - 1 / meter)
        weaker.append(ri)
        parallel.append(1 / (1 / ri + 1 / rn))
    assert found.weaker_ohm[1:] == pytest.approx((min(weaker), max(weaker)), rel=1e-9)
    assert found.parallel_ohm[1:] == pytest.approx((min(parallel), max(parallel)), rel=1e-9)


@covers("physics.insulation.reduce_two_readings")
def test_wider_tolerance_gives_a_wider_interval() -> None:
    readings = measure(400.0, 500e3, 200e3, 10e6, False, 200e3)
    spans = [reduced(readings, Tolerance(share, 0.0, 0.0, 0.0)).weaker_ohm for share in (0.0, 0.001, 0.01, 0.05)]
    assert spans[0].low == spans[0].value == spans[0].high
    for narrow, wide in itertools.pairwise(spans):
        assert wide.low < narrow.low
        assert wide.high > narrow.high
        assert wide.value == narrow.value


GOOD = measure(360.0, 400e3, 150e3, 10e6, False, 180e3)
TWO_METERS = measure(360.0, 400e3, 150e3, 10e6, True, 180e3)


@covers("physics.insulation.reduce_two_readings")
@pytest.mark.parametrize(
    ("readings", "fault"),
    [
        (GOOD._replace(positive_v=-97.1), "negative"),
        (GOOD._replace(with_resistor_v=-1.0), "negative"),
        (GOOD._replace(positive_v=105.0), "above pack"),
        (GOOD._replace(pack_v=0.0, negative_v=0.0, positive_v=0.0, with_resistor_v=0.0), "no reading"),
        (GOOD._replace(negative_v=0.0, positive_v=0.0, with_resistor_v=0.0), "no reading"),
        (GOOD._replace(resistor_leg="positive"), "wrong leg"),
        (GOOD._replace(with_resistor_v=262.0), "rises"),
        (GOOD._replace(positive_v=80.0), "gap"),
        (GOOD._replace(meter_ohm=100e6), "gap"),
        (TWO_METERS._replace(pack_v=365.0), "gap"),
        (TWO_METERS._replace(both_meters=False), "gap"),
        (GOOD._replace(both_meters=True), "gap"),
        (TWO_METERS._replace(meter_ohm=140e3), "above meter"),
    ],
)
def test_readings_that_cannot_be(readings: TwoReadings, fault: str) -> None:
    assert refused(readings, Tolerance(0.0, 0.01, 0.0, 0.0)) == fault


@covers("physics.insulation.reduce_two_readings")
@given(legs, legs, meters, st.booleans(), resistors)
def test_wrong_leg_is_always_refused(
    negative: float, positive: float, meter: float, both: bool, resistor: float
) -> None:
    if abs(negative - positive) < 0.01 * negative:
        return
    assert refused(measure(400.0, negative, positive, meter, both, resistor, wrong=True)) == "wrong leg"


@covers("physics.insulation.reduce_two_readings")
def test_wrong_leg_written_down_as_the_right_one_shows_in_the_gap() -> None:
    """Resistor and reading on the weaker leg, entered as the other: the meter's loading tells, 20 V against 4 V."""
    wrong = measure(360.0, 400e3, 150e3, 10e6, False, 180e3, wrong=True)
    assert refused(wrong._replace(resistor_leg="negative"), Tolerance(0.002, 0.1, 0.01, 0.01)) == "gap"


@covers("physics.insulation.reduce_two_readings")
def test_even_legs_take_the_resistor_on_either() -> None:
    """Readings within the tolerance of each other: either leg is right, and the weaker of both results counts."""
    tolerance = Tolerance(0.002, 0.1, 0.0, 0.0)
    found = reduced(measure(400.0, 200.0e3, 200.2e3, math.inf, False, 200e3, wrong=True), tolerance)
    assert found.weaker_leg == "negative"
    assert found.weaker_ohm.value == pytest.approx(200.0e3, rel=1e-9)
    assert found.weaker_ohm.low == min(found.negative_ohm.low, found.positive_ohm.low)


@covers("physics.insulation.reduce_two_readings")
def test_dead_short_and_no_leak() -> None:
    tolerance = Tolerance(0.002, 0.05, 0.0, 0.0)
    short = reduced(TwoReadings(400.0, 400.0, 0.0, 400.0, 200e3, "negative", 10e6, False), tolerance)
    assert (short.weaker_leg, short.weaker_ohm.value, short.weaker_ohm.low) == ("positive", 0.0, 0.0)
    assert short.parallel_ohm.value == 0.0
    assert "nothing measurable" in short.remarks[0]
    none = reduced(measure(400.0, math.inf, math.inf, 10e6, True, 200e3), tolerance)
    # Two meters alone: each reads half the bus; the legs cannot be told from none, only a least value is known.
    assert none.weaker_ohm.high == math.inf
    assert none.weaker_ohm.low > 100e6
    low_meter = reduced(measure(400.0, 500e3, 200e3, 1e6, False, 200e3))
    assert "10 MΩ" in low_meter.remarks[0]


@pytest.mark.parametrize(
    "change",
    [{"resistor_ohm": 0.0}, {"resistor_ohm": math.inf}, {"meter_ohm": 0.0}, {"pack_v": math.nan},
     {"with_resistor_v": math.inf}, {"resistor_leg": "minus"}],
)  # fmt: skip
def test_instruments_that_cannot_be(change: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"above zero|finite|leg"):
        insulation.reduce_two_readings(GOOD._replace(**change), EXACT)  # type: ignore[arg-type]


def test_tolerances_that_cannot_be() -> None:
    for bad in (Tolerance(1.0, 0, 0, 0), Tolerance(0, -1.0, 0, 0), Tolerance(0, 0, 0, math.nan)):
        with pytest.raises(ValueError, match=r"tolerance|negative|finite"):
            insulation.reduce_two_readings(GOOD, bad)


# ---------------------------------------------------------------- budget
@covers("physics.insulation.parallel_ohm", "physics.insulation.weaker_leg_ohm")
@given(st.lists(legs, min_size=1, max_size=6))
def test_parallel(parts: list[float]) -> None:
    whole = float(insulation.parallel_ohm(*parts))
    assert 1.0 / whole == pytest.approx(sum(1.0 / p for p in parts), rel=1e-12)
    assert min(parts) / len(parts) <= whole * (1 + 1e-12)
    assert whole <= min(parts) * (1 + 1e-12)
    assert insulation.parallel_ohm(*parts, math.inf) == pytest.approx(whole, rel=1e-12)
    assert insulation.parallel_ohm(*parts, 0.0) == 0.0


@covers("physics.insulation.parallel_ohm", "physics.insulation.weaker_leg_ohm")
@given(legs, legs)
def test_monitor_is_never_above_and_never_below_half_of_the_weaker_leg(negative: float, positive: float) -> None:
    weaker, shown = insulation.weaker_leg_ohm(negative, positive), insulation.parallel_ohm(negative, positive)
    assert 0.5 * float(weaker) <= float(shown) * (1 + 1e-12)
    assert float(shown) < float(weaker)


@covers("physics.insulation.body_current_a", "physics.insulation.ohm_per_volt")
@given(volts, legs, legs)
def test_body_current_is_the_current_through_a_short_at_the_stronger_pole(
    pack_v: float, negative: float, positive: float
) -> None:
    """A very small body resistance across either leg: the larger of both currents is Vb over the weaker leg."""
    body = 1e-3
    currents = [
        pack_v / (1.0 / (1.0 / body + 1.0 / near) + far) * near / (near + body)
        for near, far in ((negative, positive), (positive, negative))
    ]
    weaker = insulation.weaker_leg_ohm(negative, positive)
    assert insulation.body_current_a(insulation.ohm_per_volt(weaker, pack_v)) == pytest.approx(max(currents), rel=1e-5)


PARTS = (
    PartInsulation("pack", 20e6, 10e6, 10e-9, 20e-9),
    PartInsulation("inverter", 5e6, 5e6, 470e-9, 470e-9),
    PartInsulation("heater", 2e6, 4e6, 0.0, 5e-9),
    PartInsulation("sense leads", math.inf, math.inf, 0.0, 0.0),
)


@covers("physics.insulation_budget.leg_budget")
def test_budget_adds_part_by_part() -> None:
    found = insulation_budget.leg_budget(PARTS)
    # Conductances in microsiemens: 0.05 + 0.2 + 0.5 = 0.75 and 0.1 + 0.2 + 0.25 = 0.55.
    assert found.negative_ohm == pytest.approx(1e6 / 0.75)
    assert found.positive_ohm == pytest.approx(1e6 / 0.55)
    assert found.parallel_ohm == pytest.approx(1e6 / 1.30)
    assert (found.weaker_leg, found.weaker_ohm) == ("negative", found.negative_ohm)
    assert (found.negative_f, found.positive_f, found.total_f) == pytest.approx((480e-9, 495e-9, 975e-9))
    assert found.negative_shares == pytest.approx((0.05 / 0.75, 0.2 / 0.75, 0.5 / 0.75, 0.0))
    assert found.positive_shares == pytest.approx((0.1 / 0.55, 0.2 / 0.55, 0.25 / 0.55, 0.0))


@covers("physics.insulation_budget.leg_budget")
def test_budget_mirrors_and_gets_worse_with_every_part() -> None:
    one = insulation_budget.leg_budget(PARTS)
    two = insulation_budget.leg_budget(PartInsulation(p.name, p[2], p[1], p[4], p[3]) for p in PARTS)
    assert (one.negative_ohm, one.positive_ohm, one.parallel_ohm) == (
        two.positive_ohm,
        two.negative_ohm,
        two.parallel_ohm,
    )
    assert (one.negative_f, one.negative_shares) == (two.positive_f, two.positive_shares)
    assert two.weaker_leg == "positive"
    budgets = [insulation_budget.leg_budget(PARTS[:count]) for count in (1, 2, 3)]
    for few, more in itertools.pairwise(budgets):
        assert more.parallel_ohm < few.parallel_ohm
        assert more.total_f > few.total_f
    assert insulation_budget.leg_budget(PARTS[3:]).parallel_ohm == math.inf


@covers("physics.insulation_budget.faulted_budget")
def test_fault_on_one_leg_or_both() -> None:
    """Heater down to 50 kohm: one leg alone leaves the other as it was; both alike give about half to the monitor."""
    before = insulation_budget.leg_budget(PARTS)
    one = insulation_budget.faulted_budget(PARTS, "heater", 50e3, ("positive",))
    assert one.negative_ohm == before.negative_ohm
    assert one.positive_ohm == pytest.approx(1e6 / 20.3)
    assert one.parallel_ohm == pytest.approx(1e6 / 21.05)
    both = insulation_budget.faulted_budget(PARTS, "heater", 50e3)
    assert both.parallel_ohm == pytest.approx(1e6 / (20.25 + 20.3))
    assert both.parallel_ohm == pytest.approx(0.5 * both.weaker_ohm, rel=0.01)
    assert one.parallel_ohm == pytest.approx(one.weaker_ohm, rel=0.05)
    # The balance of the poles shows the first fault and hides the second.
    shift = [insulation.pole_voltages(400.0, b.negative_ohm, b.positive_ohm) for b in (one, both)]
    assert float(shift[0].negative_v) > 380.0
    assert float(shift[1].negative_v) == pytest.approx(200.0, rel=0.01)
    short = insulation_budget.faulted_budget(PARTS, "pack", 0.0, ("negative",))
    assert (short.parallel_ohm, short.weaker_leg, short.negative_shares) == (0.0, "negative", (1.0, 0.0, 0.0, 0.0))
    assert insulation_budget.faulted_budget(PARTS, "heater", 2e6, ("negative",)) == before


def test_budget_refuses() -> None:
    for bad in (
        (),
        (PARTS[0], PARTS[0]),
        (PARTS[0]._replace(negative_ohm=-1.0),),
        (PARTS[0]._replace(negative_f=math.nan),),
    ):
        with pytest.raises(ValueError, match=r"part|negative"):
            insulation_budget.leg_budget(bad)
    with pytest.raises(ValueError, match="fridge"):
        insulation_budget.faulted_budget(PARTS, "fridge", 1e3)
    with pytest.raises(ValueError, match="leg"):
        insulation_budget.faulted_budget(PARTS, "pack", 1e3, ())
    with pytest.raises(ValueError, match="leg"):
        insulation_budget.faulted_budget(PARTS, "pack", 1e3, ("minus",))  # type: ignore[arg-type]


# ---------------------------------------------------------------- capacitance
@covers("physics.insulation_budget.y_energies")
def test_touch_energy_equals_the_integral_through_a_body() -> None:
    """Both capacitances integrated while a 1 kohm body touches the negative pole: all of C (V1)^2/2 ends in it."""
    c1, c2, v1, v2, body = 0.3e-6, 0.7e-6, 250.0, 150.0, 1e3

    def flow(_: float, y: np.ndarray) -> list[float]:
        # Chassis node: (C1 + C2) dV1/dt = -V1/R, since C2 is charged by the stiff bus at -dV1/dt.
        return [-y[0] / (body * (c1 + c2)), y[0] ** 2 / body]

    end = solve_ivp(flow, (0.0, 0.02), [v1, 0.0], rtol=1e-10, atol=1e-14).y[:, -1]
    found = insulation_budget.y_energies(c1, c2, v1, v2)
    assert found.touch_negative_j == pytest.approx(end[1], rel=1e-6)
    mirror = insulation_budget.y_energies(c2, c1, v2, v1)
    assert mirror.touch_positive_j == found.touch_negative_j
    assert mirror.worst_j == found.worst_j == pytest.approx(0.5e-6 * 400.0**2)


@covers("physics.insulation_budget.y_energies")
@given(st.floats(0.0, 5e-6), st.floats(0.0, 5e-6), st.floats(0.0, 800.0), st.floats(0.0, 800.0))
def test_worst_energy_bounds_every_other(c1: float, c2: float, v1: float, v2: float) -> None:
    found = insulation_budget.y_energies(c1, c2, v1, v2)
    top = float(found.worst_j) * (1 + 1e-12)
    assert float(found.negative_j) + float(found.positive_j) <= top
    assert float(found.touch_negative_j) <= top
    assert float(found.touch_positive_j) <= top
    assert float(found.negative_above_limit_j) <= float(found.negative_j)
    if v1 + v2 > 60.0:
        difference = float(found.worst_j) - float(found.worst_above_limit_j)
        assert difference == pytest.approx(0.5 * (c1 + c2) * 3600.0, abs=1e-9)
    else:
        assert found.worst_above_limit_j == 0.0


@covers("physics.insulation_budget.settling_time_s")
def test_after_the_settling_time_0_7_percent_is_left() -> None:
    """The chassis potential after a leg changes, integrated: a share exp(-5) of the step is left."""
    r1, r2, c1, c2, pack_v = 400e3, 150e3, 0.5e-6, 0.8e-6, 360.0
    start, end = 180.0, 360.0 * 400.0 / 550.0
    wait = float(insulation_budget.settling_time_s(insulation.parallel_ohm(r1, r2), c1 + c2))

    def slope(_: float, y: np.ndarray) -> list[float]:
        return [((pack_v - y[0]) / r2 - y[0] / r1) / (c1 + c2)]

    left = solve_ivp(slope, (0.0, wait), [start], rtol=1e-10, atol=1e-10).y[0, -1] - end
    assert left / (start - end) == pytest.approx(math.exp(-5.0), rel=1e-5)


# ---------------------------------------------------------------- which plug to pull first
def readings_needed(plan: UnplugStep | str, faulty: str, fixed: str | None) -> int:
    """Play the search with one faulty group, and look that every step is one that can be done."""
    count = 0
    while isinstance(plan, UnplugStep):
        assert faulty in plan.suspected
        assert plan.unplug
        assert set(plan.unplug) < set(plan.suspected)
        assert fixed not in plan.unplug
        plan = plan.if_gone if faulty in plan.unplug else plan.if_stays
        count += 1
    assert plan == faulty
    return count


def best_possible(weights: tuple[float, ...]) -> float:
    """Least expected readings, by trying every split of every set."""

    @cache
    def cost(members: frozenset[int]) -> float:
        if len(members) == 1:
            return 0.0
        first, *rest = sorted(members)
        splits = (frozenset((first, *some)) for size in range(len(rest)) for some in itertools.combinations(rest, size))
        return sum(weights[i] for i in members) + min(cost(one) + cost(members - one) for one in splits)

    return cost(frozenset(range(len(weights)))) / sum(weights)


@covers("physics.insulation_budget.unplug_plan")
@given(st.lists(st.floats(0.01, 10.0), min_size=1, max_size=6), st.integers(0, 5), st.booleans())
def test_plan_is_the_best_there_is(weights: list[float], place: int, with_fixed: bool) -> None:
    names = [f"G{i}" for i in range(len(weights))]
    fixed = names[place % len(names)] if with_fixed else None
    plan = insulation_budget.unplug_plan(names, weights, fixed)
    needed = [readings_needed(plan.first, name, fixed) for name in names]
    played = sum(w * n for w, n in zip(weights, needed, strict=True)) / sum(weights)
    assert plan.expected_steps == pytest.approx(played, rel=1e-12, abs=1e-12)
    assert plan.most_steps == max(needed)
    assert plan.expected_steps == pytest.approx(best_possible(tuple(weights)), rel=1e-12, abs=1e-12)
    # Shannon: never below the entropy, never a whole reading above it.
    shares = [w / sum(weights) for w in weights]
    entropy = -sum(p * math.log2(p) for p in shares)
    assert entropy - 1e-9 <= plan.expected_steps < entropy + 1.0


@covers("physics.insulation_budget.unplug_plan")
@pytest.mark.parametrize("count", [1, 2, 3, 5, 8, 13, 16])
def test_even_groups_are_halved(count: int) -> None:
    plan = insulation_budget.unplug_plan([f"G{i}" for i in range(count)])
    assert plan.most_steps == math.ceil(math.log2(count))
    deep = math.floor(math.log2(count))
    assert plan.expected_steps == pytest.approx(deep + 2.0 * (count - 2**deep) / count)


@covers("physics.insulation_budget.unplug_plan")
def test_likely_group_is_unplugged_first_and_the_fixed_one_never() -> None:
    names = ["pack", "heater", "compressor", "inverter", "charger"]
    plan = insulation_budget.unplug_plan(names, [1, 20, 2, 1, 2], fixed="pack")
    assert isinstance(plan.first, UnplugStep)
    assert plan.first.unplug == ("heater",)
    assert plan.first.if_gone == "heater"
    assert plan == insulation_budget.unplug_plan(list(names), [10, 200, 20, 10, 20], fixed="pack")
    assert insulation_budget.unplug_plan(["heater"]) == ("heater", 0.0, 0)
    # The likeliest cannot be unplugged: everything else is, and the fault that stays is in it.
    stays = insulation_budget.unplug_plan(names, [20, 1, 2, 1, 2], fixed="pack").first
    assert isinstance(stays, UnplugStep)
    assert stays.unplug == ("heater", "compressor", "inverter", "charger")
    assert stays.if_stays == "pack"


def test_plan_refuses() -> None:
    with pytest.raises(ValueError, match="group"):
        insulation_budget.unplug_plan([])
    with pytest.raises(ValueError, match="group"):
        insulation_budget.unplug_plan(["a", "a"])
    with pytest.raises(ValueError, match="weight"):
        insulation_budget.unplug_plan(["a", "b"], [1.0])
    with pytest.raises(ValueError, match="weights"):
        insulation_budget.unplug_plan(["a", "b"], [1.0, 0.0])
    with pytest.raises(ValueError, match="among"):
        insulation_budget.unplug_plan(["a", "b"], fixed="c")


def test_insulation_refuses() -> None:
    with pytest.raises(ValueError, match="conductance_to_chassis"):
        insulation.pole_voltages(400.0, math.inf, math.inf)
    with pytest.raises(ValueError, match="leg"):
        insulation.pole_voltages(400.0, 1.0, 1.0, resistor_leg="minus")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="fall_v"):
        insulation.two_reading_ohm(400.0, 200.0, 201.0, 1e5)
    with pytest.raises(ValueError, match="rest_v"):
        insulation.two_reading_ohm(400.0, 401.0, 201.0, 1e5)
    with pytest.raises(ValueError, match="reduced_ohm"):
        insulation.without_meter_ohm(11e6, 10e6)
    with pytest.raises(ValueError, match="at least one"):
        insulation.parallel_ohm()
    with pytest.raises(ValueError, match="parts_ohm"):
        insulation.parallel_ohm(1e6, -1.0)


# ---------------------------------------------------------------- spacing
@covers("physics.spacing.creepage_mm", "physics.spacing.board_creepage_mm")
def test_creepage_rises_and_interpolation_never_asks_for_more() -> None:
    at = np.linspace(1.0, 1000.0, 4000)
    groups: tuple[spacing.MaterialGroup, ...] = ("I", "II", "IIIa")
    for degree in (2, 3):
        by_group = [np.asarray(spacing.creepage_mm(at, degree, group)) for group in groups]
        assert all((worse >= better).all() for better, worse in itertools.pairwise(by_group))
        for group, steps in zip(groups, by_group, strict=True):
            line = np.asarray(spacing.creepage_mm(at, degree, group, interpolate=True))
            assert (np.diff(steps) >= 0.0).all()
            assert (np.diff(line) >= 0.0).all()
            assert (line <= steps + 1e-12).all()
            assert np.asarray(spacing.creepage_mm(at, degree, group, reinforced=True)) == pytest.approx(2.0 * steps)
    for group in groups:
        more = np.asarray(spacing.creepage_mm(at, 3, group)) >= np.asarray(spacing.creepage_mm(at, 2, group))
        assert more.all()
    assert (np.asarray(spacing.board_creepage_mm(at, 2)) > np.asarray(spacing.board_creepage_mm(at, 1))).all()


@covers("physics.spacing.creepage_mm")
def test_creepage_goes_about_with_the_voltage() -> None:
    """From the 250 V row on, the table asks for nearly the same millimetres per volt in each column."""
    for group, per_kilovolt in (("I", 5.0), ("II", 7.1), ("IIIa", 10.0)):
        for row in spacing.CREEPAGE_ROWS_V:
            found = float(spacing.creepage_mm(row, 2, group))  # type: ignore[arg-type]
            assert found == pytest.approx(per_kilovolt * row / 1000.0, rel=0.06)


@covers("physics.spacing.altitude_factor", "physics.spacing.clearance_at_altitude_mm")
def test_altitude_factor_follows_the_air_pressure() -> None:
    """Breakdown goes with density (Paschen): the factor is p(2000 m)/p(h) of the standard atmosphere, within 2 %."""

    def pressure(metres: float) -> float:
        if metres <= 11e3:
            return 101.325 * (1.0 - 0.0065 * metres / 288.15) ** 5.25588
        return 22.632 * math.exp(-9.80665 * (metres - 11e3) / (287.053 * 216.65))

    for metres in spacing.ALTITUDE_ROWS_M:
        expected = pressure(2000.0) / pressure(metres)
        assert spacing.altitude_factor(metres) == pytest.approx(expected, rel=0.02)
        assert spacing.clearance_at_altitude_mm(8.0, metres) == pytest.approx(8.0 * expected, rel=0.02)
    heights = np.linspace(0.0, 20e3, 400)
    factors = np.asarray(spacing.altitude_factor(heights))
    assert (np.diff(factors) >= 0.0).all()
    assert (factors[heights <= 2000.0] == 1.0).all()
    # Between the rows the straight line lies on the safe side of the curve.
    curve = np.array([pressure(2000.0) / pressure(h) for h in heights])
    assert (factors >= 0.985 * curve).all()


@covers("physics.spacing.clearance_mm", "physics.spacing.rated_impulse_v")
def test_clearance_and_impulse_never_fall() -> None:
    impulses = np.linspace(10.0, 12e3, 2000)
    by_degree = [np.asarray(spacing.clearance_mm(impulses, degree)) for degree in (1, 2, 3)]
    for steps in by_degree:
        assert (np.diff(steps) >= 0.0).all()
    assert all((dirty >= clean).all() for clean, dirty in itertools.pairwise(by_degree))
    systems = np.linspace(1.0, 1000.0, 500)
    categories: tuple[spacing.Category, ...] = ("I", "II", "III", "IV")
    by_category = [np.asarray(spacing.rated_impulse_v(systems, category)) for category in categories]
    assert all((high > low).all() for low, high in itertools.pairwise(by_category))
    assert all((np.diff(steps) >= 0.0).all() for steps in by_category)


@covers("physics.spacing.fsae_spacing_mm", "physics.spacing.fsae_board_spacing_mm")
def test_rule_book_spacing_never_falls_and_a_coating_helps() -> None:
    at = np.linspace(0.0, 600.0, 2401)
    assert (np.diff(np.asarray(spacing.fsae_spacing_mm(at))) >= 0.0).all()
    surface, air, coated = (np.asarray(spacing.fsae_board_spacing_mm(at, gap)) for gap in ("surface", "air", "coated"))
    for steps in (surface, air, coated):
        assert (np.diff(steps) >= 0.0).all()
    assert (surface >= air).all()
    assert (air > coated).all()


@covers("physics.spacing.is_high_voltage")
def test_high_voltage_by_array() -> None:
    found = spacing.is_high_voltage(np.array([0.0, 25.0, 26.0, 31.0]), alternating=True, fsae=True)
    assert list(np.asarray(found)) == [False, False, True, True]


def test_spacing_refuses() -> None:
    refusals = [
        lambda: spacing.creepage_mm(1000.1, 2, "I"),
        lambda: spacing.creepage_mm(0.0, 2, "I"),
        lambda: spacing.creepage_mm(math.nan, 2, "I"),
        lambda: spacing.creepage_mm(400.0, 1, "I"),
        lambda: spacing.creepage_mm(400.0, 2, "III"),  # type: ignore[arg-type]
        lambda: spacing.board_creepage_mm(400.0, 3),
        lambda: spacing.material_group(99.0),
        lambda: spacing.material_group(math.nan),
        lambda: spacing.rated_impulse_v(1001.0, "II"),
        lambda: spacing.rated_impulse_v(400.0, "V"),  # type: ignore[arg-type]
        lambda: spacing.clearance_mm(12001.0, 2),
        lambda: spacing.clearance_mm(4000.0, 4),
        lambda: spacing.altitude_factor(20001.0),
        lambda: spacing.altitude_factor(math.nan),
        lambda: spacing.clearance_at_altitude_mm(-1.0, 0.0),
        lambda: spacing.fsae_spacing_mm(-1.0),
        lambda: spacing.fsae_board_spacing_mm(600.1, "air"),
        lambda: spacing.fsae_board_spacing_mm(60.0, "oil"),  # type: ignore[arg-type]
        lambda: spacing.is_high_voltage(math.nan),
        lambda: spacing.voltage_class(math.nan),
    ]
    for refusal in refusals:
        with pytest.raises(ValueError, match=r"above|must|one of|no material group"):
            refusal()
