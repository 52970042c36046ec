"""NEC 2023 Table 310.17: printed rows, ambient factors, and aluminium against copper."""

from __future__ import annotations

import itertools

import pytest

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics import conductors
from tristrand.physics.ampacity import ambient_factor, table_ampacity
from tristrand.physics.ampacity_tables import NEC_310_17_ALUMINIUM, NEC_310_17_COPPER
from tristrand.physics.conductor_tables import awg_area_mm2


@covers("physics.ampacity.table_ampacity")
@pytest.mark.parametrize(
    ("size", "amps"),
    [("14", (25, 30, 35)), ("6", (80, 95, 105)), ("1/0", (195, 230, 260)), ("4/0", (300, 360, 405))],
)
def test_rows_as_printed(size: str, amps: tuple[int, ...]) -> None:
    for column, expected in zip((60, 75, 90), amps, strict=True):
        found = table_ampacity(awg_area_mm2(size), column, 30.0, awg=size)
        rating = next(r for r in found.candidates if r.source.startswith("NEC"))
        assert (rating.row, rating.column_c, rating.result_a) == (size, column, expected)


@covers("physics.ampacity.table_ampacity")
def test_kcmil_row_and_empty_cells() -> None:
    # 250 kcmil is 126.7 mm2: the metal of a 150 mm2 cable (133.7) is read there.
    found = table_ampacity(133.7, 90.0, 30.0)
    assert next((r.row, r.base_a) for r in found.candidates if r.source.startswith("NEC")) == (
        "250kcmil",
        455,
    )
    # 16 AWG is printed at 90 degC only.
    cool = table_ampacity(1.4, 75.0, 30.0)
    assert any(s.table.startswith("NEC") and "16" in s.reason for s in cool.set_aside)


def test_currents_rise_with_size_and_temperature() -> None:
    for table in (NEC_310_17_COPPER, NEC_310_17_ALUMINIUM):
        rows = list(table.rows.values())
        for thin, thick in itertools.pairwise(rows):
            assert all(a is None or a < b for a, b in zip(thin, thick, strict=True))
    for row in NEC_310_17_COPPER.rows.values():
        known = [amps for amps in row if amps is not None]
        assert known == sorted(set(known))


def test_columns_go_with_the_root_of_rise_over_resistance() -> None:
    """60, 75 and 90 degC columns: in step with sqrt(rise/R), R by 234.5 + T, within 8 % from 8 AWG up."""
    for size, row in NEC_310_17_COPPER.rows.items():
        if size in {"18", "16", "14", "12", "10"}:
            continue
        scaled = [amps / ((c - 30.0) / (234.5 + c)) ** 0.5 for c, amps in zip((60, 75, 90), row, strict=True)]
        assert max(scaled) / min(scaled) < 1.08, size


@covers("physics.conductors.solid_resistance_ohm_per_m")
def test_aluminium_to_copper_ratio() -> None:
    """Same size, same heat: currents go with the root of the resistance ratio, 0.7810; printed 315/405."""
    copper = float(conductors.solid_resistance_ohm_per_m(100.0))
    aluminium = float(conductors.solid_resistance_ohm_per_m(100.0, conductors.ALUMINIUM_RESISTIVITY_OHM_MM2_PER_M))
    assert (copper / aluminium) ** 0.5 == printed("0.7810", units=1.0)
    for size, (amps,) in NEC_310_17_ALUMINIUM.rows.items():
        assert amps / NEC_310_17_COPPER.rows[size][2] == pytest.approx(0.781, rel=0.06), size


@covers("physics.ampacity.ambient_factor")
@pytest.mark.parametrize(
    ("conductor", "reference", "ambient", "factor"),
    [(90, 30, 40, "0.91"), (90, 30, 50, "0.82"), (75, 30, 40, "0.88"), (90, 40, 50, "0.89"),
     (75, 40, 50, "0.85"), (90, 40, 30, "1.10")],
)  # fmt: skip
def test_ambient_factors_as_printed(conductor: float, reference: float, ambient: float, factor: str) -> None:
    assert ambient_factor(conductor, ambient, reference) == printed(factor)


@covers("physics.ampacity.ambient_factor")
def test_ambient_factor_limits() -> None:
    assert ambient_factor(90.0, 30.0) == 1.0
    assert ambient_factor(90.0, 90.0) == 0.0
    assert ambient_factor(90.0, 120.0) == 0.0
    with pytest.raises(ValueError, match="conductor"):
        ambient_factor(30.0, 20.0)
