"""Control pilot, proximity and supply as printed: the duty table, resistors, branch circuits, levels of power."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics import charging, pilot

DUTY_TO_CURRENT = {
    "10": "6.0", "16": "9.6", "20": "12.0", "25": "15.0", "26.667": "16.0", "30": "18.0", "50": "30.0",
    "53.333": "32.0", "66.667": "40.0", "80": "48.0", "85": "51.0", "86": "55.0", "89.2": "63.0", "90": "65.0",
    "95": "77.5", "96": "80.0",
}  # fmt: skip


# ---------------------------------------------------------------- duty and current
@covers("physics.pilot.offered_current_a", "physics.pilot.duty_percent")
@pytest.mark.parametrize(("duty", "amps"), DUTY_TO_CURRENT.items())
def test_duty_table(duty: str, amps: str) -> None:
    assert pilot.offered_current_a(float(duty)) == printed(amps)
    assert pilot.duty_percent(float(amps)) == printed(duty)


@covers("physics.pilot.pilot_band", "physics.pilot.offered_current_a")
@pytest.mark.parametrize(
    ("duties", "band", "amps"),
    [
        ((0.0, 1.0, 2.999), "error", (0.0, 0.0)),
        ((3.0, 4.5, 5.0, 5.5, 6.999), "digital communication", (0.0, 0.0)),
        ((7.001, 7.5, 7.999), "error", (0.0, 0.0)),
        ((8.001, 9.0, 9.999), "6 A", (6.0, 6.0)),
        ((10.0, 85.0), "0.6 A per percent", (6.0, 51.0)),
        ((85.001, 96.0), "2.5 A per percent above 64", (52.5025, 80.0)),
        ((96.001, 97.0), "80 A", (80.0, 80.0)),
        ((97.001, 99.999), "error", (0.0, 0.0)),
        ((100.0,), "steady", (0.0, 0.0)),
    ],
)
def test_bands(duties: tuple[float, ...], band: str, amps: tuple[float, float]) -> None:
    assert {pilot.pilot_band(duty) for duty in duties} == {band}
    offered = pilot.offered_current_a(np.array(duties))
    assert offered[[0, -1]] == pytest.approx(amps, abs=1e-9)


@covers("physics.pilot.offered_current_a")
def test_step_at_85_percent() -> None:
    """51.0 A by the first law, 52.5 A by the second: the boundary belongs to the first."""
    assert pilot.offered_current_a(85.0) == 51.0
    just_above = pilot.offered_current_a(math.nextafter(85.0, 100.0))
    assert just_above > 52.5
    assert just_above == printed("52.5")


@covers("physics.pilot.offered_current_a")
def test_offer_never_falls_with_duty_until_the_error() -> None:
    duty = np.linspace(8.0, 97.0, 8901)
    assert np.all(np.diff(pilot.offered_current_a(duty)) >= 0.0)
    # Both laws give the same where a band ends at 10 and at 96 %.
    for end, amps in ((10.0, 6.0), (96.0, 80.0)):
        around = pilot.offered_current_a(np.array([end - 1e-9, end, end + 1e-9]))
        assert around == pytest.approx(amps, abs=1e-8)


@covers("physics.pilot.offered_current_a", "physics.pilot.duty_percent")
@settings(max_examples=200, deadline=None)
@given(st.one_of(st.floats(6.0, 51.0), st.floats(52.5, 80.0, exclude_min=True)))
def test_round_trip(amps: float) -> None:
    assert pilot.offered_current_a(pilot.duty_percent(amps)) == pytest.approx(amps, rel=1e-13)


@covers("physics.pilot.duty_percent")
def test_round_trip_at_the_ends_and_in_arrays() -> None:
    ends = np.array([6.0, 51.0, math.nextafter(52.5, 80.0), 80.0])
    assert pilot.offered_current_a(pilot.duty_percent(ends)) == pytest.approx(ends, rel=1e-13)
    assert isinstance(pilot.duty_percent(32.0), float)


@pytest.mark.parametrize("amps", [51.0001, 52.0, 52.5])
def test_uncodable_currents_are_refused_with_both_neighbours(amps: float) -> None:
    with pytest.raises(ValueError, match=r"51 A \(85 %\) and just above 52\.5 A"):
        pilot.duty_percent(np.array([16.0, amps]))


@pytest.mark.parametrize("amps", [5.999, 80.001, -6.0, math.nan, math.inf])
def test_currents_outside_the_code_are_refused(amps: float) -> None:
    with pytest.raises(ValueError, match=r"no duty offers|current_a"):
        pilot.duty_percent(amps)


@pytest.mark.parametrize("duty", [-0.001, 100.001, math.nan])
def test_duties_outside_0_to_100_are_refused(duty: float) -> None:
    with pytest.raises(ValueError, match="duty_percent"):
        pilot.offered_current_a(duty)
    with pytest.raises(ValueError, match="duty_percent"):
        pilot.pilot_band(duty)


# ---------------------------------------------------------------- levels and states
@covers("physics.pilot.pilot_voltage_v")
def test_levels_behind_the_diode() -> None:
    assert pilot.pilot_voltage_v(2740.0) == printed("8.98")
    assert pilot.pilot_voltage_v(1.0 / (1.0 / 2740.0 + 1.0 / 1300.0)) == printed("5.99")
    assert pilot.pilot_voltage_v(1.0 / (1.0 / 2740.0 + 1.0 / 270.0)) == printed("2.93")


@covers("physics.pilot.pilot_voltage_v")
@settings(max_examples=60, deadline=None)
@given(st.floats(0.0, 1e5), st.floats(100.0, 5e3), st.floats(0.0, 1.5))
def test_levels_obey_ohm_in_source_and_vehicle(vehicle: float, source: float, diode: float) -> None:
    """The current through the source equals that through the vehicle."""
    level = float(pilot.pilot_voltage_v(vehicle, 12.0, source, diode))
    assert (12.0 - level) * vehicle == pytest.approx((level - diode) * source, rel=1e-9, abs=1e-9)


@covers("physics.pilot.pilot_voltage_v")
def test_levels_of_an_open_and_of_a_shorted_vehicle() -> None:
    assert pilot.pilot_voltage_v(np.array([math.inf, 0.0])).tolist() == [12.0, 0.7]
    with pytest.raises(ValueError, match="diode"):
        pilot.pilot_voltage_v(2740.0, diode_v=12.0)
    with pytest.raises(ValueError, match="below_ohm"):
        pilot.pilot_voltage_v(-1.0)


@covers("physics.pilot.state_resistance_ohm", "physics.pilot.pilot_state")
@pytest.mark.parametrize(("state", "level"), [("A", 12.0), ("B", 9.0), ("C", 6.0), ("D", 3.0)])
def test_states_of_the_vehicle(state: str, level: float) -> None:
    """The remembered resistors bring the pilot to the remembered levels, within 0.1 V."""
    found = float(pilot.pilot_voltage_v(pilot.state_resistance_ohm(state)))
    assert found == pytest.approx(level, abs=0.1)
    assert pilot.pilot_state(found, 0.1) == state
    assert pilot.pilot_state(level, 0.0) == state


@covers("physics.pilot.pilot_state")
def test_states_of_the_supply_and_gaps() -> None:
    assert (pilot.pilot_state(0.2, 0.5), pilot.pilot_state(-11.6, 0.5)) == ("E", "F")
    assert [pilot.pilot_state(v, 1.0) for v in (13.1, 10.5, 7.5, 4.5, 1.5, -5.0, -13.1)] == [None] * 7
    assert (pilot.pilot_state(10.0, 1.0), pilot.pilot_state(math.nextafter(10.0, 11.0), 1.0)) == ("B", None)
    for tolerance in (1.5, -0.1, math.nan):
        with pytest.raises(ValueError, match=r"1\.5 V"):
            pilot.pilot_state(9.0, tolerance)
    with pytest.raises(ValueError, match="voltage_v"):
        pilot.pilot_state(math.nan, 0.5)
    with pytest.raises(ValueError, match="'E'"):
        pilot.state_resistance_ohm("E")  # type: ignore[arg-type]


# ---------------------------------------------------------------- proximity
TYPE_2 = {1500.0: 13.0, 680.0: 20.0, 220.0: 32.0, 100.0: 63.0}


@covers("physics.pilot.cable_current_a")
@pytest.mark.parametrize(("ohm", "amps"), TYPE_2.items())
def test_cable_current(ohm: float, amps: float) -> None:
    assert pilot.cable_current_a(ohm, 0.0) == amps
    assert [pilot.cable_current_a(ohm * (1.0 + d), 0.1) for d in (-0.1, 0.1, -0.101, 0.101)] == [amps, amps, None, None]


@covers("physics.pilot.cable_current_a")
def test_cable_that_is_not_coded() -> None:
    assert [pilot.cable_current_a(ohm, 0.1) for ohm in (0.0, 60.0, 150.0, 400.0, 1000.0, 4700.0, math.inf)] == [
        None
    ] * 7
    # At the widest the bands nearly meet: 100 ohm ends at 137.4, 220 ohm begins at 137.72.
    assert [pilot.cable_current_a(ohm, 0.374) for ohm in (137.3, 137.5, 137.8)] == [63.0, None, 32.0]
    for tolerance in (0.375, -0.01, math.nan):
        with pytest.raises(ValueError, match=r"0\.375"):
            pilot.cable_current_a(100.0, tolerance)
    with pytest.raises(ValueError, match="proximity_ohm"):
        pilot.cable_current_a(-1.0, 0.1)


@covers("physics.pilot.proximity_counts", "physics.pilot.resistance_from_counts_ohm")
@pytest.mark.parametrize(
    ("ohm", "counts", "in_use"), [(100, "93.0", 93), (220, "184.5", 185), (680, "414.1", 415), (1500, "613.8", 615)]
)
def test_counts_of_ten_bits_with_1_kohm(ohm: float, counts: str, in_use: int) -> None:
    found = pilot.proximity_counts(ohm, 1000.0, 1023.0)
    assert found == printed(counts)
    # Whole counts that a published program looks for.
    assert found == pytest.approx(in_use, abs=1.5)
    assert pilot.resistance_from_counts_ohm(found, 1000.0, 1023.0) == pytest.approx(ohm, rel=1e-12)
    assert pilot.cable_current_a(float(pilot.resistance_from_counts_ohm(in_use, 1000.0, 1023.0)), 0.01) == TYPE_2[ohm]


@covers("physics.pilot.proximity_counts", "physics.pilot.resistance_from_counts_ohm")
def test_counts_at_the_ends() -> None:
    ends = np.array([0.0, 1000.0, math.inf])
    assert pilot.proximity_counts(ends, 1000.0, 1023.0).tolist() == [0.0, 511.5, 1023.0]
    assert pilot.resistance_from_counts_ohm(np.array([0.0, 511.5, 1023.0]), 1000.0, 1023.0).tolist() == ends.tolist()
    for counts in (-1.0, 1024.0, math.nan):
        with pytest.raises(ValueError, match="counts"):
            pilot.resistance_from_counts_ohm(counts, 1000.0, 1023.0)
    with pytest.raises(ValueError, match="above_ohm"):
        pilot.proximity_counts(100.0, math.inf, 1023.0)


@covers("physics.pilot.type_1_proximity_v")
@pytest.mark.parametrize(
    ("contact", "volt"), [("latched", "1.505"), ("button pressed", "2.763"), ("unplugged", "4.455")]
)
def test_type_1_levels(contact: str, volt: str) -> None:
    ohm = pilot.TYPE_1_CONNECTOR_OHM[contact]
    assert pilot.type_1_proximity_v(ohm) == printed(volt)
    # Currents at the contact add up to nothing.
    level = float(pilot.type_1_proximity_v(ohm))
    assert (5.0 - level) / 330.0 == pytest.approx(level / 2700.0 + level / ohm, rel=1e-12)


@covers("physics.pilot.type_1_proximity_v")
def test_type_1_resistors_and_short() -> None:
    assert pilot.TYPE_1_CONNECTOR_OHM["latched"] == 150.0
    assert pilot.TYPE_1_CONNECTOR_OHM["button pressed"] == 150.0 + 330.0
    assert pilot.type_1_proximity_v(0.0) == 0.0
    with pytest.raises(ValueError, match="pull_down_ohm"):
        pilot.type_1_proximity_v(150.0, pilot.ProximityDivider(5.0, 330.0, 0.0))


# ---------------------------------------------------------------- branch circuit and levels of power
BRANCH = {12.0: 15.0, 16.0: 20.0, 24.0: 30.0, 32.0: 40.0, 40.0: 50.0, 48.0: 60.0, 80.0: 100.0}


@covers("physics.charging.branch_circuit_least_a", "physics.charging.branch_circuit_a")
@pytest.mark.parametrize(("equipment", "branch"), BRANCH.items())
def test_branch_circuit(equipment: float, branch: float) -> None:
    assert charging.branch_circuit_least_a(equipment) == branch
    assert charging.branch_circuit_a(equipment, reversed(BRANCH.values())) == branch
    # A little more current asks for the next size.
    larger = [size for size in BRANCH.values() if size > branch]
    if larger:
        assert charging.branch_circuit_a(equipment * 1.001, BRANCH.values()) == larger[0]
    else:
        with pytest.raises(ValueError, match=r"no given size reaches 100\.1 A"):
            charging.branch_circuit_a(equipment * 1.001, BRANCH.values())


@covers("physics.charging.supply_power_w")
@pytest.mark.parametrize(
    ("volt", "amps", "phases", "kilowatt"),
    [
        (120.0, 12.0, 1, "1.44"),
        (240.0, 32.0, 1, "7.68"),
        (240.0, 80.0, 1, "19.2"),
        (230.0, 16.0, 1, "3.68"),
        (230.0, 32.0, 1, "7.36"),
        (400.0, 16.0, 3, "11.085"),
        (400.0, 32.0, 3, "22.170"),
    ],
)
def test_levels_of_power(volt: float, amps: float, phases: int, kilowatt: str) -> None:
    assert charging.supply_power_w(volt, amps, phases) / 1000.0 == printed(kilowatt)
