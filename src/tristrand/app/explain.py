"""Explain a rule from its record, or a study with its workings."""

from __future__ import annotations

import dataclasses
import difflib
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from tristrand.app.check import Workspace
from tristrand.app.pipeline import STEPS
from tristrand.rules import LIMITS, RULE_SETS, RULES, Rule
from tristrand.sources import describe

WAIVER_NOTES = {
    "WV901": "it covers nothing, because the failure is gone or its object is named differently",
    "WV902": "the evidence is worse than when it was given, so the finding counts again",
    "WV903": "its date has passed, so the finding counts again",
}


class UnknownName(ValueError):
    """No rule or study has this name; the message names the nearest."""


def rule_list() -> list[dict[str, Any]]:
    """Every rule: code, name, severity, what it checks, its sources."""
    return [
        {
            "code": r.code,
            "name": r.name,
            "severity": r.severity,
            "checks": r.checks,
            "sources": [describe(s) for s in r.sources],
        }
        for r in RULES
    ]


def coverage(name: str, width: int) -> tuple[list[dict[str, Any]], str]:
    """Clause by clause who answers a rule set today: as plain data, and as a table of text. Raises UnknownName."""
    from tristrand.rules.coverage.table import TABLES, coverage_rows, coverage_text, load_coverage

    if name not in TABLES:
        raise UnknownName(f"there is no table of clauses of {name}; there is one of {', '.join(TABLES)}")
    rows = load_coverage(name)
    return coverage_rows(rows), coverage_text(rows, width)


def explain_rule(code: str) -> dict[str, Any]:
    """One rule: what it checks, why, its limits by rule set, its sources, its examples. Raises UnknownName."""
    wanted = code.strip().upper()
    found = next((r for r in RULES if wanted == r.code or code.strip().lower() == r.name), None)
    if found is None and Path(code).is_dir():
        raise UnknownName(f"name a study of {code}: {', '.join(step.name for step in STEPS)}")
    if found is None and wanted in WAIVER_NOTES:
        raise UnknownName(f"{wanted} is no rule but says what became of a waiver: {WAIVER_NOTES[wanted]}")
    if found is None:
        raise UnknownName(f"there is no rule {code}{_near(wanted, [r.code for r in RULES])}")
    return {
        "code": found.code,
        "name": found.name,
        "severity": found.severity,
        "checks": found.checks,
        "why": found.why,
        "waivable": found.waivable,
        "sources": [describe(s) for s in found.sources],
        "limits": _limits(found),
        "failing_example": [_change(c) for c in found.failing.changes],
        "passing_example": [_change(c) for c in found.passing.changes],
    }


def _limits(rule: Rule) -> list[dict[str, Any]]:
    return [
        {
            "rule_set": RULE_SETS[row.rule_set],
            "key": row.key,
            "value": row.value,
            "sense": row.sense,
            "source": describe(row.source),
        }
        for row in LIMITS
        if row.key == rule.limit
    ]


def _change(change: tuple[str, str, str]) -> str:
    file, pointer, new = change
    return f"{file}: {pointer or 'the whole file'} = {new}"


def _near(word: str, names: list[str]) -> str:
    close = difflib.get_close_matches(word, names, n=9, cutoff=0.6)
    if not close:
        return ""
    # Codes differ by single digits: of equally near ones, that with the longest common beginning was meant.
    best = max(close, key=lambda name: (_shared(word, name), -close.index(name)))
    return f"; did you mean {best}?"


def _shared(a: str, b: str) -> int:
    """How many letters two words share at their beginning."""
    return next((i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), min(len(a), len(b)))


def explain_study(workspace: Workspace, folder: Path, study: str) -> dict[str, Any]:
    """One study of a design: results, workings, what is missing, series. Raises UnknownName and Unreadable."""
    names = [step.name for step in STEPS]
    if study not in names:
        raise UnknownName(f"there is no study {study}{_near(study, names)} (studies: {', '.join(names)})")
    design = workspace.open(folder)
    result = workspace.pipeline.later(design)[study]
    step = next(step for step in STEPS if step.name == study)
    fields = plain(result)
    workings, series, missing = fields.pop("workings"), fields.pop("series"), fields.pop("missing")
    for line in workings:
        line["source"] = describe(line["source"])
    return {
        "format_version": 1,
        "design": {"name": design.vehicle.name, "revision": design.vehicle.revision, "hash": design.digest},
        "study": study,
        "question": step.question,
        "results": fields,
        "workings": workings,
        "series": series,
        "missing": missing,
    }


def plain(value: Any) -> Any:
    """Dataclasses, tuples and arrays as JSON knows them; nan and infinity become null."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        return {key: plain(item) for key, item in value._asdict().items()}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (Sequence, set)) and not isinstance(value, str):
        return [plain(item) for item in value]
    if isinstance(value, bool) or value is None or isinstance(value, (str, int)):
        return value
    number = float(value)
    return number if math.isfinite(number) else None
