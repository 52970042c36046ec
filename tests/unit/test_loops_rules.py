"""Mistakes in loops and live parts planted one by one in the mended van: the intended rules speak, and no other."""
# ruff: noqa: E501  (one case is one line of the table)

from pathlib import Path

import pytest

from tests.unit.test_bad_input import problems_of
from tristrand.app import Workspace
from tristrand.app.starter import starter_files
from tristrand.design import apply_edits, load_files, read_folder
from tristrand.findings import Edit, Finding, Report

MENDED = Path(__file__).parents[2] / "demos" / "van-mended"
FILES, _ = read_folder(MENDED)
HV, V = "high_voltage.yaml", "vehicle.yaml"


def report_of(*edits: tuple[str, str, str]) -> Report:
    loaded = load_files(apply_edits(FILES, [Edit(*edit) for edit in edits]), "van-mended")
    assert loaded.design is not None, loaded.problems
    return Workspace().check_design(loaded.design).report


def failing(report: Report) -> set[str]:
    return {finding.code for finding in report.findings if finding.kind == "fail"}


def found(report: Report, code: str) -> list[Finding]:
    return [finding for finding in report.findings if finding.code == code]


BARE_PLUG = (
    "{kind: connector, opens: [W16, W17], opened_with: hand, place: luggage, touch_closed: IPXXD, touch_open: none}"
)
BY_HAND = (HV, "openable/drive_cover/opened_with", "hand")
PLANTED = {
    "a long thin wire to the coils": (((HV, "loops/shutdown/wire", "{length: 60 m, cross_section: 0.5 mm²}"),), {"HV210", "HV222"}),
    "precharge left to the supervisor": (((HV, "loops/shutdown/opens", "[k_plus, k_minus]"),), {"HV223"}),
    "one pole left closed": (((HV, "loops/interlock/opens", "[k_plus, k_pre]"), (HV, "loops/shutdown/opens", "[k_plus, k_pre]")), {"HV223"}),
    "no button anywhere": (((HV, "loops/shutdown/elements/stop_dash/kind", "fuse"), (HV, "loops/shutdown/elements/stop_rear/kind", "fuse")), {"HV224"}),
    "a disconnect without its contact": (((HV, "loops/interlock/elements/lock_disconnect/watches", "[]"),), {"HV229"}),
    "a plug that nothing watches": (((HV, "loops/interlock/elements/lock_heater/watches", "[]"),), {"HV230"}),
    "a bare plug on a charger": (((HV, "openable/charger_plug", BARE_PLUG),), {"HV232"}),
    "a cover over the drive that a hand opens": (((HV, "loops/interlock/elements/lock_drive/watches", "[]"), (HV, "openable/drive_cover/unwatched_because", "forgotten"), BY_HAND), {"HV231"}),
    "a cover opened before the bus is dead": ((BY_HAND, (HV, "openable/drive_cover/bared_after", "2 s")), {"HV232"}),
    "an interlock that nobody tests": ((BY_HAND, (HV, "loops/interlock/tested", "never")), {"HV233"}),
    "a bare disconnect": (((HV, "openable/disconnect_handle/touch_open", "none"),), {"HV234"}),
    "a finger in the luggage space": (((HV, "openable/charger_plug/touch_closed", "IPXXB"),), {"HV235"}),
    "a bond through paint": (((HV, "bonding/bonds/G2/resistance", "0.15 Ω"),), {"HV236"}),
    "a bond measured with a hand meter": (((HV, "bonding/bonds/G2/test_current", "5 mA"),), {"HV237"}),
    "small resistors at the sockets": (((HV, "measuring_points/service_sockets/resistor_power", "2 W"),), {"HV238"}),
}  # fmt: skip


@pytest.mark.parametrize(("edits", "expected"), PLANTED.values(), ids=PLANTED)
def test_each_is_caught_by_its_rule_alone(edits: tuple[tuple[str, str, str], ...], expected: set[str]) -> None:
    report = report_of(*edits)
    assert failing(report) == expected
    assert not report.coverage.open


