"""The rules: limits compared with results. One list for all rule sets; the sets are parameters (limits.py)."""

from tristrand.rules import (
    cables,
    currents,
    discharging,
    fuses,
    live_parts,
    loops,
    pack_and_power,
    poles,
    precharge_end,
    precharge_parts,
    quality,
    ratings,
    short_circuits,
    structure,
)
from tristrand.rules.limits import LIMITS, RULE_SETS, Limit
from tristrand.rules.rule import (
    PASSED,
    REGISTRY,
    Context,
    Example,
    NoLimit,
    NotApplicable,
    Open,
    Outcome,
    Rule,
    Verdict,
)

RULES: tuple[Rule, ...] = tuple(sorted(REGISTRY.values(), key=lambda rule: rule.code))

__all__ = [
    "LIMITS",
    "PASSED",
    "RULES",
    "RULE_SETS",
    "Context",
    "Example",
    "Limit",
    "NoLimit",
    "NotApplicable",
    "Open",
    "Outcome",
    "Rule",
    "Verdict",
    "cables",
    "currents",
    "discharging",
    "fuses",
    "live_parts",
    "loops",
    "pack_and_power",
    "poles",
    "precharge_end",
    "precharge_parts",
    "quality",
    "ratings",
    "short_circuits",
    "structure",
]
