"""Rules that hang on how the circuit is joined: packs in series and in parallel, poles, fuses, short-lived cases."""

import math

import pytest

from tristrand.app.check import judge_design
from tristrand.app.pipeline import Pipeline
from tristrand.app.starter import starter_files
from tristrand.design import Design, apply_edits, load_files
from tristrand.findings import Edit, Finding
from tristrand.rules import LIMITS, RULES, Context, Open
from tristrand.rules.limits import FLOOR, strictest
from tristrand.rules.rule import REGISTRY
from tristrand.studies.circuits import hv_circuit
from tristrand.studies.topology import (
    chains,
    feeding_fuses,
    feeds,
    own_pole_fuses,
    protecting_fuses,
    resistor_limited,
    shorts,
    uppermost,
)

BASE = starter_files()
PIPELINE = Pipeline()
HV = "high_voltage.yaml"
Change = tuple[str, str, str]

PACK_2 = (
    "{kind: pack, sheet: pack-84s, state_of_charge: {minimum: 10 %, maximum: 100 %}, "
    "temperature: {minimum: 0 °C, maximum: 45 °C}}"
)
IN_SERIES: tuple[Change, ...] = (
    (HV, "parts/pack_2", PACK_2),
    (HV, "connections/W3/from", "pack_2.minus"),
    (HV, "connections/W90", "{from: pack.minus, to: pack_2.plus, resistance: 0.1 mΩ}"),
)
# Each string with a fuse of its own, joined behind the fuses and ahead of the service disconnect.
IN_PARALLEL: tuple[Change, ...] = (
    (HV, "parts/pack_2", PACK_2),
    (HV, "parts/fuse_2", "{kind: fuse, sheet: fuse-160}"),
    (HV, "connections/W90", "{from: pack_2.plus, to: fuse_2.a, cable: hv-35, length: 0.4 m}"),
    (HV, "connections/W91", "{from: fuse_2.b, to: k_plus.a, cable: hv-35, length: 0.2 m}"),
    (HV, "connections/W92", "{from: pack_2.minus, to: disconnect.a, cable: hv-35, length: 0.4 m}"),
)
CHARGER: tuple[Change, ...] = (
    (HV, "parts/obc", "{kind: charger, sheet: obc, power: {charge: 6 kW}}"),
    (HV, "connections/W97", "{from: bus_plus.bar, to: obc.plus, cable: hv-4, length: 2 m}"),
    (HV, "connections/W98", "{from: bus_minus.bar, to: obc.minus, cable: hv-4, length: 2 m}"),
    ("parts/obc.yaml", "", "{schema_version: 1, kind: charger, output_current: 18 A, output_capacitance: 20 µF}"),
)
CHARGING: Change = ("vehicle.yaml", "modes/charging", "{high_voltage: [charge]}")


def design(*changes: Change) -> Design:
    loaded = load_files(apply_edits(BASE, [Edit(*change) for change in changes]), "changed")
    assert loaded.design is not None, [problem.text() for problem in loaded.problems]
    return loaded.design


class Judgement:
    """The findings of one changed starter, by code and object."""

    def __init__(self, *changes: Change) -> None:
        self.design = design(*changes)
        self.results = PIPELINE.run(self.design)
        self.judged = judge_design(self.results)

    def of(self, code: str, thing: str = "") -> list[Finding]:
        found = [v.finding for v in self.judged.verdicts if v.finding.code == code]
        return [f for f in found if not thing or f.place.object.rpartition("/")[2] == thing]

    def kinds(self, code: str, thing: str = "") -> set[str]:
        return {f.kind for f in self.of(code, thing)}

    def one(self, code: str, thing: str) -> Finding:
        (finding,) = self.of(code, thing)
        return finding


# --- packs in series ---


def test_ratings_meet_the_sum_of_packs_in_series() -> None:
    most = 2 * 84 * 4.15
    told = Judgement(*IN_SERIES, ("vehicle.yaml", "rule_sets", "[workshop, un-r100, fsae-2026]"))
    for code, thing in (("HV101", "k_plus"), ("HV102", "main_fuse"), ("HV103", "rated_voltage"), ("HV104", "pack")):
        for finding in told.of(code, thing):
            (evidence,) = finding.evidence
            judged = evidence.value if code == "HV104" else evidence.limit
            assert judged == pytest.approx(most), code
    assert told.kinds("HV104") == {"fail"}
    assert "pack and pack_2 in series" in told.one("HV104", "pack").message
    assert told.kinds("HV101", "k_plus") == {"fail"}


def test_packs_joined_in_series_without_a_device_count_too() -> None:
    changed = design(
        (HV, "parts/pack_2", PACK_2), (HV, "connections/W90", "{from: pack.minus, to: pack_2.plus, resistance: 1 mΩ}")
    )
    found = chains(hv_circuit(changed), {"pack": 300.0, "pack_2": 50.0})
    assert [(chain.packs, chain.volts) for chain in found] == [(("pack", "pack_2"), 350.0)]


def test_packs_in_parallel_do_not_add_up_their_voltages_but_their_currents() -> None:
    circuit = hv_circuit(design(*IN_PARALLEL))
    assert [c.volts for c in chains(circuit, {"pack": 300.0, "pack_2": 310.0})] == [300.0, 310.0]
    assert uppermost(circuit) == ("pack", "pack_2")
    assert uppermost(hv_circuit(design(*IN_SERIES))) == ("pack",)


