"""Every rule's two examples, run on the starter design: the failing one fails, the passing one does not."""

import re

import pytest

from tristrand.app.check import judge_design
from tristrand.app.pipeline import Pipeline
from tristrand.app.starter import starter_files
from tristrand.design import apply_edits, load_files
from tristrand.findings import Edit
from tristrand.rules import RULES, Example, Rule
from tristrand.rules.rule import Open

BASE = starter_files()
PIPELINE = Pipeline()
# Rules about loads that the starter rightly does not have: "does not apply" is the good outcome.
NOT_APPLICABLE_BY_DEFAULT = {"HV139"}


def kinds(rule: Rule, example: Example) -> list[str]:
    files = apply_edits(BASE, [Edit(*change) for change in example.changes])
    loaded = load_files(files, "example")
    assert loaded.design is not None, [problem.text() for problem in loaded.problems]
    judged = judge_design(PIPELINE.run(loaded.design))
    found = [v.finding.kind for v in judged.verdicts if v.finding.code == rule.code]
    return found or [f"not applicable: {judged.not_applicable.get(rule.code)}"]


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_failing_example_fails(rule: Rule) -> None:
    expected = "review" if rule.code in ("HV191", "HV193") else "fail"
    assert expected in kinds(rule, rule.failing)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_passing_example_passes(rule: Rule) -> None:
    found = kinds(rule, rule.passing)
    does_not_apply = rule.code in NOT_APPLICABLE_BY_DEFAULT and found[0].startswith("not applicable")
    assert does_not_apply or set(found) == {"pass"}, found


def test_starter_has_no_error() -> None:
    loaded = load_files(BASE, "starter")
    assert loaded.design is not None
    judged = judge_design(PIPELINE.run(loaded.design))
    assert judged.failing == {}
    assert judged.open == {}


def test_codes_are_stable_in_form() -> None:
    for rule in RULES:
        assert re.fullmatch(r"[A-Z]{2}[0-9]{3}", rule.code)
        assert rule.checks.endswith("."), rule.code
        assert rule.why.endswith("."), rule.code
        assert rule.sources
    assert len(RULES) >= 25
    assert Open(()).missing == ()
