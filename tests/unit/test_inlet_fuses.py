"""Fuses, cables and contactors that only a supply at an inlet loads: loads, overload gaps, and who opens there."""

import math
from typing import Any

import pytest

from tests.unit.test_charging_rules import DC, INLET, MENDED, Change, failing, judged, opened, without
from tristrand.app.pipeline import Pipeline
from tristrand.design import Design, apply_edits, load_files
from tristrand.findings import Edit
from tristrand.studies.results import DIRECT, OverloadBand

HV, MAIN, FUSE = "high_voltage.yaml", "parts/contactor-200.yaml", "parts/fuse-160.yaml"
# The inlet ahead of the main contactors: its current runs through main fuse and disconnect, and through no main.
AHEAD: tuple[Change, ...] = ((HV, "connections/D3/to", "main_fuse.b"), (HV, "connections/D5/to", "disconnect.b"))
# The inlet's fuse beyond its contactor, seen from the bus.
BEYOND: tuple[Change, ...] = (
    (HV, "connections/D1", "{from: dc_inlet.plus, to: fuse_dc.a, cable: hv-35, length: 1 m}"),
    (HV, "connections/D2", "{from: fuse_dc.b, to: k_dc_plus.a, cable: hv-35, length: 1 m}"),
    (HV, "connections/D3", "{from: k_dc_plus.b, to: bus_plus.bar, cable: hv-35, length: 1 m}"),
)
BRIDGES: tuple[Change, ...] = tuple(
    (HV, f"connections/X{n}", f"{{from: {k}.a, to: {k}.b, resistance: 1 mΩ}}")
    for n, k in enumerate(("k_plus", "k_minus", "k_dc_plus", "k_dc_minus"))
)


def design(*changes: Change, files: dict[str, bytes] = DC) -> Design:
    loaded = load_files(apply_edits(files, [Edit(*change) for change in changes]), "inlet")
    assert loaded.design is not None, [problem.text() for problem in loaded.problems]
    return loaded.design


def results(*changes: Change) -> Any:
    return Pipeline().run(design(*changes))


def band(fuse: str, *changes: Change) -> OverloadBand:
    found: OverloadBand = results(*changes)["protection"].bands[fuse]
    return found


def said(code: str, about: str, *changes: Change) -> list[tuple[str, str]]:
    """What a rule says about one object: kind and message."""
    found = [v.finding for v in judged(DC, *changes).verdicts if v.finding.code == code]
    return [(f.kind, f.message) for f in found if about in f.place.object.split("/")]


# ---------------------------------------------------------------- the load and its band
def test_the_load_of_an_inlet_s_fuse_is_what_the_supply_drives() -> None:
    found = band("fuse_dc")
    # The smaller of what is asked, 38 A, and given, 125 A; the fuse of 160 A clears from 640 A on.
    assert (found.load_a, found.load_case, found.to_a) == (38.0, DIRECT, 640.0)
    assert found.inlets == ("dc_inlet",)
    # Its early end, a tenth below the sheet's 480 A at 2 s and 800 A at 50 ms, straight in logarithms at 640 A.
    early_s = 2.0 * (640 / 432) ** (math.log(0.05 / 2.0) / math.log(720 / 432))
    assert found.open_before_s == pytest.approx(early_s, rel=1e-9)
    load = results()["fuse_loads"].fuses["fuse_dc"]
    # 75 % of 160 A, times sqrt((130 - 40)/(130 - 25)) for air of 40 °C.
    assert load.allowed_a == pytest.approx(160 * 0.75 * math.sqrt(90 / 105))
    assert (load.sustained_a, load.sustained_case) == (38.0, DIRECT)
    assert load.required_a == pytest.approx(38.0 / (0.75 * math.sqrt(90 / 105)))


def test_a_supply_above_every_case_is_the_load_of_the_pack_s_fuse_too() -> None:
    much = ((HV, "fast_charging/current", "120 A"), (HV, "parts/drive/power/peak", "20 kW"))
    assert (band("main_fuse", *much).load_a, band("main_fuse", *much).load_case) == (120.0, DIRECT)
    assert band("main_fuse").load_case == "peak"
    # Off the way nothing changes.
    assert band("fuse_dcdc", *much) == band("fuse_dcdc", (HV, "parts/drive/power/peak", "20 kW"))


def test_a_fuse_too_small_for_the_supply_fails_in_its_air() -> None:
    # 102 A and more are above 111.1 A only in hotter air: sqrt((130 - 60)/105) leaves 98.0 A.
    asked = (HV, "fast_charging/current", "100 A")
    assert said("HV271", "fuse_dc", asked)[0][0] == "pass"
    assert said("HV271", "fuse_dc", asked, (HV, "parts/fuse_dc/ambient", "60 °C"))[0][0] == "fail"


