"""IEC 60664-1 creepage, impulse, clearance and altitude tables, and FSAE 2026 spacing, as printed."""

from __future__ import annotations

import numpy as np
import pytest

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics import spacing

# Row by row: PD2 I, II, III; PD3 I, II, III; board PD1, PD2.
CREEPAGE = {
    250: (1.25, 1.80, 2.50, 3.20, 3.60, 4.00, 0.56, 1.00),
    320: (1.60, 2.20, 3.20, 4.00, 4.50, 5.00, 0.75, 1.60),
    400: (2.0, 2.8, 4.0, 5.0, 5.6, 6.3, 1.0, 2.0),
    500: (2.5, 3.6, 5.0, 6.3, 7.1, 8.0, 1.3, 2.5),
    630: (3.2, 4.5, 6.3, 8.0, 9.0, 10.0, 1.8, 3.2),
    800: (4.0, 5.6, 8.0, 10.0, 11.0, 12.5, 2.4, 4.0),
    1000: (5.0, 7.1, 10.0, 12.5, 14.0, 16.0, 3.2, 5.0),
}
GROUPS: tuple[spacing.MaterialGroup, ...] = ("I", "II", "IIIa")


@covers("physics.spacing.creepage_mm", "physics.spacing.board_creepage_mm")
@pytest.mark.parametrize("interpolate", [False, True])
@pytest.mark.parametrize("row", CREEPAGE)
def test_creepage_row(row: int, interpolate: bool) -> None:
    found = [spacing.creepage_mm(row, pd, group, interpolate=interpolate) for pd in (2, 3) for group in GROUPS]
    found += [spacing.board_creepage_mm(row, pd, interpolate=interpolate) for pd in (1, 2)]
    assert found == pytest.approx(CREEPAGE[row], rel=1e-12)


@covers("physics.spacing.creepage_mm")
def test_450_v_between_rows() -> None:
    """Pollution degree 2, group III: 4.5 mm on the straight line, 5.0 mm by the next printed row."""
    assert spacing.creepage_mm(450.0, 2, "IIIa", interpolate=True) == printed("4.5")
    assert spacing.creepage_mm(450.0, 2, "IIIa") == printed("5.0")
    assert spacing.creepage_mm(450.0, 2, "IIIb", interpolate=True) == printed("4.5")


@covers("physics.spacing.creepage_mm", "physics.spacing.board_creepage_mm")
def test_reinforced_is_double() -> None:
    assert spacing.creepage_mm(400.0, 2, "IIIa", reinforced=True) == 8.0
    assert spacing.creepage_mm(450.0, 2, "IIIa", reinforced=True, interpolate=True) == pytest.approx(9.0)
    assert spacing.board_creepage_mm(400.0, 2, reinforced=True) == 4.0


@covers("physics.spacing.creepage_mm")
def test_group_iiib_in_pollution_degree_3() -> None:
    assert spacing.creepage_mm(630.0, 3, "IIIb") == 10.0
    assert spacing.creepage_mm(1000.0, 2, "IIIb") == 10.0
    for volts in (630.1, 800.0, np.array([400.0, 631.0])):
        with pytest.raises(ValueError, match="IIIb"):
            spacing.creepage_mm(volts, 3, "IIIb")


@covers("physics.spacing.material_group")
@pytest.mark.parametrize(
    ("cti", "group"),
    [(600, "I"), (599, "II"), (400, "II"), (399, "IIIa"), (175, "IIIa"), (174, "IIIb"), (100, "IIIb")],
)
def test_material_groups(cti: float, group: str) -> None:
    assert spacing.material_group(cti) == group


@covers("physics.spacing.rated_impulse_v")
@pytest.mark.parametrize(
    ("category", "kilovolts"), [("I", (1.5, 2.5, 4)), ("II", (2.5, 4, 6)), ("III", (4, 6, 8)), ("IV", (6, 8, 12))]
)
def test_rated_impulse(category: spacing.Category, kilovolts: tuple[float, ...]) -> None:
    assert spacing.rated_impulse_v(np.array([300.0, 600.0, 1000.0]), category) == pytest.approx(
        [1e3 * kv for kv in kilovolts]
    )
    # Just above a row the next one counts.
    assert spacing.rated_impulse_v(300.1, category) == 1e3 * kilovolts[1]


