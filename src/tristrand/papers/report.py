"""The report of one check as one HTML file: no script, nothing fetched, readable on screen and on A4.

The page is built from the report, the design and the results alone and reads no clock: equal input, equal bytes.
Everything that comes from a design is untrusted text: it is escaped by the template engine, and a content policy in the
page forbids scripts and fetches in any case.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import groupby
from typing import Any

from tristrand.design import Design
from tristrand.findings import Finding, Report
from tristrand.findings.text import source_text
from tristrand.findings.words import evidence_text, place_text, plain
from tristrand.papers.margins_table import margins_table
from tristrand.papers.sections import sections
from tristrand.papers.sources_table import used_sources
from tristrand.rules.limits import RULE_SETS
from tristrand.sources import describe

SEVERITY_WORDS = {"error": "Error", "warning": "Warning", "note": "Note"}


def render_html(report: Report, design: Design, results: Mapping[str, Any]) -> str:
    """The self-contained HTML report of one check.

    Args:
        report: findings, coverage and rules of the check.
        design: the design that was checked.
        results: results by study; a known study that is absent is printed as open.

    Returns:
        One HTML document; the same text for the same input.
    """
    from importlib.resources import files

    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup, escape

    environment = Environment(
        loader=PackageLoader("tristrand.papers", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda v: plain(v) if type(v) is str else v,
    )
    environment.filters.update(
        evidence=evidence_text,
        place=place_text,
        source=source_text,
        described=describe,
        markup=Markup,
        state=state_word,
        groupby_order=_groups,
        # A pointer too long for its column goes on a new line after a stroke, not inside a word.
        pointer=lambda text: escape(plain(text)).replace("/", Markup("/<wbr>")),
    )
    style = files("tristrand.papers").joinpath("templates", "report.css").read_text(encoding="utf-8")
    parts = sections(design, results)
    page = environment.get_template("report.html").render(
        report=report,
        design=design,
        style=Markup(style),
        sections=parts,
        rule_sets=_rule_sets(design),
        notes={rule.code: rule for rule in report.rules},
        verdict=verdict(report),
        coverage=_coverage(report),
        margins=margins_table(report.findings),
        failures=[f for f in report.findings if f.counts],
        reviews=_of_kind(report, "review"),
        opened=_of_kind(report, "open"),
        missing=_missing(report),
        passes=_of_kind(report, "pass"),
        inapplicable=sorted(report.coverage.not_applicable.items()),
        disabled=sorted(report.coverage.disabled.items()),
        sources=used_sources(report, parts, results),
    )
    # A lone surrogate cannot be written to a file; no design value may stop a report.
    return page.encode("utf-8", "replace").decode("utf-8")


def _groups(rows: Iterable[Any]) -> list[tuple[str, list[Any]]]:
    """Neighbouring rows of one group together."""
    return [(group, list(members)) for group, members in groupby(rows, key=lambda row: row.group)]


def state_word(finding: Finding) -> str:
    """What the mark beside a finding says, in one word."""
    if finding.kind == "fail":
        return SEVERITY_WORDS[finding.severity]
    return {"review": "Review", "open": "Open", "pass": "Passed", "not_applicable": "Does not apply"}[finding.kind]


def verdict(report: Report) -> str:
    """ "3 errors, 1 warning, 2 to review, 4 open." """
    failures = [f for f in report.findings if f.counts]
    parts = [_number(sum(f.severity == s for f in failures), s) for s in ("error", "warning")]
    notes = sum(f.severity == "note" for f in failures)
    parts += [_number(notes, "note")] if notes else []
    parts += [f"{report.count('review')} to review", f"{_open_count(report)} open"]
    parts += [f"{len(report.waived)} waived"] if report.waived else []
    words = ", ".join(parts) + "."
    return words[0].upper() + words[1:]


def _number(count: int, word: str) -> str:
    return f"{count or 'no'} {word}{'' if count == 1 else 's'}"


def _open_count(report: Report) -> int:
    return max(report.count("open"), len(report.coverage.open))


def _of_kind(report: Report, kind: str) -> list[Finding]:
    return [f for f in report.findings if f.kind == kind and f.waived is None]


def _missing(report: Report) -> list[tuple[str, list[str]]]:
    """Each missing datum with the rules that wait for it; what most rules wait for first.

    A rule that is open without saying what it lacks stands under a line of its own: it too must be seen.
    """
    waiting: dict[str, list[str]] = {}
    for code, missing in sorted(report.coverage.open.items()):
        for what in missing or ("not said",):
            waiting.setdefault(what, []).append(code)
    return sorted(waiting.items(), key=lambda item: (-len(item[1]), item[0]))


def _coverage(report: Report) -> list[tuple[str, str, str]]:
    """Rows of the table beside the verdict: what, how many, which."""
    c = report.coverage
    waived = [f"{f.code} on {f.place.object}" for f in report.waived]
    concluded = len(c.rules_run) - len(c.open) - len(c.not_applicable)
    return [
        ("Rules run", str(len(c.rules_run)), f"{concluded} came to a conclusion"),
        ("Open, something is missing", str(len(c.open)), ", ".join(sorted(c.open)) or "none"),
        ("Do not apply", str(len(c.not_applicable)), ", ".join(sorted(c.not_applicable)) or "none"),
        ("Waived findings", str(len(waived)), ", ".join(waived) or "none"),
        ("Switched off, not run", str(len(c.disabled)), ", ".join(sorted(c.disabled)) or "none"),
    ]


def _rule_sets(design: Design) -> list[tuple[str, str]]:
    return [(name, RULE_SETS[name]) for name in design.vehicle.rule_sets]