def test_ways_out_of_a_thin_wire_and_of_a_forgotten_contactor() -> None:
    # 60 m of 1 mm², 19.5 Ω/km printed, at 55 °C: 1.331 Ω; contacts 0.19 Ω; coils 10.925 Ω; 11.5 V leave 10.09 V; of
    # 0.75 mm² (26.0 Ω/km) 9.73 V, of 0.5 mm² (39.0 Ω/km) 9.16 V where 9.5 V are needed.
    report = report_of((HV, "loops/shutdown/wire", "{length: 60 m, cross_section: 0.5 mm², ambient: 55 °C}"))
    (finding,) = [f for f in found(report, "HV222") if f.kind == "fail"]
    assert finding.evidence[0].value == pytest.approx(11.5 * 10.925 / (10.925 + 0.19 + 60 * 0.039 * 1.13755), rel=1e-6)
    assert finding.way_out is not None
    assert finding.way_out.text.startswith("0.75 mm²")
    (finding,) = [f for f in found(report_of((HV, "loops/shutdown/opens", "[k_plus]")), "HV223") if f.kind == "fail"]
    assert finding.way_out is not None
    assert [(e.pointer, e.new) for e in finding.way_out.edits] == [("loops/shutdown/opens", "[k_plus, k_minus, k_pre]")]


def test_the_poles_that_a_loop_forgets_are_named() -> None:
    (finding,) = [f for f in found(report_of((HV, "loops/shutdown/opens", "[k_plus]")), "HV223") if f.kind == "fail"]
    # 96 cells of 4.15 V.
    assert "pack.plus, pack.minus still reaches the devices, with 398 V" in finding.message


def test_the_failures_that_leave_a_cover_live_are_named() -> None:
    (finding,) = [
        f for f in found(report_of(BY_HAND, (HV, "loops/interlock/tested", "never")), "HV233") if f.kind == "fail"
    ]
    assert "lock_drive of interlock bridged, and 2 more" in finding.message


def test_a_welded_contactor_alone_leaves_no_voltage_but_with_one_contactor_it_does() -> None:
    # Without the second main contactor in the loop the weld of the first is enough.
    edits = (BY_HAND, (HV, "loops/interlock/opens", "[k_plus, k_pre]"), (HV, "loops/shutdown/opens", "[k_plus, k_pre]"))
    report = report_of(*edits)
    (finding,) = [f for f in found(report, "HV233") if f.kind == "fail"]
    assert "after one failure: k_plus welded" in finding.message
    # And without any failure one pole reaches it.
    assert failing(report) == {"HV223", "HV233", "HV234"}


# ---------------------------------------------------------------- not checked is never green
OPEN = {
    "no loops": ((HV, "loops", "{}"), {"HV222", "HV223", "HV224"}),
    "nothing named that can be opened": ((HV, "openable", "{}"), {"HV229", "HV230", "HV231", "HV232", "HV233", "HV234", "HV235"}),
    "a charger that is connected nobody knows how": ((HV, "openable/charger_plug/opens", "[bus_plus]"), {"HV230"}),
    "no degree when open": ((HV, "openable/dcdc_plug", "{kind: connector, opens: [W12, W13], opened_with: hand, place: outside, touch_closed: IPXXB}"), {"HV231", "HV232", "HV233", "HV234"}),
    "no degree when closed": ((HV, "openable/dcdc_plug", "{kind: connector, opens: [W12, W13], opened_with: hand, place: outside, touch_open: IPXXB}"), {"HV235"}),
    "no time to the bare part": ((HV, "openable/drive_cover", "{kind: cover, opens: [drive], opened_with: tool, place: outside, touch_closed: IPXXB, touch_open: none}"), {"HV232"}),
    "a housing that nobody spoke of": ((HV, "bonding/bonds/G3/parts", "[pack]"), {"HV236"}),
    "a resistor without a power": ((HV, "measuring_points/service_sockets", "{plus: bus_plus.bar, minus: bus_minus.bar, resistor: 15 kΩ}"), {"HV238"}),
    "a contact of unknown resistance": ((HV, "loops/shutdown/elements/crash_switch", "{kind: inertia_switch}"), {"HV210", "HV222"}),
}  # fmt: skip


