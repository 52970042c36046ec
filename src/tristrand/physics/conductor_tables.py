"""Printed tables of conductor sizes and resistances, each with its source, and the AWG formula.

Nominal cross-section is a name, not an area: resistance always comes from these tables.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from tristrand.sources import cites

# fmt: off
_CLASS5_MM2 = (0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0, 120.0, 150.0)
_PLAIN_MOHM = (
    39.0, 26.0, 19.5, 13.3, 7.98, 4.95, 3.30, 1.91, 1.21, 0.780, 0.554, 0.386, 0.272, 0.206, 0.161, 0.129,
)
_TINNED_MOHM = (
    40.1, 26.7, 20.0, 13.7, 8.21, 5.09, 3.39, 1.95, 1.24, 0.795, 0.565, 0.393, 0.277, 0.210, 0.164, 0.132,
)
# fmt: on


def _table(keys: tuple[float, ...], milliohms: tuple[float, ...]) -> Mapping[float, float]:
    # value / 1000 rounds to the float nearest the printed number; value * 1e-3 does not always.
    return MappingProxyType({key: value / 1000.0 for key, value in zip(keys, milliohms, strict=True)})


CLASS5_PLAIN_OHM_PER_M: Mapping[float, float] = _table(_CLASS5_MM2, _PLAIN_MOHM)
"""IEC 60228 class 5, plain copper: nominal mm2 -> largest resistance at 20 degC [ohm/m]."""
CLASS5_TINNED_OHM_PER_M: Mapping[float, float] = _table(_CLASS5_MM2, _TINNED_MOHM)
"""IEC 60228 class 5, tinned copper: nominal mm2 -> largest resistance at 20 degC [ohm/m]."""
ALUMINIUM_OHM_PER_M: Mapping[float, float] = _table(
    (16.0, 25.0, 35.0, 50.0, 70.0, 95.0, 120.0), (1.91, 1.20, 0.868, 0.641, 0.443, 0.320, 0.253)
)
"""IEC 60228 classes 1 and 2, aluminium: nominal mm2 -> largest resistance at 20 degC [ohm/m]."""

# fmt: off
AWG_SIZES: tuple[str, ...] = (
    "4/0", "3/0", "2/0", "1/0", "1", "2", "3", "4", "6", "8", "10", "12", "14", "16", "18", "20", "22", "24",
)
# fmt: on
"""AWG sizes in use on vehicles, thickest first."""

SAE_CIRCULAR_MILS: Mapping[str, int] = MappingProxyType({
    "18": 1537, "16": 2336, "14": 3702, "12": 5833, "10": 9343, "8": 14810, "6": 24538, "4": 37360,
    "2": 62450, "1": 77790, "1/0": 98980, "2/0": 125100, "3/0": 158600, "4/0": 205500,
})  # fmt: skip
"""SAE J1127/J1128 least conductor area by AWG name [circular mil]: 3 to 12 % below the AWG area."""

MM2_PER_CIRCULAR_MIL = 5.067075e-4
"""pi/4 * (0.0254 mm)^2, as printed to seven digits."""


def _look_up(what: str, table: Mapping[float, float], nominal_mm2: float) -> float:
    found = table.get(float(nominal_mm2))
    if found is None:
        near = sorted(table, key=lambda size: abs(size - nominal_mm2))[:2]
        raise ValueError(f"{nominal_mm2:g} mm² is not in {what}; nearest: {', '.join(f'{n:g}' for n in sorted(near))}")
    return found


@cites("IEC-60228#class 5 conductors, largest resistance at 20 °C")
def class5_resistance_ohm_per_m(nominal_mm2: float, tinned: bool = False) -> float:
    """Largest resistance of a class 5 (fine-stranded) copper conductor at 20 degC [ohm/m], as printed.

    nominal_mm2: one of the printed sizes, 0.5 to 150 mm2. Raises ValueError for any other, naming the
    nearest.
    """
    table = CLASS5_TINNED_OHM_PER_M if tinned else CLASS5_PLAIN_OHM_PER_M
    return _look_up("the class 5 table", table, nominal_mm2)


@cites("IEC-60228#class 1 and 2 aluminium conductors, largest resistance at 20 °C")
def aluminium_resistance_ohm_per_m(nominal_mm2: float) -> float:
    """Largest resistance of a class 1 or 2 aluminium conductor at 20 degC [ohm/m], as printed.

    nominal_mm2: one of the printed sizes, 16 to 120 mm2. Raises ValueError for any other, naming the nearest.
    """
    return _look_up("the aluminium table", ALUMINIUM_OHM_PER_M, nominal_mm2)


@cites("ASTM-B258#size names")
def awg_number(size: str) -> int:
    """Number in the AWG formula for a size name: "4/0" -> -3, "1/0" -> 0, "1" -> 1, "24" -> 24.

    Accepts "2/0", "00" and "0" forms, with or without "AWG". Sizes 4/0 to 40. Raises ValueError for anything
    else.
    """
    text = size.upper().replace("AWG", "").replace("#", "").strip()
    head, slash, tail = text.partition("/")
    if slash and tail == "0" and head in {"1", "2", "3", "4"}:
        return 1 - int(head)
    if text and set(text) == {"0"} and len(text) <= 4:
        return 1 - len(text)
    if text.isascii() and text.isdigit() and not text.startswith("0") and int(text) <= 40:
        return int(text)
    raise ValueError(f"{size!r} is not an AWG size from 4/0 to 40")


@cites("ASTM-B258#diameter formula")
def awg_diameter_m(size: str) -> float:
    """Diameter of the solid AWG wire [m]: 0.127 mm * 92^((36 - n)/39), n from `awg_number`."""
    return 0.127e-3 * float(92.0 ** ((36 - awg_number(size)) / 39.0))


@cites("ASTM-B258#diameter formula")
def awg_area_mm2(size: str) -> float:
    """Metal area of an AWG size [mm2]: pi/4 * d^2. SAE wire of the same name has less: `sae_area_mm2`."""
    return 0.25 * 3.141592653589793 * (awg_diameter_m(size) * 1e3) ** 2


@cites("ASTM-B258#diameter formula")
def awg_circular_mils(size: str) -> float:
    """Area of an AWG size [circular mil]: (d / 0.001 inch)^2."""
    return (awg_diameter_m(size) / 25.4e-6) ** 2


@cites("SAE-J1127#least conductor area")
def sae_area_mm2(size: str) -> float:
    """Least metal area of SAE battery and primary wire by AWG name [mm2]: circular mils * 5.067075e-4.

    Raises ValueError for a size that the table does not hold (18 to 4/0, without 3).
    """
    number = awg_number(size)
    name = f"{1 - number}/0" if number <= 0 else str(number)
    if name not in SAE_CIRCULAR_MILS:
        raise ValueError(f"no SAE area for AWG {size!r}; sizes held: {', '.join(SAE_CIRCULAR_MILS)}")
    return SAE_CIRCULAR_MILS[name] * MM2_PER_CIRCULAR_MIL
