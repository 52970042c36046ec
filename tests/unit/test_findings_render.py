"""The three renderings of one report: text, JSON, SARIF."""

import json
import math
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tristrand.findings import (
    Coverage,
    DesignInfo,
    Edit,
    Evidence,
    Finding,
    Place,
    Related,
    Report,
    RuleNote,
    WaivedBy,
    WayOut,
    render,
)
from tristrand.findings.as_sarif import relative_uri
from tristrand.findings.words import evidence_text

PLACE = Place("high_voltage.yaml", 88, 5, "connections/W3/cable")
CURRENT = Evidence(
    "current in drive_peak", 214.0, "A", "<=", 170.0, "33CFR183#183.425 Table 5", 210.0, 218.0, "datasheet"
)
FAIL = Finding(
    "HV204",
    "cable-current",
    "fail",
    "error",
    "cable W3 carries more than its table allows",
    PLACE,
    (CURRENT,),
    (Related(Place("parts/f1.yaml", 3, 1, "parts/f1"), "the fuse in the same path"),),
    WayOut("70 mm² carries it", (Edit("high_voltage.yaml", "connections/W3/cable/area", "70 mm²"),)),
)
REVIEW = Finding(
    "HV301",
    "precharge-time",
    "review",
    "warning",
    "the end of precharge depends on a tolerance",
    Place("high_voltage.yaml", 20, 1, "parts/k_pre"),
    (Evidence("time to 95 %", math.inf, "s", "<=", 1.0, "MEMORY#time"),),
)
OPEN = Finding(
    "HV401",
    "discharge-time",
    "open",
    "error",
    "the discharge resistor has no value",
    Place("high_voltage.yaml", 0, 0, "parts/r_dis"),
    (Evidence("time to 60 V", None, "s", "<=", 5.0, "FSAE-2026#EV.7.2.2c"),),
)
PASS = Finding(
    "HV101",
    "pack-voltage",
    "pass",
    "error",
    "the pack is within range",
    Place("high_voltage.yaml", 2, 1, "parts/pack"),
)
SIGNED = WaivedBy("track use only, signed in the log", "A. Builder", date(2026, 1, 10))
WAIVED = replace(FAIL, code="HV205", name="cable-drop", waived=SIGNED, message="cable W3 drops too much")
DANGER = replace(
    FAIL,
    code="HV501",
    name="no-disconnect",
    acknowledged=SIGNED,
    message="no service disconnect",
    notes=("seen",),
)
REPORT = Report(
    DesignInfo("Harbour shuttle", "C", "3f2a91c0ffee"),
    "0.1.0",
    (PASS, OPEN, WAIVED, REVIEW, FAIL, DANGER),
    Coverage(
        (
            "HV101",
            "HV102",
            "HV204",
            "HV205",
            "HV301",
            "HV401",
            "HV402",
            "HV501",
        ),  # HV102 found nothing at all
        open={"HV401": ("parts/r_dis/resistance",), "HV402": ("duty.yaml",)},
        not_applicable={"HV601": "no charging inlet"},
        disabled={"HV701": "no coolant loop is modelled"},
    ),
    (
        RuleNote(
            "HV204",
            "cable-current",
            "error",
            "Checks cable current.",
            "A hot cable burns.",
            ("33CFR183#183.425",),
        ),
    ),
)


# ---------------------------------------------------------------- text


def test_text_says_everything_about_a_failure() -> None:
    text = " ".join(render(REPORT, "text").split())
    for piece in (
        "Harbour shuttle, revision C",
        "FAIL HV204 (error): cable W3 carries more than its table allows",
        "high_voltage.yaml, line 88: connections/W3/cable",
        "current in drive_peak: 214 A (210 to 218 A), allowed is at most 170 A",
        "basis: datasheet",
        "183.425 Table 5 (edition not established; read second-hand)",
        "parts/f1.yaml, line 3: parts/f1 (the fuse in the same path)",
        "A hot cable burns.",
        "70 mm² carries it",
        "connections/W3/cable/area becomes 70 mm²",
        "REVIEW HV301 (warning)",
        "time to 95 %: unlimited, allowed is at most 1 s",
        "OPEN: not judged, because something is missing. Not checked is not passed.",
        "needed by HV401",
        "a danger to life stays a failure",
        "track use only",
        "duty.yaml needed by HV402",
        "HV601: no charging inlet",
        "HV701: no coolant loop is modelled",
        "8 rules run, 5 judged, 1 switched off: 2 errors, 0 warnings, 0 notes, 1 to review, 2 open, 1 waived.",
    ):
        assert " ".join(piece.split()) in text, piece


