"""The demo van: exactly three errors, each with a way out that mends it, and the mended van without any."""

from pathlib import Path

from tristrand.app import Workspace
from tristrand.design import apply_edits, load_files, read_folder

DEMOS = Path(__file__).parents[2] / "demos"
PLANTED = {
    ("HV125", "high_voltage/connections/W15"),
    ("HV131", "high_voltage/parts/r_pre"),
    ("HV150", "high_voltage/parts/r_dis"),
}


def test_exactly_the_three_planted_mistakes_are_errors() -> None:
    report = Workspace().check(DEMOS / "van").report
    errors = [f for f in report.findings if f.kind == "fail" and f.severity == "error"]
    assert {(f.code, f.place.object) for f in errors} == PLANTED
    assert len(errors) == 3
    assert report.exit_code == 1
    assert all(f.way_out is not None and f.way_out.edits for f in errors)
    assert not report.coverage.open


def test_applying_the_ways_out_leaves_no_error() -> None:
    workspace = Workspace()
    report = workspace.check(DEMOS / "van").report
    files, problems = read_folder(DEMOS / "van")
    assert not problems
    for finding in report.findings:
        if finding.way_out is not None:
            files = apply_edits(files, finding.way_out.edits)
    mended = load_files(files, "van").design
    assert mended is not None
    after = workspace.check_design(mended).report
    assert [f for f in after.findings if f.kind == "fail" and f.severity == "error"] == []
    assert after.exit_code == 0


def test_the_mended_van_has_no_error() -> None:
    report = Workspace().check(DEMOS / "van-mended").report
    assert [f.code for f in report.findings if f.kind == "fail"] == []
    assert report.exit_code == 0


def test_the_two_vans_differ_only_in_the_three_places() -> None:
    van, mended = Workspace().open(DEMOS / "van"), Workspace().open(DEMOS / "van-mended")
    assert set(van.files) == set(mended.files)
    changed = {name for name in van.files if van.files[name] != mended.files[name]}
    assert changed == {"vehicle.yaml", "high_voltage.yaml"}
    parts = van.high_voltage.parts
    assert {key for key, part in mended.high_voltage.parts.items() if part != parts[key]} == {"dcdc", "r_dis"}
    leads = van.high_voltage.connections
    assert {key for key, lead in mended.high_voltage.connections.items() if lead != leads[key]} == {"W15"}
