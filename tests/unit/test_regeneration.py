"""Braking back into the pack: the current it drives, which way, and what it is held against."""

import math

import pytest

from tristrand.app.check import judge_design
from tristrand.app.pipeline import Pipeline, Results
from tristrand.app.starter import starter_files
from tristrand.design import apply_edits, load_files
from tristrand.findings import Edit, Finding

HV = "high_voltage.yaml"
PACK = "parts/pack-84s.yaml"
Change = tuple[str, str, str]
PIPELINE = Pipeline()
BASE = dict(starter_files())
MODES: Change = ("vehicle.yaml", "modes/drive", "{high_voltage: [continuous, peak, regeneration]}")
# One corner, at 50 % and 25 degC: 84 cells of 3.66 V; the resistance of the starter's table there, 84 times, and links.
ONE_CORNER: tuple[Change, ...] = (
    (HV, "parts/pack/state_of_charge", "{minimum: 50 %, maximum: 50.0001 %}"),
    (HV, "parts/pack/temperature", "{minimum: 25 °C, maximum: 25.0001 °C}"),
    (PACK, "cell_resistance", "{temperature: [0 °C, 25 °C], state_of_charge: [10 %, 100 %], "
                              "resistance: [[1 mΩ, 1 mΩ], [1 mΩ, 1 mΩ]]}"),
    (PACK, "link_resistance", "16 mΩ"),
)  # fmt: skip

HELD: Change = (HV, "regeneration", "{current_control: fixed, cell_voltage: 4.15 V}")


def braking(watts: str, *changes: Change) -> Results:
    given = (MODES, (HV, "parts/drive/power/regeneration", watts), *changes)
    loaded = load_files(apply_edits(BASE, [Edit(*change) for change in given]), "starter")
    assert loaded.design is not None, [p.text() for p in loaded.problems]
    return PIPELINE.run(loaded.design)


def found_in(results: Results, code: str) -> list[Finding]:
    return [v.finding for v in judge_design(results).verdicts if v.finding.code == code]


def kinds(results: Results, code: str) -> set[str]:
    return {f.kind for f in found_in(results, code)}


def test_the_current_is_the_root_of_the_power_equation() -> None:
    case = braking("10 kW", *ONE_CORNER)["operating"].cases["regeneration"]
    # P = I (V + I R) with V = 84 * 3.66 V and R = 84 mΩ + 16 mΩ.
    volts, ohm, watts = 84 * 3.66, 0.1, 10e3
    amps = (math.sqrt(volts**2 + 4 * ohm * watts) - volts) / (2 * ohm)
    for name in ("pack", "drive", "W10", "k_plus", "k_minus"):
        assert case.flows[name].current_a == pytest.approx(amps, rel=1e-3), name
    # At the end of its life the cells have twice the resistance, the links the same.
    aged_ohm = 2 * 0.084 + 0.016
    aged_a = (math.sqrt(volts**2 + 4 * aged_ohm * watts) - volts) / (2 * aged_ohm)
    assert case.highest_v["pack"] == pytest.approx(volts + aged_a * aged_ohm, rel=1e-4)
    assert case.highest_v["drive"] > case.highest_v["pack"]
    assert not case.drives


def test_it_runs_against_the_driving_current() -> None:
    cases = braking("10 kW", *ONE_CORNER)["operating"].cases
    for name, forward in (("k_plus", 0), ("k_minus", 1)):
        drives, brakes = cases["continuous"].through[name], cases["regeneration"].through[name]
        assert drives[forward] > 0 == drives[1 - forward], name
        assert brakes[1 - forward] > 0 == brakes[forward], name


def test_it_tapers_to_nothing_on_a_full_pack() -> None:
    full = (*ONE_CORNER, (HV, "parts/pack/state_of_charge", "{minimum: 99.9999 %, maximum: 100 %}"))
    case = braking("10 kW", *full, HELD)["operating"].cases["regeneration"]
    assert case.flows["pack"].current_a == pytest.approx(0, abs=0.1)
    assert not case.stays_off