def test_text_says_that_a_failure_has_no_way_out_and_only_there() -> None:
    stuck = replace(FAIL, way_out=None)
    for findings, times in (
        ((stuck, FAIL, REVIEW, PASS), 1),
        ((FAIL, REVIEW), 0),
        ((replace(stuck, waived=SIGNED),), 0),
    ):
        text = " ".join(render(replace(REPORT, findings=findings), "text").split())
        assert text.count("way out none is offered; it needs a decision") == times


def test_text_marks_what_is_from_memory() -> None:
    assert "source: from memory, time (not confirmed)" in " ".join(render(REPORT, "text").split())


def test_text_prints_waived_findings_apart_and_passes_not_one_by_one() -> None:
    text = render(REPORT, "text")
    assert "FAIL HV205" not in text
    assert "Waived, and not counted:\n  HV205" in text
    assert "the pack is within range" not in text


@pytest.mark.parametrize("width", [20, 50, 80, 100, 500])
def test_text_keeps_to_the_width(width: int) -> None:
    longest = max(len(line) for line in render(REPORT, "text", width).splitlines())
    assert longest <= min(max(width, 50), 120)


def test_text_has_no_control_characters_from_the_design() -> None:
    nasty = replace(FAIL, message="red \x1b[31m\r\n\u202e name \ud800")
    text = render(replace(REPORT, findings=(nasty,)), "text")
    assert text.encode()
    assert all(c.isprintable() or c == "\n" for c in text)


@pytest.mark.parametrize(
    ("value", "limit", "text"),
    [
        (60.004, 60.0, "v: 60.004 V, allowed is at most 60 V"),
        (60.0000001, 60.0, "v: 60.0000001 V, allowed is at most 60 V"),
        (59.996, 60.0, "v: 59.996 V, allowed is at most 60 V"),
        (60.0, 60.0, "v: 60 V, allowed is at most 60 V"),
        (312.34567, 60.0, "v: 312.3 V, allowed is at most 60 V"),
    ],
)
def test_unequal_numbers_never_print_alike(value: float, limit: float, text: str) -> None:
    assert evidence_text(Evidence("v", value, "V", "<=", limit, "")) == text


@given(st.floats(1e-3, 1e6), st.integers(1, 20))
def test_neighbouring_numbers_print_apart(value: float, steps: int) -> None:
    other = value
    for _ in range(steps):
        other = math.nextafter(other, math.inf)
    left, _, right = evidence_text(Evidence("v", value, "V", "<=", other, "")).partition(", allowed is at most ")
    assert left.removeprefix("v: ") != right


# ---------------------------------------------------------------- JSON


def test_json_has_the_keys_that_were_promised() -> None:
    document = json.loads(render(REPORT, "json"))
    assert {"format_version", "design", "findings", "coverage"} <= set(document)
    assert document["design"] == {"name": "Harbour shuttle", "revision": "C", "hash": "3f2a91c0ffee"}
    first = document["findings"][0]
    wanted = {"code", "name", "kind", "severity", "message", "place", "evidence", "related", "way_out"}
    assert wanted <= set(first)
    assert first["place"] == {
        "file": "high_voltage.yaml",
        "line": 88,
        "column": 5,
        "object": "connections/W3/cable",
    }
    assert {"quantity", "value", "unit", "relation", "limit", "source"} <= set(first["evidence"][0])
    assert (first["evidence"][0]["value"], first["evidence"][0]["limit"]) == (214.0, 170.0)
    assert first["way_out"]["edits"][0]["new"] == "70 mm²"
    coverage = document["coverage"]
    assert set(coverage) == {"rules_run", "open", "not_applicable", "waived", "disabled"}
    assert coverage["open"][0] == {"code": "HV401", "missing": ["parts/r_dis/resistance"]}
    assert coverage["waived"][0]["code"] == "HV205"
    assert coverage["waived"][0]["date"] == "2026-01-10"
    assert document["exit_code"] == 1


def test_json_has_no_number_that_json_does_not_know() -> None:
    def refuse(word: str) -> None:
        raise AssertionError(word)

    document = json.loads(render(REPORT, "json"), parse_constant=refuse)
    by_code = {f["code"]: f for f in document["findings"]}
    assert by_code["HV301"]["evidence"][0]["value"] is None
    assert by_code["HV301"]["evidence"][0]["note"] == "value is infinite"
    assert by_code["HV401"]["evidence"][0]["value"] is None
    assert by_code["HV401"]["way_out"] is None


@given(st.text(max_size=40), st.floats())
def test_json_and_sarif_hold_any_text_and_any_number(text: str, number: float) -> None:
    evidence = Evidence(text, number, text, "<=", number, text, number, number, text, text)
    place = Place(text, 1, 1, text)
    odd = replace(FAIL, message=text, place=place, evidence=(evidence,), related=(Related(place, text),), waived=SIGNED)
    report = replace(REPORT, findings=(odd,), design=DesignInfo(text, text, text))
    for form in ("json", "sarif"):
        assert json.loads(render(report, form).encode().decode())
    assert render(report, "text").encode()


