"""Mistakes of protection planted one by one in the mended van: the intended rule speaks, and no other."""

from pathlib import Path

import pytest

from tristrand.app import Workspace
from tristrand.design import apply_edits, load_files, read_folder
from tristrand.findings import Edit

MENDED = Path(__file__).parents[2] / "demos" / "van-mended"
FILES, _ = read_folder(MENDED)

PLANTED = {
    "a fuse that bursts": (("parts/fuse-63.yaml", "breaking_capacity", "3 kA"), {"HV201"}),
    "a fuse proven for no inductance": (("parts/fuse-200.yaml", "breaking_time_constant", "20 µs"), {"HV202"}),
    "a fuse that cannot clear an old pack": (("parts/fuse-40.yaml", "minimum_breaking_current", "1.3 kA"), {"HV203"}),
    "insulation that bears no short": (("parts/hv-2.5.yaml", "short_circuit_temperature", "130 °C"), {"HV204"}),
    "a contactor that a short blows open": (
        ("parts/contactor-250.yaml", "withstand", "{current: 1 kA, time: 10 ms}"),
        {"HV205"},
    ),
    "a heater's fault that takes the main fuse": (
        ("parts/fuse-63.yaml", "clearing_joule_integral", "9000 A²s"),
        {"HV206"},
    ),
    "a contactor that cannot open what the fuse leaves": (
        ("parts/contactor-250.yaml", "break_current", "500 A"),
        {"HV207"},
    ),
    "a contactor fitted for one direction": (("parts/contactor-250.yaml", "break_current_reverse", "5 A"), {"HV208"}),
}


@pytest.mark.parametrize(("change", "expected"), PLANTED.values(), ids=PLANTED)
def test_each_is_caught_by_its_rule_alone(change: tuple[str, str, str], expected: set[str]) -> None:
    loaded = load_files(apply_edits(FILES, [Edit(*change)]), "van-mended")
    assert loaded.design is not None, loaded.problems
    report = Workspace().check_design(loaded.design).report
    assert {finding.code for finding in report.findings if finding.kind == "fail"} == expected


def test_without_them_nothing_fails() -> None:
    report = Workspace().check(MENDED).report
    assert not [finding.code for finding in report.findings if finding.kind == "fail"]
