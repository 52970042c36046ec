"""Behaviour of the discharge study: opening orders, failed discharge, gaps in the data, and every formula it prints."""

from __future__ import annotations

import math

import pytest

from tests.transient_designs import one_loop, packs, van
from tests.workings import evaluate
from tristrand.design import Design
from tristrand.studies import discharge
from tristrand.studies.results import DischargeResult, Working, working


def studied(design: Design) -> DischargeResult:
    return discharge.study(discharge.inputs(design), packs(design))


def test_the_van_after_every_opening_order() -> None:
    result = studied(van())
    assert result.missing == ()
    assert [c.name for c in result.cases[:6]] == [
        "all main contactors at once", "k_plus first", "k_minus first", "disconnect pulled",
        "k_plus welded", "k_minus welded",
    ]  # fmt: skip
    assert [c.active for c in result.cases] == [True] * 6 + [False] * 6
    assert result.start_v == pytest.approx(96 * 4.15, rel=1e-4)
    # All bus capacitance at its high end, the resistor at its high end beside the built-in resistances.
    farad, fall = 1.0725e-3, math.log(96 * 4.15 / 60)
    beside = 1 / 150e3 + 1 / 220e3
    active = farad * fall / (beside + 1 / 4935)
    # The discharge contactor closes 15 ms after its coil drops; till then the bus hardly falls.
    assert result.slowest_active_s == pytest.approx(active + 0.015, abs=2e-3)
    assert result.passive_s == pytest.approx(farad * fall / beside, rel=2e-3)
    assert result.capacitance_f == pytest.approx(farad)


def test_a_bus_that_stays_fed_is_never_down() -> None:
    # With k_minus bridged by a bar only k_plus opens the circuit, and welded it opens nothing.
    bar = "  B9: {from: k_minus.a, to: k_minus.b, resistance: 0.05 mΩ}\n"
    design = van(("  B2: {from: disconnect.b", f"{bar}  B2: {{from: disconnect.b"))
    result = studied(design)
    by_name = {c.name: c for c in result.cases if c.active}
    assert math.isnan(by_name["k_plus welded"].seconds)
    assert by_name["k_plus welded"].final_v == pytest.approx(398.4, rel=1e-3)
    assert by_name["k_minus welded"].seconds == pytest.approx(9.5, abs=0.1)
    assert math.isnan(result.slowest_active_s)
    assert result.slowest_active_case == "k_plus welded"
    # In that order the bus is fed until k_plus opens 100 ms after k_minus.
    assert by_name["k_minus first"].seconds - by_name["k_plus first"].seconds == pytest.approx(0.095, abs=0.01)


def test_without_built_in_resistance_a_failed_discharge_is_never() -> None:
    result = studied(one_loop())
    assert math.isnan(result.passive_s)
    assert result.slowest_active_s == pytest.approx(9.4856, abs=1e-4)


def test_a_resistor_without_contactor_works_in_every_case() -> None:
    design = one_loop(swap=(("{from: k_dis.a, to: drive.plus", "{from: k_dis.b, to: drive.plus"),))
    result = studied(design)
    # While the pack is on it loads it: the start is 400 V * 5000/5000.1.
    seconds = 5000 * 1e-3 * math.log(400 * 5000 / 5000.1 / 60)
    assert result.slowest_active_s == pytest.approx(seconds, rel=1e-6)
    assert result.passive_s == pytest.approx(seconds, rel=1e-6)


def test_contactor_times_delay_the_start() -> None:
    base = van()
    slow = van(("close_time: 15 ms", "close_time: 515 ms"), file="parts/contactor-20.yaml")
    assert studied(slow).slowest_active_s - studied(base).slowest_active_s == pytest.approx(0.5 * 0.945, abs=0.02)
    assert studied(slow).largest_resistance_ohm["r_dis"] < studied(base).largest_resistance_ohm["r_dis"]


def test_the_largest_resistance_meets_the_limit_in_the_solved_circuit() -> None:
    ohm = studied(van()).largest_resistance_ohm["r_dis"]
    again = studied(van(("4.7 kΩ ± 5 %", f"{ohm:.3f} Ω"), file="parts/resistor-4k7-75w.yaml"))
    assert again.slowest_active_s == pytest.approx(5.0, abs=2e-3)