def test_the_drop_is_taken_from_the_whole_stack() -> None:
    """Twice the voltage at the same power: less than half the current, so less than half the drop of one pack."""
    single, double = Judgement(), Judgement(*IN_SERIES)
    one = single.results["operating"].cases["continuous"]
    two = double.results["operating"].cases["continuous"]
    assert 0 < two.drop_v["drive"] < 0.5 * one.drop_v["drive"]
    assert two.drop_share["drive"] < 0.25 * one.drop_share["drive"]


def test_a_charger_divides_its_power_by_the_voltage_of_its_stack() -> None:
    told = Judgement(*IN_SERIES, *CHARGER, CHARGING)
    case = told.results["operating"].cases["charge"]
    # At 10 % the table of the cell says 3.40 V: the lowest voltage, hence the largest current.
    # Hot, it says 0.70 mΩ; the links have 8 mΩ.
    volts, ohm = 2 * 84 * 3.40, 2 * (84 * 0.70e-3 + 8e-3)
    expected = (math.sqrt(volts**2 + 4 * ohm * 6000) - volts) / (2 * ohm)
    assert case.flows["obc"].current_a == pytest.approx(expected, rel=1e-9)
    assert expected * (volts + expected * ohm) == pytest.approx(6000)


# --- poles ---


def test_a_device_between_two_packs_feeds_at_no_two_poles() -> None:
    told = Judgement(
        (HV, "parts/pack_2", PACK_2),
        (HV, "connections/W14/from", "pack_2.minus"),
        (HV, "connections/W90", "{from: pack_2.plus, to: pack_2.minus, resistance: 10 Ω}"),
    )
    finding = told.one("HV011", "dcdc")
    assert finding.kind == "fail"
    assert "no pack feeds it at both poles" in finding.message
    assert told.kinds("HV011", "drive") == {"pass"}


def test_a_device_on_an_island_is_named_by_the_rule_for_islands_alone() -> None:
    told = Judgement(
        (HV, "parts/spare", "{kind: fuse, sheet: fuse-15}"),
        (HV, "connections/W13/from", "spare.a"),
        (HV, "connections/W14/from", "spare.b"),
    )
    assert told.kinds("HV001") == {"fail"}
    assert told.of("HV011", "dcdc") == []
    assert told.kinds("HV011", "drive") == {"pass"}


def test_a_swapped_device_is_said_to_be_swapped() -> None:
    told = Judgement(*REGISTRY["HV011"].failing.changes)
    assert "wrong way round" in told.one("HV011", "dcdc").message
    assert feeds(hv_circuit(told.design))["dcdc"].way == "swapped"


# --- the floor of the limits ---


@pytest.mark.parametrize("key", sorted(FLOOR))
@pytest.mark.parametrize("sets", [("un-r100",), ("fsae-2026",), ("fs-family-2026", "un-r100")])
def test_no_choice_of_rule_sets_goes_below_the_floor(key: str, sets: tuple[str, ...]) -> None:
    (floor,) = [row for row in LIMITS if row.key == key and row.rule_set == "workshop"]
    limit = strictest(key, sets)
    assert limit is not None
    assert limit.value <= floor.value if floor.sense == "most" else limit.value >= floor.value


def test_the_floor_shows_its_own_source_where_it_speaks() -> None:
    limit = strictest("precharge_share", ("fsae-2026",))
    assert limit is not None
    assert (limit.value, limit.source) == (0.95, "CONTACTOR-NOTE#precharge")
    equal = strictest("discharge_time_s", ("fsae-2026",))
    assert equal is not None
    assert equal.source == "FSAE-2026#EV.7.2.2c"
    assert strictest("drop_share", ("fsae-2026",)) is None


def test_a_rule_whose_limit_no_rule_set_sets_says_so() -> None:
    unset = {
        rule.code: strictest(rule.limit, ("fsae-2026",)) is None
        and rule.code not in {"HV124", "HV150"}  # the owner may set these
        for rule in RULES
        if rule.limit
    }
    told = Judgement(("vehicle.yaml", "rule_sets", "[fsae-2026]"))
    words = "none of the rule sets in force (fsae-2026) sets this limit"
    assert {code for code, said in told.judged.not_applicable.items() if said == words} == {
        c for c in unset if unset[c]
    }
    assert unset["HV127"]
    assert not any(v.finding.code == "HV127" for v in told.judged.verdicts)


def test_a_pack_without_fuse_fails_under_every_rule_set() -> None:
    told = Judgement(*REGISTRY["HV003"].failing.changes, ("vehicle.yaml", "rule_sets", "[un-r100]"))
    finding = told.one("HV003", "pack")
    assert finding.kind == "fail"
    assert finding.evidence[0].source == "PRACTICE#pack fuse"


# --- fuses and what they protect ---

FUSE_AT_THE_LOAD: tuple[Change, ...] = (
    (HV, "connections/W13", "{from: bus_plus.bar, to: fuse_dcdc.a, cable: hv-4, length: 1.8 m}"),
    (HV, "connections/W12", "{from: fuse_dcdc.b, to: dcdc.plus, resistance: 0.1 mΩ}"),
)


