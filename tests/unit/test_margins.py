"""How far passes are from their limits: the shares are worked out by hand."""

import math
from datetime import date
from typing import Any

import pytest

from tristrand.findings import Evidence, Finding, Place, WaivedBy
from tristrand.findings.margins import binding, relative_margin, tightest


def evidence(value: float | None, relation: Any, limit: float | None, unit: str = "A", **more: Any) -> Evidence:
    return Evidence("current", value, unit, relation, limit, "", **more)


def passed(code: str, *numbers: Evidence, **more: Any) -> Finding:
    given: dict[str, Any] = {"kind": "pass", "severity": "error", "message": "it holds", **more}
    return Finding(code, "name", place=Place("high_voltage.yaml", 1, 1, f"parts/{code}"), evidence=numbers, **given)


@pytest.mark.parametrize(
    ("given", "share"),
    [
        (evidence(90.0, "<=", 100.0), 0.1),
        (evidence(90.0, "<", 100.0), 0.1),
        (evidence(125.0, ">=", 100.0), 0.25),
        (evidence(125.0, ">", 100.0), 0.25),
        (evidence(100.0, "<=", 100.0), 0.0),
        (evidence(0.0, "<=", 100.0), 1.0),
        # Signs: -30 is 20 above -50, which is 40 % of 50.
        (evidence(-30.0, ">=", -50.0), 0.4),
        # The end of the interval that lies nearer to the limit counts.
        (evidence(80.0, "<=", 100.0, low=70.0, high=95.0), 0.05),
        (evidence(130.0, ">=", 100.0, low=110.0, high=150.0), 0.1),
        # Residue of a computation is no negative margin.
        (evidence(10.0 + 1e-14, "<=", 10.0), 0.0),
        # A ratio has no unit and is no count.
        (evidence(1.5, ">=", 1.25, unit=""), 0.2),
    ],
)
def test_the_share_of_the_limit_that_is_left(given: Evidence, share: float) -> None:
    assert relative_margin(given) == pytest.approx(share, abs=1e-12)


@pytest.mark.parametrize(
    "given",
    [
        evidence(1.0, "<=", None),
        evidence(1.0, "", 2.0),
        evidence(2.0, "=", 2.0),
        evidence(0.0, "<=", 0.0),
        evidence(3.0, ">=", 0.0),
        evidence(None, "<=", 2.0),
        evidence(math.nan, "<=", 2.0),
        evidence(math.inf, ">=", 2.0),
        evidence(1.0, "<=", math.inf),
        evidence(1.0, "<=", math.nan),
        evidence(5.0, "<=", 9.0, low=1.0, high=math.inf),
        evidence(1.0, ">=", 1.0, unit=""),
        evidence(44.5, "<=", 45.0, unit="°C"),
    ],
)
def test_no_share_where_none_exists(given: Evidence) -> None:
    assert relative_margin(given) is None


def test_the_binding_end() -> None:
    assert binding(evidence(5.0, "<=", 9.0, low=4.0, high=6.0)) == 6.0
    assert binding(evidence(5.0, ">=", 1.0, low=4.0, high=6.0)) == 4.0
    assert binding(evidence(None, ">=", 1.0)) is None


def test_the_tightest_come_first_one_for_each_rule() -> None:
    waiver = WaivedBy("accepted for the trial", "the owner", date(2026, 1, 2))
    findings = [
        passed("HV001", evidence(50.0, "<=", 100.0)),
        passed("HV002", evidence(99.0, "<=", 100.0), evidence(60.0, "<=", 100.0)),
        passed("HV002", evidence(198.0, "<=", 200.0)),
        passed("HV003", evidence(100.0, "<=", 100.0), kind="fail"),
        passed("HV004", evidence(100.0, "<=", 100.0), waived=waiver),
        passed("HV005", evidence(3.0, ">=", 0.0)),
        passed("HV006"),
        passed("HV007", evidence(105.0, ">=", 100.0)),
    ]
    found = tightest(findings)
    assert [m.finding.code for m in found] == ["HV002", "HV007", "HV001"]
    assert [m.share for m in found] == pytest.approx([0.01, 0.05, 0.5])
    # 99 of 100 and 198 of 200 are equally close; 60 of 100 is not.
    assert [m.alike for m in found] == [1, 0, 0]
    assert found[0].evidence.value == 99.0
    assert [m.finding.code for m in tightest(findings, 1)] == ["HV002"]
    assert tightest([]) == []
