"""The hill-climb car: two machines under the student rules, no failure, nothing open; mistakes planted."""

from pathlib import Path

import pytest

from tristrand.app import Workspace
from tristrand.app.check import Checked
from tristrand.app.report import html
from tristrand.design import apply_edits, load_files, read_folder
from tristrand.findings import Edit, render

DEMO = Path(__file__).parents[2] / "demos" / "hill-climb"
FILES, PROBLEMS = read_folder(DEMO)
H, V, PACK = "high_voltage.yaml", "vehicle.yaml", "parts/pack-135s5p.yaml"


@pytest.fixture(scope="module")
def car() -> Checked:
    return Workspace().check(DEMO)


def test_nothing_fails_and_nothing_is_open(car: Checked) -> None:
    assert not PROBLEMS
    assert [f.code for f in car.report.findings if f.kind == "fail"] == []
    assert not car.report.coverage.open
    assert car.report.exit_code == 0


def test_it_is_the_car_that_it_says_it_is(car: Checked) -> None:
    design = car.design
    assert design.vehicle.rule_sets == ["fsae-2026", "workshop"]
    assert design.vehicle.use == "track"
    assert len(design.parts_of("inverter")) == 2
    assert len({part.machine for part in design.parts_of("inverter").values()}) == 2
    assert not design.parts_of("charger")
    assert "illustrative" in FILES[V].decode().split("\n")[0]
    assert all("illustrative" in FILES[name].decode() for name in FILES if name.startswith("parts/"))


def test_limits_of_the_student_rules_by_hand(car: Checked) -> None:
    # 135 cells of 4.2 V; a module of 27 cells, 5 x 2.8 Ah at 4.2 V.
    assert car.results["pack"].packs["pack"].maximum_v == pytest.approx(567.0)
    assert 135 * 4.2 <= 600
    assert 27 * 4.2 <= 120
    assert 27 * 4.2 * 5 * 2.8 * 3600 <= 6e6
    limit = car.design.high_voltage.power_limit
    assert limit is not None
    assert limit.value <= 80e3
    peak = car.results["operating"].cases["peak"]
    assert sum(peak.pack_power_w.values()) <= limit.value


def test_neither_machine_reaches_the_empty_pack(car: Checked) -> None:
    found = car.results["generation"].machines
    # 135 cells of 3.48 V at 20 %; at 15 °C 13.27 mΩ each in groups of five, and the links; 75.4 kW asked of it.
    rest, ohm = 135 * 3.48, 135 / 5 * (14.5 - 3.7 / 3) * 1e-3 + 18e-3
    loaded = (rest + (rest**2 - 4 * ohm * 75.4e3) ** 0.5) / 2
    for figures in found.values():
        assert figures.loaded
        # The cables take a little more.
        assert 0.99 * loaded < figures.lowest_v < loaded
        assert figures.fastest_v < figures.lowest_v
    # 13800 rpm, 5 pole pairs, 0.030 Wb and 20 K of cold; 8400 rpm at 45.32 V for 1000 and 15 K.
    krpm = 1000 * 2 * 3.141592653589793 / 60
    assert found["front"].fastest_v == pytest.approx(3**0.5 * 5 * 13.8 * krpm * 0.030 * 1.022, rel=1e-9)
    assert found["rear"].fastest_v == pytest.approx(45.32 * 8.4 * 1.0165, rel=1e-9)


@pytest.mark.parametrize("form", ["text", "json", "sarif"])
def test_every_form_of_the_report(car: Checked, form: str) -> None:
    assert "Hill-climb car" in render(car.report, form, 100) or form == "sarif"


def test_the_page_shows_both_machines(car: Checked) -> None:
    page = html(car)
    for words in ("Machine of front", "Machine of rear", "What lies on the bus of rear", "from memory"):
        assert words in page


PLANTED = {
    "eight cells too many": ((PACK, "cells_in_series", "143"), {"HV104"}),
    "a supervisor set lower than the peak": ((H, "power_limit", "70 kW"), {"HV124"}),
    "a main fuse without its overload curve": (("parts/fuse-150.yaml", "overload", "[]"), {"HV129"}),
    "a minus lead thinner than the main fuse": (
        (H, "connections/W13/cable", "hv-4"),
        {"HV128"},
    ),
    "a discharge that takes too long": (("parts/resistor-1k5.yaml", "resistance", "3.3 kΩ ± 5 %"), {"HV150"}),
    "insulation for too little heat": (("parts/hv-35.yaml", "temperature_rating", "85 °C"), {"HV110", "HV128"}),
    "a lifted wheel without a limit": ((H, "parts/front/speed_limit", "14900 rpm"), {"HV290"}),
    "an inverter that brakes the wheels": (
        ("parts/inverter-75.yaml", "when_contactors_open", "active_short"),
        {"HV296"},
    ),
    "a car pulled home on a rope": ((V, "drive_line/towed_speed", "30 km/h"), {"HV291"}),
    "long braking": ((V, "drive_line/braking_time", "7 s"), {"HV293"}),
}


@pytest.mark.parametrize(("change", "expected"), PLANTED.values(), ids=PLANTED)
def test_a_planted_mistake_is_found(change: tuple[str, str, str], expected: set[str]) -> None:
    loaded = load_files(apply_edits(FILES, [Edit(*change)]), "hill-climb")
    assert loaded.design is not None, loaded.problems
    report = Workspace().check_design(loaded.design).report
    assert {finding.code for finding in report.findings if finding.kind == "fail"} == expected
