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


# What is changed in the YAML, the curve of the main fuse's picture that moves with it, and the rule that then speaks.
MOVED = {
    "a fuse": (
        ("parts/fuse-200.yaml", "melting", "[{current: 300 A, time: 900 s}, {current: 600 A, time: 20 s}, "
         "{current: 1 kA, time: 5 s}, {current: 4 kA, time: 5 ms}]"),
        "melts",
        "HV204",
    ),
    "a cable": (("connections/W7/cable", "hv-16"), "cable", "HV128"),
    "a contactor": (("parts/contactor-250.yaml", "withstand", "{current: 900 A, time: 20 ms}"), "contactor", "HV205"),
}  # fmt: skip


@pytest.mark.parametrize(("change", "curve", "code"), MOVED.values(), ids=MOVED)
def test_picture_and_verdict_follow_the_yaml(change: tuple[str, ...], curve: str, code: str) -> None:
    def looked_at(*edits: Edit) -> tuple[dict[str, object], set[str]]:
        loaded = load_files(apply_edits(FILES, edits), "van-mended")
        assert loaded.design is not None, loaded.problems
        checked = Workspace().check_design(loaded.design)
        drawn = {s.name: (s.x, s.y) for s in checked.results["protection"].series if s.about == "main_fuse"}
        moving = {name: xy for name, xy in drawn.items() if name.startswith(curve)}
        return moving, {f.code for f in checked.report.findings if f.kind == "fail"}

    before, none = looked_at()
    after, failing = looked_at(Edit(*(("high_voltage.yaml", *change) if len(change) == 2 else change)))  # type: ignore[arg-type]
    assert before
    assert after
    assert before != after
    assert none == set()
    assert code in failing