def test_a_fuse_at_the_load_does_not_protect_the_cable_before_it() -> None:
    right, wrong = hv_circuit(design()), hv_circuit(design(*FUSE_AT_THE_LOAD))
    assert set(protecting_fuses(right)["W13"]) == {"main_fuse", "fuse_dcdc"}
    assert protecting_fuses(wrong)["W13"] == ("main_fuse",)
    assert set(protecting_fuses(wrong)["W14"]) == {"main_fuse", "fuse_dcdc"}
    finding = Judgement(*FUSE_AT_THE_LOAD).one("HV128", "W13")
    assert finding.kind == "fail"
    assert finding.evidence[0].value == 160
    assert Judgement().kinds("HV128", "W13") == {"pass"}


def test_with_the_main_fuse_in_the_minus_it_is_the_one_that_protects() -> None:
    circuit = hv_circuit(
        design(
            *FUSE_AT_THE_LOAD,
            (HV, "connections/W1/to", "k_plus.a"),
            (HV, "connections/W2", "{from: pack.minus, to: main_fuse.a, cable: hv-35, length: 0.2 m}"),
            (HV, "connections/W3/from", "main_fuse.b"),
            (HV, "connections/W5/from", "k_plus.a"),
        )
    )
    assert protecting_fuses(circuit)["W13"] == ("main_fuse",)
    assert protecting_fuses(circuit)["W8"] == ("main_fuse",)


@pytest.mark.parametrize(("length", "kind"), [("0.15 m", "pass"), ("0.151 m", "fail"), ("2 m", "fail")])
def test_a_reduced_conductor_without_current_is_judged_beyond_150_mm(length: str, kind: str) -> None:
    finding = Judgement((HV, "connections/W7/length", length)).one("HV128", "W7")
    assert finding.kind == kind
    if kind == "pass":
        assert finding.evidence[0].source == "FSAE-2026#EV.6.6.6"


# The precharge lead cut in two at a stud.
CUT: tuple[Change, ...] = (
    (HV, "parts/stud", "{kind: junction}"),
    (HV, "connections/W6/length", "0.01 m"),
    (HV, "connections/W5", "{from: main_fuse.b, to: stud.bar, cable: hv-4, length: 0.08 m}"),
)


@pytest.mark.parametrize(
    ("changes", "sum_m"),
    [
        # through the precharge contactor
        (((HV, "connections/W5/length", "0.07 m"), (HV, "connections/W6/length", "0.07 m")), 0.14),
        (((HV, "connections/W5/length", "0.08 m"), (HV, "connections/W6/length", "0.08 m")), 0.16),
        (
            (
                *((HV, f"connections/{lead}/length", "0.05 m") for lead in ("W5", "W6")),
                (HV, "parts/stud", "{kind: junction}"),
                (HV, "connections/W6/from", "stud.bar"),
                (HV, "connections/W90", "{from: k_pre.b, to: stud.bar, cable: hv-4, length: 0.05 m}"),
            ),
            0.15,
        ),
        # through a junction
        ((*CUT, (HV, "connections/W90", "{from: stud.bar, to: k_pre.a, cable: hv-4, length: 0.05 m}")), 0.14),
        ((*CUT, (HV, "connections/W90", "{from: stud.bar, to: k_pre.a, cable: hv-4, length: 0.09 m}")), 0.18),
        # a full-size piece between two thin ones gives no fresh start
        (
            (
                *CUT,
                (HV, "parts/stud_2", "{kind: junction}"),
                (HV, "connections/W90", "{from: stud.bar, to: stud_2.bar, cable: hv-50, length: 1 m}"),
                (HV, "connections/W91", "{from: stud_2.bar, to: k_pre.a, cable: hv-4, length: 0.07 m}"),
            ),
            0.16,
        ),
    ],
)
def test_reduced_conductors_one_behind_the_other_add_up(changes: tuple[Change, ...], sum_m: float) -> None:
    told = Judgement(*changes)
    for lead in ("W5", "W6"):
        finding = told.one("HV128", lead)
        assert finding.kind == ("pass" if sum_m <= 0.15 else "fail")
        if finding.kind == "pass":
            assert finding.evidence[0].value == pytest.approx(sum_m)
        else:
            assert f"{sum_m:g} m of reduced conductor" in finding.evidence[0].note


def test_reduced_conductors_side_by_side_on_a_full_size_bar_do_not_add_up() -> None:
    told = Judgement(
        *((HV, f"connections/{lead}/length", "0.1 m") for lead in ("W7", "W15", "W17")),
        (HV, "connections/W16/length", "0.04 m"),
    )
    lengths = {lead: told.one("HV128", lead).evidence[0].value for lead in ("W7", "W15", "W16", "W17")}
    assert lengths == pytest.approx({"W7": 0.1, "W15": 0.14, "W16": 0.14, "W17": 0.1})


PRECHARGE_IN_THE_MINUS: tuple[Change, ...] = (
    (HV, "connections/W5", "{from: disconnect.b, to: k_pre.a, cable: hv-4, length: 0.07 m}"),
    (HV, "connections/W6/length", "0.07 m"),
)


@pytest.mark.parametrize(("length", "kind"), [("0.1 m", "pass"), ("0.2 m", "fail"), ("3 m", "fail")])
def test_a_lead_on_the_minus_is_not_limited_by_the_resistor_at_its_end(length: str, kind: str) -> None:
    """It hangs straight on the pack's minus: a fault on it from plus passes no resistor."""
    minus = (HV, "connections/W7", f"{{from: r_pre.b, to: bus_minus.bar, cable: hv-4, length: {length}}}")
    told = Judgement(*PRECHARGE_IN_THE_MINUS, minus, (HV, "connections/W17/length", length))
    assert resistor_limited(hv_circuit(told.design)) == frozenset()
    assert told.kinds("HV128", "W7") == {kind}  # behind k_minus
    assert told.kinds("HV128", "W17") == {kind}  # the discharge resistor's
    assert told.kinds("HV128", "W5") == told.kinds("HV128", "W6") == {"pass"}
    assert Judgement(*PRECHARGE_IN_THE_MINUS, (HV, "connections/W6/length", "1 m")).kinds("HV128", "W6") == {"fail"}


