"""HV192 and HV193: power that a charger has where nothing charges, and the range that the monitor allows."""

from pathlib import Path

import pytest

from tristrand.app.check import judge_design
from tristrand.app.pipeline import Pipeline
from tristrand.design import apply_edits, load_files, read_folder
from tristrand.findings import Edit, Finding

VAN = read_folder(Path(__file__).parents[2] / "demos" / "van-mended")[0]
HV, PACK = "high_voltage.yaml", "parts/pack-96s.yaml"
MONITOR = "parts/pack/monitor"
PIPELINE = Pipeline()
Change = tuple[str, str, str]


def judged(code: str, *changes: Change) -> tuple[list[Finding], tuple[str, ...]]:
    """A rule's findings on the mended van with changes, and what it is open about."""
    loaded = load_files(apply_edits(VAN, [Edit(*change) for change in changes]), "van-mended")
    assert loaded.design is not None, [p.text() for p in loaded.problems]
    told = judge_design(PIPELINE.run(loaded.design))
    return [v.finding for v in told.verdicts if v.finding.code == code], tuple(told.open.get(code, ()))


# What the monitor lets pass, each with the 1.5 K of its reading: 0.5 to 44.5 °C while it discharges.
DISCHARGING: tuple[Change, ...] = (
    (HV, f"{MONITOR}/under_temperature", "2 °C"),
    (HV, f"{MONITOR}/over_temperature", "43 °C"),
)


def test_the_charging_trips_keep_the_range_too() -> None:
    assert [f.kind for f in judged("HV193", *DISCHARGING)[0]] == ["pass"]
    cells = (PACK, "cell_temperature/charge", "{minimum: -20 °C, maximum: 60 °C}")
    cold = (HV, f"{MONITOR}/under_temperature_charge", "-15 °C")
    hot = (HV, f"{MONITOR}/over_temperature_charge", "55 °C")
    for changes, worst in (((cold, hot), -16.5), ((hot,), 56.5), ((cold,), -16.5)):
        (found,) = judged("HV193", *DISCHARGING, cells, *changes)[0]
        assert found.kind == "review", changes
        assert found.evidence[0].value == pytest.approx(worst)


def test_a_trip_just_at_the_range_is_inside_it() -> None:
    # 1.2 °C less 1.1 K is 0.1 °C, where the range begins; in binary numbers it is a hair less.
    edge = (
        (HV, "parts/pack/temperature/minimum", "0.1 °C"), (HV, f"{MONITOR}/temperature_error", "1.1 K"),
        (HV, f"{MONITOR}/under_temperature", "1.2 °C"), (HV, f"{MONITOR}/over_temperature", "43 °C"),
    )  # fmt: skip
    assert [f.kind for f in judged("HV193", *edge)[0]] == ["pass"]


@pytest.mark.parametrize(
    ("gaps", "named"),
    [
        (("monitor/temperature_error",), ("monitor/temperature_error ",)),
        (("monitor/over_temperature",), ("monitor/over_temperature ",)),
        (("monitor/under_temperature_charge",), ("monitor/under_temperature_charge ",)),
        (("temperature",), ("temperature ",)),
        (("temperature", "monitor"), ("temperature ", "monitor ")),
    ],
)
def test_the_open_range_names_what_is_missing(gaps: tuple[str, ...], named: tuple[str, ...]) -> None:
    found, about = judged("HV193", *((HV, f"parts/pack/{gap}", "null") for gap in gaps))
    assert {f.kind for f in found} <= {"open"}
    for name in named:
        assert any(text.startswith(f"high_voltage/parts/pack/{name}") for text in about), (name, about)
    assert len(about) == len(named)


@pytest.mark.parametrize("case", ["idle", "precharge", "continuous", "peak", "heat", "regeneration"])
def test_a_charger_with_power_where_nothing_charges_fails(case: str) -> None:
    found, _ = judged("HV192", (HV, "parts/charger/power", f"{{charge: 6.4 kW, {case}: 6.4 kW}}"))
    (failing,) = (f for f in found if f.kind == "fail")
    assert failing.place.object == f"high_voltage/parts/charger/power/{case}"
    assert failing.evidence[0].value == pytest.approx(6400)


def test_a_charger_at_rest_while_driving_passes() -> None:
    found, about = judged("HV192", (HV, "parts/charger/power", "{charge: 6.4 kW, peak: 0 W}"))
    assert {f.kind for f in found} == {"pass"}
    assert not about