def test_nothing_takes_it_back_where_the_design_does_not_say_so() -> None:
    full = (*ONE_CORNER, (HV, "parts/pack/state_of_charge", "{minimum: 99.9999 %, maximum: 100 %}"))
    results = braking("10 kW", *full)
    case = results["operating"].cases["regeneration"]
    volts, ohm, watts = 84 * 4.15, 0.1, 10e3
    amps = (math.sqrt(volts**2 + 4 * ohm * watts) - volts) / (2 * ohm)
    assert case.flows["pack"].current_a == pytest.approx(amps, rel=1e-3)
    (found,) = [f for f in found_in(results, "HV309") if f.kind == "fail"]
    # The aged pack is lifted further, by less current.
    aged_ohm = 2 * 0.084 + 0.016
    aged_a = (math.sqrt(volts**2 + 4 * aged_ohm * watts) - volts) / (2 * aged_ohm)
    assert found.evidence[0].value == pytest.approx((volts + aged_a * aged_ohm) / 84, rel=1e-4)
    # The trip of 4.14 V less the 10 mV of its reading comes before the cell's 4.15 V.
    assert found.evidence[0].limit == pytest.approx(4.13)


@pytest.mark.parametrize(("held", "kind"), [("4.129 V", "pass"), ("4.13 V", "fail")])
def test_a_held_voltage_stays_below_the_monitors_trip(held: str, kind: str) -> None:
    section = (HV, "regeneration", f"{{current_control: table, cell_voltage: {held}}}")
    assert kinds(braking("10 kW", section), "HV309") == {kind}


def test_two_inverters_share_what_a_nearly_full_pack_leaves() -> None:
    second = (
        (HV, "parts/drive_2", "{kind: inverter, sheet: inverter-60, power: {continuous: 0 W, peak: 0 W, regeneration: "
                              "30 kW}}"),
        (HV, "connections/W50", "{from: bus_plus.bar, to: drive_2.plus, cable: hv-35, length: 1.5 m}"),
        (HV, "connections/W51", "{from: bus_minus.bar, to: drive_2.minus, cable: hv-35, length: 1.5 m}"),
        # 4.15 V less 0.05 V is 84 * 0.05 V of room over 100 mΩ: 42 A for both.
        (PACK, "open_circuit_voltage", "{state_of_charge: [0 %, 50 %, 100 %], voltage: [3.1 V, 4.10 V, 4.15 V]}"),
    )  # fmt: skip
    case = braking("10 kW", *ONE_CORNER, *second, HELD)["operating"].cases["regeneration"]
    assert case.flows["pack"].current_a == pytest.approx(42.0, rel=1e-3)
    assert case.flows["drive"].current_a == pytest.approx(42.0 / 4, rel=2e-3)
    assert case.flows["drive_2"].current_a == pytest.approx(42.0 * 3 / 4, rel=2e-3)


def test_what_is_not_said_keeps_the_rules_open() -> None:
    edits = [Edit(HV, "parts/drive/power", "{continuous: 18 kW, peak: 36 kW}")]
    loaded = load_files(apply_edits(BASE, edits), "starter")
    assert loaded.design is not None
    open_ = judge_design(PIPELINE.run(loaded.design)).open
    for code in ("HV122", "HV192", "HV208", "HV216", "HV217", "HV218", "HV308"):
        assert any("parts/drive/power/regeneration" in text for text in open_[code]), code
    # Nobody asks where nothing is opened under load, or where every contactor breaks alike both ways.
    never = Edit(HV, "switching_duty/openings_under_load", "0")
    alike = Edit("parts/contactor-200.yaml", "polarised", "false")
    spared = load_files(apply_edits(BASE, [*edits, never, alike]), "starter")
    assert spared.design is not None
    open_ = judge_design(PIPELINE.run(spared.design)).open
    assert {"HV217", "HV218"}.isdisjoint(open_)
    assert "HV216" in open_


def test_a_power_in_no_mode_is_asked_for_its_mode() -> None:
    edits = [Edit(HV, "parts/drive/power/regeneration", "10 kW")]
    loaded = load_files(apply_edits(BASE, edits), "starter")
    assert loaded.design is not None
    assert any(
        "a mode with the case regeneration" in t for t in judge_design(PIPELINE.run(loaded.design)).open["HV208"]
    )