# ---------------------------------------------------------------- who opens
def test_main_contactors_open_for_the_fuse_of_an_inlet_on_the_bus() -> None:
    # Those of the inlet lie beyond the fuse: with them open the pack still feeds a fault behind it.
    assert band("fuse_dc").in_series == ("k_plus", "k_minus")
    assert said("HV299", "fuse_dc") == [
        ("pass", "k_plus and k_minus (in series with it) act where fuse_dc does not protect, between 38 A and 640 A")
    ]
    named = (HV, "parts/fuse_dc/overload_by", "[k_dc_plus]")
    assert [kind for kind, _ in said("HV301", "fuse_dc", named)] == ["fail"]
    # Between pack and fuse it takes both off.
    assert set(band("fuse_dc", *BEYOND).in_series) == {"k_plus", "k_minus", "k_dc_plus"}
    assert "fail" not in {kind for kind, _ in said("HV301", "fuse_dc", named, *BEYOND, _reverse("700 A"))}


def _reverse(amps: str) -> Change:
    return MAIN, "break_current_reverse", amps


def test_nobody_opens_for_the_fuse_of_an_inlet_round_whose_contactors_busbars_lie() -> None:
    (found,) = said("HV299", "fuse_dc", *BRIDGES)
    assert found == (
        "fail", "nothing opens or limits the current where fuse_dc does not protect, between 38 A and 640 A"
    )  # fmt: skip


def test_contactors_have_to_break_both_directions_of_an_inlet() -> None:
    by_inlet = (HV, "parts/fuse_dc/overload_by", "[k_dc_plus]")
    # The packs feed a fault against the mark of the inlet's contactor, up to 640 A.
    for amps, kind in (("630 A", "fail"), ("650 A", "pass")):
        assert kind in {k for k, m in said("HV301", "fuse_dc", by_inlet, *BEYOND, _reverse(amps))}, amps
    # Marked the other way round it meets them forward, where it breaks 1200 A, and the supply's 125 A backward.
    turned = (by_inlet, *BEYOND, (HV, "parts/k_dc_plus/marked_plus", "b"))
    for amps, kind in (("120 A", "fail"), ("130 A", "pass")):
        kinds = {k for k, m in said("HV301", "fuse_dc", *turned, _reverse(amps))}
        assert ("fail" in kinds) == (kind == "fail"), amps
    # The main contactors meet what the supply may give, not what is asked of it, against their mark.
    assert "HV301" in failing(DC, _reverse("120 A"))
    assert "HV301" not in failing(DC, _reverse("130 A"))
    alike = (MAIN, "polarised", "false")
    assert "HV301" not in failing(without(DC, MAIN, "break_current_reverse"), alike)


def test_an_inlet_ahead_of_the_main_contactors_is_opened_by_its_own() -> None:
    found = band("main_fuse", *AHEAD)
    assert dict(found.openers) == {"": ("k_plus", "k_minus"), "dc_inlet": ("k_dc_plus", "k_dc_minus")}
    assert set(found.in_series) == {"k_plus", "k_minus", "k_dc_plus", "k_dc_minus"}
    # The starter names its main contactors alone: nobody would take the supply off.
    kinds = said("HV301", "main_fuse", *AHEAD)
    assert ("fail", "nobody who is to act for main_fuse takes off what the supply at dc_inlet drives: "
            "k_dc_plus or k_dc_minus would") in kinds  # fmt: skip
    every = (HV, "parts/main_fuse/overload_by", "[k_plus, k_minus, k_dc_plus, k_dc_minus]")
    assert "fail" not in {kind for kind, _ in said("HV301", "main_fuse", *AHEAD, every, _reverse("700 A"))}
    only = (HV, "parts/main_fuse/overload_by", "[k_dc_plus]")
    assert any("what its devices draw" in text for _, text in said("HV301", "main_fuse", *AHEAD, only))


def test_a_device_that_limits_itself_limits_no_supply_through_its_fuse() -> None:
    shared = ((HV, "connections/D3/to", "fuse_dcdc.b"),)
    texts = [text for kind, text in said("HV301", "fuse_dcdc", *shared) if kind == "fail"]
    assert any("what the supply at dc_inlet drives" in text for text in texts)


# ---------------------------------------------------------------- the trip
@pytest.mark.parametrize(
    ("trip", "kinds"),
    [
        ("{current: 39 A, time: 100 ms}", {"pass"}),
        ("{current: 37 A, time: 100 ms}", {"pass", "fail"}),  # 38 A charge it
        ("{current: 241 A, time: 100 ms}", {"pass", "fail"}),  # at 240 A it begins to melt
        ("{current: 180 A, time: 106 ms}", {"pass"}),  # 117 ms, of which the contactors take 10
        ("{current: 180 A, time: 108 ms}", {"pass", "fail"}),
    ],
)
def test_the_trip_for_an_inlet_s_fuse(trip: str, kinds: set[str]) -> None:
    assert {kind for kind, _ in said("HV305", "fuse_dc", (HV, "parts/fuse_dc/overload_trip", trip))} == kinds


