"""The report as SARIF 2.1.0, for code hosts and editors that read it. Section numbers are SARIF's own."""

from __future__ import annotations

import json
from pathlib import PurePosixPath
from typing import Any

from tristrand.findings.as_json import evidence_plain
from tristrand.findings.model import Finding, Place
from tristrand.findings.report import Report, RuleNote
from tristrand.findings.waivers import WAIVER_RULES
from tristrand.findings.words import evidence_text, plain

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
BASE = "DESIGN"
_KIND = {"not_applicable": "notApplicable"}


def render_sarif(report: Report) -> str:
    """One run, with every rule that was run declared, whether it found something or not."""
    rules = _rules(report)
    index = {rule["id"]: i for i, rule in enumerate(rules)}
    run = {
        "tool": {"driver": {"name": "Tristrand", "version": report.tool_version, "rules": rules}},
        "invocations": [{"executionSuccessful": True, "exitCode": report.exit_code}],
        "originalUriBaseIds": {BASE: {"description": {"text": "the design folder"}}},
        "columnKind": "unicodeCodePoints",
        "language": "en",
        "results": [_result(f, index) for f in report.findings] + _silent_results(report, index),
        "properties": {
            "design": plain(report.design.name),
            "revision": plain(report.design.revision),
            "designHash": plain(report.design.hash),
            "disabled": {code: plain(reason) for code, reason in sorted(report.coverage.disabled.items())},
        },
    }
    return (
        json.dumps(
            {"$schema": SCHEMA, "version": "2.1.0", "runs": [run]},
            ensure_ascii=False,
            indent=2,
            allow_nan=False,
        )
        + "\n"
    )


def _rules(report: Report) -> list[dict[str, Any]]:
    known = {rule.code: rule for rule in report.rules}
    names = dict(WAIVER_RULES) | {f.code: f.name for f in report.findings}
    coverage = report.coverage
    codes = {
        *coverage.rules_run,
        *coverage.open,
        *coverage.not_applicable,
        *known,
        *(f.code for f in report.findings),
    } - set(coverage.disabled)
    return [_rule(code, known.get(code), names.get(code, code)) for code in sorted(codes)]


def _rule(code: str, note: RuleNote | None, name: str) -> dict[str, Any]:
    if note is None:
        return {"id": code, "name": name, "shortDescription": {"text": name.replace("-", " ")}}
    rule: dict[str, Any] = {
        "id": code,
        "name": note.name,
        "shortDescription": {"text": plain(note.checks) or note.name.replace("-", " ")},
        "defaultConfiguration": {"level": note.severity},
    }
    if note.why:
        rule["fullDescription"] = {"text": plain(note.why)}
    if note.sources:
        rule["properties"] = {"sources": [plain(s) for s in note.sources]}
    return rule


def _result(finding: Finding, index: dict[str, int]) -> dict[str, Any]:
    result: dict[str, Any] = {
        "ruleId": finding.code,
        "ruleIndex": index[finding.code],
        "kind": _KIND.get(finding.kind, finding.kind),
        # 3.27.10: a level other than "none" is only for kind "fail".
        "level": finding.severity if finding.kind == "fail" else "none",
        "message": {"text": _message(finding)},
        "locations": [_location(finding.place)],
        "partialFingerprints": {"tristrand/v1": finding.fingerprint},
    }
    if finding.related:
        result["relatedLocations"] = [
            {"id": i, **_location(r.place), "message": {"text": plain(r.label) or "related"}}
            for i, r in enumerate(finding.related)
        ]
    if finding.waived is not None:
        w = finding.waived
        why = f"{plain(w.reason)} ({plain(w.by)}, {w.date.isoformat()})"
        result["suppressions"] = [{"kind": "external", "status": "accepted", "justification": why}]
    properties: dict[str, Any] = {"severity": finding.severity}
    if finding.evidence:
        properties["evidence"] = [evidence_plain(e) for e in finding.evidence]
    if finding.acknowledged is not None:
        a = finding.acknowledged
        properties["acknowledged"] = {
            "reason": plain(a.reason),
            "by": plain(a.by),
            "date": a.date.isoformat(),
        }
    if finding.way_out is not None:
        properties["wayOut"] = plain(finding.way_out.text)
    if finding.notes:
        properties["notes"] = [plain(n) for n in finding.notes]
    result["properties"] = properties
    return result


def _message(finding: Finding) -> str:
    """The sentence, then the evidence: many viewers show nothing but the message."""
    parts = [plain(finding.message)]
    parts += [evidence_text(e) for e in finding.evidence]
    if finding.way_out is not None:
        parts.append(f"Way out: {plain(finding.way_out.text)}")
    return "\n".join(parts)


def _silent_results(report: Report, index: dict[str, int]) -> list[dict[str, Any]]:
    """Rules that are open or do not apply as a whole, and so have no finding of their own."""
    spoken = {(f.code, f.kind) for f in report.findings}
    coverage = report.coverage
    silent = [(c, "open", "; ".join(m)) for c, m in sorted(coverage.open.items()) if (c, "open") not in spoken]
    silent += [
        (c, "not_applicable", why)
        for c, why in sorted(coverage.not_applicable.items())
        if (c, "not_applicable") not in spoken
    ]
    return [
        {
            "ruleId": code,
            "ruleIndex": index[code],
            "kind": _KIND.get(kind, kind),
            "level": "none",
            "message": {"text": plain(text) or kind},
        }
        for code, kind, text in silent
        if code in index
    ]


def _location(place: Place) -> dict[str, Any]:
    location: dict[str, Any] = {}
    if place.file:
        physical: dict[str, Any] = {"artifactLocation": {"uri": relative_uri(place.file), "uriBaseId": BASE}}
        if place.line > 0:
            physical["region"] = {"startLine": place.line}
            if place.column > 0:
                physical["region"]["startColumn"] = place.column
        location["physicalLocation"] = physical
    if place.object:
        location["logicalLocations"] = [{"fullyQualifiedName": plain(place.object), "kind": "object"}]
    return location


def relative_uri(file: str) -> str:
    """The file as a URI relative to the design folder; a path from outside is cut down to its name."""
    from urllib.parse import quote

    path = PurePosixPath(file.replace("\\", "/"))
    if path.is_absolute() or ".." in path.parts or (path.parts and path.parts[0].endswith(":")):
        path = PurePosixPath(path.name)
    return quote(str(path), safe="/", errors="replace")