@pytest.mark.parametrize(("edit", "expected"), OPEN.values(), ids=OPEN)
def test_what_is_not_known_leaves_its_rules_open(edit: tuple[str, str, str], expected: set[str]) -> None:
    if edit[1] in ("loops", "openable"):
        edits = [edit]
        if edit[1] == "openable":
            edits += [(HV, f"loops/interlock/elements/{name}/watches", "[]") for name in LOCKS]
    else:
        edits = [edit]
    report = report_of(*edits)
    assert expected <= set(report.coverage.open)
    assert set(report.coverage.open) - expected == set()


LOCKS = ("lock_disconnect", "lock_drive", "lock_dcdc", "lock_heater", "lock_charger", "lock_box")


def test_a_disconnect_that_is_no_service_disconnect_is_judged_as_any_other_openable() -> None:
    report = report_of(
        (
            HV,
            "openable/fuse_link",
            "{kind: disconnect, opens: [main_fuse], opened_with: tool, place: enclosure, touch_closed: IPXXD, touch_open: IPXXB}",
        )
    )
    assert [f.place.object for f in found(report, "HV230") if f.kind == "fail"] == ["high_voltage/openable/fuse_link"]


def test_insulating_housings_need_no_bond() -> None:
    report = report_of((HV, "bonding/bonds/G3/parts", "[pack]"), (HV, "bonding/insulating", "[charger]"))
    assert not report.coverage.open
    assert not failing(report)


def test_a_plug_with_a_reason_is_named_and_not_failed_on_the_road() -> None:
    edits = (
        (HV, "loops/interlock/elements/lock_heater/watches", "[]"),
        (HV, "openable/heater_plug/unwatched_because", "screwed down under the plenum"),
    )
    report = report_of(*edits)
    assert not failing(report)
    assert any("screwed down under the plenum" in f.message for f in found(report, "HV230"))
    race = report_of(*edits, (V, "rule_sets", "[fsae-2026]"))
    assert [f.place.object for f in found(race, "HV230") if f.kind == "fail"] == ["high_voltage/openable/heater_plug"]


@pytest.mark.parametrize(("rules", "kind"), [("[workshop]", "pass"), ("[fsae-2026]", "fail")])
def test_a_motor_cable_on_an_upright_needs_its_interlock_in_race_rules(rules: str, kind: str) -> None:
    cable = "{kind: motor_cable, opens: [drive], opened_with: tool, place: outside, touch_closed: IPXXB, touch_open: IPXXB, unwatched_because: short}"
    report = report_of((V, "rule_sets", rules), (HV, "openable/motor_cable", cable))
    assert next(f for f in found(report, "HV230") if f.place.object.endswith("motor_cable")).kind == kind


def test_a_charging_loop_protects_nobody_while_driving() -> None:
    report = report_of(BY_HAND, (HV, "loops/interlock/kind", "charging"))
    assert {"HV230", "HV231"} <= failing(report)


def test_race_rules_ask_for_members_and_values_that_the_van_does_not_have() -> None:
    report = report_of((V, "rule_sets", "[fsae-2026]"))
    members, carries = found(report, "HV225")
    # Its interlocks act by the contact of a relay.
    assert carries.kind == "fail"
    assert "lock_contacts stands for switches elsewhere" in carries.message
    assert "the battery monitor" in members.message
    assert "1 of 3 shutdown buttons" in members.message
    # 15 kΩ where 398 V ask for 10 kΩ.
    assert [f.kind for f in found(report, "HV238")] == ["fail", "pass", "pass"]
    assert "HV226" in report.coverage.open
    assert "HV227" in report.coverage.open
    # Every lock says nothing of its wires.
    assert "HV239" in report.coverage.open


def test_measuring_points_ahead_of_the_contactors_do_not_measure_at_the_inverter() -> None:
    report = report_of((V, "rule_sets", "[fsae-2026]"), (HV, "measuring_points/service_sockets/plus", "k_plus.a"))
    assert any("does not measure at plus and minus of an inverter" in f.message for f in found(report, "HV238"))


@pytest.mark.parametrize(("surface", "kind"), [("metal", "fail"), ("coated", "pass")])
def test_a_coated_surface_has_a_limit_of_its_own_in_race_rules(surface: str, kind: str) -> None:
    report = report_of(
        (V, "rule_sets", "[fsae-2026]"),
        (HV, "bonding/bonds/G2/resistance", "2 Ω"),
        (HV, "bonding/bonds/G2/surface", surface),
    )
    assert next(f for f in found(report, "HV236") if f.place.object.endswith("G2")).kind == kind


