"""The insulation study against sums worked by hand and the reference's vectors, on small edits of the starter."""

import math

import pytest

from tests.workings import evaluate
from tristrand.app.starter import starter_files
from tristrand.design import Design, apply_edits, load_files
from tristrand.findings import Edit
from tristrand.physics.circuit import Battery, Circuit, Resistor, operating_point
from tristrand.physics.insulation_budget import faulted_budget
from tristrand.studies import insulation, pack
from tristrand.studies.results import InsulationResult

HV = "high_voltage.yaml"
PACK, DRIVE, DCDC = "parts/pack-84s.yaml", "parts/inverter-60.yaml", "parts/dcdc-1k2.yaml"
MONITOR = "insulation/monitor"


def design(*edits: Edit) -> Design:
    loaded = load_files(apply_edits(starter_files(), list(edits)), "starter")
    assert loaded.design is not None, loaded.problems
    return loaded.design


def studied(*edits: Edit) -> InsulationResult:
    of = design(*edits)
    return insulation.study(insulation.inputs(of), pack.study(pack.inputs(of)))


def volts(cells: int, each: float) -> tuple[Edit, ...]:
    """A pack of this many cells of this highest voltage."""
    return (
        Edit(PACK, "cells_in_series", str(cells)),
        Edit(PACK, "cell_voltage", f"{{minimum: 1 V, nominal: 2 V, maximum: {each} V}}"),
    )


def alone(given: str) -> tuple[Edit, ...]:
    """Only the pack leaks: everything else at the largest resistance that is taken, and next to no capacitance."""
    none = "{resistance: 10 GΩ, y_capacitance: 0 nF, withstand: 2 kV}"
    cable = (("insulation_resistance", "1000000 MΩ km"), ("y_capacitance", "0 nF/m"))
    return (
        Edit(PACK, "insulation", given),
        Edit(DRIVE, "insulation", none),
        Edit(DCDC, "insulation", none),
        Edit(HV, "insulation/fittings", none),
        Edit(HV, f"{MONITOR}/internal_resistance", "10 GΩ"),
        *(Edit(f"parts/{name}.yaml", key, text) for name in ("hv-4", "hv-35") for key, text in cable),
    )


def test_legs_of_the_starter_by_hand() -> None:
    result = studied()
    assert result.missing == ()
    assert result.legs is not None
    # Pack, drive, dcdc, fittings, twice the monitor's own 1.2 MΩ; cables: 4.4 m on the minus, 4.58 m on the plus side.
    siemens = 1 / 20e6 + 1 / 10e6 + 1 / 20e6 + 1 / 50e6 + 1 / 2.4e6
    minus_ohm, plus_ohm = 1 / (siemens + 4.4 / 100e9), 1 / (siemens + 4.58 / 100e9)
    assert result.legs.negative_ohm == pytest.approx(minus_ohm, rel=1e-12)
    assert result.legs.positive_ohm == pytest.approx(plus_ohm, rel=1e-12)
    assert result.legs.weaker_leg == "positive"
    assert result.highest_v == pytest.approx(84 * 4.15)
    assert result.ohm_per_volt == pytest.approx(plus_ohm / (84 * 4.15), rel=1e-12)
    # The monitor does not read its own resistance.
    both = 1 / (1 / minus_ohm + 1 / plus_ohm - 2 / 2.4e6)
    assert result.shows_ohm == pytest.approx(both, rel=1e-9)
    # Capacitances at their high end; cables of 35 mm² 2.5 and 2.4 m, of 4 mm² 1.9 and 2.18 m.
    parts_nf = 1.2 * (30 + 150 + 47) + 5
    assert result.y is not None
    assert result.y.negative_f == pytest.approx((parts_nf + 2.5 * 0.32 + 1.9 * 0.16) * 1e-9, rel=1e-12)
    assert result.y.positive_f == pytest.approx((parts_nf + 2.4 * 0.32 + 2.18 * 0.16) * 1e-9, rel=1e-12)


def test_the_worked_vector_of_the_two_reading_measurement() -> None:
    # 360 V, minus leg 400 kΩ, plus leg 150 kΩ: 416.67 Ω/V; a monitor shows 109.091 kΩ.
    edits = alone("{resistance: 150 kΩ, minus_resistance: 400 kΩ, y_capacitance: 0 nF, withstand: 2 kV}")
    result = studied(*volts(80, 4.5), *edits)
    assert result.legs is not None
    assert result.legs.weaker_leg == "positive"
    assert result.ohm_per_volt == pytest.approx(416.67, rel=2e-4)
    assert result.shows_ohm == pytest.approx(109.091e3, rel=2e-4)