def test_a_lead_between_two_resistors_is_spared() -> None:
    told = Judgement(
        (HV, "parts/r_dis_2", "{kind: resistor, sheet: resistor-2k2, role: discharge}"),
        (HV, "connections/W17", "{from: r_dis.b, to: r_dis_2.a, cable: hv-4, length: 2 m}"),
        (HV, "connections/W90", "{from: r_dis_2.b, to: bus_minus.bar, cable: hv-4, length: 0.1 m}"),
    )
    assert resistor_limited(hv_circuit(told.design)) == {"W17"}
    assert told.kinds("HV128", "W17") == {"pass"}
    assert "resistor" in told.one("HV128", "W17").message


# --- fuses in both poles ---

FSAE: Change = ("vehicle.yaml", "rule_sets", "[workshop, fsae-2026]")


def minus_fuse(sheet: str) -> tuple[Change, ...]:
    """A fuse in the return of the DC-DC converter, at its root."""
    return (
        (HV, "parts/fuse_return", f"{{kind: fuse, sheet: {sheet}}}"),
        (HV, "connections/W90", "{from: bus_minus.bar, to: fuse_return.a, resistance: 0.1 mΩ}"),
        (HV, "connections/W14/from", "fuse_return.b"),
    )


def test_a_reduced_return_needs_a_fuse_in_its_own_pole_where_the_clause_is_in_force() -> None:
    told = Judgement(FSAE)
    finding = told.one("HV128", "W14")
    assert finding.kind == "fail"
    assert finding.evidence[0].source == "FSAE-2026#EV.6.6.6"
    assert finding.evidence[0].value == 160
    assert "its own pole has no fuse" in finding.message
    # As thick as the fuse ahead asks: not reduced.
    assert told.kinds("HV128", "W9") == told.kinds("HV128", "W11") == {"pass"}
    assert told.kinds("HV128", "W13") == {"pass"}
    assert Judgement(FSAE, (HV, "connections/W14/length", "0.15 m")).kinds("HV128", "W14") == {"pass"}


@pytest.mark.parametrize(("sheet", "kind"), [("fuse-15", "pass"), ("fuse-160", "fail")])
def test_a_fuse_in_the_return_counts_by_its_rating(sheet: str, kind: str) -> None:
    told = Judgement(FSAE, *minus_fuse(sheet))
    assert own_pole_fuses(hv_circuit(told.design))["W14"] == (("fuse_return",),)
    finding = told.one("HV128", "W14")
    assert finding.kind == kind
    assert "own pole has no fuse" not in finding.message
    assert "not covered" not in finding.evidence[0].note


def test_elsewhere_the_pass_says_what_a_fuse_in_the_other_pole_leaves_open() -> None:
    words = "a second fault, from plus onto this lead, is not covered"
    told = Judgement()
    assert told.kinds("HV128", "W14") == {"pass"}
    assert words in told.one("HV128", "W14").evidence[0].note
    assert words not in told.one("HV128", "W11").evidence[0].note
    assert words not in told.one("HV128", "W13").evidence[0].note
    assert words not in Judgement(*minus_fuse("fuse-15")).one("HV128", "W14").evidence[0].note


def test_own_fuses_of_packs_in_parallel_are_those_of_each() -> None:
    circuit = hv_circuit(design(*IN_PARALLEL))
    assert own_pole_fuses(circuit)["W8"] == (("main_fuse",), ("fuse_2",))
    assert own_pole_fuses(circuit)["W13"] == (("fuse_dcdc",),)
    assert own_pole_fuses(circuit)["W9"] == ()


@pytest.mark.parametrize(
    ("share", "judged", "source"),
    [
        ("100 %", 0.75, "FUSE-GUIDE#continuous derating"),
        ("75 %", 0.75, "DATASHEET#continuous share"),
        ("50 %", 0.50, "DATASHEET#continuous share"),
    ],
)
def test_a_sheet_may_tighten_the_share_of_a_fuse_but_not_loosen_it(share: str, judged: float, source: str) -> None:
    told = Judgement(("parts/fuse-160.yaml", "continuous_share", share))
    evidence = next(f.evidence[0] for f in told.of("HV129", "main_fuse") if "sustained" in f.evidence[0].quantity)
    # The starter's air of 40 °C takes its factor: sqrt((130 - 40)/(130 - 25)).
    assert evidence.limit == pytest.approx(judged * 160 * (90 / 105) ** 0.5)
    assert evidence.source == source


# --- dead shorts ---


def test_packs_in_series_with_their_ends_joined_are_a_dead_short() -> None:
    told = Judgement(*IN_SERIES, (HV, "connections/W91", "{from: main_fuse.b, to: k_minus.a, resistance: 1 mΩ}"))
    for pack in ("pack", "pack_2"):
        finding = told.one("HV012", pack)
        assert finding.kind == "fail"
        assert all(name in finding.message for name in ("pack and", "pack_2", "main_fuse", "W91", "W90"))
        assert "W10" not in finding.message
    assert Judgement(*IN_SERIES).kinds("HV012") == {"pass"}