def test_the_tolerance_of_a_bond_that_holds_the_limit_inside_is_a_review() -> None:
    report = report_of((HV, "bonding/bonds/G2/resistance", "95 mΩ ± 10 %"))
    assert next(f for f in found(report, "HV236") if f.place.object.endswith("G2")).kind == "review"


# ---------------------------------------------------------------- bad input
H = "high_voltage.yaml"
SLIPS = [
    ("opens: [k_plus, k_minus, k_pre]", "opens: [k_plus, k_minnus]", "'k_minnus': there is no such contactor", "'k_minus'"),
    ("opens: [k_plus, k_minus, k_pre]", "opens: [k_plus, main_fuse]", "'main_fuse': this is no contactor", "contactors: k_"),
    ("opens: [k_plus, k_minus, k_pre]", "opens: [k_plus, k_plus]", "'k_plus' stands twice", "once"),
    ("opens: [k_plus, k_minus, k_pre]", "opens: []", "at least one entry", ""),
    ("watches: [plug_drive]", "watches: [plug_driv]", "nothing 'plug_driv' under openable", "'plug_drive'"),
    ("watches: [plug_drive]", "watches: plug_drive", "a list is needed here", "in brackets"),
    ("opens: [W10, W11]", "opens: [W10, W111]", "no part or connection 'W111'", "'W11'"),
    ("opens: [W10, W11]", "opens: [W10, W10]", "'W10' stands twice", "once"),
    ("parts: [pack, drive, dcdc]", "parts: [pack, drvie, dcdc]", "there is no part 'drvie'", "'drive'"),
    ("parts: [pack, drive, dcdc]", "parts: []", "at least one entry", ""),
    ("test_current: 1 A", "test_current: 1 V", "'1 V' is a voltage; a current is needed", ""),
    ("wire: {length: 12 m,", "wire: {length: 12 Ω,", "a length is needed", ""),
    ("wire: {length: 12 m, cross_section: 0.75 mm²}", "wire: {length: 12 m, resistance: 1 Ω}", "both a resistance and a size", "keep"),
    ("load: 12 Ω ± 5 %", "current: 1 A\n    load: 12 Ω ± 5 %", "both a load and a current", "keep"),
    ("minimum: 11.5 V, maximum: 15 V", "minimum: 15 V, maximum: 11.5 V", "is not below maximum", "minimum below maximum"),
    ("kind: button, resistance: 50 mΩ", "kind: buton, resistance: 50 mΩ", "'buton' is not known here", "'button'"),
    ("kind: button, resistance: 50 mΩ", "kind: interlock, resistance: 50 mΩ", "an interlock names the loop", "contact_of"),
    ("kind: button, resistance: 50 mΩ", "kind: interlock, contact_of: shutdown, resistance: 50 mΩ", "a contact of its own relay", "loop"),
    ("kind: button, resistance: 50 mΩ", "kind: interlock, contact_of: other, resistance: 50 mΩ", "there is no loop 'other'", "loops"),
    ("touch_closed: IPXXD", "touch_closed: IP65", "'IP65' is not known here", "IPXXB"),
    ("opened_with: hand, place: luggage", "place: luggage", "'opened_with' is missing", ""),
    ("place: luggage,", "place: luggage, outside_housing: 'yes',", "outside_housing", ""),
    ("place: luggage,", "place: luggage, tuch_open: IPXXD,", "unknown key 'tuch_open'", "touch_open"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "message", "mend"), SLIPS, ids=[slip[1] for slip in SLIPS])
def test_one_slip_is_one_problem_at_its_line(old: str, new: str, message: str, mend: str) -> None:
    text = starter_files()[H].decode()
    assert old in text
    changed = text.replace(old, new, 1)
    problems = problems_of({**starter_files(), H: changed.encode()})
    assert any(message in p.text() and mend in p.mend and p.file == H for p in problems), [p.text() for p in problems]
    named = next(p for p in problems if message in p.text())
    first = text.count("\n", 0, text.index(old)) + 1
    assert first - 3 <= named.line <= first + 2


