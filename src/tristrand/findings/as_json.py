"""The report as JSON: stable keys, numbers never NaN, the same bytes for the same input."""

from __future__ import annotations

import json
import math
from typing import Any

from tristrand.findings.model import Evidence, Finding, Place, WaivedBy
from tristrand.findings.report import Report
from tristrand.findings.words import known, plain

FORMAT_VERSION = 1


def render_json(report: Report) -> str:
    """The document that the format version describes, with a final line feed."""
    return json.dumps(as_plain(report), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def as_plain(report: Report) -> dict[str, Any]:
    """The same document as dicts, lists, strings and numbers."""
    coverage = report.coverage
    return {
        "format_version": FORMAT_VERSION,
        "tool": {"name": "tristrand", "version": report.tool_version},
        "design": {
            "name": plain(report.design.name),
            "revision": plain(report.design.revision),
            "hash": plain(report.design.hash),
        },
        "fail_on": report.fail_on,
        "exit_code": report.exit_code,
        "findings": [finding_plain(f) for f in report.findings],
        "coverage": {
            "rules_run": sorted(coverage.rules_run),
            "open": [{"code": c, "missing": [plain(m) for m in v]} for c, v in sorted(coverage.open.items())],
            "not_applicable": [{"code": c, "reason": plain(v)} for c, v in sorted(coverage.not_applicable.items())],
            "waived": [
                {"code": f.code, "object": plain(f.place.object), **_signature(f.waived)}
                for f in report.waived
                if f.waived
            ],
            "disabled": [{"code": c, "reason": plain(v)} for c, v in sorted(coverage.disabled.items())],
        },
    }


def finding_plain(finding: Finding) -> dict[str, Any]:
    """One finding as plain data."""
    way_out = finding.way_out
    return {
        "code": finding.code,
        "name": finding.name,
        "kind": finding.kind,
        "severity": finding.severity,
        "message": plain(finding.message),
        "place": _place(finding.place),
        "evidence": [evidence_plain(e) for e in finding.evidence],
        "related": [{"place": _place(r.place), "label": plain(r.label)} for r in finding.related],
        "way_out": None
        if way_out is None
        else {
            "text": plain(way_out.text),
            "edits": [{"file": plain(e.file), "pointer": plain(e.pointer), "new": plain(e.new)} for e in way_out.edits],
        },
        "waived": _signature(finding.waived) if finding.waived else None,
        "acknowledged": _signature(finding.acknowledged) if finding.acknowledged else None,
        "notes": [plain(n) for n in finding.notes],
        "fingerprint": finding.fingerprint,
    }


def evidence_plain(evidence: Evidence) -> dict[str, Any]:
    """One piece of evidence; what is unknown or without bound becomes null, and the note says which."""
    notes = [plain(evidence.note)] if evidence.note else []
    for word in ("value", "limit", "low", "high"):
        number = getattr(evidence, word)
        if number is not None and math.isinf(number):
            notes.append(f"{word} is {'' if number > 0 else 'minus '}infinite")
    return {
        "quantity": plain(evidence.quantity),
        "value": known(evidence.value),
        "unit": plain(evidence.unit),
        "relation": evidence.relation,
        "limit": known(evidence.limit),
        "source": plain(evidence.source),
        "low": known(evidence.low),
        "high": known(evidence.high),
        "basis": plain(evidence.basis),
        "note": "; ".join(notes),
    }


def _place(place: Place) -> dict[str, Any]:
    return {
        "file": plain(place.file),
        "line": place.line,
        "column": place.column,
        "object": plain(place.object),
    }


def _signature(waived: WaivedBy) -> dict[str, str]:
    return {"reason": plain(waived.reason), "by": plain(waived.by), "date": waived.date.isoformat()}
