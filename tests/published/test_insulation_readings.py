"""UN R100 two-reading measurement: the worked vectors of 360 V, the requirement per volt, energy of Y-capacitances.

The vectors were worked by hand-held calculation from the printed formula; voltages stand as printed there.
"""

from __future__ import annotations

import math

import pytest

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics import insulation, insulation_budget
from tristrand.physics.insulation import MeasuredLegs, Refusal, Tolerance, TwoReadings

VB, R1, R2, RO = 360.0, 400e3, 150e3, 180e3
FOUR_DECIMALS = Tolerance(0.0, 0.5e-4, 0.0, 0.0)

# name: meter [ohm], a meter on each leg, V1, V2, V1' as printed.
VECTORS = {
    "ideal": (math.inf, False, "261.8182", "98.1818", "163.0189"),
    "both": (10e6, True, "260.0712", "99.9288", "163.2465"),
    "moved": (10e6, False, "258.9928", "97.1223", "161.9190"),
}


def printed_readings(name: str) -> TwoReadings:
    meter_ohm, both, v1, v2, after = VECTORS[name]
    return TwoReadings(VB, float(v1), float(v2), float(after), RO, "negative", meter_ohm, both)


def in_k(ohm: float, text: str) -> bool:
    return bool(ohm / 1e3 == printed(text))


@covers("physics.insulation.pole_voltages")
@pytest.mark.parametrize("name", VECTORS)
def test_what_the_meters_show(name: str) -> None:
    meter_ohm, both, v1, v2, after = VECTORS[name]
    without = insulation.pole_voltages(VB, R1, R2, meter_ohm, both_meters=both)
    assert (without.negative_v, without.positive_v) == (printed(v1), printed(v2))
    added = insulation.pole_voltages(VB, R1, R2, meter_ohm, both_meters=both, resistor_ohm=RO, resistor_leg="negative")
    assert added.negative_v == printed(after)


@covers("physics.insulation.two_reading_ohm", "physics.insulation.without_meter_ohm")
def test_vb_form_and_correction_as_printed() -> None:
    reduced = {}
    for name, (_, _, v1, _, after) in VECTORS.items():
        reduced[name] = float(insulation.two_reading_ohm(VB, float(v1), float(after), RO))
    assert in_k(reduced["ideal"], "150.000")
    assert in_k(reduced["both"], "147.783")
    assert in_k(reduced["moved"], "150.000")
    assert in_k(float(insulation.without_meter_ohm(reduced["both"], 10e6)), "150.000")


@covers("physics.insulation.two_reading_sum_ohm")
def test_sum_form_as_printed() -> None:
    """With one real meter moved the sum form is low: 148.381 k, where the leg is 150 k."""
    _, _, v1, v2, after = VECTORS["moved"]
    assert float(v1) + float(v2) == printed("356.115")
    assert in_k(float(insulation.two_reading_sum_ohm(float(v1), float(v2), float(after), RO)), "148.381")
    _, _, v1, v2, after = VECTORS["ideal"]
    assert in_k(float(insulation.two_reading_sum_ohm(float(v1), float(v2), float(after), RO)), "150.000")


@covers("physics.insulation.reduce_two_readings")
@pytest.mark.parametrize("name", VECTORS)
def test_reduction_of_the_printed_readings(name: str) -> None:
    found = insulation.reduce_two_readings(printed_readings(name), FOUR_DECIMALS)
    assert isinstance(found, MeasuredLegs)
    assert found.weaker_leg == "positive"
    assert found.weaker_ohm == found.positive_ohm
    assert in_k(found.weaker_ohm.value, "150.000")
    assert in_k(found.parallel_ohm.value, "109.091")
    # The other leg carries the rounding of V2 as well: 0.05 mV in 97 V.
    assert found.negative_ohm.value == pytest.approx(400e3, rel=2e-6)
    for leg, true_ohm in ((found.positive_ohm, R2), (found.negative_ohm, R1), (found.parallel_ohm, 1.2e6 / 11.0)):
        assert leg.low <= true_ohm <= leg.high
        assert leg.high - leg.low < 1e-5 * true_ohm
    assert found.remarks == ()