@pytest.mark.parametrize(("cells", "each", "leg_uf", "above_uf"), [(80, 5.0, 2.5, 2.5575), (160, 5.0, 0.625, 0.62854)])
def test_capacitance_that_holds_the_touch_energy(cells: int, each: float, leg_uf: float, above_uf: float) -> None:
    for farad_uf, field in ((leg_uf, "leg_j"), (above_uf, "leg_above_limit_j")):
        given = f"{{resistance: 20 MΩ, y_capacitance: {farad_uf} µF, withstand: 2 kV}}"
        result = studied(*volts(cells, each), *alone(given))
        assert getattr(result.y, field) == pytest.approx(0.2, rel=1e-4)
    assert result.y is not None
    # Both poles alike and balanced: a touch takes half of one leg's energy, with the other pole grounded twice.
    assert result.y.touch_j == pytest.approx(result.y.leg_j / 2, rel=1e-6)
    assert result.y.touch_fault_j == pytest.approx(result.y.leg_j * 2, rel=1e-6)


def test_settling_by_hand() -> None:
    result = studied(*alone("{resistance: 20 MΩ, y_capacitance: 100 nF, withstand: 2 kV}"))
    # Two legs of 20 MΩ and a meter of 10 MΩ: 5 MΩ; 200 nF: a second, five times.
    assert result.y is not None
    assert result.y.settling_s == pytest.approx(5.0, rel=5e-3)


def test_what_the_monitor_reads_of_a_fault_is_the_faulted_budget() -> None:
    result = studied()
    assert result.least_ohm == pytest.approx(500 * 84 * 4.15)
    beside = [p for p in result.parts if p.name != "insulation monitor"]
    assert [fault.name for fault in result.faults] == [p.name for p in beside]
    for fault in result.faults:
        one = [faulted_budget(beside, fault.name, result.least_ohm, (leg,)) for leg in ("negative", "positive")]
        both = faulted_budget(beside, fault.name, result.least_ohm)
        assert fault.one_leg_ohm == pytest.approx(max(b.parallel_ohm for b in one), rel=1e-9)
        assert fault.both_legs_ohm == pytest.approx(both.parallel_ohm, rel=1e-9)
        # At the level named it reads just its trip level, 200 kΩ less 10 %.
        at = [faulted_budget(beside, fault.name, fault.trips_below_ohm, (leg,)) for leg in ("negative", "positive")]
        assert max(b.parallel_ohm for b in at) == pytest.approx(180e3, rel=1e-5)
        assert fault.trips_one_leg
        assert fault.trips_both_legs


def test_a_persons_current_is_that_of_the_circuit_solver() -> None:
    result = studied(Edit(PACK, "insulation/minus_resistance", "600 kΩ"))
    legs = [(p.name, "minus", p.negative_ohm) for p in result.parts]
    legs += [(p.name, "plus", p.positive_ohm) for p in result.parts]
    currents = []
    for touched in ("plus", "minus"):
        parts = [Resistor(f"{name} {pole}", pole, "chassis", ohm) for name, pole, ohm in legs]
        parts += [Battery("pack", "plus", "minus", result.highest_v, 1e-3), Resistor("person", touched, "chassis", 1.0)]
        point = operating_point(Circuit(tuple(parts)))
        assert point.converged.all()
        currents.append(abs(float(point.currents_a["person"][0])))
    assert max(currents) == pytest.approx(1.0 / result.ohm_per_volt, rel=1e-4)
    assert currents.index(max(currents)) == 0  # the minus leg is the weaker one: the plus pole is the one to fear


def test_a_monitor_that_compares_poles_is_blind_to_even_faults() -> None:
    for fault in studied(Edit(HV, f"{MONITOR}/method", "compares_poles")).faults:
        assert fault.trips_one_leg
        assert not fault.trips_both_legs


def test_a_leaky_bus_trips_without_a_fault() -> None:
    result = studied(Edit(DRIVE, "insulation/resistance", "300 kΩ"))
    others = [fault for fault in result.faults if fault.name != "drive"]
    # 300 kΩ at both poles reads under 150 kΩ, below the trip level of 180 kΩ, whatever the others do.
    assert result.shows_ohm < 150e3
    assert all(math.isinf(fault.trips_below_ohm) for fault in others)


