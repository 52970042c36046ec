"""The section on loops and live parts: what a person reads there, for sound, poor and empty designs."""

from pathlib import Path

import pytest

from tristrand.app import Workspace
from tristrand.app.check import Checked
from tristrand.app.starter import starter_files
from tristrand.design import apply_edits, load_files
from tristrand.findings import Edit
from tristrand.papers.sections import Section, sections
from tristrand.papers.tables import Table

MENDED = Path(__file__).parents[2] / "demos" / "van-mended"
HV = "high_voltage.yaml"


def section_of(checked: Checked) -> Section:
    return next(s for s in sections(checked.design, checked.results) if s.name == "loops")


def starter(*edits: tuple[str, str, str]) -> Section:
    loaded = load_files(apply_edits(starter_files(), [Edit(*edit) for edit in edits]), "starter")
    assert loaded.design is not None, loaded.problems
    return section_of(Workspace().check_design(loaded.design))


def texts(table: Table) -> list[list[str]]:
    return [
        [" ".join(filter(None, (c.text, c.small and f"({c.small})"))) for c in (row.head, *row.cells)]
        for row in table.rows
    ]


def table(section: Section, caption: str) -> list[list[str]]:
    return texts(next(t for t in section.tables if t.caption.startswith(caption)))


@pytest.fixture(scope="module")
def mended() -> Section:
    return section_of(Workspace().check(MENDED))


def test_loops_with_what_they_open(mended: Section) -> None:
    shutdown, interlock = table(mended, "Series loops")
    assert shutdown[0] == "shutdown (shutdown, 4 elements)"
    assert shutdown[5:] == ["k_plus, k_minus, k_pre (carries the coil current)", "dead", "at most one pole"]
    assert interlock[5] == "k_plus, k_minus, k_pre (by a relay at its end)"


def test_what_can_be_opened(mended: Section) -> None:
    rows = {row[0].split()[0]: row[1:] for row in table(mended, "What can be opened")}
    assert rows["disconnect_handle"][3] == "one pole (pack.minus)"
    # 96 cells of 4.15 V.
    assert rows["battery_cover"][3:] == ["398 V (pack.plus, pack.minus)", "fed by the pack"]
    assert rows["heater_plug"][4] == "for ever (heater; discharged by nothing)"
    assert rows["drive_cover"][0] == "with a tool (bare when open)"
    assert "if that fails" in rows["drive_cover"][4]
    assert any("No loop watches battery_cover: the cells stay live" in words for words in mended.remarks)


def test_failures_and_the_pulled_disconnect(mended: Section) -> None:
    failures = next(t for t in mended.tables if t.caption.startswith("What one failure"))
    groups = {row.group for row in failures.rows}
    assert "drive_cover (a hand can reach it, with a tool)" in groups
    assert "dcdc_plug (behind IPXXB)" in groups
    assert ["one pole: pack.minus", "k_minus welded"] in texts(failures)
    assert table(mended, "What stays live") == [
        ["disconnect", "pack.plus", "W1, B1, W3, main_fuse, k_plus, k_pre", "0 V"],
        ["disconnect", "pack.minus", "W2, disconnect", "0 V"],
    ]


def test_elements_in_the_order_of_the_current(mended: Section) -> None:
    rows = table(mended, "Elements of the loops")
    assert [row[0] for row in rows[:5]] == [
        "1  stop_dash", "2  stop_rear", "3  crash_switch", "4  lock_contacts", "1  lock_disconnect",
    ]  # fmt: skip
    assert rows[3][3] == "loop interlock"


def test_gaps_are_said_and_nothing_reads_as_a_number_that_is_none() -> None:
    section = starter(
        (HV, "loops/shutdown/elements/stop_button", "{kind: button}"),
        (HV, "openable/plug_drive", "{kind: cover, opens: [drive], opened_with: hand, place: outside}"),
        ("parts/pack-84s.yaml", "", "{schema_version: 1, kind: pack}"),
    )
    assert any("resistance of stop_button" in words for words in section.missing)
    (loop,) = table(section, "Series loops")
    assert loop[1:4] == ["not known"] * 3
    assert loop[6] == "not known"
    every = [cell for t in section.tables for row in texts(t) for cell in row]
    assert not [cell for cell in every if "nan" in cell.split() or "inf" in cell.split()]


def test_too_little_voltage_and_live_devices_are_marked() -> None:
    section = starter(
        (HV, "loops/shutdown/wire", "{resistance: 10 Ω}"),
        (HV, "loops/shutdown/opens", "[k_plus]"),
        (HV, "measuring_points", "{m: {plus: bus_plus.bar, minus: bus_minus.bar}}"),
    )
    (row,) = next(t for t in section.tables if t.caption == "Series loops").rows
    assert [cell.mark for cell in row.cells] == ["", "", "over", "", "", "over", "over"]
    assert table(section, "Measuring points") == [["m", "349 V", "not known", "not known", "not known"]]


def test_a_design_without_any_of_it_has_nothing_to_show() -> None:
    section = starter((HV, "loops", "{}"), (HV, "openable", "{}"), (HV, "bonding", "{}"))
    assert not section.remarks
    assert [t.caption for t in section.tables] == ["What stays live with the disconnect pulled, every contactor open"]


def test_a_loop_that_opens_nothing_has_no_contactor_that_could_weld() -> None:
    stop = "{kind: shutdown, opens: [k_dis], by: relay, elements: {stop: {kind: button}}}"
    section = starter((HV, "loops/other", stop))
    # 84 cells of 4.15 V: all contactors stay closed.
    assert table(section, "Series loops")[1][5:] == [
        "nothing (by a relay at its end)",
        "349 V (at drive)",
        "opens none",
    ]


def test_a_current_that_is_not_known_does_not_read_as_none() -> None:
    edits = [Edit(HV, "parts/drive/power", "{continuous: 500 kW, peak: 600 kW}")]
    loaded = load_files(apply_edits(starter_files(), edits), "starter")
    assert loaded.design is not None
    checked = Workspace().check_design(loaded.design)
    section = next(s for s in sections(checked.design, checked.results) if s.name == "contactors")
    rows = {row[0].split()[0]: row[2:5] for row in table(section, "Currents that the contacts")}
    assert rows["k_plus"] == ["not known"] * 3
    assert rows["k_pre"][1] == "none"
