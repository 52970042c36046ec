"""Rules on precharge: what they say where it is too slow, and where it never gets there, is true."""

import math

import pytest

from tristrand.app.check import Judged, judge_design
from tristrand.app.pipeline import Pipeline
from tristrand.app.starter import starter_files
from tristrand.design import apply_edits, load_files
from tristrand.findings import Edit
from tristrand.papers.transient_tables import precharge_tables
from tristrand.studies.results import PrechargeResult

PIPELINE = Pipeline()
NEVER = "precharge does not reach its target at all (HV131)"


def judged(*edits: Edit) -> tuple[Judged, PrechargeResult]:
    loaded = load_files(apply_edits(starter_files(), edits), "changed")
    assert loaded.design is not None, loaded.problems
    results = PIPELINE.run(loaded.design)
    return judge_design(results), results["precharge"]


def resistance(text: str) -> Edit:
    return Edit("parts/resistor-100r.yaml", "resistance", text)


@pytest.mark.parametrize(("text", "ohm"), [("300 Ω ± 5 %", 315), ("2.2 kΩ ± 5 %", 2310)])
def test_the_early_look_is_judged_where_precharge_is_too_slow(text: str, ohm: float) -> None:
    said, result = judged(resistance(text))
    (look,) = [v.finding for v in said.verdicts if v.finding.code == "HV143"]
    assert look.kind == "fail"
    # RC charging to 40 % of the pack, seen late by 1.005/0.995, over 710 µF + 10 %; the contactor takes 20 ms.
    share = 0.4 * 1.005 / 0.995
    seconds = -ohm * 710e-6 * 1.1 * math.log(1 - share) + 0.02
    (evidence,) = look.evidence
    # The bleed of 200 kΩ takes no more than its share of the way.
    assert evidence.value == pytest.approx(seconds, rel=0.01)
    assert evidence.limit == pytest.approx(0.12)
    assert {f.finding.kind for f in said.verdicts if f.finding.code == "HV132"} == {"fail"}
    assert NEVER not in said.not_applicable.values()
    told = [cell.text for table in precharge_tables(result) for line in table.rows for cell in line.cells]
    assert any("if the target were reached in time, which" in text for text in told)


def test_a_load_on_a_slow_bus_is_judged() -> None:
    starts = Edit("high_voltage.yaml", "parts/dcdc/starts", "with_bus")
    draws = Edit("high_voltage.yaml", "parts/dcdc/power/precharge", "2 W")
    said, _ = judged(resistance("300 Ω ± 5 %"), starts, draws)
    assert {v.finding.kind for v in said.verdicts if v.finding.code == "HV139"} == {"pass"}


def test_a_precharge_that_never_ends_says_so_and_only_then() -> None:
    # 20 kΩ against the built-in 200 kΩ: the bus rests at 200/220 = 91 %, below the target of 96 %.
    said, _ = judged(resistance("20 kΩ"))
    assert {code for code, reason in said.not_applicable.items() if reason == NEVER} == {"HV132", "HV133", "HV143"}
    assert said.not_applicable["HV134"].startswith("with the largest bus capacitance missing precharge does not reach")


def test_the_lane_of_a_missing_capacitance_is_told_in_a_sentence() -> None:
    said, _ = judged(resistance("600 Ω ± 5 %"))
    (finding,) = [v.finding for v in said.verdicts if v.finding.code == "HV134"]
    assert finding.message == ("precharge with drive not connected ends inside the healthy window and is not noticed")


def test_the_surge_says_that_the_packs_inductance_is_left_out_and_that_this_makes_it_larger() -> None:
    # The pack's 1.5 µH stand in series with W1: there, beside its own 0.4 m of 0.32 µH/m, they show what is left out.
    with_pack = Edit("high_voltage.yaml", "connections/W1/inductance", "1.628 µH")
    (_, left_out), (_, counted) = judged(), judged(with_pack)
    assert counted.surge_current_a < 0.9 * left_out.surge_current_a
    # The loop's resistance takes C*dV²/2 whatever its inductance; the second capacitance changes little.
    assert counted.surge_joule_integral_a2s == pytest.approx(left_out.surge_joule_integral_a2s, rel=0.01)
    (line,) = [line for line in left_out.workings if line.symbol == "I_close"]
    assert "the pack's left out, which makes the peak larger" in str(line)
