"""Whole sessions of the study against a stepped simulation written here, second by second, of the same pack.

The simulation shares no formula with the study: it reads the tables by its own interpolation, takes at each step the
smallest current that any limit allows, and adds up charge and energies.
"""

from bisect import bisect_right
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import pytest

from tristrand.design import Design, apply_edits, load_files, read_folder
from tristrand.findings import Edit
from tristrand.studies import charging, pack
from tristrand.studies.results import SessionFigures

FILES, _ = read_folder(Path(__file__).parents[2] / "demos" / "van-mended")
HV, PACK, OBC = "high_voltage.yaml", "parts/pack-96s.yaml", "parts/charger-6k6.yaml"
STEP_S = 2.0


class Ran(NamedTuple):
    """What the simulation adds up."""

    seconds: float
    held_s: float
    stored_j: float
    heat_j: float
    supply_j: float


def line(x: float, xs: Sequence[float], ys: Sequence[float]) -> float:
    """Straight between points, constant beyond."""
    if x <= xs[0]:
        return ys[0]
    if x >= xs[-1]:
        return ys[-1]
    k = bisect_right(xs, x)
    return ys[k - 1] + (ys[k] - ys[k - 1]) * (x - xs[k - 1]) / (xs[k] - xs[k - 1])


def stepped(of: Design, supply: str, one: SessionFigures) -> Ran:
    """The session at one supply, with the study's resistance, stepped by the midpoint rule."""
    sheet, obc, converter = of.sheet_of("pack"), of.sheet_of("charger"), of.sheet_of("dcdc")
    section = of.high_voltage.charging
    assert section is not None
    assert section.target is not None
    assert section.low_voltage_draw is not None
    box = section.supplies[supply]
    assert box.pilot_duty is not None
    assert box.voltage is not None
    duty = 100.0 * box.pilot_duty.value
    rated_ac = obc.rated_power.value / obc.efficiency.value
    low_ac = obc.low_power.input_power.value
    per_amp = box.voltage.value * obc.input.power_factor.value
    # Below 51 A the law 0.6 A per percent, the charger's own current and power, the cable's code is higher here.
    ac_w = min(0.6 * duty, obc.input.current.value, rated_ac / per_amp) * per_amp
    losses = (low_ac * (1 - obc.low_power.efficiency.value), rated_ac * (1 - obc.efficiency.value))
    slope = (losses[1] - losses[0]) / (rated_ac - low_ac)
    idle = losses[0] - slope * low_ac
    beside = section.low_voltage_draw.value / converter.efficiency.value
    left_w = ac_w - idle - slope * ac_w - beside
    cells = sheet.cells_in_series
    soc_points = [d.value for d in sheet.open_circuit_voltage.state_of_charge]
    volt_points = [cells * d.value for d in sheet.open_circuit_voltage.voltage]
    table = sheet.charge_table
    warm = [d.value for d in table.temperature]
    columns = [d.value for d in table.state_of_charge]
    rows = [[d.value for d in row] for row in table.current]
    at = [line(one.temperature_c, warm, [row[k] for row in rows]) for k in range(len(columns))]
    charge = sheet.cells_in_parallel * sheet.cell_capacity.value
    part = of.high_voltage.parts["pack"]
    soc = start = part.state_of_charge.minimum.value  # type: ignore[union-attr]
    most = obc.output_current.value - beside / line(start, soc_points, volt_points)
    ohm, top = one.resistance_ohm, cells * sheet.charge_voltage.value

    def amps(soc: float) -> tuple[float, bool]:
        volt = line(soc, soc_points, volt_points)
        # I (V + I R) = P by Newton's method.
        by_power = left_w / volt
        for _ in range(4):
            by_power -= (by_power * (volt + by_power * ohm) - left_w) / (volt + 2 * by_power * ohm)
        other = min(most, by_power, line(soc, columns, at), sheet.charge_current.value)
        held = (top - volt) / ohm
        return min(other, held), held < other

    seconds = held_s = stored = heat = supply_j = 0.0
    while True:
        middle = soc + 0.5 * amps(soc)[0] * STEP_S / charge
        current, held = amps(middle)
        step = min(STEP_S, (section.target.value - soc) * charge / current)
        volt = line(middle, soc_points, volt_points)
        seconds, held_s = seconds + step, held_s + step * held
        stored, heat = stored + volt * current * step, heat + current**2 * ohm * step
        supply_j += (current * (volt + current * ohm) + beside + idle) / (1 - slope) * step
        soc += current * step / charge
        if step < STEP_S:
            return Ran(seconds, held_s, stored, heat, supply_j)


@pytest.mark.parametrize(
    "edits",
    [
        (),
        # Tighter tables and a lower voltage, so that every limit has its turn.
        (
            Edit(
                PACK,
                "charge_table/current",
                "[[9 A, 8 A, 5 A], [14 A, 13 A, 6 A], [30 A, 25 A, 9 A], [21 A, 18 A, 8 A]]",
            ),
            Edit(PACK, "charge_voltage", "4.14 V"),
            Edit(HV, "charging/target", "97 %"),
        ),
        # A weak old pack: held at constant voltage for long.
        (
            Edit(PACK, "link_resistance", "400 mΩ"),
            Edit(PACK, "charge_voltage", "4.14 V"),
            Edit(HV, "charging/target", "96 %"),
        ),
    ],
    ids=["van", "tight tables", "weak pack"],
)
def test_sessions_are_those_of_a_stepped_simulation(edits: tuple[Edit, ...]) -> None:
    loaded = load_files(apply_edits(FILES, list(edits)), "van")
    assert loaded.design is not None
    of = loaded.design
    result = charging.study(charging.inputs(of), pack.study(pack.inputs(of)))
    assert len(result.supplies) == 2
    for name, supply in result.supplies.items():
        assert [one.name for one in supply.sessions] == ["cold", "mild", "hot"]
        for one in supply.sessions:
            ran = stepped(of, name, one)
            assert one.reached
            assert one.seconds == pytest.approx(ran.seconds, rel=2e-5)
            assert one.held_s == pytest.approx(ran.held_s, rel=2e-3, abs=2 * STEP_S)
            assert one.stored_j == pytest.approx(ran.stored_j, rel=2e-5)
            assert one.heat_j == pytest.approx(ran.heat_j, rel=1e-4)
            assert one.supply_j == pytest.approx(ran.supply_j, rel=2e-5)


def test_the_weak_pack_is_held_at_its_voltage_at_all() -> None:
    """Else the comparison above would say nothing about constant voltage."""
    edits = [Edit(PACK, "link_resistance", "400 mΩ"), Edit(PACK, "charge_voltage", "4.14 V"),
             Edit(HV, "charging/target", "96 %")]  # fmt: skip
    loaded = load_files(apply_edits(FILES, edits), "van")
    assert loaded.design is not None
    result = charging.study(charging.inputs(loaded.design), pack.study(pack.inputs(loaded.design)))
    assert max(one.held_s for one in result.supplies["yard"].sessions) > 600