def test_packs_side_by_side_with_one_turned_round_are_a_dead_short() -> None:
    turned_round: tuple[Change, ...] = (
        *IN_PARALLEL,
        (HV, "connections/W90/from", "pack_2.minus"),
        (HV, "connections/W92/from", "pack_2.plus"),
    )
    told = Judgement(*turned_round)
    assert told.kinds("HV012") == {"fail"}
    assert "pack and pack_2" in told.one("HV012", "pack").message
    assert {"main_fuse", "fuse_2", "W90", "W92"} <= set(shorts(hv_circuit(told.design))["pack_2"][1])
    assert Judgement(*IN_PARALLEL).kinds("HV012") == {"pass"}


def test_three_packs_in_a_ring_are_a_dead_short_and_one_pack_is_named_alone() -> None:
    ring = hv_circuit(
        design(
            *IN_SERIES,
            (HV, "parts/pack_3", PACK_2),
            (HV, "connections/W91", "{from: pack_2.minus, to: pack_3.plus, resistance: 1 mΩ}"),
            (HV, "connections/W92", "{from: pack_3.minus, to: pack.plus, resistance: 1 mΩ}"),
        )
    )
    three = ("pack", "pack_2", "pack_3")
    assert {key: packs for key, (packs, _) in shorts(ring).items()} == dict.fromkeys(three, three)
    alone = shorts(hv_circuit(design(*IN_PARALLEL, *REGISTRY["HV012"].failing.changes)))
    assert {key: packs for key, (packs, _) in alone.items()} == {"pack": ("pack",), "pack_2": ("pack_2",)}


def test_charger_leads_are_judged_though_no_mode_charges() -> None:
    told = Judgement(*CHARGER)
    assert told.kinds("HV128", "W97") == {"fail"}
    assert told.results["operating"].cases["continuous"].flows["W97"].current_a == 0
    assert told.results["conductors"].conductors["W97"].sustained_case == ""


def test_a_cable_of_unknown_ampacity_leaves_the_rule_open() -> None:
    told = Judgement(("vehicle.yaml", "ambient", "null"))  # W10 and W11 have an ambient of their own
    assert any("W13" in text for text in told.judged.open["HV128"])
    assert not any("W10" in text for text in told.judged.open["HV128"])
    assert told.kinds("HV128", "W10") == {"pass"}


def test_fuses_of_packs_in_parallel_add_up() -> None:
    circuit = hv_circuit(design(*IN_PARALLEL))
    assert protecting_fuses(circuit)["W8"] == ()
    assert feeding_fuses(circuit)["W8"] == (("main_fuse",), ("fuse_2",))
    finding = Judgement(*IN_PARALLEL).one("HV128", "W8")
    assert finding.kind == "fail"
    assert finding.evidence[0].value == 320


def test_packs_in_parallel_without_fuses_between_them_fail() -> None:
    bare: tuple[Change, ...] = (
        (HV, "parts/pack_2", PACK_2),
        (HV, "connections/W90", "{from: pack_2.plus, to: main_fuse.a, cable: hv-35, length: 0.4 m}"),
        (HV, "connections/W92", "{from: pack_2.minus, to: disconnect.a, cable: hv-35, length: 0.4 m}"),
    )
    told = Judgement(*bare)
    assert told.kinds("HV003") == {"fail"}
    assert told.kinds("HV005") == {"fail"}
    assert Judgement(*IN_PARALLEL).kinds("HV003") == {"pass"}
    assert Judgement(*IN_SERIES).kinds("HV003") | Judgement(*IN_SERIES).kinds("HV005") == {"pass"}


# --- cases that last only so long: 20 s at about 138 A in the starter ---


@pytest.mark.parametrize(
    ("overload", "kind"),
    [
        ("[]", "fail"),
        ("[{current: 150 A, time: 20 s}]", "pass"),
        ("[{current: 150 A, time: 19 s}]", "fail"),
        ("[{current: 130 A, time: 60 s}]", "fail"),
        ("[{current: 130 A, time: 60 s}, {current: 150 A, time: 30 s}]", "pass"),
    ],
)
@pytest.mark.parametrize(
    ("sheet", "field", "code", "thing"),
    [
        ("contactor-200", "continuous_current", "HV106", "k_plus"),
        ("disconnect-200", "continuous_current", "HV106", "disconnect"),
        ("fuse-160", "rated_current", "HV129", "main_fuse"),
    ],
)
def test_an_overload_needs_its_current_and_its_time(
    sheet: str, field: str, code: str, thing: str, overload: str, kind: str
) -> None:
    told = Judgement((f"parts/{sheet}.yaml", field, "100 A"), (f"parts/{sheet}.yaml", "overload", overload))
    (finding,) = [f for f in told.of(code, thing) if "for 20 s" in f.evidence[0].quantity]
    assert finding.kind == kind


