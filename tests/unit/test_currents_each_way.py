"""Currents against a contactor's mark and into a pack, whatever drives them; verdicts on small changes of the demo."""

from pathlib import Path

import pytest

from tests.unit.test_cells_study import SECOND_STRING
from tristrand.app import Workspace
from tristrand.app.starter import starter_files
from tristrand.design import apply_edits, load_files, read_folder
from tristrand.findings import Edit, Finding

HV = "high_voltage.yaml"
MENDED = read_folder(Path(__file__).parents[2] / "demos" / "van-mended")[0]
# A contactor of the heater's own, its mark at the load.
UNMARKED = "{kind: contactor, sheet: contactor-250, role: main, closes: before_precharge}"
K_HEAT = (
    Edit(HV, "parts/k_heat", UNMARKED.replace("}", ", marked_plus: b}")),
    Edit(HV, "connections/B9", "{from: fuse_heater.b, to: k_heat.a, resistance: 0.1 mΩ}"),
    Edit(HV, "connections/W14/from", "k_heat.b"),
    Edit(HV, "parts/heater/power", "{charge: 4 kW}"),
)  # fmt: skip


def findings(files: dict[str, bytes], code: str, *edits: Edit) -> list[Finding]:
    loaded = load_files(apply_edits(files, edits), "van")
    assert loaded.design is not None, loaded.problems
    found = Workspace().check_design(loaded.design).report.findings
    return [finding for finding in found if finding.code == code]


def kinds(files: dict[str, bytes], code: str, *edits: Edit) -> set[str]:
    return {finding.kind for finding in findings(files, code, *edits)}


@pytest.mark.parametrize(("limit", "kind"), [("10 A", "fail"), ("15 A", "pass")])
def test_a_load_that_charging_feeds_counts_against_the_mark_of_its_contactor(limit: str, kind: str) -> None:
    # 4 kW of the least 324.5 V are 12.3 A; they enter at a, and the mark is at b.
    edits = (*K_HEAT, Edit("parts/contactor-250.yaml", "break_current_reverse", limit))
    for code in ("HV208", "HV217"):
        (found,) = [f for f in findings(MENDED, code, *edits) if f.place.object == "high_voltage/parts/k_heat"
                    or (code == "HV208" and "k_heat" in f.message)]  # fmt: skip
        assert found.kind == kind
        assert found.evidence[0].value == pytest.approx(4e3 / 324.48, rel=0.01)


def test_without_a_mark_what_a_load_draws_counts_whichever_way() -> None:
    edits = (*K_HEAT, Edit("parts/contactor-250.yaml", "break_current_reverse", "10 A"))
    edits = (
        *edits,
        Edit(HV, "parts/k_heat", "{kind: contactor, sheet: contactor-250, role: main, closes: before_precharge}"),
    )
    found = [f for f in findings(MENDED, "HV208", *edits) if "k_heat" in f.place.object or "k_heat" in f.message]
    assert [f.kind for f in found] == ["fail"]


def test_what_a_fuller_pack_drives_into_the_one_beside_it_is_judged_as_charging() -> None:
    # At rest the fuller of two drives (V2 - V1) over both resistances into the other; no mode charges or brakes.
    files = starter_files()
    fuller = (*SECOND_STRING, Edit(HV, "parts/pack2/state_of_charge/minimum", "50 %"))
    into = [f for f in findings(files, "HV122", *fuller) if "continuous" in f.message]
    assert [f.place.object for f in into] == ["high_voltage/parts/pack"]
    assert into[0].kind == "fail"
    assert into[0].evidence[0].value > 40
    assert not [
        f for f in findings(files, "HV121", *fuller) if f.place.object == "high_voltage/parts/pack" and f.kind == "fail"
    ]
    assert not [f for f in findings(files, "HV122", *SECOND_STRING) if "continuous" in f.message]


def test_monitor_trips_stay_open_without_the_voltage_at_which_charging_is_held() -> None:
    sheet = MENDED["parts/pack-96s.yaml"].decode().replace("charge_voltage: 4.125 V", "")
    assert "charge_voltage" not in sheet
    files = {**MENDED, "parts/pack-96s.yaml": sheet.encode()}
    opened = [f for f in findings(files, "HV282") if f.kind == "open"]
    assert any("charge_voltage" in f.message for f in opened)
    assert kinds(MENDED, "HV282") == {"pass"}


def test_trips_in_time_are_open_where_no_short_circuit_is_computed() -> None:
    sheet = MENDED["parts/pack-96s.yaml"].decode()
    line = next(line for line in sheet.splitlines() if line.startswith("cell_voltage:"))
    assert kinds({**MENDED, "parts/pack-96s.yaml": sheet.replace(line, "").encode()}, "HV305") == {"open"}
