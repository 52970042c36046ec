"""Leads that a slow course cannot feel: an edit of one finds precharge and discharge solved, and moves no number."""

import math
from pathlib import Path

import pytest

from tristrand.app import Workspace
from tristrand.design import Design, apply_edits, load_files, read_folder
from tristrand.findings import Edit
from tristrand.studies import slices
from tristrand.studies.circuits import hv_circuit
from tristrand.studies.slices import USUAL_OHM, bare, quiet

HV = "high_voltage.yaml"
FILES, _ = read_folder(Path(__file__).parents[2] / "demos" / "van-mended")
# Leads of the heater's 10 µF beside 75 µF with the inverter missing. The converter's 40 µF is more than half of that.
UNFELT = {"B4", "W14", "W15"}


def changed(*edits: tuple[str, str, str]) -> Design:
    design = load_files(apply_edits(FILES, [Edit(*edit) for edit in edits]), "van").design
    assert design is not None
    return design


def unfelt(design: Design) -> set[str]:
    circuit = bare(hv_circuit(design), "precharge", opened="discharge", timed=False, inductive=False)
    return {a.id for a, b in zip(circuit.leads, quiet(circuit).leads, strict=True) if a != b and b.ohm_20c == USUAL_OHM}


def test_the_leads_of_a_small_capacitance_are_not_felt_and_those_of_the_bus_are() -> None:
    assert unfelt(changed()) == UNFELT


@pytest.mark.parametrize(
    "edit",
    [
        (
            HV,
            "parts/heater",
            "{kind: heater, sheet: heater-12k, starts: with_bus, power: {precharge: 20 W, heat: 12 kW}}",
        ),
        (HV, "connections/W15/length", "90 m"),
        ("parts/heater-12k.yaml", "input_capacitance", "90 µF"),
    ],
    ids=["a load", "a long lead", "a large capacitance"],
)
def test_what_is_felt_stays_as_it_is(edit: tuple[str, str, str]) -> None:
    assert "W15" not in unfelt(changed(edit))


@pytest.mark.parametrize("length", ["0.2 m", "4 m"])
def test_no_number_moves_by_more_than_the_solver_s_own_steps(length: str, monkeypatch: pytest.MonkeyPatch) -> None:
    design = changed((HV, "connections/W15/length", length))
    assert unfelt(design) == UNFELT
    without = numbers(design)
    for study in ("precharge", "discharge"):
        monkeypatch.setattr(f"tristrand.studies.{study}.quiet", lambda circuit: circuit)
    assert without == pytest.approx(numbers(design), rel=slices.UNFELT, abs=1e-9, nan_ok=True)


def numbers(design: Design) -> dict[str, float]:
    found = {}
    for name in ("precharge", "discharge"):
        result = Workspace().pipeline.run(design)[name]
        fields = dict(zip(result._fields, result, strict=True))
        for k, row in enumerate((*fields.pop("attempts", ()), *fields.pop("cases", ()))):
            fields |= {f"{k}.{key}": v for key, v in zip(row._fields, row, strict=True)}
        found |= {f"{name}.{k}": v for k, v in fields.items() if isinstance(v, float) and not math.isinf(v)}
    assert len(found) > 100
    return found