def test_without_a_limit_of_the_owner_the_usual_five_seconds_count() -> None:
    own = studied(van(("discharge: {within: 5 s}", "discharge: {within: 5 s}")))
    result = studied(van(("discharge: {within: 5 s}", "")))
    assert result.limit_s == 5.0
    assert result.largest_resistance_ohm == own.largest_resistance_ohm
    assert result.missing == ()


def test_gaps_in_the_data() -> None:
    result = studied(van(("thermal_resistance: 1.6 K/W\n", ""), file="parts/resistor-4k7-75w.yaml"))
    assert [m.pointer for m in result.missing] == ["parts/resistor-4k7-75w/thermal_resistance"]
    assert result.resistor_temperature_15s_c == {}
    assert result.slowest_active_s > 0
    result = studied(van(("open_time: 10 ms\n", ""), file="parts/contactor-250.yaml"))
    assert [m.pointer for m in result.missing] == ["parts/contactor-250/open_time"]
    assert result.cases == ()
    result = studied(van(("open_time: 8 ms\n", ""), file="parts/contactor-20.yaml"))
    assert result.missing == ()
    assert len(result.cases) == 12


def test_resistor_left_on() -> None:
    result = studied(van())
    watt = (96 * 4.15) ** 2 / (0.95 * 4700)
    assert result.resistor_power_w["r_dis"] == pytest.approx(watt, rel=1e-4)
    rise = watt * 1.6 * (1 - math.exp(-15 / (1.6 * 45)))
    assert result.resistor_temperature_15s_c["r_dis"] == pytest.approx(55 + rise, rel=1e-4)


def test_series_fall_from_the_start_through_sixty_volts() -> None:
    series = studied(van()).series
    assert len(series) == 2
    for curve in series:
        assert curve.y[0] == pytest.approx(398.4, rel=1e-3)
        assert curve.y[-1] < 60
        assert len(curve.x) == len(curve.y) == 120


def test_every_printed_formula_gives_its_value() -> None:
    lines = studied(van()).workings
    assert {"P_on", "E_on", "T_on", "R_all", "R_most"} <= {w.symbol for w in lines if w.formula}
    for line in lines:
        assert line.formula or line.method, line.symbol
        if line.formula:
            assert evaluate(line) == pytest.approx(line.value, rel=1e-9), (line.symbol, line.formula)


def test_inputs_are_plain_and_comparable() -> None:
    one, two = discharge.inputs(van()), discharge.inputs(van())
    assert one == two
    assert hash(one) == hash(two)


def line(formula: str, **inputs: tuple[float, str]) -> Working:
    return working("x", "y", "", formula, 0.0, "1", "CLOSED-FORM#test", **inputs)


def test_the_reader_of_formulas_knows_arithmetic_and_nothing_else() -> None:
    assert evaluate(line("-a**2 + min(b, 3)/ln(exp(2))", a=(2.0, "1"), b=(5.0, "1"))) == pytest.approx(-2.5)
    assert evaluate(line("sqrt(a)*log10(100) - max(1, a)", a=(4.0, "1"))) == pytest.approx(0.0)
    for bad in ("a.real", "open(a)", "a if a else 1", "a and 1", "'a'", "b", "True"):
        with pytest.raises(ValueError, match=r"no arithmetic|not used"):
            evaluate(line(bad, a=(1.0, "1")))
    with pytest.raises(ValueError, match="not used: b"):
        evaluate(line("a", a=(1.0, "1"), b=(1.0, "1")))


def test_a_device_with_one_pole_off_holds_no_voltage_and_is_left_out() -> None:
    result = studied(van(("from: bus_minus.bar, to: dcdc.minus", "from: bus_minus.bar, to: heater.minus")))
    farad = 1.1 * (900e-6 + 10e-6 + 25e-6)
    assert result.capacitance_f == pytest.approx(farad)
    ohm = 1 / (1 / 150e3 + 1 / 220e3 + 1 / 4935)
    assert result.slowest_active_s == pytest.approx(ohm * farad * math.log(398.4 / 60) + 0.015, abs=2e-3)


def test_a_bus_cut_off_from_the_pack_is_an_open_point() -> None:
    result = studied(one_loop(swap=(("  W6: {from: k_plus.b, to: drive.plus, resistance: 0.001 mΩ}\n", ""),)))
    assert [m.pointer for m in result.missing] == ["high_voltage/connections"]
    assert result.cases == ()