@pytest.mark.parametrize(
    ("sheet", "time", "peak", "code", "thing"),
    [
        ("inverter-60", "peak_time", "peak_current", "HV107", "drive"),
        ("pack-84s", "discharge_peak_time", "discharge_current_peak", "HV121", "pack"),
    ],
)
def test_a_peak_rating_counts_only_with_its_time(sheet: str, time: str, peak: str, code: str, thing: str) -> None:
    file = f"parts/{sheet}.yaml"
    assert "fail" in Judgement((file, time, "19 s")).kinds(code, thing)
    assert Judgement((file, time, "20 s")).kinds(code, thing) == {"pass"}
    assert any(f"{sheet}/{time} " in text for text in Judgement((file, time, "null")).judged.open[code])
    assert any(f"{sheet}/{peak} " in text for text in Judgement((file, peak, "null")).judged.open[code])
    assert "fail" in Judgement((file, time, "null"), (file, peak, "130 A")).kinds(code, thing)


def test_a_case_that_lasts_longer_than_the_peak_fails() -> None:
    told = Judgement((HV, "case_duration/peak", "25 s"))
    assert told.kinds("HV107", "drive") == {"fail"}
    assert "fail" in told.kinds("HV121", "pack")


# --- power in each case ---


def test_a_driving_case_without_power_is_open() -> None:
    told = Judgement(("vehicle.yaml", "modes/cold", "{high_voltage: [heat]}"))
    assert any("drive/power/heat" in text for text in told.judged.open["HV192"])
    rests = Judgement(("vehicle.yaml", "modes/cold", "{high_voltage: [heat]}"), (HV, "parts/drive/power/heat", "0 W"))
    assert rests.kinds("HV192") == {"pass"}


def test_a_device_below_its_turn_on_voltage_stays_off_and_says_so() -> None:
    # 84 cells reach 348.6 V at most.
    told = Judgement(("parts/dcdc-1k2.yaml", "turn_on_voltage", "360 V"))
    failing = [f for f in told.of("HV105", "dcdc") if f.kind == "fail"]
    assert {f.message.partition(" with ")[0] for f in failing} == {
        "dcdc stays off in case continuous", "dcdc stays off in case peak"
    }  # fmt: skip
    assert told.kinds("HV105", "drive") == {"pass"}


def test_a_device_that_no_case_uses_is_named_beside_the_others() -> None:
    told = Judgement(*CHARGER, ("parts/obc.yaml", "voltage", "{minimum: 100 V, maximum: 500 V}"))
    assert told.kinds("HV105", "obc") == {"not_applicable"}
    assert told.kinds("HV105", "drive") == {"pass"}


def test_a_plain_resistance_is_off_in_a_case_that_is_left_out() -> None:
    told = Judgement(
        (HV, "parts/ptc", "{kind: heater, sheet: ptc, power: {peak: 1 kW}}"),
        (HV, "connections/W97", "{from: fuse_dcdc.b, to: ptc.plus, cable: hv-4, length: 1 m}"),
        (HV, "connections/W98", "{from: bus_minus.bar, to: ptc.minus, cable: hv-4, length: 1 m}"),
        (
            "parts/ptc.yaml",
            "",
            "{schema_version: 1, kind: heater, control: resistance, resistance: 100 Ω, input_capacitance: 1 µF}",
        ),
    )
    cases = told.results["operating"].cases
    assert cases["continuous"].flows["ptc"].current_a == 0
    # At most 348.6 V over 100 ohm, at least the lowest pack voltage over it.
    assert 2.0 < cases["peak"].flows["ptc"].current_a < 3.486


PTC: tuple[Change, ...] = (
    (HV, "parts/ptc", "{kind: heater, sheet: ptc, power: {continuous: 500 W}}"),
    (HV, "connections/W97", "{from: fuse_dcdc.b, to: ptc.plus, cable: hv-4, length: 1 m}"),
    (HV, "connections/W98", "{from: bus_minus.bar, to: ptc.minus, cable: hv-4, length: 1 m}"),
    (
        "parts/ptc.yaml",
        "",
        "{schema_version: 1, kind: heater, control: resistance, resistance: 100 Ω ± 5 %, rated_power: 1.2 kW, "
        "input_capacitance: 1 µF}",
    ),
)


@pytest.mark.parametrize(("rated", "kind"), [("1.2 kW", "fail"), ("1.3 kW", "pass")])
def test_a_plain_resistance_is_judged_by_what_the_voltage_drives_through_it(rated: str, kind: str) -> None:
    finding = Judgement(*PTC, ("parts/ptc.yaml", "rated_power", rated)).one("HV108", "ptc")
    assert finding.kind == kind
    if kind == "fail":
        # 84 cells at 4.15 V, 100 ohm less 5 %: 1279 W, though only 500 W are typed.
        assert finding.evidence[0].value == pytest.approx((84 * 4.15) ** 2 / 95)


def test_a_plain_resistance_that_no_case_switches_on_takes_nothing() -> None:
    off = (HV, "parts/ptc/power", "{continuous: 0 W}")
    assert Judgement(*PTC, off).kinds("HV108", "ptc") == {"pass"}
    unknown = Judgement(*PTC, ("parts/ptc.yaml", "resistance", "null"))
    assert any("ptc/resistance" in text for text in unknown.judged.open["HV108"])


def test_an_input_current_limit_that_starves_a_device_is_told() -> None:
    told = Judgement(("parts/dcdc-1k2.yaml", "input_current_limit", "1 A"))
    failing = [f for f in told.of("HV105", "dcdc") if f.kind == "fail"]
    assert len(failing) == 2
    for finding, case in zip(failing, ("continuous", "peak"), strict=True):
        (evidence,) = finding.evidence
        assert "gets only" in finding.message
        assert f"of 500 W in case {case}" in finding.message
        # 1 A at no more than the lowest open-circuit voltage, 84 cells of 3.40 V.
        assert evidence.value is not None
        assert 0.85 * 84 * 3.40 < evidence.value < 84 * 3.40
        assert evidence.value == pytest.approx(told.results["operating"].cases[case].lowest_v["dcdc"])
        assert evidence.limit == 500
    assert "fail" not in Judgement(("parts/dcdc-1k2.yaml", "input_current_limit", "4 A")).kinds("HV105", "dcdc")


