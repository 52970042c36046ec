"""Check a design: run studies and rules, apply waivers, offer only ways out that hold for the whole changed design."""

import datetime
import gc
import os
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path
from typing import Any, TypeAlias

from tristrand import __version__
from tristrand.app.pipeline import Pipeline, Results
from tristrand.design import Design, EditError, FileCache, Problem, apply_edits, load_files, read_folder
from tristrand.findings import (
    Coverage,
    DesignInfo,
    Finding,
    Related,
    Report,
    RuleNote,
    Severity,
    Waiver,
    WayOut,
    apply_waivers,
)
from tristrand.records import NamedTuple
from tristrand.rules import PASSED, RULES, Context, NoLimit, NotApplicable, Open, Outcome, Rule, Verdict
from tristrand.studies.results import Missing

# Each way out costs a whole check; more than this many are not tried for one finding.
MOST_TRIES = 6
Name: TypeAlias = tuple[str, str, str]
Complaints: TypeAlias = tuple[Finding | None, ...]
SLOW = frozenset({"precharge", "discharge"})
# What needs no transient comes first: most changes that fail do so before the slow studies.
QUICK_FIRST = tuple(sorted((r for r in RULES if r.severity != "note"), key=lambda r: not SLOW.isdisjoint(r.needs)))
NOT_COMPUTED = "a result that was not computed"


