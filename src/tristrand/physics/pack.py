"""Arithmetic of a pack of equal cells: `series` groups of `parallel` cells, with links.

Unequal strings in parallel are a network: `tristrand.physics.circuit` takes them.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tristrand.physics._num import FloatArray, Num, arr, finite, not_negative, positive, same
from tristrand.records import NamedTuple
from tristrand.sources import cites


@cites("CLOSED-FORM#cells in series")
def pack_voltage_v(series: Num, cell_v: Num) -> Num:
    """Pack voltage from one cell's [V]: Ns * v. series > 0. Shapes broadcast. ValueError otherwise."""
    positive(series=series)
    return same(arr(series) * arr(cell_v))


@cites("CLOSED-FORM#cells in series")
def pack_voltage_range_v(series: Num, cell_lowest_v: Num, cell_highest_v: Num) -> tuple[Num, Num]:
    """Lowest and highest pack voltage from the cell's limits [V]: (Ns * vmin, Ns * vmax).

    Open-circuit limits; sag and charging rise come on top. ValueError where the lowest is above the highest.
    """
    if not bool(np.all(arr(cell_lowest_v) <= arr(cell_highest_v))):
        raise ValueError("cell_lowest_v must not be above cell_highest_v")
    return pack_voltage_v(series, cell_lowest_v), pack_voltage_v(series, cell_highest_v)


@cites("CLOSED-FORM#cells in series and parallel")
def pack_resistance_ohm(series: Num, parallel: Num, cell_ohm: Num, links_ohm: Num = 0.0) -> Num:
    """Resistance of the pack [ohm]: Ns * r/Np + links.

    links_ohm: all busbars, joints, fuses and leads in series [ohm] >= 0; series, parallel, cell_ohm > 0.
    Cell resistance depends on temperature, charge and the length of the pulse. Shapes broadcast. ValueError
    otherwise.
    """
    positive(series=series, parallel=parallel, cell_ohm=cell_ohm)
    not_negative(links_ohm=links_ohm)
    return same(arr(series) * arr(cell_ohm) / arr(parallel) + arr(links_ohm))


@cites("CLOSED-FORM#cells in parallel")
def pack_charge_c(parallel: Num, cell_charge_c: Num) -> Num:
    """Charge of the pack [C]: Np * q (1 Ah = 3600 C).

    Arguments > 0. Shapes broadcast. ValueError otherwise.
    """
    positive(parallel=parallel, cell_charge_c=cell_charge_c)
    return same(arr(parallel) * arr(cell_charge_c))


@cites("CLOSED-FORM#energy = voltage times charge")
def pack_energy_j(mean_v: Num, charge_c: Num) -> Num:
    """Energy of the pack [J]: V * Q at the mean (nominal) voltage. Arguments >= 0. 1 kWh = 3.6e6 J."""
    not_negative(mean_v=mean_v, charge_c=charge_c)
    return same(arr(mean_v) * arr(charge_c))


@cites("CLOSED-FORM#Ohm's law")
def short_circuit_current_a(open_v: Num, resistance_ohm: Num) -> Num:
    """Steady current into a dead short at the pack's terminals [A]: V/R.

    A resistance taken over 10 s understates the first milliseconds: use the ohmic (1 kHz) one there.
    resistance_ohm > 0. Shapes broadcast. ValueError otherwise.
    """
    positive(resistance_ohm=resistance_ohm)
    return same(arr(open_v) / arr(resistance_ohm))


@cites("CLOSED-FORM#Ohm's law")
def sag_v(current_a: Num, resistance_ohm: Num) -> Num:
    """Voltage lost inside the pack [V]: I * R; negative (a rise) while charging. resistance_ohm >= 0."""
    not_negative(resistance_ohm=resistance_ohm)
    return same(arr(current_a) * arr(resistance_ohm))


@cites("CLOSED-FORM#Ohm's law")
def terminal_voltage_v(open_v: Num, current_a: Num, resistance_ohm: Num) -> Num:
    """Terminal voltage under load [V]: V - I R; current positive when discharging. resistance_ohm >= 0."""
    return same(arr(open_v) - arr(sag_v(current_a, resistance_ohm)))


@cites("CLOSED-FORM#power of a source with resistance")
def power_w(open_v: Num, current_a: Num, resistance_ohm: Num) -> Num:
    """Power at the terminals [W]: I (V - I R); negative while charging.

    resistance_ohm >= 0. Shapes broadcast.
    """
    return same(arr(current_a) * arr(terminal_voltage_v(open_v, current_a, resistance_ohm)))


@cites("CLOSED-FORM#power of a source with resistance")
def current_at_largest_power_a(open_v: Num, resistance_ohm: Num) -> Num:
    """Current of the largest power [A]: V/(2 R). A bound of arithmetic, far beyond what cells may carry."""
    positive(resistance_ohm=resistance_ohm)
    return same(arr(open_v) / (2.0 * arr(resistance_ohm)))


