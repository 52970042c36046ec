"""FAA AC 43.13-1B chapter 11: worked example 2 (page 11-27), rows of Tables 11-7 and 11-9.

Table 11-8's row of 19.5 ft prints 0.366 V where its own figures give 0.491 V: not used. Table 11-7's row of
12 AWG prints 3.60 V where its own figures give 3.555 V: not used.
"""

from __future__ import annotations

import itertools

import pytest

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics import ampacity, conductors
from tristrand.physics.ampacity_tables import AC_43_13_TABLE_11_9
from tristrand.physics.conductor_tables import awg_area_mm2


@covers("physics.ampacity.derated_current_a")
def test_example_2_current() -> None:
    """14 AWG in free air 47 A, 0.91 for 20 000 ft and 0.6 for 8 wires read from the charts: 26 A."""
    assert ampacity.derated_current_a(47.0, 0.91) == printed("42.77")
    assert ampacity.derated_current_a(47.0, 0.91, 0.6) == printed("25.66")
    assert ampacity.derated_current_a(47.0, 0.91, 0.6) == printed("26")
    with pytest.raises(ValueError, match="factors"):
        ampacity.derated_current_a(47.0, 1.2)


@covers("physics.ampacity.aircraft_wire_temperature_c", "physics.ampacity.aircraft_wire_length")
def test_example_2_temperature_and_length() -> None:
    warm = ampacity.aircraft_wire_temperature_c(50.0, 200.0, 20.0, 26.0)
    assert warm == printed("181.56")
    assert ampacity.aircraft_wire_length(15.5, warm) == printed("9.48")
    assert ampacity.aircraft_wire_temperature_c(50.0, 200.0, 26.0, 26.0) == pytest.approx(200.0)
    with pytest.raises(ValueError, match="largest_current_a"):
        ampacity.aircraft_wire_temperature_c(50.0, 200.0, 27.0, 26.0)


@covers("physics.ampacity.aircraft_wire_length", "physics.conductors.loop_drop_v")
def test_shortened_wire_keeps_its_drop() -> None:
    short = float(ampacity.aircraft_wire_length(15.5, 181.56))
    cold = conductors.loop_drop_v(20.0, 2.5e-3, 15.5)
    assert conductors.loop_drop_v(20.0, 2.5e-3, short, 181.56, conductors.COPPER_234_5) == pytest.approx(
        cold, rel=1e-12
    )


@covers("physics.conductors.loop_drop_v")
@pytest.mark.parametrize(
    ("ohm_per_ft", "feet", "volts"), [(0.00044, 107, "0.942"), (0.00028, 90, "0.504"), (0.00306, 100, "6.12")]
)
def test_table_11_7_rows_at_20_a(ohm_per_ft: float, feet: float, volts: str) -> None:
    assert conductors.loop_drop_v(20.0, ohm_per_ft, feet) == printed(volts)


def test_table_11_9_obeys_the_wire() -> None:
    """Currents rise with size and rating. Resistance: 3 % below to 30 % above solid copper of the AWG area.

    Up to 12 % less metal in strand, 2 % of lay, 10 % for tin on fine strand; within the printed rounding.
    """
    rows = AC_43_13_TABLE_11_9
    assert (rows[6].size, rows[6].at_105_c_a, rows[6].at_150_c_a, rows[6].at_200_c_a) == ("12", 13, 19, 25)
    for row in rows:
        assert row.at_105_c_a < row.at_150_c_a < row.at_200_c_a
        solid = float(conductors.solid_resistance_ohm_per_m(awg_area_mm2(row.size))) * 304.8
        assert row.ohm_per_1000_ft + 0.005 > 0.97 * solid, row.size
        assert row.ohm_per_1000_ft - 0.005 < 1.3 * solid, row.size
    for thin, thick in itertools.pairwise(rows):
        assert thin.at_200_c_a < thick.at_200_c_a
        assert thin.at_105_c_a < thick.at_105_c_a
        assert thin.ohm_per_1000_ft > thick.ohm_per_1000_ft
