"""Judging, fingerprints, order, exit codes, and what a waiver does and stops doing."""

import math
import subprocess
import sys
from dataclasses import FrozenInstanceError, replace
from datetime import date
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tristrand.findings import (
    Coverage,
    DesignInfo,
    Evidence,
    Finding,
    Place,
    Related,
    Relation,
    Report,
    Waiver,
    apply_waivers,
    exit_code,
    in_order,
    judge,
)

TODAY = date(2026, 3, 1)


def finding(
    code: str = "HV204", obj: str = "connections/W3", value: float | None = 214.0, **changes: object
) -> Finding:
    evidence = Evidence("current", value, "A", "<=", 170.0, "33CFR183#Table 5")
    plain = Finding(
        code,
        "cable-current",
        "fail",
        "error",
        "W3 carries too much",
        Place("hv.yaml", 8, 3, obj),
        (evidence,),
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def waiver(**changes: object) -> Waiver:
    plain = Waiver(
        code="HV204",
        object="connections/W3",
        reason="short runs only",
        by="A. Builder",
        date=date(2026, 1, 10),
        expires=None,
        quantity="current",
        value=214.0,
        place=Place("waivers.yaml", 2, 3, "waivers/0"),
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def applied(
    findings: list[Finding], waivers: list[Waiver], *, today: date = TODAY, may_waive: bool = True
) -> tuple[Finding, ...]:
    return apply_waivers(findings, waivers, today, lambda _: may_waive)


# ---------------------------------------------------------------- judge


@pytest.mark.parametrize(
    ("low", "high", "relation", "limit", "kind"),
    [
        (1, 2, "<=", 2, "pass"),
        (1, 2, "<=", 1, "review"),
        (1, 2, "<=", 0.9, "fail"),
        (1, 2, "<", 2, "review"),
        (2, 2, "<", 2, "fail"),
        (2, 2, "<=", 2, "pass"),
        (1, 2, ">=", 1, "pass"),
        (1, 2, ">", 1, "review"),
        (1, 1, ">", 1, "fail"),
        (1, 2, ">=", 2, "review"),
        (1, 2, ">=", 2.1, "fail"),
        (1, 1, "=", 1, "pass"),
        (1, 2, "=", 1.5, "review"),
        (1, 2, "=", 3, "fail"),
        (1, math.inf, "<=", 5, "review"),
        (math.inf, math.inf, "<=", 5, "fail"),
        (math.nan, 1, "<=", 5, "open"),
        (0, math.nan, ">=", 5, "open"),
        (0, 1, "<=", math.nan, "open"),
    ],
)
def test_judge(low: float, high: float, relation: Relation, limit: float, kind: str) -> None:
    assert judge(low, high, relation, limit) == kind


@given(*[st.floats(-1e6, 1e6)] * 3, st.sampled_from(["<=", ">=", "<", ">"]), st.floats(0, 1))
def test_judge_agrees_with_every_value_inside(a: float, b: float, limit: float, relation: Relation, t: float) -> None:
    low, high = min(a, b), max(a, b)
    inside = min(max(low + t * (high - low), low), high)
    kept = {"<=": inside <= limit, ">=": inside >= limit, "<": inside < limit, ">": inside > limit}[relation]
    verdict = judge(low, high, relation, limit)
    if verdict != "review":
        assert kept == (verdict == "pass")
    else:
        ends = {judge(x, x, relation, limit) for x in (low, high)}
        assert ends == {"pass", "fail"}


def test_judge_refuses_nonsense() -> None:
    with pytest.raises(ValueError, match="upside down"):
        judge(2, 1, "<=", 5)
    with pytest.raises(ValueError, match="no relation"):
        judge(1, 2, "", 5)


# ---------------------------------------------------------------- the record


def test_fingerprint_keeps_through_edits_of_values_lines_and_words() -> None:
    one = finding()
    other = finding(value=999.0, message="other words", place=Place("moved.yaml", 99, 1, "connections/W3"))
    assert one.fingerprint == other.fingerprint
    assert len(one.fingerprint) == 16


def test_fingerprint_tells_code_object_and_related_apart() -> None:
    place = Place("hv.yaml", 1, 1, "parts/f1")
    related = (Related(place, "fuse"), Related(place._replace(object="parts/f2"), "fuse"))
    prints = [
        finding().fingerprint,
        finding(code="HV205").fingerprint,
        finding(obj="connections/W4").fingerprint,
        finding(related=related).fingerprint,
        finding(related=related[:1]).fingerprint,
    ]
    assert len(set(prints)) == len(prints)
    assert finding(related=related).fingerprint == finding(related=related[::-1]).fingerprint


def test_records_are_frozen_and_checked() -> None:
    with pytest.raises(FrozenInstanceError):
        finding().code = "X"  # type: ignore[misc]
    with pytest.raises(ValueError, match="not known"):
        finding(kind="green")
    with pytest.raises(ValueError, match="not known"):
        finding(severity="fatal")


def test_order_is_severity_kind_place_and_does_not_depend_on_input_order() -> None:
    wanted = [
        finding(place=Place("a.yaml", 9, 1, "x")),
        finding(place=Place("b.yaml", 2, 1, "x")),
        finding(kind="review"),
        finding(kind="open"),
        finding(kind="not_applicable"),
        finding(kind="pass"),
        finding(severity="warning"),
    ]
    for shuffled in list(permutations(wanted))[::97]:
        assert list(in_order(shuffled)) == wanted


@pytest.mark.parametrize(
    ("kind", "severity", "fail_on", "code"),
    [
        ("fail", "error", "error", 1),
        ("fail", "warning", "error", 0),
        ("fail", "warning", "warning", 1),
        ("fail", "note", "warning", 0),
        ("fail", "note", "note", 1),
        ("review", "error", "note", 0),
        ("open", "error", "note", 0),
        ("pass", "error", "note", 0),
        ("not_applicable", "error", "note", 0),
    ],
)
def test_exit_code(kind: str, severity: str, fail_on: str, code: int) -> None:
    found = [finding(kind=kind, severity=severity), finding(kind="pass")]
    assert exit_code(found, fail_on) == code  # type: ignore[arg-type]
    report = Report(DesignInfo("n", "A", "h"), "0", tuple(found), Coverage(("HV204",)), fail_on=fail_on)  # type: ignore[arg-type]
    assert report.exit_code == code


# ---------------------------------------------------------------- waivers


def test_a_waived_finding_stays_marked_and_no_longer_counts() -> None:
    (marked,) = applied([finding()], [waiver()])
    assert marked.kind == "fail"
    assert marked.waived is not None
    assert (marked.waived.by, marked.waived.reason) == ("A. Builder", "short runs only")
    assert exit_code([marked], "note") == 0


def test_it_covers_one_rule_on_one_object_only() -> None:
    others = [finding(obj="connections/W4"), finding(code="HV205")]
    marked = applied(others, [waiver()])
    assert [f.waived for f in marked[:2]] == [None, None]
    assert marked[2].code == "WV901"
    assert exit_code(marked[:2], "error") == 1


def test_unused_waiver_is_a_warning_at_its_own_place() -> None:
    (unused,) = applied([], [waiver()])
    assert (unused.code, unused.name, unused.kind, unused.severity) == (
        "WV901",
        "unused-waiver",
        "fail",
        "warning",
    )
    assert unused.place == waiver().place
    assert exit_code([unused], "error") == 0
    assert exit_code([unused], "warning") == 1


@pytest.mark.parametrize("kind", ["pass", "not_applicable"])
def test_a_waiver_on_what_passes_is_unused(kind: str) -> None:
    marked = applied([finding(kind=kind)], [waiver()])
    assert marked[0].waived is None
    assert [f.code for f in marked[1:]] == ["WV901"]


def test_an_open_rule_decides_nothing_about_its_waiver_and_stays_open() -> None:
    (still_open,) = applied([finding(kind="open", value=None)], [waiver()])
    assert still_open.waived is None
    assert still_open.kind == "open"


def test_expired_waiver_brings_the_finding_back() -> None:
    last_day = date(2026, 2, 28)
    (held,) = applied([finding()], [waiver(expires=last_day)], today=last_day)
    assert held.waived is not None
    back, warning = applied([finding()], [waiver(expires=last_day)], today=date(2026, 3, 1))
    assert back.waived is None
    assert "2026-02-28" in back.notes[0]
    assert (warning.code, warning.severity) == ("WV903", "warning")
    assert warning.related[0].place == back.place
    assert exit_code([back], "error") == 1


@pytest.mark.parametrize(
    ("relation", "limit", "then", "now", "holds"),
    [
        ("<=", 170.0, 214.0, 213.0, True),
        ("<=", 170.0, 214.0, 214.0, True),
        ("<=", 170.0, 214.0, 214.04, True),  # what four printed digits hide
        ("<=", 170.0, 214.0, 214.4, False),
        ("<", 170.0, 214.0, 300.0, False),
        ("<=", 170.0, 214.0, math.inf, False),
        ("<=", 170.0, 214.0, math.nan, False),
        ("<=", 170.0, 214.0, None, False),
        (">=", 500.0, 400.0, 450.0, True),
        (">=", 500.0, 400.0, 399.9, True),
        (">=", 500.0, 400.0, 399.0, False),
        (">", 500.0, 400.0, -math.inf, False),
        (">=", -10.0, -40.0, -41.0, False),
        ("=", 60.0, 120.0, 90.0, True),
        ("=", 60.0, 40.0, 70.0, True),
        ("=", 60.0, 40.0, 90.0, False),
        ("", None, 5.0, 5.0, True),
        ("", None, 5.0, 4.0, False),
    ],
)
def test_worse_evidence_ends_the_waiver(
    relation: Relation, limit: float | None, then: float, now: float | None, holds: bool
) -> None:
    evidence = Evidence("current", now, "A", relation, limit, "PRACTICE")
    marked = applied([finding(evidence=(evidence,))], [waiver(value=then)])
    assert (marked[0].waived is not None) == holds
    assert [f.code for f in marked[1:]] == ([] if holds else ["WV902"])
    assert bool(marked[0].notes) != holds


def test_a_stricter_limit_ends_a_waiver_that_names_its_limit() -> None:
    assert applied([finding()], [waiver(limit=170.0)])[0].waived is not None
    assert applied([finding()], [waiver(limit=150.0)])[0].waived is not None
    back, warning = applied([finding()], [waiver(limit=190.0)])
    assert back.waived is None
    assert warning.code == "WV902"


def test_evidence_that_is_gone_ends_the_waiver() -> None:
    back, warning = applied([finding()], [waiver(quantity="temperature")])
    assert back.waived is None
    assert warning.code == "WV902"
    assert "temperature" in warning.message


def test_danger_to_life_is_only_acknowledged() -> None:
    (signed,) = applied([finding()], [waiver()], may_waive=False)
    assert signed.waived is None
    assert signed.acknowledged is not None
    assert signed.kind == "fail"
    assert exit_code([signed], "error") == 1


def test_an_acknowledgement_lapses_like_a_waiver() -> None:
    back, warning = applied([finding(value=300.0)], [waiver()], may_waive=False)
    assert back.acknowledged is None
    assert warning.code == "WV902"


def test_a_second_waiver_for_the_same_thing_is_unused() -> None:
    marked = applied([finding()], [waiver(), waiver(reason="again")])
    assert marked[0].waived is not None
    assert marked[0].waived.reason == "short runs only"
    assert [f.code for f in marked[1:]] == ["WV901"]


def test_a_renewed_waiver_holds_and_the_lapsed_one_is_reported() -> None:
    marked = applied([finding()], [waiver(expires=date(2026, 1, 31)), waiver(reason="renewed")])
    assert marked[0].waived is not None
    assert marked[0].waived.reason == "renewed"
    assert [f.code for f in marked[1:]] == ["WV903"]


def test_reviews_can_be_waived_too() -> None:
    (marked,) = applied([finding(kind="review")], [waiver()])
    assert marked.waived is not None


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"object": ""}, "object"),
        ({"object": "connections/*"}, "patterns"),
        ({"code": "HV*"}, "patterns"),
        ({"code": " "}, "code"),
        ({"reason": "  "}, "reason"),
        ({"by": ""}, "by"),
        ({"quantity": ""}, "quantity"),
        ({"value": math.nan}, "finite"),
        ({"value": math.inf}, "finite"),
    ],
)
def test_no_blanket_waivers(changes: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        waiver(**changes)


def test_renderers_are_loaded_only_when_asked_for() -> None:
    code = (
        "import sys, tristrand.findings\n"
        "late = ('json', 'textwrap', 'tomllib', 'hashlib', 'numpy', 'pydantic', 'yaml',"
        " 'tristrand.findings.text', 'tristrand.findings.as_json', 'tristrand.findings.as_sarif')\n"
        "print([m for m in late if m in sys.modules])\n"
        "from tristrand.findings import Report, apply_waivers\n"
        "assert all(hasattr(tristrand.findings, n) for n in tristrand.findings.__all__)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert done.stdout.strip() == "[]"
