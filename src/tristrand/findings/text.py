"""The report for a terminal: plain text, no colour, every state said in words."""

from __future__ import annotations

import textwrap

from tristrand.findings.model import Finding, WayOut
from tristrand.findings.report import Report, RuleNote
from tristrand.findings.words import KIND_WORDS, evidence_text, place_text, plain
from tristrand.sources import describe, is_memory, locator_faults

_MARGIN = 14
_NARROWEST, _WIDEST = 50, 120


def render_text(report: Report, width: int = 100) -> str:
    """The whole report; passes and rules that do not apply are only counted."""
    width = min(max(width, _NARROWEST), _WIDEST)
    notes = {rule.code: rule for rule in report.rules}
    blocks = [_head(report, width)]
    shown = [f for f in report.findings if f.kind in ("fail", "review") and f.waived is None]
    blocks += [_finding(f, notes.get(f.code), width) for f in shown]
    if report.waived:
        blocks.append(_waived(report, width))
    blocks += [_open(report, width), _coverage(report, width)]
    blocks.append("\n".join(_wrap(_verdict(report), width, "", "    ")))
    return "\n\n".join(b for b in blocks if b) + "\n"


def _head(report: Report, width: int) -> str:
    design = report.design
    title = plain(design.name) + (f", revision {plain(design.revision)}" if design.revision else "")
    stamp = f"design {plain(design.hash)[:12]} · tristrand {report.tool_version}"
    return f"{title}\n{stamp}\n{'-' * min(width, max(len(title), len(stamp)))}"


def _finding(finding: Finding, rule: RuleNote | None, width: int) -> str:
    state = KIND_WORDS[finding.kind]
    lines = _wrap(f"{state} {finding.code} ({finding.severity}): {plain(finding.message)}", width, "", "    ")
    lines += _row("where", place_text(finding.place), width)
    for evidence in finding.evidence:
        lines += _row("evidence", evidence_text(evidence), width)
        if evidence.basis:
            lines += _row("", f"basis: {plain(evidence.basis)}", width)
        if evidence.source:
            lines += _row("", f"source: {source_text(evidence.source)}", width)
        if evidence.note:
            lines += _row("", plain(evidence.note), width)
    for related in finding.related:
        lines += _row("see also", f"{place_text(related.place)} ({plain(related.label)})", width)
    if rule is not None and rule.why:
        lines += _row("why", plain(rule.why), width)
    for note in finding.notes:
        lines += _row("note", plain(note), width)
    if finding.acknowledged is not None:
        a = finding.acknowledged
        lines += _row("signed", f"{plain(a.by)}, {a.date.isoformat()}: {plain(a.reason)}", width)
        lines += _row("", "acknowledged only; a danger to life stays a failure", width)
    if finding.kind == "fail" or finding.way_out is not None:
        lines += _way_out(finding.way_out, width)
    return "\n".join(lines)


def _way_out(way: WayOut | None, width: int) -> list[str]:
    if way is None:
        return _row("way out", "none is offered; it needs a decision", width)
    lines = _row("way out", plain(way.text), width)
    for edit in way.edits:
        if edit.pointer:
            lines += _row("", f"{plain(edit.file)}: {plain(edit.pointer)} becomes {plain(edit.new)}", width)
        else:
            lines += _row("", f"new file {plain(edit.file)}:", width)
            lines += [f"{' ' * _MARGIN}  {plain(line)}" for line in edit.new.splitlines()]
    return lines


def source_text(locator: str) -> str:
    """The source in words; what is from memory says so even where the source's own words do not."""
    text = plain(describe(locator))
    if not locator_faults(locator) and is_memory(locator) and "memory" not in text:
        text += ", from memory, not confirmed"
    return text


def _waived(report: Report, width: int) -> str:
    lines = ["Waived, and not counted:"]
    for finding in report.waived:
        waiver = finding.waived
        if waiver is None:
            continue
        lines += _wrap(f"{finding.code} {plain(finding.place.object)}: {plain(finding.message)}", width, "  ", "    ")
        lines += _wrap(f"{plain(waiver.by)}, {waiver.date.isoformat()}: {plain(waiver.reason)}", width, "    ", "    ")
    return "\n".join(lines)


def _open(report: Report, width: int) -> str:
    """What is missing, each gap once, with the rules that wait for it."""
    waiting: dict[str, list[str]] = {}
    for code, missing in sorted(report.coverage.open.items()):
        for gap in missing:
            waiting.setdefault(gap, []).append(code)
    told = set(report.coverage.open)
    for finding in report.findings:
        if finding.kind == "open" and finding.waived is None and finding.code not in told:
            waiting.setdefault(f"{finding.place.object}: {finding.message}", []).append(finding.code)
    if not waiting:
        return ""
    lines = _wrap("OPEN: not judged, because something is missing. Not checked is not passed.", width, "", "    ")
    for gap, codes in waiting.items():
        lines += _wrap(plain(gap), width, "  ", "    ")
        lines += _wrap(f"needed by {', '.join(codes)}", width, "      ", "      ")
    return "\n".join(lines)


def _coverage(report: Report, width: int) -> str:
    coverage = report.coverage
    lines: list[str] = []
    if coverage.disabled:
        lines.append("Switched off, not run:")
        for code, reason in sorted(coverage.disabled.items()):
            lines += _wrap(f"{code}: {plain(reason)}", width, "  ", "    ")
    if coverage.not_applicable:
        lines.append("Does not apply:")
        by_reason: dict[str, list[str]] = {}
        for code, reason in sorted(coverage.not_applicable.items()):
            by_reason.setdefault(plain(reason), []).append(code)
        for reason, codes in by_reason.items():
            lines += _wrap(f"{', '.join(codes)}: {reason}", width, "  ", "    ")
    return "\n".join(lines)


def _verdict(report: Report) -> str:
    failures = [f for f in report.findings if f.counts]
    parts = [
        _number(sum(f.severity == "error" for f in failures), "error"),
        _number(sum(f.severity == "warning" for f in failures), "warning"),
        _number(sum(f.severity == "note" for f in failures), "note"),
        f"{report.count('review')} to review",
        f"{max(report.count('open'), len(report.coverage.open))} open",
        f"{len(report.waived)} waived",
    ]
    coverage = report.coverage
    idle = len(coverage.open) + len(coverage.not_applicable)
    rules = f"{_number(len(coverage.rules_run), 'rule')} run, {len(coverage.rules_run) - idle} judged"
    off = f", {len(coverage.disabled)} switched off" if coverage.disabled else ""
    return f"{rules}{off}: {', '.join(parts)}."


def _number(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def _row(label: str, text: str, width: int) -> list[str]:
    return _wrap(text, width, f"    {label:<{_MARGIN - 4}}", " " * _MARGIN)


def _wrap(text: str, width: int, first: str, later: str) -> list[str]:
    # Pointers and file names must stay in one piece, so that they can be copied.
    return textwrap.wrap(
        text,
        width,
        initial_indent=first,
        subsequent_indent=later,
        break_long_words=False,
        break_on_hyphens=False,
    ) or [first.rstrip()]