# ---------------------------------------------------------------- SARIF 2.1.0, clause by clause


def sarif(report: Report = REPORT) -> dict[str, Any]:
    document: dict[str, Any] = json.loads(render(report, "sarif"))
    return document


def test_sarif_frame() -> None:
    document = sarif()
    assert document["version"] == "2.1.0"
    (run,) = document["runs"]
    assert run["tool"]["driver"]["name"] == "Tristrand"
    assert run["invocations"] == [{"executionSuccessful": True, "exitCode": 1}]
    assert set(run["originalUriBaseIds"]) == {"DESIGN"}
    assert "uri" not in run["originalUriBaseIds"]["DESIGN"]  # a report must not tell where the folder lay


def test_sarif_declares_every_rule_that_was_run_and_none_that_was_not() -> None:
    rules = [r["id"] for r in sarif()["runs"][0]["tool"]["driver"]["rules"]]
    assert rules == sorted(set(rules))
    assert set(REPORT.coverage.rules_run) <= set(rules)
    assert "HV701" not in rules


def test_sarif_results_keep_the_rules_of_the_standard() -> None:
    run = sarif()["runs"][0]
    rules = run["tool"]["driver"]["rules"]
    kinds = set()
    for result in run["results"]:
        assert rules[result["ruleIndex"]]["id"] == result["ruleId"]
        assert result["kind"] in {"pass", "open", "informational", "notApplicable", "review", "fail"}
        assert result["level"] in {"none", "note", "warning", "error"}
        assert (result["level"] == "none") == (result["kind"] != "fail")
        assert result["message"]["text"]
        kinds.add(result["kind"])
        for location in result.get("locations", []) + result.get("relatedLocations", []):
            artifact = location["physicalLocation"]["artifactLocation"]
            assert not artifact["uri"].startswith("/")
            assert "://" not in artifact["uri"]
            assert artifact["uriBaseId"] in run["originalUriBaseIds"]
            region = location["physicalLocation"].get("region")
            assert region is None or (region["startLine"] >= 1 and region.get("startColumn", 1) >= 1)
    assert kinds == {"pass", "open", "notApplicable", "review", "fail"}


def test_sarif_holds_what_was_concluded() -> None:
    results = {r["ruleId"]: r for r in sarif()["runs"][0]["results"]}
    failed = results["HV204"]
    assert (failed["kind"], failed["level"]) == ("fail", "error")
    assert failed["locations"][0]["physicalLocation"]["region"] == {"startLine": 88, "startColumn": 5}
    assert failed["locations"][0]["logicalLocations"][0]["fullyQualifiedName"] == "connections/W3/cable"
    assert failed["partialFingerprints"] == {"tristrand/v1": FAIL.fingerprint}
    assert "suppressions" not in failed
    assert "214 A" in failed["message"]["text"]
    assert results["HV205"]["suppressions"][0]["kind"] == "external"
    assert "track use only" in results["HV205"]["suppressions"][0]["justification"]
    assert "suppressions" not in results["HV501"]  # acknowledged is not suppressed
    assert results["HV501"]["level"] == "error"
    assert "region" not in results["HV401"]["locations"][0]["physicalLocation"]
    assert results["HV402"]["kind"] == "open"
    assert results["HV601"]["kind"] == "notApplicable"
    assert results["HV301"]["level"] == "none"


@pytest.mark.parametrize(
    ("file", "uri"),
    [
        ("parts/f 1.yaml", "parts/f%201.yaml"),
        ("parts\\f1.yaml", "parts/f1.yaml"),
        ("/srv/me/van/high_voltage.yaml", "high_voltage.yaml"),
        ("C:\\van\\high_voltage.yaml", "high_voltage.yaml"),
        ("../other/x.yaml", "x.yaml"),
        ("µ.yaml", "%C2%B5.yaml"),
    ],
)
def test_sarif_uris_are_relative(file: str, uri: str) -> None:
    assert relative_uri(file) == uri


# ---------------------------------------------------------------- all three


@pytest.mark.parametrize("form", ["text", "json", "sarif"])
def test_same_input_same_bytes(form: str) -> None:
    shuffled = replace(REPORT, findings=REPORT.findings[::-1])
    assert render(REPORT, form) == render(shuffled, form)
    assert render(REPORT, form).endswith("\n")


@pytest.mark.parametrize("form", ["text", "json", "sarif"])
def test_an_empty_report_renders(form: str) -> None:
    empty = Report(DesignInfo("n", "", ""), "0", (), Coverage(()))
    assert render(empty, form)


def test_unknown_form_is_refused() -> None:
    with pytest.raises(ValueError, match="text, json, sarif"):
        render(REPORT, "xml")
