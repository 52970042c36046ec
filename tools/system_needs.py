"""See to it that the programs the tests compare with are here; part of `make test` and `make bench`.

A missing program is installed where that is allowed: with apt-get, as root or by sudo without a password.
Where it is not, one line says which live comparisons then run against stored results. With CI=true
nothing may be left out: a missing program is a failure.
"""

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass

PATIENCE_S = 600


@dataclass(frozen=True, slots=True)
class Need:
    """A program, the package that brings it, and what is done without it."""

    program: str
    package: str
    without: str


NEEDS = (
    Need(
        program="ngspice",
        package="ngspice",
        without="the live comparisons in tests/oracle/test_ngspice_*.py run against stored ngspice results; "
        "each file of results names its program, version and date",
    ),
)


def in_ci() -> bool:
    """Tell whether nothing may be left out."""
    return os.environ.get("CI", "").strip().lower() in {"true", "1", "yes"}


def apt_command() -> list[str] | None:
    """Return how apt-get may be called here, or None where it may not."""
    if shutil.which("apt-get") is None:
        return None
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        return ["env", "DEBIAN_FRONTEND=noninteractive", "apt-get"]
    sudo = shutil.which("sudo")
    if sudo and subprocess.run([sudo, "-n", "true"], capture_output=True, check=False).returncode == 0:
        return [sudo, "-n", "env", "DEBIAN_FRONTEND=noninteractive", "apt-get"]
    return None


def install(packages: list[str]) -> str:
    """Install Debian packages; return "" or, in a few words, why it did not work."""
    apt = apt_command()
    if apt is None:
        return "apt-get may not be used here"
    print(f"Installing {', '.join(packages)} with apt-get ...", flush=True)
    # A stale list names versions that are gone, so the list is fetched first.
    for step in (["update"], ["install", "--yes", "--no-install-recommends", *packages]):
        try:
            done = subprocess.run(
                [*apt, "-qq", *step],
                capture_output=True,
                text=True,
                timeout=PATIENCE_S,
                stdin=subprocess.DEVNULL,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return f"apt-get {step[0]} took longer than {PATIENCE_S} s"
        if done.returncode != 0:
            last = (done.stderr.strip() or done.stdout.strip() or "no message").splitlines()[-1]
            return f"apt-get {step[0]}: {last}"
    return ""


def main() -> int:
    """Install what is missing, say what stays missing."""
    missing = [need for need in NEEDS if shutil.which(need.program) is None]
    if not missing:
        return 0
    why = install([need.package for need in missing])
    still = [need for need in missing if shutil.which(need.program) is None]
    for need in still:
        reason = why or "the package did not bring it"
        if in_ci():
            print(f"{need.program} is missing ({reason}); with CI=true nothing may be left out")
        else:
            print(f"{need.program} is missing ({reason}): {need.without}")
    return 1 if still and in_ci() else 0


if __name__ == "__main__":
    sys.exit(main())