def test_a_device_that_hovers_at_its_threshold_is_told_too() -> None:
    """Behind 10 ohm the converter pulls itself down to where it turns on and off: 260 V at less than its power."""
    told = Judgement(
        (HV, "connections/W12/resistance", "10 Ω"),
        ("parts/dcdc-1k2.yaml", "turn_on_voltage", "260 V"),
        ("parts/dcdc-1k2.yaml", "turn_off_voltage", "260 V"),
    )
    (finding,) = [f for f in told.of("HV105", "dcdc") if f.kind == "fail" and "case peak" in f.message]
    case = told.results["operating"].cases["peak"]
    # The bars stand higher than the drive by its two leads: 3 m of 35 mm², 0.554 Ω/km at 20 °C, 1.41 times that hot.
    bars_v = case.lowest_v["drive"] + case.flows["drive"].current_a * 3 * 0.554e-3 * 1.41
    current_a = (bars_v - 260) / 10
    assert 0 < 260 * current_a < 495
    assert finding.evidence[0].value == pytest.approx(260 * current_a, rel=0.02)
    assert finding.evidence[0].source == "DATASHEET#turn-on voltage"


# --- what a rule says where it knows nothing ---


def test_a_comparison_without_a_number_is_open() -> None:
    told = Judgement()
    ctx = Context(REGISTRY["HV101"], told.design, told.results, ("workshop",))
    for value, limit in ((float("nan"), 1.0), (1.0, float("nan"))):
        outcome = ctx.compare(
            "high_voltage/parts/pack", "voltage", value, "V", "<=", limit, "", subject="a", bad="b", good="c"
        )
        assert isinstance(outcome, Open)
        assert "voltage" in outcome.missing[0].what


def test_a_charge_case_without_operating_point_is_open() -> None:
    told = Judgement(*CHARGER, CHARGING)
    operating = told.results["operating"]
    unsolved = operating.cases["charge"]._replace(flows={}, lowest_v={}, failed={"full, warm": "no point"})
    results = {**told.results, "operating": operating._replace(cases={**operating.cases, "charge": unsolved})}
    ctx = Context(REGISTRY["HV122"], told.design, results, ("workshop",))
    assert [type(outcome) for outcome in REGISTRY["HV122"].check(ctx)] == [Open]


def test_why_no_cable_was_judged_for_short_heating_is_true() -> None:
    told = Judgement(("vehicle.yaml", "modes/drive/high_voltage", "[continuous]"))
    assert told.judged.not_applicable["HV126"] == "no case that a mode uses has a duration"


def test_a_clause_is_named_only_where_its_set_is_in_force() -> None:
    for code in ("HV101", "HV102", "HV103"):
        here = Judgement().of(code)
        there = Judgement(("vehicle.yaml", "rule_sets", "[fsae-2026]")).of(code)
        assert {f.evidence[0].source for f in here} == {"DATASHEET#rated voltage"}
        assert all(f.evidence[0].source.startswith("FSAE-2026#EV.") for f in there)


def test_rules_on_danger_to_life_cannot_be_waived() -> None:
    guarded = {"HV003", "HV004", "HV005", "HV006", "HV011", "HV101", "HV102", "HV103", "HV104"}
    guarded |= {"HV122", "HV125", "HV126", "HV128"}
    assert guarded <= {rule.code for rule in RULES if not rule.waivable}


def test_a_route_counts_the_cables_that_are_loaded_together() -> None:
    told = Judgement(
        *((HV, f"connections/{lead}/route", "left sill") for lead in ("W10", "W11", "W13", "W14")),
        *((HV, f"connections/{lead}/bundled", "4") for lead in ("W13", "W14")),
    )
    assert told.kinds("HV113", "W10") == told.kinds("HV113", "W11") == {"fail"}
    assert told.kinds("HV113", "W13") == {"pass"}
    assert told.one("HV113", "W10").evidence[0].value == 4


# --- contactors of a branch ---


@pytest.mark.parametrize(
    ("closes", "said"),
    [
        ("", "high_voltage/parts/k_dcdc/closes"),
        (", closes: after_precharge", "its closing onto a live bus"),
        (", closes: before_precharge", ""),
    ],
)
def test_when_a_branch_contactor_closes_must_be_said(closes: str, said: str) -> None:
    told = Judgement(
        (HV, "parts/k_dcdc", f"{{kind: contactor, sheet: contactor-20, role: main, marked_plus: a{closes}}}"),
        (HV, "connections/W13/from", "k_dcdc.b"),
        (HV, "connections/W99", "{from: fuse_dcdc.b, to: k_dcdc.a, resistance: 0.1 mΩ}"),
    )
    texts = told.judged.open.get("HV006", ())
    if said == "high_voltage/parts/k_dcdc/closes":
        assert any(said in text for text in texts)
    elif said:
        assert any("k_dcdc closes onto a live bus" in text for text in texts)
    else:
        assert not texts
        assert told.kinds("HV006") == {"pass"}