@cites("CLOSED-FORM#power of a source with resistance")
def largest_power_w(open_v: Num, resistance_ohm: Num) -> Num:
    """Largest power the pack can give at its terminals [W]: V^2/(4 R).

    resistance_ohm > 0. Shapes broadcast.
    """
    positive(resistance_ohm=resistance_ohm)
    return same(arr(open_v) ** 2 / (4.0 * arr(resistance_ohm)))


@cites("CLOSED-FORM#power of a source with resistance")
def current_for_power_a(wanted_w: Num, open_v: Num, resistance_ohm: Num) -> Num:
    """Current at which the pack gives `wanted_w` [A]: the smaller root [V - sqrt(V^2 - 4 R P)]/(2 R).

    nan where P > V^2/(4 R): there is none. Negative power (charging) gives negative current. open_v > 0,
    resistance_ohm >= 0 (0 gives P/V). Shapes broadcast. ValueError otherwise.
    """
    positive(open_v=open_v)
    not_negative(resistance_ohm=resistance_ohm)
    volt = arr(open_v)
    inside = volt**2 - 4.0 * arr(resistance_ohm) * arr(wanted_w)
    root = np.sqrt(np.where(inside >= 0.0, inside, np.nan))
    # The same root with the difference moved below the line: exact for small R as well.
    return same(2.0 * arr(wanted_w) / (volt + root))


class TableValue(NamedTuple):
    """A value read from a table, and where the table ended and its edge was taken instead."""

    value: Num
    clamped_row: bool | NDArray[np.bool_]
    clamped_column: bool | NDArray[np.bool_]


def _axis(name: str, points: FloatArray) -> None:
    if points.ndim != 1 or points.size < 1 or not bool(np.all(np.isfinite(points))):
        raise ValueError(f"{name} must be a list of finite numbers")
    if not bool(np.all(np.diff(points) > 0.0)):
        raise ValueError(f"{name} must rise from entry to entry")


def _bracket(axis: FloatArray, wanted: FloatArray) -> tuple[NDArray[np.intp], NDArray[np.intp], FloatArray]:
    held = np.clip(wanted, axis[0], axis[-1])
    right = np.clip(np.searchsorted(axis, held), min(1, axis.size - 1), axis.size - 1)
    left = np.maximum(right - 1, 0)
    span = axis[right] - axis[left]
    share = np.where(span > 0.0, (held - axis[left]) / np.where(span > 0.0, span, 1.0), 0.0)
    return left, right, share


def _flag(values: NDArray[np.bool_]) -> bool | NDArray[np.bool_]:
    return bool(values) if values.ndim == 0 else values


@cites("NUMERICS#bilinear interpolation")
def interpolate_table(rows: Num, columns: Num, values: FloatArray, row: Num, column: Num) -> TableValue:
    """Read a two-way table, straight between its entries; outside of it take the edge and say so.

    rows (n,): e.g. temperature; columns (m,): e.g. state of charge; both rising. values (n, m).
    row, column: what is wanted, shapes broadcast. A table of one row or column is constant in that direction,
    and any other value asked of it counts as clamped. Raises ValueError for wrong shapes, axes that do not
    rise, or NaN.
    """
    row_axis, column_axis = np.atleast_1d(arr(rows)), np.atleast_1d(arr(columns))
    _axis("rows", row_axis)
    _axis("columns", column_axis)
    table = arr(values)
    if table.shape != (row_axis.size, column_axis.size):
        raise ValueError(f"values must have shape {(row_axis.size, column_axis.size)}, not {table.shape}")
    finite(values=table, row=row, column=column)
    r, c = np.broadcast_arrays(arr(row), arr(column))
    top, bottom, down = _bracket(row_axis, r)
    left, right, across = _bracket(column_axis, c)
    upper = table[top, left] * (1.0 - across) + table[top, right] * across
    lower = table[bottom, left] * (1.0 - across) + table[bottom, right] * across
    value = upper * (1.0 - down) + lower * down
    row_out = np.asarray((r < row_axis[0]) | (r > row_axis[-1]))
    column_out = np.asarray((c < column_axis[0]) | (c > column_axis[-1]))
    return TableValue(same(value), _flag(row_out), _flag(column_out))


@cites("NUMERICS#bilinear interpolation")
def table_least(
    rows: Sequence[float],
    columns: Sequence[float],
    table: Sequence[Sequence[float]],
    row_span: tuple[float, float],
    column_span: tuple[float, float],
) -> float:
    """Smallest value of a table, bilinear between its points, anywhere in two spans; 0 where these leave the table.

    rows, columns: rising axes; table: one line a row. Between the points the value is bilinear, so its smallest lies at
    an end of a span or at a point of an axis within. ValueError for a span whose low end is above the high one.
    """
    (low, high), (first, last) = row_span, column_span
    if low > high or first > last:
        raise ValueError("a span must not end below its beginning")
    if low < rows[0] or high > rows[-1] or first < columns[0] or last > columns[-1]:
        return 0.0
    across = sorted({first, last, *(c for c in columns if first < c < last)})
    down = sorted({low, high, *(r for r in rows if low < r < high)})
    lines = [[float(np.interp(c, columns, line)) for c in across] for line in table]
    return min(float(np.interp(r, rows, [line[k] for line in lines])) for r in down for k in range(len(across)))
