"""Contactors and converters: values of makers' sheets, and worked numbers of the founders' table of check values."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics import contactors, loops
from tristrand.physics.contactors import LifeTable, OverloadPoint, Switching

# A 250 A sheet: 26 ohm +-5 %, pull-in at most 8.8 V, hold from 7.15 V, release from 1.0 V, all at 20 degC.
COIL_OHM, PULL_IN_V, HOLD_V = 26.0, 8.8, 7.15

# A 350 A sheet, resistive make and break; the current of the first row is taken to be the rated one.
LIFE = LifeTable(
    (24.0, 48.0, 72.0, 120.0, 350.0),
    (225.0, 350.0),
    ((100e3, 75e3), (75e3, 56_250.0), (35e3, 26_250.0), (20e3, 15e3), (4e3, 3e3)),
)

# Another 250 A sheet: 300 A for 7 min, 600 A for 1 min, 6000 A for 25 ms.
OVERLOAD = (OverloadPoint(300.0, 420.0), OverloadPoint(600.0, 60.0), OverloadPoint(6000.0, 25e-3))


# ---------------------------------------------------------------- coil
@covers("physics.contactors.coil_current_a", "physics.contactors.coil_power_w")
def test_coil_at_20_c() -> None:
    assert contactors.coil_current_a(12.0, COIL_OHM, 20.0) == printed("0.4615")
    assert contactors.coil_power_w(12.0, COIL_OHM, 20.0) == printed("5.54")


@covers(
    "physics.contactors.coil_threshold_v",
    "physics.contactors.coil_current_a",
    "physics.contactors.coil_resistance_ohm",
)
def test_hot_coil() -> None:
    assert contactors.coil_threshold_v(PULL_IN_V, 85.0) == printed("11.05")
    assert contactors.coil_current_a(12.0, COIL_OHM, 85.0) == printed("0.368")
    assert 12.0 / contactors.coil_resistance_ohm(COIL_OHM, 85.0) == printed("0.368")


@covers("physics.contactors.coil_at_supply")
def test_sag_to_10_5_v_fails_on_the_hot_coil() -> None:
    hot = contactors.coil_at_supply(12.0, PULL_IN_V, COIL_OHM, 85.0, sag_v=1.5)
    assert hot.coil_v == printed("10.5")
    assert hot.needed_v == printed("11.05")
    assert hot.enough is False
    # The same sag does for the cold coil, and does not let a closed one go.
    assert contactors.coil_at_supply(12.0, PULL_IN_V, COIL_OHM, 20.0, sag_v=1.5).enough is True
    assert contactors.coil_at_supply(12.0, HOLD_V, COIL_OHM, 85.0, sag_v=1.5).enough is True


@covers("physics.contactors.economised_power_w")
def test_economiser_saves_70_to_85_percent() -> None:
    """5.54 W less 70 % and less 85 %, by hand: 1.66 W and 0.83 W."""
    assert contactors.ECONOMISER_SAVING == (0.70, 0.85)
    least, most = contactors.ECONOMISER_SAVING
    assert contactors.economised_power_w(5.54, least) == printed("1.66")
    assert contactors.economised_power_w(5.54, most) == printed("0.83")


# ---------------------------------------------------------------- life, withstand, overload
@covers("physics.contactors.life_operations")
def test_life_at_the_points_of_the_sheet() -> None:
    for volt, row in zip(LIFE.voltages_v, LIFE.operations, strict=True):
        for amps, operations in zip(LIFE.currents_a, row, strict=True):
            # A point of the sheet comes back exactly: a duty that uses it up must not look like more.
            assert contactors.life_operations(amps, volt, LIFE) == operations


@covers("physics.contactors.life_operations")
def test_life_between_the_currents_of_the_sheet() -> None:
    """The sheet keeps 3/4 of the life from 225 to 350 A at every voltage; halfway in logarithms it is sqrt(3/4)."""
    middle = math.sqrt(225.0 * 350.0)
    lives = contactors.life_operations(middle, np.array(LIFE.voltages_v), LIFE)
    assert lives == pytest.approx(np.array([100e3, 75e3, 35e3, 20e3, 4e3]) * 0.8660254, rel=1e-7)


@covers("physics.contactors.life_operations")
def test_life_is_not_carried_on_beyond_the_sheet() -> None:
    outside = [(224.9, 350.0), (350.1, 350.0), (300.0, 23.9), (300.0, 350.1), (0.0, 350.0), (300.0, 0.0)]
    for amps, volt in outside:
        assert math.isnan(float(contactors.life_operations(amps, volt, LIFE)))


@covers("physics.contactors.life_used")
def test_whole_life_of_the_sheet() -> None:
    assert contactors.life_used([Switching(350.0, 350.0, 3000)], LIFE).total == 1.0
    # One break at 2000 A and 400 V is all that the other sheet allows; at 400 A nothing is known of it.
    once = LifeTable((400.0,), (2000.0,), ((1.0,),))
    assert contactors.life_used([Switching(2000.0, 400.0, 1)], once).total == 1.0
    assert math.isnan(contactors.life_used([Switching(400.0, 400.0, 1)], once).total)


@covers("physics.contactors.withstand_a2s")
def test_withstand_6000_a_for_25_ms() -> None:
    assert contactors.withstand_a2s(6000.0, 25e-3) == printed("9.0e5")


@covers("physics.contactors.overload_current_a", "physics.contactors.overload_time_s")
def test_overload_points() -> None:
    for amps, seconds in OVERLOAD:
        assert contactors.overload_current_a(seconds, OVERLOAD) == amps
        assert contactors.overload_time_s(amps, OVERLOAD) == seconds
    for seconds in (24e-3, 421.0, 0.0):
        assert math.isnan(float(contactors.overload_current_a(seconds, OVERLOAD)))
    for amps in (250.0, 6001.0, 0.0):
        assert math.isnan(float(contactors.overload_time_s(amps, OVERLOAD)))


# ---------------------------------------------------------------- polarity and welds
@covers("physics.contactors.against_polarity")
def test_charging_and_braking_run_in_reverse() -> None:
    assert contactors.against_polarity(200.0) is False
    assert contactors.against_polarity(-200.0) is True


@covers("physics.contactors.opened_link_v", "physics.contactors.weld_test_delay_s")
def test_opened_link_of_1_mf_and_5_kohm() -> None:
    assert contactors.opened_link_v(1.0, 1.0, 5e3, 1e-3) == printed("0.8187")
    assert contactors.weld_test_delay_s(0.9, 5e3, 1e-3) == printed("0.527")


# ---------------------------------------------------------------- DC-DC
@covers("physics.loops.converter_input_a")
def test_662_w_at_13_8_v() -> None:
    assert loops.converter_input_a(662.0, 13.8, 1.0) == printed("47.97")