SECOND_PACK = (
    (HV, "parts/pack_2", PACK_2),
    (HV, "parts/k2_plus", "{kind: contactor, sheet: contactor-200, role: main, marked_plus: a}"),
    (HV, "parts/k2_minus", "{kind: contactor, sheet: contactor-200, role: main, marked_plus: b}"),
    (HV, "connections/P1", "{from: pack_2.plus, to: k2_plus.a, cable: hv-35, length: 0.4 m}"),
    (HV, "connections/P2", "{from: k2_plus.b, to: k_plus.b, resistance: 0.1 mΩ}"),
    (HV, "connections/P3", "{from: pack_2.minus, to: k2_minus.a, cable: hv-35, length: 0.4 m}"),
    (HV, "connections/P4", "{from: k2_minus.b, to: k_minus.b, resistance: 0.1 mΩ}"),
)


def closing(when: str, *names: str) -> tuple[Change, ...]:
    return tuple((HV, f"parts/{name}/closes", f"{when}_precharge") for name in names)


# The resistor lies across k_plus; k_minus has to be closed for it to charge anything.
@pytest.mark.parametrize(
    ("changes", "wrong"),
    [
        (closing("after", "k_plus"), set()),
        (closing("before", "k_minus"), set()),
        (closing("before", "k_plus"), {"k_plus"}),
        (closing("after", "k_minus"), {"k_minus"}),
        ((*closing("before", "k_plus"), *closing("after", "k_minus")), {"k_minus"}),
        ((*SECOND_PACK, *closing("before", "k2_plus")), set()),
        ((*SECOND_PACK, *closing("after", "k2_plus", "k2_minus")), set()),
        # With both poles of the second pack closed first the bus is up without the resistor.
        ((*SECOND_PACK, *closing("before", "k2_plus", "k2_minus")), {"k2_minus"}),
        ((*SECOND_PACK, *closing("after", "k_minus")), {"k_minus"}),
    ],
)
def test_what_is_said_of_closing_may_not_contradict_precharge(changes: tuple[Change, ...], wrong: set[str]) -> None:
    found = [f for f in Judgement(*changes).of("HV006") if f.kind in ("fail", "pass")]
    assert {f.place.object.split("/")[2] for f in found if f.kind == "fail"} == wrong
    # What fails is not said to precharge the bus as well.
    assert {f.kind for f in found} == ({"fail"} if wrong else {"pass"})


def test_the_closing_of_a_second_pack_is_not_counted_as_nothing() -> None:
    told = Judgement(*SECOND_PACK, *closing("before", "k2_plus"))
    assert any("k2_minus closes onto" in text for text in told.judged.open["HV218"])
    assert told.kinds("HV218", "k2_minus") <= {"open"}
    # One that closes onto an empty bus makes more than the surge after precharge.
    early = Judgement(*closing("before", "k_plus"))
    assert any("parts/k_plus/closes" in text for text in early.judged.open["HV218"])
    twin = Judgement(
        (HV, "parts/k_twin", "{kind: contactor, sheet: contactor-200, role: main, marked_plus: a}"),
        (HV, "connections/T1", "{from: k_plus.a, to: k_twin.a, resistance: 0.1 mΩ}"),
        (HV, "connections/T2", "{from: k_plus.b, to: k_twin.b, resistance: 0.1 mΩ}"),
    )
    assert any("k_twin closes onto: a precharge that is not computed" in t for t in twin.judged.open["HV218"])


# --- how far the computed range reaches ---


@pytest.mark.parametrize(
    ("changes", "worst"),
    [
        ((), -17.0),  # -15 °C less the 2 K of its reading
        (((HV, "parts/pack/monitor/under_temperature", "2 °C"),), 59.0),
        (((HV, "parts/pack/monitor/under_temperature", "2 °C"), (HV, "parts/pack/monitor/over_temperature", "43 °C")),
         None),
    ],
)  # fmt: skip
def test_a_monitor_that_lets_more_pass_than_was_computed_asks_for_a_review(
    changes: tuple[Change, ...], worst: float | None
) -> None:
    (found,) = Judgement(*changes).of("HV193")
    if worst is None:
        assert found.kind == "pass"
    else:
        assert found.kind == "review"
        assert found.evidence[0].value == pytest.approx(worst)


def test_without_a_monitor_the_range_is_open() -> None:
    told = Judgement((HV, "parts/pack", PACK_2))
    assert told.kinds("HV193") == {"open"}


@pytest.mark.parametrize(
    ("closes", "step_v"), [(", closes: before_precharge", None), (", closes: after_precharge", 348.6), ("", 348.6)]
)
def test_a_branch_that_closes_later_meets_the_whole_voltage(closes: str, step_v: float | None) -> None:
    told = Judgement(
        (HV, "parts/k_dcdc", f"{{kind: contactor, sheet: contactor-20, role: main, marked_plus: a{closes}}}"),
        (HV, "connections/W13/from", "k_dcdc.b"),
        (HV, "connections/W99", "{from: fuse_dcdc.b, to: k_dcdc.a, resistance: 0.1 mΩ}"),
    )
    fuse = told.results["branches"].fuses["fuse_dcdc"]
    waits = any("parts/k_dcdc/closes" in text for text in told.judged.open.get("HV218", ()))
    if step_v is None:
        assert fuse.step_v < 30.0
        assert not waits
    else:
        assert fuse.step_v == pytest.approx(step_v, abs=0.1)  # 84 cells of 4.15 V
        assert waits