def test_least_insulation_follows_the_alternating_sides() -> None:
    protected = Edit(DRIVE, "insulation/alternating_side", "protected")
    assert studied().joined == ("drive",)
    assert studied(protected).joined == ()
    assert studied(protected).least_ohm == pytest.approx(100 * 84 * 4.15)
    assert studied().alternating_v == pytest.approx(84 * 4.15 * math.sqrt(2 / 3))


def test_ends_of_tolerances_are_the_hard_ones() -> None:
    before = studied()
    after = studied(
        Edit(PACK, "insulation/resistance", "20 MΩ ± 50 %"), Edit(PACK, "insulation/y_capacitance", "30 nF ± 50 %")
    )
    assert before.legs is not None
    assert after.legs is not None
    assert 1 / after.legs.positive_ohm - 1 / before.legs.positive_ohm == pytest.approx(1 / 10e6 - 1 / 20e6)
    assert after.legs.positive_f - before.legs.positive_f == pytest.approx(9e-9)


def test_the_minus_pole_may_differ() -> None:
    result = studied(
        Edit(PACK, "insulation/minus_resistance", "1 MΩ"), Edit(PACK, "insulation/minus_y_capacitance", "0 nF")
    )
    part = next(p for p in result.parts if p.name == "pack")
    assert part[1:] == (1e6, 20e6, 0.0, pytest.approx(36e-9))
    assert result.legs is not None
    assert result.legs.weaker_leg == "negative"


MIDDLE = (
    Edit(HV, "parts/pack2", "{kind: pack, sheet: pack-84s, state_of_charge: {minimum: 10 %, maximum: 100 %}, "
         "temperature: {minimum: 0 °C, maximum: 45 °C}}"),
    Edit(HV, "connections/W3/from", "pack2.minus"),
    Edit(HV, "connections/M1", "{from: pack.minus, to: pack2.plus, cable: hv-35, length: 1 m}"),
)  # fmt: skip


def test_packs_in_series_and_the_cable_between_them() -> None:
    one, two = studied(), studied(*MIDDLE)
    assert two.highest_v == pytest.approx(2 * 84 * 4.15)
    cables = {result.highest_v: next(p for p in result.parts if p.name == "all cables") for result in (one, two)}
    # It lies on neither pole, so it counts at both.
    for leg in ("negative_f", "positive_f"):
        more = getattr(cables[two.highest_v], leg) - getattr(cables[one.highest_v], leg)
        assert more == pytest.approx(0.32e-9)


def test_where_the_monitor_hangs() -> None:
    assert (studied().wrong_poles, studied().watches) == ((), "the bus")
    on_pack = studied(Edit(HV, f"{MONITOR}/plus", "pack.plus"), Edit(HV, f"{MONITOR}/minus", "pack.minus"))
    assert (on_pack.wrong_poles, on_pack.watches) == ((), "the pack")
    mixed = studied(Edit(HV, f"{MONITOR}/plus", "k_plus.a"))
    assert (mixed.wrong_poles, mixed.watches) == ((), "one pole of the pack and one of the bus")
    turned = studied(Edit(HV, f"{MONITOR}/plus", "bus_minus.bar"), Edit(HV, f"{MONITOR}/minus", "bus_plus.bar"))
    assert turned.wrong_poles == ("bus_minus.bar", "bus_plus.bar")
    # Between the discharge contactor, open while driving, and its resistor, which is no conductor: no pole.
    assert studied(Edit(HV, f"{MONITOR}/plus", "r_dis.a")).wrong_poles == ("r_dis.a",)
    # The same where no contactor switches the discharge resistor: then its end is the pole.
    always = (Edit(HV, "connections/W15/to", "r_dis.a"), Edit(HV, "connections/W16/from", "bus_plus.bar"))
    assert studied(*always, Edit(HV, f"{MONITOR}/plus", "r_dis.a")).wrong_poles == ()
    # Behind the charging contactor, open while driving.
    assert studied(*INLET, Edit(HV, f"{MONITOR}/plus", "inlet.plus")).wrong_poles == ("inlet.plus",)


@pytest.mark.parametrize("name", ["cables", "fittings", "monitor"])
def test_any_name_of_a_part_will_do(name: str) -> None:
    files = {file: text.replace(b"dcdc", name.encode()) for file, text in starter_files().items() if "/" not in file}
    sheets = {file: text for file, text in starter_files().items() if "/" in file}
    files[HV] = files[HV].replace(f"kind: {name}".encode(), b"kind: dcdc")
    files[HV] = files[HV].replace(f"sheet: {name}-1k2".encode(), b"sheet: dcdc-1k2")
    of = load_files(files | sheets, "starter").design
    assert of is not None
    result, before = insulation.study(insulation.inputs(of), pack.study(pack.inputs(of))), studied()
    assert result.legs is not None
    assert before.legs is not None
    assert result.legs.weaker_ohm == pytest.approx(before.legs.weaker_ohm)
    assert result.shows_ohm == pytest.approx(before.shows_ohm)


