"""Every source that rules, limits, findings or workings name exists in sources.toml."""

from pathlib import Path

import pytest

from tests.workings import evaluate
from tristrand.app import Workspace
from tristrand.app.check import Checked
from tristrand.rules import LIMITS, RULES
from tristrand.sources import locator_faults

DEMOS = sorted((Path(__file__).parents[2] / "demos").iterdir())


@pytest.fixture(scope="module", params=DEMOS, ids=lambda path: path.name)
def checked(request: pytest.FixtureRequest) -> Checked:
    return Workspace().check(request.param)


def test_rules_and_limits() -> None:
    used = {source for rule in RULES for source in rule.sources} | {limit.source for limit in LIMITS}
    assert {fault for locator in used for fault in locator_faults(locator)} == set()


def test_findings_and_workings(checked: Checked) -> None:
    used = {e.source for f in checked.report.findings for e in f.evidence}
    used |= {w.source for result in checked.results.values() for w in result.workings}
    assert {fault for locator in used for fault in locator_faults(locator)} == set()


def test_every_formula_gives_its_value(checked: Checked) -> None:
    lines = [w for result in checked.results.values() for w in result.workings if w.formula]
    assert len(lines) > 30
    for line in lines:
        assert evaluate(line) == pytest.approx(line.value, rel=1e-9), line