@pytest.mark.parametrize(
    ("points", "message", "mend"),
    [
        ("{m: {plus: bus_plus.bar, minus: bus_plus.bar}}", "against itself", "other pole"),
        ("{m: {plus: bus_plus.bar, minus: bus_minus.plus}}", "has no terminal 'plus'", "bus_minus.bar"),
        ("{m: {plus: bus_pls.bar, minus: bus_minus.bar}}", "no part 'bus_pls'", "'bus_plus'"),
    ],
)
def test_measuring_points_that_lead_nowhere(points: str, message: str, mend: str) -> None:
    text = starter_files()[H].decode() + f"\nmeasuring_points: {points}\n"
    (problem,) = problems_of({**starter_files(), H: text.encode()})
    assert message in problem.text()
    assert mend in problem.mend


def test_a_housing_is_bonded_or_insulating_but_not_both() -> None:
    text = starter_files()[H].decode().replace("bonding:\n", "bonding:\n  insulating: [dcdc, dcdc, pcak]\n", 1)
    problems = problems_of({**starter_files(), H: text.encode()})
    said = [p.text() for p in problems]
    assert len(problems) == 3
    assert any("the housing of dcdc is bonded in G1 and called insulating" in words for words in said)
    assert any("'dcdc' stands twice" in words for words in said)
    assert any("there is no part 'pcak'" in words and "'pack'" in words for words in said)


# ---------------------------------------------------------------- ends and gaps
def test_a_capacitance_that_is_not_given_is_not_none() -> None:
    # The only device across the bus, behind a cover that a hand opens: nothing else there tells a time.
    files = dict(FILES)
    for file, key in (("parts/inverter-120.yaml", "bus_capacitance"), ("parts/dcdc-2k.yaml", "input_capacitance"),
                      ("parts/heater-12k.yaml", "input_capacitance"), ("parts/charger-6k6.yaml", "output_capacitance")):  # fmt: skip
        text = files[file].decode()
        assert f"\n{key}:" in text
        files[file] = text.replace(f"\n{key}:", f"\n# {key}:").encode()
    loaded = load_files(apply_edits(files, [Edit(*BY_HAND)]), "van-mended")
    assert loaded.design is not None
    report = Workspace().check_design(loaded.design).report
    assert "HV232" in report.coverage.open
    assert not any("drive_cover bares no charged capacitor" in f.message for f in found(report, "HV232"))


@pytest.mark.parametrize(
    ("rules", "limit", "kind"), [("[fsae-2026]", 5.0, "pass"), ("[fsae-2026, un-r100]", 0.1, "fail")]
)
def test_a_rule_set_without_a_word_on_coating_keeps_its_limit_for_coated_housings(
    rules: str, limit: float, kind: str
) -> None:
    coated = ((HV, "bonding/bonds/G2/resistance", "2 Ω"), (HV, "bonding/bonds/G2/surface", "coated"))
    report = report_of((V, "rule_sets", rules), *coated)
    finding = next(f for f in found(report, "HV236") if f.place.object.endswith("G2"))
    assert (finding.kind, finding.evidence[0].limit) == (kind, limit)


def test_measuring_points_behind_the_precharge_resistor_do_not_measure_at_the_inverter() -> None:
    report = report_of((V, "rule_sets", "[fsae-2026]"), (HV, "measuring_points/service_sockets/plus", "k_pre.b"))
    assert any("does not measure at plus and minus of an inverter" in f.message for f in found(report, "HV238"))


@pytest.mark.parametrize(("kind", "verdict"), [("fuse", "pass"), ("diode", "pass"), ("inertia_switch", "fail")])
def test_a_fuse_behind_the_master_switch_is_no_switch(kind: str, verdict: str) -> None:
    elements = (
        "{hv_switch: {kind: high_voltage_master_switch, resistance: 10 mΩ}, last: {kind: KIND, resistance: 10 mΩ}, "
        "lock_contacts: {kind: interlock, resistance: 50 mΩ, contact_of: interlock}}"
    ).replace("KIND", kind)
    report = report_of((V, "rule_sets", "[fsae-2026]"), (HV, "loops/shutdown/elements", elements))
    assert [f.kind for f in found(report, "HV227")] == [verdict]


