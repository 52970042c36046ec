"""The report of one check as one HTML file: no script, nothing fetched, readable on screen and on A4.

The page is built from the report, the design and the results alone and reads no clock: equal input, equal bytes.
Everything that comes from a design is untrusted text: it is escaped by the template engine, and a content policy in the
page forbids scripts and fetches in any case.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from tristrand.design import Design
from tristrand.findings import Finding, Report
from tristrand.findings.text import source_text
from tristrand.findings.words import evidence_text, place_text, plain
from tristrand.papers.margins_table import margins_table
from tristrand.papers.sections import Section, sections
from tristrand.papers.tables import Row
from tristrand.rules.limits import RULE_SETS
from tristrand.sources import Source, describe, is_memory, load_sources, locator_faults, reading, split_locator

UNDATED = "edition not established"
SEVERITY_WORDS = {"error": "Error", "warning": "Warning", "note": "Note"}


@dataclass(frozen=True, slots=True)
class UsedSource:
    """One source that a number on the page rests on."""

    name: str
    body: str
    places: tuple[str, ...]
    read: str
    note: str
    memory: bool


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
    from markupsafe import Markup

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


def _groups(rows: Iterable[Row]) -> list[tuple[str, list[Row]]]:
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


def used_sources(report: Report, parts: Iterable[Section], results: Mapping[str, Any]) -> list[UsedSource]:
    """The sources behind what the page prints, each with the places cited and how it was read; only those."""
    locators = [e.source for f in report.findings for e in f.evidence]
    shown = {f.code for f in report.findings if f.kind in ("fail", "review")}
    locators += [s for rule in report.rules if rule.code in shown for s in rule.sources]
    names = {part.name for part in parts}
    locators += [w.source for name, result in results.items() if name in names for w in result.workings]
    by_source: dict[str, set[str]] = {}
    for locator in dict.fromkeys(x for x in locators if x):
        by_source.setdefault(_source_name(locator), set()).add(locator)
    return [_used(name, sorted(group)) for name, group in sorted(by_source.items())]


def _source_name(locator: str) -> str:
    try:
        return split_locator(locator)[0]
    except ValueError:
        return locator


def _used(name: str, locators: list[str]) -> UsedSource:
    known = load_sources().get(name)
    if known is None:
        return UsedSource(
            name, "", tuple(locators), "unknown source", "It is not in the program's list of sources.", False
        )
    places = tuple(p for p in (split_locator(x)[1] for x in locators) if p)
    memory = any(not locator_faults(x) and is_memory(x) for x in locators)
    undated = known.edition == UNDATED
    title = known.title if undated or known.edition in known.title else f"{known.title} {known.edition}"
    read = dict.fromkeys(_how_read(known, locator) for locator in locators)
    words = "; ".join([UNDATED, *read] if undated else read)
    return UsedSource(title, known.body, places, words, known.note, memory)


def _how_read(known: Source, locator: str) -> str:
    """In words; a place read otherwise than the whole source keeps the words of its own reading."""
    place = split_locator(locator)[1]
    if known.words and place not in known.places:
        return known.words
    how = {"in full": "text read in full", "second-hand": "read second-hand", "not seen": "text not seen"}[
        reading(locator)
    ]
    return f"{place}: {how}" if place in known.places else how
