"""The pictures of the fuses: what is drawn, and names that lie neither on each other nor outside."""

from itertools import combinations
from typing import Any

import numpy as np
import pytest

from tristrand.app.pipeline import Pipeline
from tristrand.app.starter import starter_files
from tristrand.design import Design, apply_edits, load_files
from tristrand.findings import Edit
from tristrand.papers import fuse_tables, time_current
from tristrand.papers.frame import WIDTH, render_svg
from tristrand.papers.label_places import Frame, Name, places, trail
from tristrand.rules.view import WITH_CHARGER
from tristrand.studies.results import ProtectionResult, Series

HV = "high_voltage.yaml"


def design(*edits: Edit) -> Design:
    loaded = load_files(apply_edits(starter_files(), list(edits)), "starter")
    assert loaded.design is not None, loaded.problems
    return loaded.design


def protection(*edits: Edit) -> ProtectionResult:
    found: ProtectionResult = Pipeline().run(design(*edits), ["protection"])["protection"]
    return found


def named(result: ProtectionResult, fuse: str) -> dict[str, Series]:
    return {s.name: s for s in result.series if s.about == fuse}


def layers(plot: Any) -> dict[str, Any]:
    return {layer["name"]: layer for layer in plot.spec["layer"]}


def test_two_cables_the_load_and_the_gap_are_drawn() -> None:
    result = protection()
    main = named(result, "main_fuse")
    cables = [name for name in main if name.startswith("cable ")]
    assert len(cables) == 2
    assert any("hv-4" in name for name in cables)
    assert any("hv-35" in name for name in cables)
    band = result.bands["main_fuse"]
    assert set(main["largest load"].x) == {band.load_a}
    assert main["overload gap"].x == (band.load_a, band.to_a)
    # One size behind the small fuse: one line.
    assert [name for name in named(result, "fuse_dcdc") if name.startswith("cable ")] == ["cable W13 (hv-4)"]
    (plot, _) = time_current.fuses(result)
    drawn = layers(plot)
    (box,) = drawn["gap"]["data"]["values"]
    assert (box["x"], box["x2"]) == (pytest.approx(band.load_a, rel=1e-5), pytest.approx(band.to_a, rel=1e-5))
    assert "left to others: 138 A to 640 A" in plot.caption


def test_the_fuse_is_shaded_from_melting_to_cleared() -> None:
    (plot, _) = time_current.fuses(protection())
    rows = layers(plot)["band"]["data"]["values"]
    assert len(rows) > 5
    for row in rows:
        assert row["y"] <= row["y2"] == pytest.approx(12800 / row["x"] ** 2, rel=1e-4)
        if row["x"] >= 3200:
            assert row["y"] == pytest.approx(5120 / row["x"] ** 2, rel=2e-2)


def test_no_gap_is_drawn_where_there_is_none() -> None:
    quick = Edit("parts/fuse-15.yaml", "minimum_breaking_current", "1.5 A")
    early = Edit("parts/fuse-15.yaml", "melting", "[{current: 1.2 A, time: 4 s}, {current: 300 A, time: 0.5 ms}]")
    result = protection(quick, early)
    assert result.bands["fuse_dcdc"].to_a == result.bands["fuse_dcdc"].load_a
    assert "overload gap" not in named(result, "fuse_dcdc")
    assert "gap" not in layers(time_current.fuses(result)[1])
    (_, row) = fuse_tables.overload_tables(result, design(quick, early))[0].rows
    assert "no gap" in " ".join(cell.text for cell in row.cells)


def test_a_duty_curve_is_drawn_when_a_study_gives_one() -> None:
    result = protection()
    duty = Series(
        "duty (rolling mean)", "current", "A", "time", "s", (60.0, 90.0, 135.0), (1000.0, 60.0, 10.0), "main_fuse"
    )
    plot = time_current.fuses(result._replace(series=(*result.series, duty)))[0]
    texts = [layer["data"]["values"][0].get("text") for layer in plot.spec["layer"]]
    assert "duty (rolling mean)" in texts
    assert "duty (rolling mean)" in render_svg(plot)


LONG = "{schema_version: 1, kind: cable, cross_section: 4 mm², temperature_rating: 125 °C, "
LONG += "short_circuit_temperature: 250 °C, conductor_diameter: 2.6 mm, outer_diameter: 4.4 mm, rated_voltage: 600 V}"
PICTURES = {
    "starter": (),
    "charger": tuple(Edit(*change) for change in WITH_CHARGER),
    "loads and faults close together": (
        Edit(HV, "parts/drive/power/peak", "42 kW"),
        Edit("parts/fuse-160.yaml", "minimum_breaking_current", "1.2 kA"),
        Edit("parts/pack-84s.yaml", "resistance_growth", "500 %"),
    ),
    "long names": (
        Edit("parts/hv-long-name-of-a-cable-4.yaml", "", LONG),
        Edit(HV, "connections/W13/cable", "hv-long-name-of-a-cable-4"),
    ),
}  # fmt: skip


