"""IEC 60364-5-52 method F: printed rows and relations to the conductors' physics and to another table."""

from __future__ import annotations

import numpy as np
import pytest

from tests.evidence import covers
from tristrand.physics.ampacity import table_ampacity
from tristrand.physics.ampacity_tables import IEC_60364_5_52_F, NEC_310_17_COPPER
from tristrand.physics.conductor_tables import class5_resistance_ohm_per_m
from tristrand.physics.conductors import metal_area_mm2


@covers("physics.ampacity.table_ampacity")
@pytest.mark.parametrize(
    ("size", "pvc", "xlpe"), [(25.0, 110, 135), (50.0, 167, 207), (95.0, 264, 328), (120.0, 308, 383)]
)
def test_rows_as_printed(size: float, pvc: int, xlpe: int) -> None:
    metal = float(metal_area_mm2(class5_resistance_ohm_per_m(size, tinned=True)))
    for column, amps in ((70, pvc), (90, xlpe)):
        found = table_ampacity(metal, column, 30.0, 3, nominal_mm2=size)
        rating = next(r for r in found.candidates if r.source.startswith("IEC"))
        assert (rating.row_area_mm2, rating.column_c, rating.result_a) == (size, column, amps)


def test_columns_against_each_other() -> None:
    """70 to 90 degC: sqrt(40/60 * (234.5+90)/(234.5+70)) = 0.843 if heat went straight with rise; printed
    0.80 to 0.82, since shedding improves with the rise."""
    straight = (40.0 / 60.0 * 324.5 / 304.5) ** 0.5
    for pvc, xlpe in IEC_60364_5_52_F.rows.values():
        assert 0.95 < pvc / xlpe / straight < 0.97


def test_touching_cables_carry_less_than_spaced_ones() -> None:
    """Against NEC 310.17 (spaced) at 90 degC, read between its rows by area: 0.82 to 0.92 throughout."""
    from tristrand.physics.conductor_tables import awg_area_mm2

    sizes = ["4", "3", "2", "1", "1/0", "2/0", "3/0", "4/0"]
    areas = np.log([awg_area_mm2(size) for size in sizes])
    currents = np.log([NEC_310_17_COPPER.rows[size][2] for size in sizes])
    for size, (_, xlpe) in IEC_60364_5_52_F.rows.items():
        nominal = float(size)
        if nominal <= 107.0:
            spaced = np.exp(np.interp(np.log(nominal), areas, currents))
            assert 0.82 < xlpe / spaced < 0.92, size
