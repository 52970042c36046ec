"""Benchmarks state ratios: against a library or a limit, measured in the same run.

    def test_batch(ratio):
        ratio("1,000 precharge variants, one batch against 1,000 runs", theirs_s / ours_s, ">=", 50.0)

fails when the limit is not met; all ratios are printed together at the end.
"""

from collections.abc import Callable

import pytest

RATIOS = pytest.StashKey[list[tuple[str, float, str, float, bool, str]]]()
Ratio = Callable[..., None]


def pytest_configure(config: pytest.Config) -> None:
    config.stash[RATIOS] = []


@pytest.fixture
def ratio(pytestconfig: pytest.Config) -> Ratio:
    """Record a ratio, print it with the others, and hold it against its limit."""

    def record(what: str, value: float, relation: str, limit: float, note: str = "") -> None:
        if relation not in {"<=", ">="}:
            raise ValueError(f"relation is '<=' or '>=', not {relation!r}")
        met = value <= limit if relation == "<=" else value >= limit
        pytestconfig.stash[RATIOS].append((what, value, relation, limit, met, note))
        assert met, f"{what}: {value:.3g}, needed {relation} {limit:g}"

    return record


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    rows = config.stash[RATIOS]
    if not rows:
        return
    terminalreporter.section("ratios")
    for what, value, relation, limit, met, note in rows:
        verdict = "met" if met else "NOT MET"
        tail = f" ({note})" if note else ""
        terminalreporter.line(f"{value:10.4g}  {relation} {limit:<8g} {verdict:8} {what}{tail}")