@covers("physics.insulation.reduce_two_readings")
def test_mirrored_onto_the_positive_pole() -> None:
    mirrored = printed_readings("moved")._replace(negative_v=97.1223, positive_v=258.9928, resistor_leg="positive")
    found = insulation.reduce_two_readings(mirrored, FOUR_DECIMALS)
    assert isinstance(found, MeasuredLegs)
    assert found.weaker_leg == "negative"
    assert in_k(found.negative_ohm.value, "150.000")


@covers("physics.insulation.reduce_two_readings")
def test_resistor_on_the_weaker_leg_is_refused() -> None:
    """On the wrong leg the same formula gives the larger resistance, 400 k, which would be a false pass."""
    added = insulation.pole_voltages(VB, R1, R2, 10e6, resistor_ohm=RO, resistor_leg="positive")
    assert insulation.two_reading_ohm(VB, 97.1223, float(added.positive_v), RO) == pytest.approx(R1, rel=1e-5)
    wrong = printed_readings("moved")._replace(with_resistor_v=float(added.positive_v), resistor_leg="positive")
    found = insulation.reduce_two_readings(wrong, FOUR_DECIMALS)
    assert isinstance(found, Refusal)
    assert found.fault == "wrong leg"
    assert "negative pole and chassis" in found.reason


@covers("physics.insulation.parallel_ohm", "physics.insulation.weaker_leg_ohm", "physics.insulation.ohm_per_volt")
def test_what_the_monitor_would_show() -> None:
    assert in_k(float(insulation.parallel_ohm(R1, R2)), "109.091")
    assert insulation.ohm_per_volt(insulation.parallel_ohm(R1, R2), VB) == printed("303.03")
    assert insulation.weaker_leg_ohm(R1, R2) == R2
    assert insulation.ohm_per_volt(insulation.weaker_leg_ohm(R1, R2), VB) == printed("416.67")


@covers("physics.insulation.body_current_a")
def test_meaning_as_body_current() -> None:
    assert insulation.REQUIRED_AC_OHM_PER_V == 500.0
    assert insulation.REQUIRED_DC_OHM_PER_V == 100.0
    assert insulation.body_current_a(500.0) == pytest.approx(2e-3, rel=1e-12)
    assert insulation.body_current_a(100.0) == pytest.approx(10e-3, rel=1e-12)


@covers("physics.insulation.known_resistor_ohm")
def test_known_resistor_at_403_2_v() -> None:
    assert in_k(float(insulation.known_resistor_ohm(100.0, 403.2).nominal_ohm), "40.32")
    choice = insulation.known_resistor_ohm(500.0, 403.2)
    assert in_k(float(choice.nominal_ohm), "201.6")
    assert (choice.low_ohm, choice.high_ohm) == (pytest.approx(161.28e3), pytest.approx(241.92e3))
    assert insulation.known_resistor_ohm(500.0, VB).nominal_ohm == RO


@covers("physics.insulation_budget.y_energies")
@pytest.mark.parametrize(
    ("volts", "plain_uf", "above_limit_uf"), [(400.0, "2.500", "2.5575"), (800.0, "0.6250", "0.62854")]
)
def test_capacitance_that_stores_0_2_j(volts: float, plain_uf: str, above_limit_uf: str) -> None:
    """Energy goes with capacitance, so one microfarad in all gives the limit for 0.2 J."""
    found = insulation_budget.y_energies(0.3e-6, 0.7e-6, 0.25 * volts, 0.75 * volts)
    assert 0.2 / float(found.worst_j) == printed(plain_uf)
    assert 0.2 / float(found.worst_above_limit_j) == printed(above_limit_uf)


@covers("physics.insulation_budget.y_energies")
def test_charge_of_60_microcoulomb_at_400_v() -> None:
    """60 µC at 400 V is 0.15 µF and 12 mJ; split over two legs it is the same energy at full voltage."""
    farads = 60e-6 / 400.0
    assert farads * 1e6 == printed("0.15")
    found = insulation_budget.y_energies(0.5 * farads, 0.5 * farads, 200.0, 200.0)
    assert float(found.worst_j) * 1e3 == printed("12")
