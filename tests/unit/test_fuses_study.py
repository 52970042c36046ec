"""Fuses under load, over starts and small overcurrents, and chargers in faults: numbers worked by hand."""

import math
from typing import Any

import pytest

from tests.workings import evaluate
from tristrand.app.pipeline import Pipeline
from tristrand.app.starter import starter_files
from tristrand.design import Design, apply_edits, load_files
from tristrand.findings import Edit
from tristrand.rules.view import WITH_CHARGER
from tristrand.studies import fuse_loads
from tristrand.studies.circuits import hv_circuit
from tristrand.studies.fuse_ways import fuse_ways
from tristrand.studies.results import CaseFlows, Flow, OperatingResult

HV, FUSE = "high_voltage.yaml", "parts/fuse-160.yaml"
STRINGS = (
    Edit(HV, "parts/pack2", "{kind: pack, sheet: pack-84s, state_of_charge: {minimum: 10 %, maximum: 100 %}, "
         "temperature: {minimum: 0 °C, maximum: 45 °C}}"),
    Edit(HV, "parts/fuse2", "{kind: fuse, sheet: fuse-160}"),
    Edit(HV, "connections/S1", "{from: pack2.plus, to: fuse2.a, cable: hv-35, length: 0.9 m}"),
    Edit(HV, "connections/S2", "{from: fuse2.b, to: k_plus.a, cable: hv-35, length: 0.2 m}"),
    Edit(HV, "connections/S3", "{from: pack2.minus, to: disconnect.a, cable: hv-35, length: 0.9 m}"),
)  # fmt: skip
CHARGER = tuple(Edit(*change) for change in WITH_CHARGER)


def design(*edits: Edit) -> Design:
    loaded = load_files(apply_edits(starter_files(), list(edits)), "starter")
    assert loaded.design is not None, loaded.problems
    return loaded.design


def result(name: str, *edits: Edit) -> Any:
    return Pipeline().run(design(*edits), [name])[name]


def carrying(fuse: str, amps: float, seconds: float = 0.0) -> OperatingResult:
    """A case in which one fuse carries a current; nothing else of it matters here."""
    case = CaseFlows("continuous", ("drive",), seconds, {fuse: Flow(amps, "")}, {}, {}, {}, {}, {}, "", {}, {})
    return OperatingResult(cases={"continuous": case})


# --- sustained load and hot air ---


def test_the_required_rating_is_that_of_the_worked_example() -> None:
    # 150 A in air of 60 °C, element at most 130 °C, rating at 25 °C: 150/0.75/0.8165 = 244.9 A, so a fuse of 250 A.
    data = fuse_loads.inputs(design(Edit(HV, "parts/main_fuse/ambient", "60 °C")))
    load = fuse_loads.study(data, carrying("main_fuse", 150.0)).fuses["main_fuse"]
    assert load.factor == pytest.approx(math.sqrt(70 / 105), rel=1e-12)
    assert load.factor == pytest.approx(0.8165, abs=5e-5)
    assert load.required_a == pytest.approx(244.9, abs=0.05)
    assert load.standard_a == 250.0
    assert load.allowed_a == pytest.approx(160 * 0.75 * 0.8165, rel=1e-4)


def test_a_sheets_own_temperatures_count() -> None:
    given = (Edit(FUSE, "hottest_element", "150 °C"), Edit(FUSE, "reference_ambient", "30 °C"))
    assert result("fuse_loads", *given).fuses["main_fuse"].factor == pytest.approx(math.sqrt(110 / 120), rel=1e-12)
    silent = (Edit(FUSE, "hottest_element", "null"), Edit(FUSE, "reference_ambient", "null"))
    assert result("fuse_loads", *silent).fuses["main_fuse"].factor == pytest.approx(math.sqrt(90 / 105), rel=1e-12)


def test_cold_air_earns_nothing_and_air_too_hot_leaves_nothing() -> None:
    cold = result("fuse_loads", Edit(HV, "parts/main_fuse/ambient", "-10 °C")).fuses["main_fuse"]
    assert (cold.factor, cold.allowed_a) == (1.0, pytest.approx(120.0))
    hot = result("fuse_loads", Edit(HV, "parts/main_fuse/ambient", "140 °C")).fuses["main_fuse"]
    assert (hot.factor, hot.allowed_a, hot.required_a) == (0.0, 0.0, math.inf)
    assert math.isnan(hot.standard_a)