def test_what_a_supply_s_fuse_lacks_is_named() -> None:
    texts = opened(without(DC, HV, "parts/fuse_dc/overload_trip"))["HV305"]
    assert any("high_voltage/parts/fuse_dc/overload_trip" in text for text in texts)
    for path in ("fast_charging/current", "fast_charging/supply", "fast_charging"):
        found = judged(without(DC, HV, path))
        for code in ("HV125", "HV299", "HV301", "HV305", "HV282"):
            assert any(text.startswith(f"high_voltage/{path} ") for text in found.open[code]), (path, code)
        # What can be said without it is said all the same.
        assert "fuse_dc" in {v.finding.place.object.rpartition("/")[2] for v in found.verdicts
                             if v.finding.code == "HV299"}  # fmt: skip
    sheet = without(DC, FUSE, "minimum_breaking_current")
    assert any("fuse-160/minimum_breaking_current" in text for text in opened(sheet)["HV299"])


def test_a_second_inlet_is_not_passed_over() -> None:
    second: tuple[Change, ...] = (
        (HV, "parts/other", "{kind: inlet, sheet: inlet-100}"),
        (HV, "parts/fuse_2", "{kind: fuse, sheet: fuse-160}"),
        (HV, "parts/k_2", "{kind: contactor, sheet: contactor-200, role: charge, marked_plus: a}"),
        (HV, "connections/E1", "{from: other.plus, to: k_2.a, cable: hv-35, length: 1 m}"),
        (HV, "connections/E2", "{from: k_2.b, to: fuse_2.a, cable: hv-35, length: 1 m}"),
        (HV, "connections/E3", "{from: fuse_2.b, to: bus_plus.bar, cable: hv-35, length: 1 m}"),
        (HV, "connections/E4", "{from: other.minus, to: bus_minus.bar, cable: hv-35, length: 1 m}"),
    )
    for code in ("HV125", "HV299", "HV301", "HV302", "HV305"):
        assert any(
            "charging by other" in text or "the supply at other" in text for text in opened(DC, *second)[code]
        ), code


# ---------------------------------------------------------------- cables
def test_cables_of_an_inlet_carry_what_the_supply_drives() -> None:
    found = results()["conductors"].conductors
    assert {(found[d].sustained_a, found[d].sustained_case) for d in ("D1", "D2", "D3", "D4", "D5")} == {(38.0, DIRECT)}
    assert found["W10"].sustained_case == "continuous"
    thin = (HV, "connections/D4/cable", "hv-4")
    assert [kind for kind, _ in said("HV125", "D4", thin)] == ["pass"]
    assert [kind for kind, _ in said("HV125", "D4", thin, (HV, "fast_charging/current", "90 A"))] == ["fail"]


@pytest.mark.parametrize("lead", ["D1", "D3", "D4", "D5"])
def test_the_fuses_of_an_inlet_protect_its_cables_in_both_poles(lead: str) -> None:
    assert [kind for kind, _ in said("HV128", lead)] == ["pass"]
    # 160 A are too much for 4 mm².
    assert [kind for kind, _ in said("HV128", lead, (HV, f"connections/{lead}/cable", "hv-4"))] == ["fail"]


def test_cables_of_an_inlet_count_in_their_bundle() -> None:
    routes: tuple[Change, ...] = tuple((HV, f"connections/{d}/route", "tunnel") for d in ("D1", "D4", "W13"))
    # While it charges the inlet's two are loaded, while it drives the converter's one: two at once, none says so.
    assert [kind for kind, _ in said("HV113", "D1", *routes)] == ["fail"]
    both: tuple[Change, ...] = tuple((HV, f"connections/{d}/bundled", "2") for d in ("D1", "D4"))
    assert [kind for kind, _ in said("HV113", "D1", *routes, *both)] == ["pass"]
    assert [kind for kind, _ in said("HV113", "W13", *routes, *both)] == ["pass"]


def test_the_mended_van_with_an_inlet_still_passes_all_of_it() -> None:
    found = judged(dict(MENDED), *INLET)
    assert found.open == {}
    assert {v.finding.kind for v in found.verdicts if v.finding.code in ("HV299", "HV301", "HV305")} == {"pass"}