# 10 kW at 307.44 V and 100 mΩ are 32.2 A.
@pytest.mark.parametrize(
    ("code", "change", "kind"),
    [
        ("HV208", ("parts/contactor-200.yaml", "break_current_reverse", "32 A"), "fail"),
        ("HV208", ("parts/contactor-200.yaml", "break_current_reverse", "33 A"), "pass"),
        ("HV122", (PACK, "charge_current", "32 A"), "fail"),
        ("HV122", (PACK, "charge_current", "33 A"), "pass"),
    ],
)
def test_it_is_held_against_contactors_and_pack(code: str, change: Change, kind: str) -> None:
    assert kinds(braking("10 kW", *ONE_CORNER, change), code) == {kind}


@pytest.mark.parametrize(
    ("peak", "seconds", "kind"), [("40 A", "10 s", "pass"), ("40 A", "9 s", "fail"), ("30 A", "10 s", "fail")]
)
def test_a_case_with_a_duration_may_use_the_peak_for_as_long(peak: str, seconds: str, kind: str) -> None:
    short = (
        (HV, "case_duration/regeneration", "10 s"), (PACK, "charge_current", "20 A"),
        (PACK, "charge_current_peak", peak), (PACK, "charge_peak_time", seconds),
    )  # fmt: skip
    assert kinds(braking("10 kW", *ONE_CORNER, *short), "HV122") == {kind}


def test_the_monitor_may_not_trip_on_it_nor_later_than_the_peak_allows() -> None:
    trip = (HV, "parts/pack/monitor/over_current_charge", "{current: 30 A, time: 5 s}")
    short = (HV, "case_duration/regeneration", "4 s")
    assert "fail" in kinds(braking("10 kW", *ONE_CORNER, trip), "HV282")
    assert "fail" not in kinds(braking("10 kW", *ONE_CORNER, trip, short), "HV282")
    late = ((PACK, "charge_current_peak", "60 A"), (PACK, "charge_peak_time", "4 s"))
    assert "fail" in kinds(braking("0 W", *late), "HV282")
    assert "fail" not in kinds(braking("0 W", late[0], (PACK, "charge_peak_time", "6 s")), "HV282")


def test_openings_under_load_count_at_whichever_wears_more() -> None:
    life = ("parts/contactor-200.yaml", "breaking_life_reverse", "{voltage: [100 V, 450 V], current: [5 A, 200 A], "
            "operations: [[40, 30], [20, 10]]}")  # fmt: skip
    shares = {s.kind: s for s in braking("10 kW", *ONE_CORNER, life)["contactors"].life["k_plus"].kinds}
    assert "opening while braking" in shares
    assert "opening while driving" not in shares
    lasting = (*life[:2], life[2].replace("[[40, 30], [20, 10]]", "[[400000, 300000], [200000, 100000]]"))
    shares = {s.kind: s for s in braking("10 kW", *ONE_CORNER, lasting)["contactors"].life["k_plus"].kinds}
    assert "opening while driving" in shares
    assert "opening while braking" not in shares


def test_a_table_must_be_there_to_hold_it_to() -> None:
    held = (HV, "regeneration", "{current_control: table}")
    assert kinds(braking("10 kW", held), "HV308") == {"open"}
    table = (PACK, "charge_table", "{temperature: [0 °C, 45 °C], state_of_charge: [0 %, 100 %], "
                                   "current: [[9 A, 9 A], [9 A, 9 A]]}")  # fmt: skip
    assert kinds(braking("10 kW", held, table), "HV308") == {"pass"}
    assert kinds(braking("10 kW", table), "HV308") == {"open"}
    assert "no inverter feeds back" in judge_design(braking("0 W")).not_applicable["HV308"]


