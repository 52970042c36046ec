"""Say in one line which comparisons ran against stored results."""

from __future__ import annotations

import shutil
from typing import Any


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """One line when ngspice is not installed."""
    reports = [r for group in ("passed", "failed") for r in terminalreporter.stats.get(group, [])]
    ran = sum("test_ngspice" in report.nodeid and report.when == "call" for report in reports)
    if ran and shutil.which("ngspice") is None:
        terminalreporter.write_line(
            "ngspice is not installed: its comparisons used the stored results of tests/oracle/ngspice_results.json"
        )
