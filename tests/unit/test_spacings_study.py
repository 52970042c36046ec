"""The spacings study against the printed tables, on small edits of the starter."""

import math

import pytest

from tests.workings import evaluate
from tristrand.app.starter import starter_files
from tristrand.design import apply_edits, load_files
from tristrand.findings import Edit
from tristrand.studies import insulation, pack, spacings
from tristrand.studies.results import SpacingFigures, SpacingsResult

HV, PACK, VEHICLE = "high_voltage.yaml", "parts/pack-84s.yaml", "vehicle.yaml"


def studied(*edits: Edit) -> SpacingsResult:
    loaded = load_files(apply_edits(starter_files(), list(edits)), "starter")
    of = loaded.design
    assert of is not None, loaded.problems
    bus = insulation.study(insulation.inputs(of), pack.study(pack.inputs(of)))
    return spacings.study(spacings.inputs(of), bus)


def volts(whole: float) -> tuple[Edit, ...]:
    """A pack of a hundred cells with this highest voltage in all."""
    return (
        Edit(PACK, "cells_in_series", "100"),
        Edit(PACK, "cell_voltage", f"{{minimum: 0.1 V, nominal: 0.2 V, maximum: {whole / 100:.6g} V}}"),
    )


def one(entry: str, *edits: Edit) -> SpacingFigures:
    full = f"{{pollution_degree: 2, overvoltage_category: II, creepage: 50 mm, clearance: 40 mm, {entry}}}"
    return studied(*edits, Edit(HV, "spacings", f"{{x: {full}}}")).spacings["x"]


BASIC = "between: chassis, kind: housing, material_group: IIIa"
TOUCH = "between: low_voltage, kind: housing, material_group: IIIa"
BOARD = "between: low_voltage, kind: board, material_group: IIIa"


def test_interpolated_and_stepped_creepage() -> None:
    figures = one(BASIC, *volts(450))
    assert (figures.creepage_mm, figures.stepped_mm) == (pytest.approx(4.5), 5.0)


@pytest.mark.parametrize(
    ("cti", "printed"),
    [(600, 2.0), (599, 2.8), (400, 2.8), (399, 4.0), (175, 4.0), (174, 4.0), (100, 4.0)],
)
def test_material_by_its_tracking_index_at_400_v(cti: int, printed: float) -> None:
    assert one(f"between: chassis, kind: housing, cti: {cti}", *volts(400)).creepage_mm == pytest.approx(printed)


@pytest.mark.parametrize(
    ("entry", "printed"),
    [
        (BASIC, 4.0),
        (f"{BASIC}, insulation: reinforced", 8.0),
        (TOUCH, 8.0),
        (f"{TOUCH}, insulation: basic", 4.0),
        (BOARD, 4.0),  # 2.0 of the board's column, twice
        ("between: chassis, kind: board, material_group: IIIa", 2.0),
        ("between: chassis, kind: board, material_group: IIIb", 4.0),  # the board's column is not for IIIb
    ],
)
def test_creepage_at_400_v_degree_2(entry: str, printed: float) -> None:
    assert one(entry, *volts(400)).creepage_mm == pytest.approx(printed)


def degree(which: int, entry: str, *edits: Edit) -> SpacingFigures:
    full = f"{{pollution_degree: {which}, overvoltage_category: II, creepage: 50 mm, clearance: 40 mm, {entry}}}"
    return studied(*edits, Edit(HV, "spacings", f"{{x: {full}}}")).spacings["x"]


def test_columns_that_the_table_does_not_have_take_the_harder_one() -> None:
    # A housing of degree 1 takes degree 2; a board of degree 3 the housing's table.
    assert degree(1, BASIC, *volts(400)).creepage_mm == pytest.approx(4.0)
    assert degree(3, "between: chassis, kind: board, material_group: IIIa", *volts(400)).creepage_mm == pytest.approx(
        6.3
    )
    assert degree(1, "between: chassis, kind: board, material_group: IIIa", *volts(400)).creepage_mm == pytest.approx(
        1.0
    )