# 3.66 V * 84 and 100 mΩ at half charge; a fixed 10 kW drive 32.2 A.
@pytest.mark.parametrize(
    ("least", "kind"), [("33 A", "pass"), ("32 A", "fail")], ids=["above the current", "below the current"]
)
def test_fixed_is_held_against_the_fullest_and_coldest_not_against_the_charging_target(least: str, kind: str) -> None:
    table = (PACK, "charge_table", "{temperature: [-10 °C, 45 °C], state_of_charge: [0 %, 50.0001 %, 100 %], "
                                   f"current: [[80 A, {least}, 1 A], [80 A, {least}, 1 A]]}}")  # fmt: skip
    fixed = (HV, "regeneration", "{current_control: fixed}")
    assert kinds(braking("10 kW", *ONE_CORNER, fixed, table), "HV308") == {kind}
    # Used up to the full pack, where the table allows 1 A, whatever the target of a charger is.
    whole = (HV, "parts/pack/state_of_charge", "{minimum: 10 %, maximum: 100 %}")
    assert kinds(braking("10 kW", *ONE_CORNER, fixed, table, whole), "HV308") == {"fail"}


def test_what_the_monitor_shuts_out_is_no_cold_to_brake_in() -> None:
    table = (PACK, "charge_table", "{temperature: [5 °C, 45 °C], state_of_charge: [0 %, 100 %], "
                                   "current: [[90 A, 90 A], [90 A, 90 A]]}")  # fmt: skip
    fixed = (HV, "regeneration", "{current_control: fixed}")
    assert kinds(braking("10 kW", fixed, table), "HV308") == {"fail"}  # the monitor lets it be charged down to 1 °C
    warm = (HV, "parts/pack/monitor/under_temperature_charge", "7 °C")  # its error is 2 K
    assert kinds(braking("10 kW", fixed, table, warm), "HV308") == {"pass"}


# A generator that gives 10 kW in braking and takes nothing, behind a contactor of its own: from a, the bus, to b.
GENERATOR: tuple[Change, ...] = (
    (HV, "parts/gen", "{kind: inverter, sheet: inverter-60, power: {continuous: 0 W, peak: 0 W, regeneration: 10 kW}}"),
    (HV, "parts/k_gen", "{kind: contactor, sheet: contactor-gen, role: main, closes: before_precharge}"),
    (HV, "connections/G1", "{from: bus_plus.bar, to: k_gen.a, cable: hv-35, length: 1.5 m}"),
    (HV, "connections/G2", "{from: k_gen.b, to: gen.plus, cable: hv-35, length: 0.2 m}"),
    (HV, "connections/G3", "{from: bus_minus.bar, to: gen.minus, cable: hv-35, length: 1.5 m}"),
)


def generator(mark: str, backward: str) -> Results:
    sheet = BASE["parts/contactor-200.yaml"].decode()
    line = next(x for x in sheet.splitlines() if x.startswith("break_current_reverse"))
    own = ("parts/contactor-gen.yaml", "", sheet.replace(line, f"break_current_reverse: {backward}"))
    return braking("0 W", *ONE_CORNER, own, *GENERATOR, (HV, "parts/k_gen/marked_plus", mark))


def about(results: Results, code: str) -> list[str]:
    return [f.kind for f in found_in(results, code) if f.place.object.endswith("/k_gen")]


# 32.2 A enter at b. A fault at the generator enters at a, with up to the 640 A that the main fuse of 160 A leaves.
@pytest.mark.parametrize(
    ("mark", "backward", "kinds_of"),
    [
        ("b", "30 A", {"HV207": "fail", "HV208": "pass", "HV216": "pass", "HV217": "pass"}),
        ("b", "650 A", {"HV207": "pass", "HV208": "pass", "HV216": "pass", "HV217": "pass"}),
        ("a", "30 A", {"HV207": "pass", "HV208": "fail", "HV217": "fail"}),
        ("a", "33 A", {"HV207": "pass", "HV208": "pass", "HV217": "pass"}),
    ],
)
def test_a_contactor_that_meets_braking_alone_is_judged_by_its_mark(
    mark: str, backward: str, kinds_of: dict[str, str]
) -> None:
    results = generator(mark, backward)
    # What its own resistance draws is no arc: 0.1 A at the least keep one.
    assert 0.0 < results["operating"].cases["continuous"].flows["k_gen"].current_a < 0.1
    assert {code: about(results, code) for code in kinds_of} == {code: [kind] for code, kind in kinds_of.items()}