@pytest.mark.parametrize("edits", PICTURES.values(), ids=PICTURES)
def test_names_lie_inside_and_apart(edits: tuple[Edit, ...], monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[tuple[Any, Frame]] = []

    def spy(names: Any, frame: Frame) -> Any:
        found = places(names, frame)
        seen.append((found, frame))
        return found

    monkeypatch.setattr(time_current, "places", spy)
    assert len(time_current.fuses(protection(*edits))) == len(seen) == 2
    for found, frame in seen:
        for place in found:
            left, top, right, bottom = place.box
            assert left >= 0
            assert top >= 0
            assert right <= frame.width
            assert bottom <= frame.height
        for one, other in combinations(found, 2):
            apart = one.box[2] <= other.box[0] or other.box[2] <= one.box[0]
            assert apart or one.box[3] <= other.box[1] or other.box[3] <= one.box[1], (one, other)


def test_a_trail_is_close_and_keeps_its_corners() -> None:
    found = trail(np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 30.0]]))
    steps = np.hypot(*np.diff(found, axis=0).T)
    # Ten pixels go in two steps of five, thirty in seven.
    assert steps.max() <= 5.0
    assert [10.0, 0.0] in found.tolist()
    assert found[-1].tolist() == [10.0, 30.0]


def test_pixels_are_logarithmic_from_the_upper_left() -> None:
    frame = Frame((1.0, 100.0), (0.01, 100.0), WIDTH, 400)
    corner, middle = frame.pixels((1.0, 10.0), (100.0, 1.0)).tolist()
    assert corner == [0.0, 0.0]
    assert middle == [pytest.approx(WIDTH / 2), pytest.approx(200.0)]


def test_a_name_avoids_the_line_of_another_curve() -> None:
    frame = Frame((1.0, 1000.0), (0.001, 1000.0), 600, 400)
    flat = Name("flat", (1.0, 1000.0), (1.0, 1.0))
    near = Name("near", (1.0, 1000.0), (1.4, 1.4))
    for place, name in zip(places([flat, near], frame), (flat, near), strict=True):
        lines = np.concatenate([trail(frame.pixels(n.x, n.y)) for n in (flat, near)])
        _, top, _, bottom = place.box
        assert not ((lines[:, 1] > top) & (lines[:, 1] < bottom)).any(), name


# --- tables ---


def test_the_tables_say_what_the_studies_found() -> None:
    of = design(*PICTURES["charger"], Edit("parts/obc.yaml", "output_in_short", "stops"))
    run = Pipeline().run(of)
    loads, cases = fuse_tables.load_tables(run["fuse_loads"])
    assert [cell.text for cell in loads.rows[0].cells][:3] == ["160 A", "40 °C", "0.926"]
    assert "memory" in loads.note
    assert "peak" in cases.columns
    peak = cases.rows[0].cells[cases.columns.index("peak") - 1]
    assert peak.small.startswith("for 20 s: 38 % of 365 A")
    (left,) = fuse_tables.overload_tables(run["protection"], of)
    assert [cell.text for cell in left.rows[0].cells][3:] == [
        "k_plus opens, k_minus opens",
        "above 180 A within 100 ms; 120 ms at the latest",
    ]
    assert [cell.text for cell in left.rows[1].cells][3:] == ["dcdc limits itself", "by itself"]
    chain = fuse_tables.chain_tables(run["protection"])[0].rows[0]
    # 4 kA for 20 ms.
    assert [cell.text for cell in chain.cells][:2] == ["12800 A²s (main_fuse)", "320000 A²s"]
    (chargers,) = fuse_tables.charger_tables(run["faults"])
    alone = {row.cells[1].text: row.cells for row in chargers.rows if row.head.text.startswith("alone")}
    at = alone["between the terminals of dcdc"]
    assert at[0].text == "18 A"
    assert at[2].text == "through fuse_dcdc"


def test_what_is_not_known_is_said() -> None:
    of = design(Edit(HV, "parts/main_fuse/overload_trip", "null"))
    (overload,) = fuse_tables.overload_tables(Pipeline().run(of, ["protection"])["protection"], of)
    assert overload.rows[0].cells[-1].text == "not known"
    airless = Pipeline().run(design(Edit("vehicle.yaml", "ambient", "null")), ["fuse_loads"])["fuse_loads"]
    assert [c.text for c in fuse_tables.load_tables(airless)[0].rows[0].cells][1:4] == ["not known"] * 3
