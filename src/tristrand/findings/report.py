"""One check of one design: its findings, and how far the check reached."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from tristrand.findings.model import KINDS, SEVERITIES, Finding, Kind, Severity
from tristrand.records import NamedTuple

_KIND_RANK = {kind: i for i, kind in enumerate(KINDS)}
_SEVERITY_RANK = {severity: i for i, severity in enumerate(SEVERITIES)}

_NONE: Mapping[str, Any] = MappingProxyType({})


class DesignInfo(NamedTuple):
    """Which design was checked; `hash` is over its input files."""

    name: str
    revision: str
    hash: str


class RuleNote(NamedTuple):
    """What a report says about a rule: what it checks, why it matters in the car, and its sources."""

    code: str
    name: str
    severity: Severity
    checks: str
    why: str
    sources: tuple[str, ...] = ()


class Coverage(NamedTuple):
    """How far a check reached.

    Attributes:
        rules_run: codes of the rules that were run, whatever they concluded.
        open: for each rule that could not conclude, what is missing.
        not_applicable: for each rule that does not apply, the reason.
        disabled: for each rule that was switched off, the reason.
    """

    rules_run: tuple[str, ...]
    open: Mapping[str, tuple[str, ...]] = _NONE
    not_applicable: Mapping[str, str] = _NONE
    disabled: Mapping[str, str] = _NONE


@dataclass(frozen=True, slots=True)
class Report:
    """Everything a renderer needs. Findings are sorted here, so equal input gives equal output."""

    design: DesignInfo
    tool_version: str
    findings: tuple[Finding, ...]
    coverage: Coverage
    rules: tuple[RuleNote, ...] = ()
    fail_on: Severity = "error"

    def __post_init__(self) -> None:
        object.__setattr__(self, "findings", in_order(self.findings))
        object.__setattr__(self, "rules", tuple(sorted(self.rules, key=lambda r: r.code)))

    @property
    def exit_code(self) -> int:
        """0 or 1, see `exit_code`."""
        return exit_code(self.findings, self.fail_on)

    @property
    def waived(self) -> tuple[Finding, ...]:
        """The findings that a waiver covers."""
        return tuple(f for f in self.findings if f.waived is not None)

    def count(self, kind: Kind) -> int:
        """How many findings of a kind are not waived."""
        return sum(1 for f in self.findings if f.kind == kind and f.waived is None)


def exit_code(findings: Iterable[Finding], fail_on: Severity) -> int:
    """1 when a failure that is not waived is at or above `fail_on`, else 0; an acknowledged danger counts."""
    worst = _SEVERITY_RANK[fail_on]
    return int(any(f.counts and _SEVERITY_RANK[f.severity] <= worst for f in findings))


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """By severity, then kind, then place in the files; the rest of the key only makes the order unique."""
    return tuple(
        sorted(
            findings,
            key=lambda f: (
                _SEVERITY_RANK[f.severity],
                _KIND_RANK[f.kind],
                f.place.file,
                f.place.line,
                f.place.column,
                f.code,
                f.place.object,
                f.message,
            ),
        )
    )