def test_what_a_plug_takes_off_the_bus() -> None:
    groups = {group.name: set(group.members) for group in studied().groups}
    assert groups["drive"] == {"W10", "W11"}
    assert groups["dcdc"] == {"W12", "fuse_dcdc", "W13", "W14"}
    assert groups["pack and main bus"] == set()


INLET = (
    Edit("parts/inlet.yaml", "", "{kind: inlet, insulation: {resistance: 30 MΩ, y_capacitance: 2 nF}}"),
    Edit(HV, "parts/inlet", "{kind: inlet, sheet: inlet}"),
    Edit(HV, "parts/k_c", "{kind: contactor, sheet: contactor-200, role: charge}"),
    Edit(HV, "connections/I1", "{from: bus_plus.bar, to: k_c.a, cable: hv-35, length: 1 m}"),
    Edit(HV, "connections/I2", "{from: k_c.b, to: inlet.plus, cable: hv-35, length: 1 m}"),
    Edit(HV, "connections/I3", "{from: bus_minus.bar, to: inlet.minus, cable: hv-35, length: 2 m}"),
)  # fmt: skip


def test_an_inlet_behind_its_contactor_counts_and_is_a_group() -> None:
    result, before = studied(*INLET), studied()
    assert next(set(g.members) for g in result.groups if g.name == "inlet") == {"I1", "k_c", "I2", "I3"}
    assert result.y is not None
    assert before.y is not None
    # 2 nF of the inlet and 2 m of cable at each pole.
    assert result.y.positive_f - before.y.positive_f == pytest.approx((2 + 2 * 0.32) * 1e-9)
    assert result.y.negative_f - before.y.negative_f == pytest.approx((2 + 2 * 0.32) * 1e-9)


def test_devices_on_one_cable_share_no_branch() -> None:
    # A second converter on the first one's terminals: what feeds both is no branch of either.
    twin = (
        Edit(HV, "parts/dcdc2", "{kind: dcdc, sheet: dcdc-1k2}"),
        Edit(HV, "connections/T1", "{from: dcdc.plus, to: dcdc2.plus, cable: hv-4, length: 0.2 m}"),
        Edit(HV, "connections/T2", "{from: dcdc.minus, to: dcdc2.minus, cable: hv-4, length: 0.2 m}"),
    )
    groups = {group.name: set(group.members) for group in studied(*twin).groups}
    assert groups["dcdc"] == set()
    assert groups["dcdc2"] <= {"T1", "T2"}


def test_the_search_asks_the_least_on_average() -> None:
    # Weights 3, 1 and 1: the likeliest alone against the other two (2), then those: (5 + 2)/5 readings.
    plan = studied().unplug
    assert plan is not None
    assert plan.expected_steps == pytest.approx(7 / 5)
    assert plan.most_steps == 2
    assert plan.first.unplug == ("drive",)  # type: ignore[union-attr]
    even = studied(Edit(HV, "insulation/fault_likelihood", "{drive: 1}")).unplug
    assert even is not None
    assert even.expected_steps == pytest.approx(5 / 3)


def test_missing_data_leave_it_open_by_name() -> None:
    result = studied(Edit(PACK, "insulation", "{withstand: 2 kV}"))
    assert result.legs is None
    assert {m.pointer for m in result.missing} == {
        "parts/pack-84s/insulation/resistance",
        "parts/pack-84s/insulation/y_capacitance",
    }
    # What does not hang on them is there all the same.
    assert result.highest_v == pytest.approx(84 * 4.15)
    assert result.unplug is not None


def test_workings_give_what_they_say() -> None:
    lines = list(studied().workings)
    assert len([line for line in lines if line.formula]) >= 9
    for line in lines:
        if line.formula:
            assert evaluate(line) == pytest.approx(line.value, rel=1e-9), line.words


def test_inputs_are_equal_for_equal_designs_and_hashable() -> None:
    one, two = insulation.inputs(design()), insulation.inputs(design())
    assert hash(one) == hash(two)
    assert one == two
    assert one != insulation.inputs(design(Edit(PACK, "insulation/resistance", "21 MΩ")))