@covers("physics.spacing.clearance_mm")
@pytest.mark.parametrize(
    ("kilovolts", "by_degree"),
    [
        (0.33, (0.01, 0.2, 0.8)),
        (1.5, (0.5, 0.5, 0.8)),
        (2.5, (1.5, 1.5, 1.5)),
        (4.0, (3.0, 3.0, 3.0)),
        (6.0, (5.5, 5.5, 5.5)),
        (8.0, (8.0, 8.0, 8.0)),
        (10.0, (11.0, 11.0, 11.0)),
        (12.0, (14.0, 14.0, 14.0)),
    ],
)
def test_clearance_row(kilovolts: float, by_degree: tuple[float, ...]) -> None:
    for degree, millimetres in zip((1, 2, 3), by_degree, strict=True):
        assert spacing.clearance_mm(1e3 * kilovolts, degree) == millimetres
        assert spacing.clearance_mm(1e3 * kilovolts - 1.0, degree) == millimetres


@covers("physics.spacing.altitude_factor")
@pytest.mark.parametrize(
    ("metres", "factor"),
    [(2000, 1.00), (3000, 1.14), (4000, 1.29), (5000, 1.48), (6000, 1.70), (7000, 1.95), (8000, 2.25),
     (9000, 2.62), (10000, 3.02), (15000, 6.67), (20000, 14.5)],
)  # fmt: skip
def test_altitude_row(metres: float, factor: float) -> None:
    assert spacing.altitude_factor(metres) == pytest.approx(factor, rel=1e-12)


@covers("physics.spacing.rated_impulse_v", "physics.spacing.clearance_mm", "physics.spacing.clearance_at_altitude_mm")
def test_450_v_bus_at_5000_m() -> None:
    impulse = spacing.rated_impulse_v(450.0, "II")
    assert impulse == 4000.0
    clearance = spacing.clearance_mm(impulse, 2)
    assert clearance == printed("3.0")
    assert spacing.clearance_at_altitude_mm(clearance, 5000.0) == printed("4.44")
    assert spacing.clearance_at_altitude_mm(clearance, 2000.0) == 3.0


@covers("physics.spacing.fsae_spacing_mm")
@pytest.mark.parametrize(
    ("volts", "millimetres"), [(0, 10), (99.9, 10), (100, 20), (150, 20), (199.9, 20), (200, 30), (201, 30), (600, 30)]
)
def test_fsae_enclosure(volts: float, millimetres: float) -> None:
    assert spacing.fsae_spacing_mm(volts) == millimetres


@covers("physics.spacing.fsae_board_spacing_mm")
@pytest.mark.parametrize(
    ("inside", "at_start", "surface", "air", "coated"),
    [(25, 0, 1.6, 1.6, 1.0), (100, 50, 6.4, 3.2, 2.0), (200, 150, 9.5, 6.4, 3.0), (600, 300, 12.7, 9.5, 4.0)],
)
def test_fsae_board(inside: float, at_start: float, surface: float, air: float, coated: float) -> None:
    """Bands share their ends: the start of each takes the larger spacing."""
    for volts in (inside, at_start):
        assert spacing.fsae_board_spacing_mm(volts, "surface") == surface
        assert spacing.fsae_board_spacing_mm(volts, "air") == air
        assert spacing.fsae_board_spacing_mm(volts, "coated") == coated


@covers("physics.spacing.is_high_voltage")
@pytest.mark.parametrize(
    ("alternating", "fsae", "limit_v"),
    [(False, False, 60.0), (True, False, 30.0), (False, True, 60.0), (True, True, 25.0)],
)
def test_high_voltage_is_above_the_limit(alternating: bool, fsae: bool, limit_v: float) -> None:
    assert spacing.is_high_voltage(limit_v, alternating=alternating, fsae=fsae) is False
    assert spacing.is_high_voltage(limit_v + 0.01, alternating=alternating, fsae=fsae) is True


@covers("physics.spacing.voltage_class")
def test_voltage_classes() -> None:
    """60 V and 30 V are the printed limits of UN R100; the upper ends are from memory and only refused above."""
    assert [spacing.voltage_class(v) for v in (12.0, 60.0, 60.1, 800.0)] == ["A", "A", "B", "B"]
    assert [spacing.voltage_class(v, alternating=True) for v in (30.0, 30.1, 400.0)] == ["A", "B", "B"]
    with pytest.raises(ValueError, match="class B"):
        spacing.voltage_class(1500.1)
    with pytest.raises(ValueError, match="class B"):
        spacing.voltage_class(1000.1, alternating=True)
