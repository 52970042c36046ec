"""Intervals of the two-reading procedure with ends of their own for every number: the truth and every corner inside."""

from __future__ import annotations

import itertools
import math
import random

import pytest

from tests.evidence import covers
from tristrand.physics.insulation import Interval, MeasuredLegs, TwoReadings, reduce_between


def shown(pack: float, near: float, far: float, meter: float, both: bool, resistor: float) -> tuple[float, ...]:
    """V near, V far and V' by Kirchhoff's law at the chassis, which sits `v` above the near pole."""

    def near_v(added_s: float, near_meter: bool, far_meter: bool) -> float:
        near_s = 1.0 / near + added_s + near_meter / meter
        far_s = 1.0 / far + far_meter / meter
        return pack * far_s / (near_s + far_s)

    return near_v(0.0, True, both), pack - near_v(0.0, both, True), near_v(1.0 / resistor, True, both)


def spoilt(true: float, rng: random.Random) -> tuple[float, float, float]:
    """A value as written down, its low and its high end, of which the truth may be either."""
    low = true * (1.0 - rng.choice([0.0, 0.003, 0.02]))
    high = true * (1.0 + rng.choice([0.0, 0.001, 0.03]))
    return rng.choice([low, high, rng.uniform(low, high)]), low, high


@covers("physics.insulation.reduce_between")
@pytest.mark.parametrize("seed", range(40))
def test_truth_lies_inside_whatever_ends_hold_it(seed: int) -> None:
    rng = random.Random(seed)
    for _ in range(25):
        both, mirrored = rng.random() < 0.5, rng.random() < 0.5
        far = 10.0 ** rng.uniform(3.5, 7.0)
        near = far * 10.0 ** rng.uniform(0.0, 1.5)
        meter, resistor, pack = rng.choice([1e6, 10e6, 1e9]), 10.0 ** rng.uniform(4.0, 6.0), rng.uniform(60.0, 900.0)
        v_near, v_far, after = shown(pack, near, far, meter, both, resistor)
        read = [spoilt(true, rng) for true in (pack, v_near, v_far, after, resistor, meter)]
        leg = "positive" if mirrored else "negative"
        given = []
        for vb, v1, v2, v3, ro, rm in zip(*read, strict=True):
            poles = (v2, v1) if mirrored else (v1, v2)
            given.append(TwoReadings(vb, *poles, v3, ro, leg, rm, both))
        found = reduce_between(*given)
        assert isinstance(found, MeasuredLegs), found
        legs = (found.positive_ohm, found.negative_ohm) if mirrored else (found.negative_ohm, found.positive_ohm)
        true_ohm = (near, far, min(near, far), 1.0 / (1.0 / near + 1.0 / far))
        for interval, ohm in zip((*legs, found.weaker_ohm, found.parallel_ohm), true_ohm, strict=True):
            assert interval.low <= ohm * (1.0 + 1e-7)
            assert interval.high >= ohm * (1.0 - 1e-7)
            assert interval.low <= interval.value <= interval.high


@covers("physics.insulation.reduce_between")
@pytest.mark.parametrize("both", [False, True])
@pytest.mark.parametrize("seed", range(10))
def test_interval_is_what_the_corners_of_uneven_ends_span(seed: int, both: bool) -> None:
    rng = random.Random(seed)
    near, far, pack, meter, resistor = rng.uniform(3e5, 9e5), rng.uniform(5e4, 2e5), 400.0, 10e6, 150e3
    v_near, v_far, after = shown(pack, near, far, meter, both, resistor)
    ends = [
        (x, x * (1.0 - rng.uniform(0.0, 0.02)), x * (1.0 + rng.uniform(0.0, 0.02)))
        for x in (pack, v_near, v_far, after, resistor, meter)
    ]
    given = [
        TwoReadings(vb, v1, v2, v3, ro, "negative", rm, both) for vb, v1, v2, v3, ro, rm in zip(*ends, strict=True)
    ]
    found = reduce_between(*given)
    assert isinstance(found, MeasuredLegs), found
    fars, nears, alls = [], [], []
    for vb, v1, v2, v3, ro, rm in itertools.product(*(values[1:] for values in ends)):
        # The conductances from the readings: far leg from V and V', near leg from V/Vother, meters taken off.
        far_s = 1.0 / (ro * vb * (1.0 / v3 - 1.0 / v1))
        near_s = far_s * v2 / v1
        if both:
            far_s, near_s = far_s - 1.0 / rm, near_s - 1.0 / rm
        fars.append(1.0 / far_s)
        nears.append(1.0 / near_s)
        alls.append(1.0 / (far_s + near_s))
    for interval, corners in ((found.positive_ohm, fars), (found.negative_ohm, nears), (found.parallel_ohm, alls)):
        assert interval[1:] == pytest.approx((min(corners), max(corners)), rel=1e-9)
    assert found.weaker_ohm == found.positive_ohm


GOOD = TwoReadings(360.0, 258.9928, 97.1223, 161.9190, 180e3, "negative", 10e6, False)


@covers("physics.insulation.reduce_between")
def test_a_resistor_of_twenty_percent_widens_by_twenty_percent() -> None:
    """400 kΩ and 150 kΩ as in the printed vector: all results go with Ro when one meter is moved."""
    found = reduce_between(GOOD, GOOD._replace(resistor_ohm=144e3), GOOD._replace(resistor_ohm=198e3))
    assert isinstance(found, MeasuredLegs)
    assert found.weaker_ohm == pytest.approx(Interval(150e3, 120e3, 165e3), rel=2e-6)
    assert found.negative_ohm == pytest.approx(Interval(400e3, 320e3, 440e3), rel=2e-6)


@pytest.mark.parametrize(
    "low",
    [
        GOOD._replace(pack_v=361.0),
        GOOD._replace(with_resistor_v=162.0),
        GOOD._replace(resistor_ohm=0.0),
        GOOD._replace(meter_ohm=11e6),
        GOOD._replace(meter_ohm=-1.0),
        GOOD._replace(negative_v=math.nan),
        GOOD._replace(resistor_leg="positive"),
        GOOD._replace(both_meters=True),
    ],
)
def test_ends_that_cannot_be(low: TwoReadings) -> None:
    with pytest.raises(ValueError, match=r"low and its high|above zero|finite|same at both"):
        reduce_between(GOOD, low, GOOD)