def test_a_smaller_share_of_the_sheet_counts_a_larger_one_does_not() -> None:
    small = result("fuse_loads", Edit(FUSE, "continuous_share", "60 %")).fuses["main_fuse"]
    assert small.share == pytest.approx(0.6)
    large = result("fuse_loads", Edit(FUSE, "continuous_share", "90 %")).fuses["main_fuse"]
    assert large.share == 0.75


def test_without_air_the_factor_is_not_known_and_named() -> None:
    found = result("fuse_loads", Edit("vehicle.yaml", "ambient", "null"))
    assert {m.pointer for m in found.missing} == {"vehicle/ambient"}
    assert math.isnan(found.fuses["main_fuse"].factor)


def test_the_melting_current_of_a_peak_lies_straight_between_two_points() -> None:
    # 20 s lies between 320 A for 60 s and 480 A for 2 s.
    (timed,) = result("fuse_loads").fuses["main_fuse"].timed
    across = math.log(60 / 20) / math.log(60 / 2)
    assert timed.melting_a == pytest.approx(320 * (480 / 320) ** across, rel=1e-12)
    (long,) = result("fuse_loads", Edit(HV, "case_duration/peak", "700 s")).fuses["main_fuse"].timed
    assert math.isnan(long.melting_a)


def test_a_tolerance_counts_at_the_end_that_carries_less() -> None:
    load = result("fuse_loads", Edit(FUSE, "rated_current", "160 A ± 5 %")).fuses["main_fuse"]
    assert load.rated_a == pytest.approx(152.0)
    # The early end of the curve runs from 40 s to 10 s; 20 s lies in the middle.
    early = Edit(FUSE, "melting", "[{current: 200 A, time: 80 s ± 50 %}, {current: 800 A, time: 20 s ± 50 %}]")
    (timed,) = result("fuse_loads", early).fuses["main_fuse"].timed
    assert timed.melting_a == pytest.approx(200 * 4 ** (math.log(40 / 20) / math.log(40 / 10)), rel=1e-12)
    band = result("protection", Edit(FUSE, "minimum_breaking_current", "640 A ± 10 %")).bands["main_fuse"]
    assert band.uncleared_below_a == pytest.approx(704.0)


# --- who opens where the fuse does not ---


def test_the_band_of_the_main_fuse_by_hand() -> None:
    band = result("protection").bands["main_fuse"]
    # At 5 s the curve stands between 320 A for 60 s and 480 A for 2 s, up to 10 % off; below 640 A it may not clear.
    assert band.slow_below_a == pytest.approx(1.1 * 320 * 1.5 ** (math.log(60 / 5) / math.log(60 / 2)), rel=1e-9)
    assert (band.uncleared_below_a, band.to_a) == (640.0, 640.0)
    assert band.load_case == "peak"
    before = 2 * (0.05 / 2) ** (math.log(640 / 0.9 / 480) / math.log(800 / 480))
    assert band.open_before_s == pytest.approx(before, rel=1e-9)
    assert (band.in_series, band.behind) == (("k_plus", "k_minus"), ("drive", "dcdc"))


def test_an_early_fuse_must_be_relieved_earlier_and_a_late_one_leaves_more() -> None:
    wide = Edit(FUSE, "melting", "[{current: 320 A, time: 60 s ± 50 %}, {current: 800 A, time: 50 ms ± 50 %}]")
    point = Edit(FUSE, "melting", "[{current: 320 A, time: 60 s ± 0.001 %}, {current: 800 A, time: 50 ms}]")
    spread, sharp = (result("protection", edit).bands["main_fuse"] for edit in (wide, point))
    assert spread.open_before_s == pytest.approx(0.5 * sharp.open_before_s, rel=1e-4)
    assert spread.slow_below_a > sharp.slow_below_a


def test_a_slow_fuse_leaves_more_than_its_minimum_breaking_current() -> None:
    slow = Edit(FUSE, "melting", "[{current: 700 A, time: 500 s}, {current: 900 A, time: 5 s}]")
    band = result("protection", slow).bands["main_fuse"]
    assert band.to_a == pytest.approx(1.1 * 900.0)
    assert band.uncleared_below_a == 640.0


def test_a_fuse_without_curve_or_minimum_has_no_band() -> None:
    for field, value in (("melting", "[]"), ("minimum_breaking_current", "null")):
        bands = result("protection", Edit(FUSE, field, value)).bands
        assert set(bands) == {"fuse_dcdc"}