# ---------------------------------------------------------------- packs side by side, and an inlet on their side
SECOND: tuple[Change, ...] = (
    (HV, "parts/pack_2", "{kind: pack, sheet: pack-84s, state_of_charge: {minimum: 10 %, maximum: 100 %}, "
                         "temperature: {minimum: 0 °C, maximum: 45 °C}}"),
    (HV, "parts/fuse_2", "{kind: fuse, sheet: fuse-160}"),
    (HV, "parts/k2_plus", "{kind: contactor, sheet: contactor-200, role: main, marked_plus: a}"),
    (HV, "parts/k2_minus", "{kind: contactor, sheet: contactor-200, role: main, marked_plus: b}"),
    (HV, "connections/P1", "{from: pack_2.plus, to: fuse_2.a, cable: hv-35, length: 0.4 m}"),
    (HV, "connections/P2", "{from: fuse_2.b, to: k2_plus.a, resistance: 0.1 mΩ}"),
    (HV, "connections/P3", "{from: k2_plus.b, to: k_plus.b, resistance: 0.1 mΩ}"),
    (HV, "connections/P4", "{from: pack_2.minus, to: k2_minus.a, cable: hv-35, length: 0.4 m}"),
    (HV, "connections/P5", "{from: k2_minus.b, to: k_minus.b, resistance: 0.1 mΩ}"),
)  # fmt: skip
MAINS = ("k_plus", "k_minus", "k2_plus", "k2_minus")


def named(fuse: str, *parts: str) -> Change:
    return HV, f"parts/{fuse}/overload_by", f"[{', '.join(parts)}]"


def test_the_fuse_of_an_inlet_on_the_bus_of_two_packs_is_left_to_their_main_contactors_together() -> None:
    found = band("fuse_dc", *SECOND)
    # With any one open the other pack still feeds the cable behind the fuse; the inlet's own lie beyond that cable.
    assert found.in_series == ()
    assert found.opening == MAINS
    ((kind, text),) = said("HV299", "fuse_dc", *SECOND)
    assert kind == "pass"
    assert "k_plus and k_minus and k2_plus and k2_minus (in series with it only together)" in text
    assert "fail" in {k for k, _ in said("HV301", "fuse_dc", *SECOND, named("fuse_dc", "k_dc_plus", "k_dc_minus"))}


@pytest.mark.parametrize(
    ("parts", "idle"),
    [
        (MAINS, set()),
        (("k_plus", "k2_plus"), set()),  # both plus poles
        (("k_plus", "k2_minus"), set()),  # one pole of each pack
        (("k_plus", "k_minus"), {"nobody"}),  # one pack
        (("k_plus",), {"nobody"}),
        (("k_plus", "k2_plus", "k_dc_plus"), {"k_dc_plus"}),
        (("k_plus", "k2_plus", "k_pre"), {"k_pre"}),
    ],
)
def test_contactors_named_together_are_judged_together(parts: tuple[str, ...], idle: set[str]) -> None:
    # Where each may open the 640 A that the fuse leaves, nothing else is wrong with them.
    strong = (_reverse("700 A"), named("fuse_dc", *parts))
    found = [text for kind, text in said("HV301", "fuse_dc", *SECOND, *strong) if kind == "fail"]
    assert {text.split()[0] for text in found} == idle, found


def test_the_devices_of_two_packs_are_taken_off_a_fuse_together_too() -> None:
    every = named("fuse_dcdc", *MAINS)
    assert "fail" not in {kind for kind, _ in said("HV301", "fuse_dcdc", *SECOND, every, _reverse("700 A"))}
    one = named("fuse_dcdc", "k_plus", "k_minus")
    assert any("what its devices draw" in text for _, text in said("HV301", "fuse_dcdc", *SECOND, one))


@pytest.mark.parametrize("names", [(), ("k_dc_plus", "k_dc_minus")], ids=["nobody named", "its own named"])
def test_a_fuse_between_a_pack_and_the_contactors_of_an_inlet_is_left_to_nobody(names: tuple[str, ...]) -> None:
    changes = (*AHEAD, named("fuse_dc", *names), _reverse("700 A"))
    ((kind, text),) = said("HV299", "fuse_dc", *changes)
    assert kind == "fail"
    assert "the pack feeds a fault between fuse_dc and k_dc_plus or k_dc_minus, and no contactor parts it" in text
    assert "on the pack's side of fuse_dc" in text
    assert {kind for kind, _ in said("HV301", "fuse_dc", *changes)} == ({"fail"} if names else set())
    # The main fuse has the same lead behind it: a person has to look.
    assert [kind for kind, _ in said("HV299", "main_fuse", *changes)] == ["pass", "review"]


def test_a_contactor_on_the_pack_s_side_of_an_inlet_s_fuse_parts_both() -> None:
    between = ((HV, "connections/D3/to", "main_fuse.b"), (HV, "connections/D5/to", "disconnect.b"))
    found = band("fuse_dc", *BEYOND, *between)
    assert (found.opening, found.beyond) == (("k_dc_plus",), ())
    ((kind, text),) = said("HV299", "fuse_dc", *BEYOND, *between)
    assert (kind, text.split()[0]) == ("pass", "k_dc_plus")
