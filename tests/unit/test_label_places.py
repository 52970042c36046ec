"""Words in the pictures of the report: over upright lines, and at their curves inside the frame and apart."""

from itertools import combinations
from pathlib import Path
from typing import Any

import pytest

from tristrand.app.check import Workspace
from tristrand.papers import charging_plots, generation_tables, label_places, plots
from tristrand.papers.label_places import above

DEMOS = Path(__file__).parents[2] / "demos"


def test_words_over_upright_lines_stand_at_their_own_line() -> None:
    # Alone: in the middle. Two lines 27 px apart: one word ends at its line, the other begins at its own.
    assert above([300.0], ["time-out"], 600.0) == [(0, "center")]
    assert above([108.0, 135.0], ["earliest 80 ms", "early look 100 ms"], 600.0) == [(0, "right"), (0, "left")]
    assert above([], [], 600.0) == []
    # Three lines on each other cannot share a row.
    rows = [row for row, _ in above([300.0, 300.0, 300.0], ["a" * 30] * 3, 600.0)]
    assert len(set(rows)) >= 2


def test_plain_axes_count_pixels_from_the_upper_left() -> None:
    area = label_places.Frame((0.0, 2.0), (-100.0, 300.0), 600.0, 200.0, log=False)
    assert area.pixels((0.0, 0.5), (300.0, 200.0)).tolist() == [[0.0, 0.0], [150.0, 50.0]]


@pytest.mark.parametrize("folder", ["van", "van-mended", "hill-climb"])
def test_names_in_the_pictures_of_the_demos_lie_inside_and_apart(folder: str, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[tuple[list[Any], Any]] = []
    real = label_places.places

    def spy(names: Any, area: Any, nameless: Any = ()) -> Any:
        found = real(names, area, nameless)
        seen.append((found, area))
        return found

    monkeypatch.setattr(label_places, "places", spy)
    results = Workspace().check(DEMOS / folder).results
    plots.precharge(results["precharge"])
    plots.discharge(results["discharge"], 5.0)
    charging_plots.charging(results["charging"])
    generation_tables.generation_plots(results["generation"])
    assert len(seen) >= 5
    for found, area in seen:
        for place in found:
            left, top, right, bottom = place.box
            assert left >= 0
            assert top >= 0
            assert right <= area.width
            assert bottom <= area.height
        for one, other in combinations(found, 2):
            apart = one.box[2] <= other.box[0] or other.box[2] <= one.box[0]
            assert apart or one.box[3] <= other.box[1] or other.box[3] <= one.box[1], (one, other)
