"""What holds for every test: with CI=true nothing is left out, and generated inputs repeat."""

import os
import shutil
from collections.abc import Generator

import pytest
from hypothesis import settings

CI = os.environ.get("CI", "").strip().lower() in {"true", "1", "yes"}
LIVE_PROGRAMS = ("ngspice",)

# Nothing that was read before may take part in a test, and no test leaves anything in the user's folder.
os.environ["TRISTRAND_CACHE"] = "off"

# On a shared machine a slow moment is no fault of the code, so no deadline. In CI a failure must repeat.
settings.register_profile("desk", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("ci" if CI else "desk")


def pytest_configure(config: pytest.Config) -> None:
    absent = [program for program in LIVE_PROGRAMS if shutil.which(program) is None]
    if CI and absent:
        raise pytest.UsageError(f"with CI=true nothing is left out, but {', '.join(absent)} is missing")


def pytest_report_header() -> list[str]:
    return [
        f"{program}: {'live' if shutil.which(program) else 'absent, its comparisons use stored results'}"
        for program in LIVE_PROGRAMS
    ]


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if CI and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped, and with CI=true nothing may be"
    return report
