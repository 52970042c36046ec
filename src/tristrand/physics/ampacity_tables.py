"""Printed current ratings of single conductors, each with its source and conditions."""

from collections.abc import Mapping
from types import MappingProxyType

from tristrand.records import NamedTuple


class RatingTable(NamedTuple):
    """One printed table: currents by size and conductor temperature, at one ambient, in free air."""

    name: str
    source: str
    material: str
    reference_c: float
    columns_c: tuple[int, ...]
    rows: Mapping[str, tuple[float | None, ...]]
    """Size name (AWG, kcmil, or nominal mm2) -> current per column [A]; None where nothing is printed."""
    metric: bool
    largest_bundle: int | None
    """More conductors together than this break the table's conditions; None: bundle factors apply."""
    condition: str
    notes: Mapping[tuple[str, int], str] = MappingProxyType({})
    """(size or "", column) -> what to know about that entry."""


def _rows(columns: int, text: str) -> Mapping[str, tuple[float | None, ...]]:
    table: dict[str, tuple[float | None, ...]] = {}
    for line in text.split(";"):
        size, *cells = line.split()
        if len(cells) != columns or size in table:
            raise ValueError(f"row {line!r} of a rating table is damaged")
        table[size] = tuple(None if cell == "-" else float(cell) for cell in cells)
    return MappingProxyType(table)


_COAST_GUARD_75_C = "small 75 °C sizes are capped below what heating gives; safe side"
_COAST_GUARD_200_C = (
    "the 200 °C column lies far below what heating gives; safe side, do not compare with a heat balance"
)

CFR_33_183_425 = RatingTable(
    name="33 CFR 183.425 Table 5",
    source="33CFR183#183.425 Table 5",
    material="copper",
    reference_c=30.0,
    columns_c=(60, 75, 80, 90, 105, 125, 200),
    rows=_rows(
        7,
        "18 10 10 15 20 20 25 25; 16 15 15 20 25 25 30 35; 14 20 20 25 30 35 40 45; 12 25 25 35 40 45 50 55;"
        "10 40 40 50 55 60 70 70; 8 55 65 70 70 80 90 100; 6 80 95 100 100 120 125 135;"
        "4 105 125 130 135 160 170 180; 3 120 145 150 155 180 195 210; 2 140 170 175 180 210 225 240;"
        "1 165 195 210 210 245 265 280; 1/0 195 230 245 245 285 305 325; 2/0 225 265 285 285 330 355 370;"
        "3/0 260 310 330 330 385 410 430; 4/0 300 360 385 385 445 475 510",
    ),
    metric=False,
    largest_bundle=None,
    condition="insulated stranded copper, 30 °C ambient",
    notes=MappingProxyType(
        {("", 200): _COAST_GUARD_200_C} | {(size, 75): _COAST_GUARD_75_C for size in ("18", "16", "14", "12", "10")}
    ),
)

_NEC_CONDITION = "single insulated conductor in free air, 30 °C ambient, one diameter of space to the next"
NEC_310_17_COPPER = RatingTable(
    name="NEC 2023 Table 310.17",
    source="NEC-2023#Table 310.17",
    material="copper",
    reference_c=30.0,
    columns_c=(60, 75, 90),
    rows=_rows(
        3,
        "18 - - 18; 16 - - 24; 14 25 30 35; 12 30 35 40; 10 40 50 55; 8 60 70 80; 6 80 95 105; 4 105 125 140;"
        "3 120 145 165; 2 140 170 190; 1 165 195 220; 1/0 195 230 260; 2/0 225 265 300; 3/0 260 310 350;"
        "4/0 300 360 405; 250kcmil 340 405 455; 350kcmil 420 505 570; 500kcmil 515 620 700",
    ),
    metric=False,
    largest_bundle=1,
    condition=_NEC_CONDITION,
)

NEC_310_17_ALUMINIUM = RatingTable(
    name="NEC 2023 Table 310.17, aluminium",
    source="NEC-2023#Table 310.17",
    material="aluminium",
    reference_c=30.0,
    columns_c=(90,),
    rows=_rows(1, "6 85; 4 115; 2 150; 1/0 205; 2/0 235; 3/0 270; 4/0 315"),
    metric=False,
    largest_bundle=1,
    condition=_NEC_CONDITION,
)

IEC_60364_5_52_F = RatingTable(
    name="IEC 60364-5-52 method F",
    source="IEC-60364-5-52#method F, single-core cables touching in free air",
    material="copper",
    reference_c=30.0,
    columns_c=(70, 90),
    rows=_rows(2, "25 110 135; 35 137 169; 50 167 207; 70 216 268; 95 264 328; 120 308 383; 150 356 444"),
    metric=True,
    # One three-conductor circuit touching is what the table is printed for.
    largest_bundle=3,
    condition="single-core cables of one circuit touching, free air, 30 °C ambient; PVC at 70, XLPE at 90 °C",
)

RATING_TABLES: tuple[RatingTable, ...] = (
    CFR_33_183_425,
    NEC_310_17_COPPER,
    NEC_310_17_ALUMINIUM,
    IEC_60364_5_52_F,
)


class AircraftRow(NamedTuple):
    """One row of AC 43.13-1B Table 11-9: currents at three wire ratings, and the largest resistance."""

    size: str
    at_105_c_a: float
    at_150_c_a: float
    at_200_c_a: float
    ohm_per_1000_ft: float


AC_43_13_TABLE_11_9: tuple[AircraftRow, ...] = (
    AircraftRow("24", 2.5, 4, 5, 28.40),
    AircraftRow("22", 3, 5, 6, 16.20),
    AircraftRow("20", 4, 7, 9, 9.88),
    AircraftRow("18", 6, 9, 12, 6.23),
    AircraftRow("16", 7, 11, 14, 4.81),
    AircraftRow("14", 10, 14, 18, 3.06),
    AircraftRow("12", 13, 19, 25, 2.02),
    AircraftRow("10", 17, 26, 32, 1.26),
    AircraftRow("8", 38, 57, 71, 0.70),
    AircraftRow("6", 50, 76, 97, 0.44),
    AircraftRow("4", 68, 103, 133, 0.28),
    AircraftRow("2", 95, 141, 179, 0.18),
    AircraftRow("1", 113, 166, 210, 0.15),
    AircraftRow("1/0", 128, 192, 243, 0.12),
    AircraftRow("2/0", 147, 222, 285, 0.09),
    AircraftRow("3/0", 172, 262, 335, 0.07),
    AircraftRow("4/0", 204, 310, 395, 0.06),
)
"""AC 43.13-1B Table 11-9: 70 degC ambient, 33 or more wires (24 to 10 AWG) or 9 (8 AWG and thicker), harness
loaded to 20 % at most, 60 000 ft. Resistance of tin-plated wire. Too narrow in its conditions to rate a cable
by itself: kept for the low-voltage harness and for tests."""
