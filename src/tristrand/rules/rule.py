"""A rule: what it checks, why it matters, its limits, and the two examples that prove it.

Rules compare; they compute no physics.
"""

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from tristrand.design import Design
from tristrand.findings import Evidence, Finding, Kind, Place, Related, Relation, Severity, WayOut, judge
from tristrand.records import NamedTuple
from tristrand.rules.limits import Limit, strictest
from tristrand.studies.results import Missing


class Example(NamedTuple):
    """Changes to the starter design: (file, pointer in it, new value).

    The rule must fail, or pass, on the changed design.
    """

    changes: tuple[tuple[str, str, str], ...] = ()


class Verdict(NamedTuple):
    """A finding and, smallest first, the changes that may mend it.

    The app offers the first that holds for the whole design.
    """

    finding: Finding
    ways_out: Callable[[], Iterable[WayOut]] | None = None


class NotApplicable(NamedTuple):
    """The rule says nothing about this design, and why."""

    reason: str


class NoLimit(Exception):
    """No rule set in force sets the limit that a rule asked for."""


class Open(NamedTuple):
    """The rule cannot conclude: what is missing."""

    missing: tuple[Missing, ...]


# Stands for any pass where only failures are looked at.
PASSED = Verdict(Finding("", "", "pass", "note", "", Place("", 0, 0, "")))

Outcome = Verdict | NotApplicable | Open
Check = Callable[["Context"], Iterable[Outcome]]


class Rule(NamedTuple):
    """One rule.

    ``needs`` names the studies whose results it reads; ``limit`` the key of its limits, if rule sets set one.
    """

    code: str
    name: str
    severity: Severity
    checks: str
    why: str
    sources: tuple[str, ...]
    needs: tuple[str, ...]
    limit: str
    failing: Example
    passing: Example
    check: Check
    waivable: bool = True


class Context(NamedTuple):
    """What a rule may look at: the design, the studies' results, and the rule sets in force.

    ``brief``: nobody will read what passes, so a pass is not written out.
    """

    rule: Rule
    design: Design
    results: Mapping[str, Any]
    rule_sets: tuple[str, ...]
    brief: bool = False

    def limit(self) -> Limit:
        """The strictest limit that the rule sets in force and the floor set. Raises NoLimit where none does."""
        limit = self.limit_if_set()
        if limit is None:
            raise NoLimit(self.rule.limit)
        return limit

    def limit_if_set(self, key: str = "") -> Limit | None:
        """The same for a rule that has a limit from elsewhere too; None where no rule set in force sets one."""
        return strictest(key or self.rule.limit, self.rule_sets)

    def open(self, missing: Iterable[Missing]) -> Open:
        """What to say where data are missing."""
        return Open(tuple(missing))

    def no_limit(self) -> NotApplicable:
        """What to say where no rule set in force sets the limit."""
        return NotApplicable(f"none of the rule sets in force ({', '.join(self.rule_sets)}) sets this limit")

    def finding(
        self,
        kind: Kind,
        pointer: str,
        message: str,
        *evidence: Evidence,
        related: tuple[tuple[str, str], ...] = (),
        ways_out: Callable[[], Iterable[WayOut]] | None = None,
    ) -> Verdict:
        """A verdict about one object; ``related`` holds (pointer, why it is named) and is left out of a pass."""
        if self.brief and kind == "pass":
            return PASSED
        others = () if kind == "pass" else tuple(Related(self.design.place(p), why) for p, why in related)
        place = self.design.place(pointer)
        rule = self.rule
        return Verdict(Finding(rule.code, rule.name, kind, rule.severity, message, place, evidence, others), ways_out)

    def compare(
        self,
        pointer: str,
        quantity: str,
        value: float | tuple[float, float],
        unit: str,
        relation: Relation,
        limit: float,
        source: str,
        *,
        subject: str,
        bad: str,
        good: str,
        related: tuple[tuple[str, str], ...] = (),
        ways_out: Callable[[], Iterable[WayOut]] | None = None,
        basis: str = "",
        note: str = "",
    ) -> Verdict | Open:
        """Compare a value (or an interval) with a limit and say it: ``bad`` on fail or review, ``good`` on pass.

        Where the value or the limit is not a number nothing is known: the rule stays open.
        """
        low, high = value if isinstance(value, tuple) else (value, value)
        kind = judge(low, high, relation, limit)
        if self.brief and kind == "pass":
            return PASSED
        if kind == "open":
            gap = f"limit of {quantity}" if low == low and high == high else quantity
            return Open((Missing(pointer, gap),))
        worst = high if relation in ("<=", "<") else low
        ends = (low, high) if low != high else (None, None)
        evidence = Evidence(quantity, worst, unit, relation, limit, source, ends[0], ends[1], basis, note)
        if kind == "pass":
            message = f"{subject} {good}"
        elif kind == "review":
            message = f"{subject} may or may not hold: {bad}, within its tolerance"
        else:
            message = f"{subject} {bad}"
        return self.finding(
            kind, pointer, message, evidence, related=related, ways_out=ways_out if kind == "fail" else None
        )


REGISTRY: dict[str, Rule] = {}


def rule(
    code: str,
    name: str,
    severity: Severity,
    *,
    checks: str,
    why: str,
    sources: tuple[str, ...],
    needs: tuple[str, ...] = (),
    limit: str = "",
    failing: tuple[tuple[str, str, str], ...],
    passing: tuple[tuple[str, str, str], ...] = (),
    waivable: bool = True,
) -> Callable[[Check], Check]:
    """Register a check function as a rule. Raises ValueError for a code or name given twice."""

    def register(check: Check) -> Check:
        if code in REGISTRY or any(other.name == name for other in REGISTRY.values()):
            raise ValueError(f"rule {code} ({name}) stands twice")
        REGISTRY[code] = Rule(
            code,
            name,
            severity,
            checks,
            why,
            sources,
            needs,
            limit,
            Example(failing),
            Example(passing),
            check,
            waivable,
        )
        return check

    return register