class Unreadable(Exception):
    """The folder cannot be read as a design; ``problems`` says where and why."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__(f"{len(problems)} problems")
        self.problems = problems


class Judged(NamedTuple):
    """What the rules say about one design, before waivers and ways out."""

    verdicts: tuple[Verdict, ...]
    open: dict[str, tuple[str, ...]]
    not_applicable: dict[str, str]

    failing: dict[Name, Finding]
    """Every failure by code, object and quantity: what a change may neither add to nor make worse."""

    def errors(self) -> set[Name]:
        """The names of the failures that are errors."""
        return {name for name, finding in self.failing.items() if finding.severity == "error"}


class Checked(NamedTuple):
    """A report together with what it was made from."""

    report: Report
    design: Design
    results: Mapping[str, Any]


@dataclass(eq=False, repr=False)
class Workspace:
    """Design folders of one process.

    Files and results are kept by content, so a second check does only what changed.
    """

    files: FileCache = field(default_factory=FileCache)
    pipeline: Pipeline = field(default_factory=Pipeline)

    def open(self, folder: Path) -> Design:
        """Read a folder. Raises Unreadable with all problems."""
        given, problems = read_folder(folder)
        loaded = load_files(given, Path(os.path.realpath(folder)).name, self.files, tuple(problems))
        if loaded.design is None:
            raise Unreadable(loaded.problems)
        return loaded.design

    def check(self, folder: Path, fail_on: Severity = "error", today: datetime.date | None = None) -> Checked:
        """Check a folder. Raises Unreadable."""
        return self.check_design(self.open(folder), fail_on, today)

    def check_design(self, design: Design, fail_on: Severity = "error", today: datetime.date | None = None) -> Checked:
        """Check a design that was read already."""
        with _no_collection():
            return self._checked(design, fail_on, today)

    def _checked(self, design: Design, fail_on: Severity, today: datetime.date | None) -> Checked:
        results = self.pipeline.run(design)
        judged = judge_design(results)
        findings = [self._with_way_out(design, judged, verdict) for verdict in judged.verdicts]
        waivable = {rule.code: rule.waivable for rule in RULES}
        marked = apply_waivers(findings, _waivers(design), today or local_day(), lambda code: waivable.get(code, False))
        info = DesignInfo(design.vehicle.name, design.vehicle.revision, design.digest)
        coverage = Coverage(tuple(rule.code for rule in RULES), judged.open, judged.not_applicable)
        report = Report(info, __version__, marked, coverage, tuple(_note(rule) for rule in RULES), fail_on)
        return Checked(report, design, results)

    def _with_way_out(self, design: Design, judged: Judged, verdict: Verdict) -> Finding:
        finding = verdict.finding
        if finding.kind != "fail" or verdict.ways_out is None:
            return finding
        for number, way in enumerate(islice(verdict.ways_out(), MOST_TRIES)):
            if self._holds(design, judged, finding, way, number):
                return replace(finding, way_out=way)
        return finding

    def _holds(self, design: Design, judged: Judged, finding: Finding, way: WayOut, number: int) -> bool:
        """Whether the changed design lost this failure, has no new error or warning, and none that it had got worse."""
        try:
            changed = load_files(apply_edits(design.files, way.edits), design.name, self.files).design
        except EditError:
            return False
        if changed is None:
            return False
        sought, before = _identity(finding), judged.failing
        own = next(rule for rule in RULES if rule.code == finding.code)
        results = self.pipeline.later(changed, (*sought, number))
        for rule in (own, *(other for other in QUICK_FIRST if other is not own)):
            for after in _complaints(rule, results):
                if after is None:
                    if rule.code not in judged.open:
                        return False
                    continue
                name = _identity(after)
                if name == sought or name not in before or _worse(after, before[name]):
                    return False
        return True


def _complaints(rule: Rule, results: Results) -> Complaints:
    """What a rule says against a design: its failures, and None for what it leaves open."""
    return results.made(("complaints", rule.code), lambda: tuple(_complain(rule, results)))


def _complain(rule: Rule, results: Results) -> Iterator[Finding | None]:
    silent = True
    try:
        for outcome in rule.check(_context(rule, results, brief=True)):
            silent = False
            if isinstance(outcome, Open):
                yield None
            elif isinstance(outcome, Verdict) and outcome.finding.kind == "fail":
                yield outcome.finding
    except NoLimit:
        return
    if silent and isinstance(_silent(rule, results), Open):
        yield None


def _context(rule: Rule, results: Results, brief: bool = False) -> Context:
    design = results.design
    return Context(rule, design, results, tuple(design.vehicle.rule_sets), brief)


@contextmanager
def _no_collection() -> Iterator[None]:
    """No search for cyclic garbage meanwhile: a check makes hardly any, and a search goes through all that is kept."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _worse(after: Finding, before: Finding) -> bool:
    """Whether a failure that stood before is further from its limit now."""
    if not after.evidence or not before.evidence:
        return False
    now, then = after.evidence[0], before.evidence[0]
    if now.value is None or then.value is None:
        return now.value is None and then.value is not None
    hair = 1e-6 * abs(then.value)
    return now.value < then.value - hair if now.relation in (">=", ">") else now.value > then.value + hair


def _identity(finding: Finding) -> Name:
    return finding.code, finding.place.object, finding.evidence[0].quantity if finding.evidence else ""


class _Heard(NamedTuple):
    """What one rule says: verdicts, gaps (None: nothing is open), reasons why it does not apply."""

    verdicts: tuple[Verdict, ...]
    gaps: tuple[Missing, ...] | None
    reasons: tuple[str, ...]


def _hear(rule: Rule, results: Results) -> _Heard:
    """What one rule says of a design, from before where nothing that it looks at changed."""
    found = results.recall(("rule", rule.code))
    if found is not None:
        return _placed(found, results.plain)
    heard, reads = results.record(lambda: _asked(rule, results))
    complaints = [v.finding for v in heard.verdicts if v.finding.kind == "fail"]
    results.keep(("complaints", rule.code), (*complaints, *(() if heard.gaps is None else (None,))), reads)
    # Ways out are looked for in the design that they belong to, so what offers some is said anew.
    if all(v.ways_out is None for v in heard.verdicts):
        results.keep(("rule", rule.code), heard, reads)
    return heard


