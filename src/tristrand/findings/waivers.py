"""Waivers: one finding on one object, accepted by one person for one reason, at the evidence of that day.

A waiver lapses when its day has passed or when the evidence has become worse; then the finding counts
again. One that is no longer needed is reported. A danger to life can only be acknowledged: it still counts.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date as Date

from tristrand.findings.model import Evidence, Finding, Place, Related, WaivedBy

UNUSED, OUTGROWN, EXPIRED = "WV901", "WV902", "WV903"
WAIVER_RULES = ((UNUSED, "unused-waiver"), (OUTGROWN, "waiver-outgrown"), (EXPIRED, "waiver-expired"))
_NAMES = dict(WAIVER_RULES)
# A person copies the value from the report, which prints four digits: half of the last digit is not "worse".
COPYING_SLACK = 5e-4


@dataclass(frozen=True, slots=True)
class Waiver:
    """One entry of waivers.yaml.

    Attributes:
        code, object: exactly one rule and one object; no patterns, no groups.
        reason, by, date: why, who, when.
        expires: last day on which it holds; None for no end.
        quantity, value: the evidence it was given for, in the unit of the finding's evidence.
        place: of the entry in waivers.yaml.
        limit: optionally the limit of that day; a stricter limit then ends the waiver too.
    """

    code: str
    object: str
    reason: str
    by: str
    date: Date
    expires: Date | None
    quantity: str
    value: float
    place: Place
    limit: float | None = None

    def __post_init__(self) -> None:
        empty = [n for n in ("code", "object", "reason", "by", "quantity") if not getattr(self, n).strip()]
        if empty:
            raise ValueError(f"a waiver needs {', '.join(empty)}")
        if any(c in self.code or c in self.object for c in "*?"):
            raise ValueError("a waiver names one rule and one object; patterns are not taken")
        if not math.isfinite(self.value):
            raise ValueError("a waiver needs the value of the evidence at its time, as a finite number")

    def signature(self) -> WaivedBy:
        """What the finding shows of this waiver."""
        return WaivedBy(self.reason, self.by, self.date)


def apply_waivers(
    findings: Iterable[Finding],
    waivers: Iterable[Waiver],
    today: Date,
    waivable: Callable[[str], bool],
) -> tuple[Finding, ...]:
    """Mark what is waived, and report every waiver that no longer holds.

    Args:
        findings: of one check; those already marked are taken as they are.
        waivers: in the order of the file.
        today: the day the check is made for.
        waivable: whether the rule of this code may be waived; where not, a waiver only acknowledges.

    Returns:
        The findings in their order, marked where a waiver holds and with a note where one has lapsed, then
        one warning for each waiver that is unused (WV901), outgrown (WV902) or expired (WV903).
    """
    found = tuple(findings)
    every = tuple(waivers)
    by_key: dict[tuple[str, str], list[Waiver]] = {}
    for waiver in every:
        by_key.setdefault((waiver.code, waiver.object), []).append(waiver)
    used: set[int] = set()
    lapsed: dict[int, tuple[str, str, Finding]] = {}
    marked: list[Finding] = []
    for finding in found:
        given = by_key.get((finding.code, finding.place.object), ())
        if finding.kind in ("fail", "review") and given:
            finding = _mark(finding, given, today, waivable, used, lapsed)
        marked.append(finding)
    # A rule that could not run says nothing about its waivers.
    undecided = {f.code for f in found if f.kind == "open"}
    for waiver in every:
        if id(waiver) in lapsed:
            marked.append(_lapse(waiver, *lapsed[id(waiver)]))
        elif id(waiver) not in used and waiver.code not in undecided:
            marked.append(_unused(waiver, _why_unused(waiver, found)))
    return tuple(marked)


def _mark(
    finding: Finding,
    given: Iterable[Waiver],
    today: Date,
    waivable: Callable[[str], bool],
    used: set[int],
    lapsed: dict[int, tuple[str, str, Finding]],
) -> Finding:
    holder: Waiver | None = None
    notes: list[str] = []
    for waiver in given:
        code, why = _why_lapsed(waiver, finding, today)
        if code:
            lapsed[id(waiver)] = (code, why, finding)
            notes.append(f"waived by {waiver.by} on {waiver.date.isoformat()}, but {why}")
        elif holder is None:
            holder = waiver
            used.add(id(waiver))
    if holder is None:
        return replace(finding, notes=finding.notes + tuple(notes))
    if waivable(finding.code):
        return replace(finding, waived=holder.signature())
    return replace(finding, acknowledged=holder.signature())


def _why_lapsed(waiver: Waiver, finding: Finding, today: Date) -> tuple[str, str]:
    if waiver.expires is not None and today > waiver.expires:
        return EXPIRED, f"the waiver ended on {waiver.expires.isoformat()}"
    evidence = next((e for e in finding.evidence if e.quantity == waiver.quantity), None)
    if evidence is None:
        names = ", ".join(f"'{e.quantity}'" for e in finding.evidence) or "none"
        return OUTGROWN, f"the finding has no evidence named '{waiver.quantity}'; it has {names}"
    if evidence.value is None or math.isnan(evidence.value):
        return OUTGROWN, f"{waiver.quantity} is not known any more"
    if _is_worse(evidence, evidence.value, waiver.value):
        from tristrand.units import show

        now, then = show(evidence.value, evidence.unit, 5), show(waiver.value, evidence.unit, 5)
        return OUTGROWN, f"{waiver.quantity} is now {now}; it was {then} when waived"
    if waiver.limit is not None and _is_stricter(evidence, waiver.limit):
        return OUTGROWN, "the limit is stricter than when waived"
    return "", ""


def _is_worse(evidence: Evidence, now: float, then: float) -> bool:
    slack = COPYING_SLACK * abs(then)
    match evidence.relation:
        case "<=" | "<":
            return now > then + slack
        case ">=" | ">":
            return now < then - slack
        case "=" if evidence.limit is not None:
            return abs(now - evidence.limit) > abs(then - evidence.limit) + slack
    return not abs(now - then) <= slack


def _is_stricter(evidence: Evidence, then: float) -> bool:
    if evidence.limit is None:
        return False
    slack = COPYING_SLACK * abs(then)
    match evidence.relation:
        case "<=" | "<":
            return evidence.limit < then - slack
        case ">=" | ">":
            return evidence.limit > then + slack
    return abs(evidence.limit - then) > slack


def _lapse(waiver: Waiver, code: str, why: str, finding: Finding) -> Finding:
    return Finding(
        code=code,
        name=_NAMES[code],
        kind="fail",
        severity="warning",
        message=f"the waiver of {waiver.code} on {waiver.object} no longer holds: {why}",
        place=waiver.place,
        evidence=tuple(e for e in finding.evidence if e.quantity == waiver.quantity),
        related=(Related(finding.place, f"the finding {waiver.code} counts again"),),
    )


def _why_unused(waiver: Waiver, found: Iterable[Finding]) -> str:
    """Whether the failure is gone, or stands on another object than the waiver names."""
    standing = sorted({f.place.object for f in found if f.code == waiver.code and f.kind in ("fail", "review")})
    if not standing:
        return f"{waiver.code} finds nothing to accept, so it is not needed"
    return f"{waiver.code} stands on {', '.join(standing[:4])}; name the object so"


def _unused(waiver: Waiver, why: str) -> Finding:
    return Finding(
        code=UNUSED,
        name=_NAMES[UNUSED],
        kind="fail",
        severity="warning",
        message=f"the waiver of {waiver.code} on {waiver.object} covers nothing: {why}",
        place=waiver.place,
    )