def test_clearance_and_altitude() -> None:
    # Overvoltage category II, 450 V: 4 kV, 3.0 mm; at 5000 m 4.44 mm.
    assert one(BASIC, *volts(450)).clearance_mm == 3.0
    high = one(BASIC, *volts(450), Edit(VEHICLE, "altitude", "5000 m"))
    assert (high.impulse_v, high.clearance_mm) == (4000.0, pytest.approx(4.44))
    assert high.creepage_mm == pytest.approx(4.5)
    # The table is read for the highest end of what is said.
    assert one(BASIC, Edit(VEHICLE, "altitude", "4000 m ± 1000 m")).clearance_mm == pytest.approx(4.44)


def test_reinforced_clearance_takes_the_next_impulse_step() -> None:
    figures = one(TOUCH, *volts(450))
    assert (figures.impulse_v, figures.clearance_mm) == (6000.0, 5.5)


@pytest.mark.parametrize(("whole", "printed"), [(99, 10.0), (100, 20.0), (199, 20.0), (200, 30.0), (400, 30.0)])
def test_distance_in_a_housing_by_the_student_rules(whole: float, printed: float) -> None:
    figures = one(TOUCH, *volts(whole))
    # The shorter of both ways counts.
    assert (figures.fsae_mm, figures.fsae_has_mm) == (printed, 40.0)
    assert math.isinf(one(f"{TOUCH}, barrier: true", *volts(whole)).fsae_has_mm)
    assert math.isnan(one(BASIC, *volts(whole)).fsae_mm)


@pytest.mark.parametrize(
    ("whole", "surface", "air", "coated"),
    [(49, 1.6, 1.6, 1.0), (149, 6.4, 3.2, 2.0), (299, 9.5, 6.4, 3.0), (300, 12.7, 9.5, 4.0), (600, 12.7, 9.5, 4.0)],
)
def test_distance_on_a_board_by_the_student_rules(whole: float, surface: float, air: float, coated: float) -> None:
    for gap, printed, has in (("surface", surface, 50.0), ("air", air, 40.0), ("coated", coated, 50.0)):
        figures = one(f"{BOARD}, gap: {gap}", *volts(whole))
        assert (figures.fsae_mm, figures.fsae_has_mm) == (printed, has)


def test_what_the_tables_do_not_hold_stays_open() -> None:
    high = one(f"{BOARD}, gap: air", *volts(1001))
    assert all(math.isnan(x) for x in (high.creepage_mm, high.clearance_mm, high.fsae_mm))
    assert "above 1000 V" in high.creepage_gaps[0][1]
    assert "above 1000 V" in high.clearance_gaps[0][1]
    assert "above 600 V" in high.fsae_gaps[0][1]
    poor = degree(3, "between: chassis, kind: housing, material_group: IIIb", *volts(700))
    assert math.isnan(poor.creepage_mm)
    assert "IIIb" in poor.creepage_gaps[0][1]
    fits = "{between: low_voltage, kind: housing, pollution_degree: 2, overvoltage_category: IV, cti: 200}"
    gaps = studied(*volts(900), Edit(HV, "spacings", f"{{x: {fits}}}")).spacings["x"].clearance_gaps
    assert [field for field, _ in gaps] == ["clearance", "overvoltage_category"]


def test_missing_data_are_named() -> None:
    figures = studied(
        Edit(HV, "spacings", "{x: {between: low_voltage, kind: board, pollution_degree: 2, overvoltage_category: I}}")
    ).spacings["x"]
    assert {field for field, _ in figures.creepage_gaps} == {"creepage", "cti"}
    assert {field for field, _ in figures.clearance_gaps} == {"clearance"}
    assert {field for field, _ in figures.fsae_gaps} == {"gap"}


def test_none_and_not_said_are_two_things() -> None:
    assert studied(Edit(HV, "spacings", "{}")).told
    assert not studied(Edit(HV, "spacings", "{}")).spacings
    text = starter_files()[HV].decode()
    files = {**starter_files(), HV: text[: text.index("# The least distances")].encode()}
    loaded = load_files(files, "starter")
    assert loaded.design is not None
    assert spacings.inputs(loaded.design).spacings is None


def test_workings_give_what_they_say() -> None:
    lines = list(studied(Edit(VEHICLE, "altitude", "3500 m")).workings)
    assert len(lines) == 17
    formulas = [line for line in lines if line.formula]
    assert len(formulas) == 3
    for line in formulas:
        assert evaluate(line) == pytest.approx(line.value, rel=1e-12)