def test_coils_that_a_loop_leaves_too_little_are_named_whatever_its_least_voltage_says() -> None:
    # 11.5 V, 3 Ω of wire, 0.19 Ω of contacts, 10.925 Ω of coils: 8.90 V, and 8 V at 20 °C are 9.89 V at 80 °C.
    edits = ((HV, "loops/shutdown/wire", "{resistance: 3 Ω}"), (HV, "loops/shutdown/least_voltage", "7 V"))
    report = report_of(*edits)
    assert failing(report) == {"HV210"}
    evidence = {f.place.object.rpartition("/")[2]: f.evidence[0] for f in found(report, "HV210") if f.kind == "fail"}
    assert evidence["k_plus"].value == pytest.approx(11.5 * 10.925 / (10.925 + 3.19), rel=1e-6)
    assert evidence["k_plus"].limit == pytest.approx(8 * (1 + 0.00393 * 60), rel=1e-6)


def test_a_loop_is_not_counted_with_a_lighter_load_than_its_coils() -> None:
    report = report_of((HV, "loops/shutdown/load", "60 Ω"))
    assert failing(report) == {"HV222"}
    (finding,) = [f for f in found(report, "HV222") if f.kind == "fail"]
    # 27 Ω, 27 Ω and 65 Ω side by side.
    assert finding.evidence[0].limit == pytest.approx(1 / (1 / 27 + 1 / 27 + 1 / 65))
    assert finding.way_out is not None
    assert [(e.pointer, e.new) for e in finding.way_out.edits] == [("loops/shutdown/load", "11.17 Ω")]


CHARGE_STOP = (
    "{kind: charging, supply: {minimum: 11 V, maximum: 15 V}, load: 90 Ω, least_voltage: 8 V, wire: {resistance: "
    "0.3 Ω}, opens: OPENS, by: relay, tested: each_start, elements: {stop: {kind: button, resistance: 50 mΩ}}}"
)


@pytest.mark.parametrize(
    ("opens", "expected"), [("[k_plus, k_minus, k_pre]", set()), ("[k_dis]", {"HV223"}), ("[k_plus]", {"HV223"})]
)
def test_a_charging_loop_parts_the_charger_from_the_pack(opens: str, expected: set[str]) -> None:
    report = report_of((HV, "loops/charge_stop", CHARGE_STOP.replace("OPENS", opens)))
    assert failing(report) == expected
    if expected:
        (finding,) = [f for f in found(report, "HV223") if f.kind == "fail"]
        assert "pack.plus, pack.minus still reaches a charger or inlet, with 398 V at charger" in finding.message
        assert finding.way_out is not None


def test_measuring_points_at_one_pole_would_call_a_live_bus_dead() -> None:
    report = report_of((HV, "measuring_points/service_sockets/minus", "drive.plus"))
    assert failing(report) == {"HV238"}


def test_what_stays_fed_by_a_pack_is_not_said_to_bare_no_charged_capacitor() -> None:
    edits = (BY_HAND, (HV, "loops/interlock/elements/lock_drive/watches", "[]"))
    report = report_of(*edits)
    assert "HV231" in failing(report)
    assert not any("drive_cover" in f.message for f in found(report, "HV232"))


@pytest.mark.parametrize(("watches", "expected"), [("[motor_plug]", {"HV232"}), ("[]", {"HV231"})])
def test_a_bare_motor_cable_is_as_live_as_its_inverter(watches: str, expected: set[str]) -> None:
    # Pulled by hand its pins are touched at once; the bus behind the inverter takes seconds to 60 V.
    plug = (
        "{kind: motor_cable, opens: [drive], opened_with: hand, place: outside, touch_closed: IPXXB, touch_open: none, "
        "bared_after: 1 s, unwatched_because: short}"
    )
    lock = "{kind: motor_cable, resistance: 20 mΩ, watches: %s}".replace("%s", watches)
    report = report_of((HV, "openable/motor_plug", plug), (HV, "loops/interlock/elements/lock_motor", lock))
    assert failing(report) == expected