def test_ways_of_two_strings() -> None:
    ways = fuse_ways(hv_circuit(design(*STRINGS)))
    # Every device draws through both strings.
    assert ways["fuse2"][:3] == ways["main_fuse"][:3] == (("k_plus", "k_minus"), (), ("drive", "dcdc"))
    assert ways["fuse_dcdc"][:3] == (("k_plus", "k_minus"), ("dcdc",), ())
    # A contactor of its own in the second string takes its load off, and that of no other fuse.
    own = (
        *STRINGS,
        Edit(HV, "parts/k2", "{kind: contactor, sheet: contactor-200, role: main}"),
        Edit(HV, "connections/S2/to", "k2.a"),
        Edit(HV, "connections/S4", "{from: k2.b, to: k_plus.a, resistance: 1 mΩ}"),
    )
    ways = fuse_ways(hv_circuit(design(*own)))
    assert ways["fuse2"].in_series == ("k_plus", "k_minus", "k2")
    assert ways["main_fuse"].in_series == ("k_plus", "k_minus")


def test_a_contactor_in_another_branch_takes_nothing_off() -> None:
    branch = (Edit(HV, "parts/k3", "{kind: contactor, sheet: contactor-200, role: main}"),
              Edit(HV, "connections/W12/to", "k3.a"),
              Edit(HV, "connections/X3", "{from: k3.b, to: fuse_dcdc.a, resistance: 1 mΩ}"))  # fmt: skip
    ways = fuse_ways(hv_circuit(design(*branch)))
    assert ways["fuse_dcdc"].in_series == ("k_plus", "k_minus", "k3")
    assert ways["main_fuse"].in_series == ("k_plus", "k_minus")


def test_the_chain_names_the_cable_that_bears_least() -> None:
    # One lead of the way is thicker: the others still bear least.
    chains = result("protection", Edit(HV, "connections/W2/cable", "hv-50")).chains
    assert {(c.contactor, c.fuse) for c in chains} == {("k_plus", "main_fuse"), ("k_minus", "main_fuse")}
    # 35 mm² by 0.554 mΩ/m from 125 °C to 250 °C; the thin precharge leads are behind a resistor or short.
    bears = (17.241379 / 0.554 * 226 * math.sqrt(math.log((234.5 + 250) / (234.5 + 125)))) ** 2
    assert all(c.cable_a2s == pytest.approx(bears, rel=1e-4) for c in chains)
    assert all(c.contactor_a2s == pytest.approx(4000**2 * 20e-3) for c in chains)


# --- chargers ---


def test_a_charger_divides_between_the_fault_and_the_pack() -> None:
    of = design(*CHARGER)
    pipeline = Pipeline()
    run = pipeline.run(of, ["pack", "faults"])
    from tristrand.studies import faults

    data = {b.id: b.cold_ohm for b in faults.inputs(of).branches}
    added = {f.fault: f for f in run["faults"].from_chargers}
    # Seen from the bus: the pack with everything up to it on one side, the leads of the drive on the other.
    to_pack = sum(data[k] for k in ("W1", "main_fuse", "W2", "k_plus", "W8", "W3", "disconnect", "W4", "k_minus", "W9"))
    to_pack += run["pack"].packs["pack"].fault_ohm
    to_drive = data["W10"] + data["W11"]
    here = added["drive across"]
    assert here.adds_a == pytest.approx(18 * to_pack / (to_pack + to_drive), rel=1e-9)
    assert (here.alone_a, here.fuses) == (18.0, ())
    # Behind the converter's fuse the charger alone drives through it.
    assert (added["dcdc across"].alone_a, added["dcdc across"].fuses) == (18.0, ("fuse_dcdc",))
    # At the pack a fault takes all of it, and none once the contactors are open.
    assert added["pack.plus"].adds_a == pytest.approx(18.0, rel=1e-9)
    assert added["pack.plus"].alone_a == 0.0


def test_without_an_output_current_no_charger_is_claimed() -> None:
    assert result("faults", *CHARGER, Edit("parts/obc.yaml", "output_current", "null")).from_chargers == ()
    assert result("faults").from_chargers == ()


# --- workings ---


@pytest.mark.parametrize("name", ["fuse_loads", "protection", "faults"])
def test_workings_give_their_values(name: str) -> None:
    lines = result(name, *CHARGER).workings
    formulas = [line for line in lines if line.formula]
    assert lines
    for line in formulas:
        assert evaluate(line) == pytest.approx(line.value, rel=1e-9), (line.symbol, line.formula)
    symbols = {line.symbol for line in lines}
    wanted = {
        "fuse_loads": {"A1", "I_max", "I_req", "I_melt"},
        "protection": {"I_load", "I_gap", "t_before", "c_1", "c_2"},
        "faults": {"I_chg"},
    }
    assert wanted[name] <= symbols
