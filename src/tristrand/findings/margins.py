"""How far what passed is from its limit, read off the evidence: what holds only just must be seen too."""

import math
from collections.abc import Iterable

from tristrand.findings.model import Evidence, Finding
from tristrand.records import NamedTuple

# A scale whose zero is a convention: a share of its limit would say nothing.
_NO_SHARE = frozenset({"°C"})


class Margin(NamedTuple):
    """The comparison of one rule that comes closest to its limit.

    Attributes:
        finding: the pass it stands in.
        evidence: the number compared.
        share: distance to the limit as a share of the limit's size; 0 where it is met exactly.
        alike: how many other comparisons of the same rule are just as close.
    """

    finding: Finding
    evidence: Evidence
    share: float
    alike: int


def binding(evidence: Evidence) -> float | None:
    """The end of the value's interval that lies nearer to the limit; None where no end is a finite number."""
    end = evidence.high if evidence.relation in ("<", "<=") else evidence.low
    value = evidence.value if end is None else end
    return value if value is not None and math.isfinite(value) else None


def relative_margin(evidence: Evidence) -> float | None:
    """Distance from the value to its limit as a share of the limit's size, at least 0 (dimensionless).

    None where such a share does not exist: no limit or no order to it, a limit of zero, a number that is not finite,
    a count, or a scale with a conventional zero.
    """
    limit, value = evidence.limit, binding(evidence)
    if limit is None or value is None or not math.isfinite(limit) or limit == 0.0:
        return None
    if evidence.relation in ("", "=") or evidence.unit in _NO_SHARE or _is_count(evidence):
        return None
    room = limit - value if evidence.relation in ("<", "<=") else value - limit
    # What passed has no room below zero but by rounding.
    return max(0.0, room / abs(limit))


def _is_count(evidence: Evidence) -> bool:
    """Whole numbers without a unit: one contactor in each pole is not "only just" one."""
    numbers = (evidence.value, evidence.limit)
    return not evidence.unit and all(number is not None and float(number).is_integer() for number in numbers)


def tightest(findings: Iterable[Finding], most: int = 10) -> list[Margin]:
    """The passes with the least relative margin, one for each rule, the tightest first.

    Args:
        findings: of a report, in its order; of equal margins the first stays first.
        most: how many to give at most.
    """
    by_rule: dict[str, list[Margin]] = {}
    for finding in findings:
        if finding.kind != "pass" or finding.waived is not None:
            continue
        for evidence in finding.evidence:
            share = relative_margin(evidence)
            if share is not None:
                by_rule.setdefault(finding.code, []).append(Margin(finding, evidence, share, 0))
    found = []
    for margins in by_rule.values():
        least = min(margins, key=lambda margin: margin.share)
        alike = sum(math.isclose(m.share, least.share, rel_tol=1e-9, abs_tol=1e-12) for m in margins) - 1
        found.append(least._replace(alike=alike))
    return sorted(found, key=lambda margin: margin.share)[:most]