def _asked(rule: Rule, results: Results) -> _Heard:
    context = _context(rule, results)
    verdicts: list[Verdict] = []
    opened: list[Open] = []
    reasons: dict[str, None] = {}

    def sort(outcome: Outcome) -> None:
        if isinstance(outcome, Verdict):
            verdicts.append(outcome if outcome.finding.kind == "fail" else outcome._replace(ways_out=None))
        elif isinstance(outcome, Open):
            opened.append(outcome)
        else:
            reasons[outcome.reason] = None

    passed = False
    try:
        for outcome in rule.check(context):
            if outcome is PASSED:
                passed = True
            else:
                sort(outcome)
    except NoLimit:
        sort(context.no_limit())
    if not (passed or verdicts or opened or reasons):
        sort(_silent(rule, results))
    gaps = tuple(dict.fromkeys(m for o in opened for m in o.missing)) if opened else None
    if gaps is not None:
        verdicts.append(_open(context, gaps))
    return _Heard(tuple(verdicts), gaps, tuple(reasons))


def _placed(heard: _Heard, design: Design) -> _Heard:
    """The same, at the lines where the objects stand now."""
    return heard._replace(verdicts=tuple(_verdict_placed(verdict, design) for verdict in heard.verdicts))


def _verdict_placed(verdict: Verdict, design: Design) -> Verdict:
    finding = verdict.finding
    place = design.place(finding.place.object)
    related = tuple(Related(design.place(r.place.object), r.label) for r in finding.related)
    if place == finding.place and related == finding.related:
        return verdict
    return verdict._replace(finding=replace(finding, place=place, related=related))


def _silent(rule: Rule, results: Mapping[str, Any]) -> Outcome:
    """What a rule that found nothing to compare says: open where a case is unsolved, else that it does not apply."""
    cases = results["operating"].cases.values() if "operating" in rule.needs else ()
    unsolved = [case.case for case in cases if case.failed]
    if unsolved:
        return Open(tuple(Missing("studies/operating", f"an operating point in case {name}") for name in unsolved))
    return NotApplicable("the design holds nothing that this rule looks at")


def judge_design(results: Results) -> Judged:
    """Run every rule on the results of a design."""
    verdicts: list[Verdict] = []
    missing: dict[str, tuple[str, ...]] = {}
    skipped: dict[str, str] = {}
    for rule in RULES:
        heard = _hear(rule, results)
        verdicts += heard.verdicts
        if heard.gaps is not None:
            missing[rule.code] = tuple(m.text() for m in heard.gaps) or (NOT_COMPUTED,)
        elif heard.reasons and not heard.verdicts:
            skipped[rule.code] = "; ".join(heard.reasons)
    failing = {_identity(v.finding): v.finding for v in verdicts if v.finding.kind == "fail"}
    return Judged(tuple(verdicts), missing, skipped, failing)


def _open(context: Context, gaps: tuple[Missing, ...]) -> Verdict:
    missing = [m.text() for m in gaps] or [NOT_COMPUTED]
    shown = "; ".join(missing[:3]) + (f"; and {len(missing) - 3} more" if len(missing) > 3 else "")
    return context.finding("open", gaps[0].pointer if gaps else "high_voltage", f"cannot be judged, missing: {shown}")


def local_day() -> datetime.date:
    """Today where the program runs: a waiver ends with its owner's day."""
    return datetime.datetime.now().astimezone().date()


def _waivers(design: Design) -> Iterable[Waiver]:
    for number, entry in enumerate(design.waivers):
        quantity, value = (entry.evidence.quantity, entry.evidence.value) if entry.evidence else ("", 0.0)
        yield Waiver(
            entry.code,
            entry.object,
            entry.reason,
            entry.by,
            entry.date,
            entry.expires,
            quantity,
            value,
            design.place(f"waivers/waivers/{number}"),
        )


def _note(rule: Rule) -> RuleNote:
    return RuleNote(rule.code, rule.name, rule.severity, rule.checks, rule.why, rule.sources)
