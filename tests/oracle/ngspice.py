"""Run ngspice on a netlist, with its step halved until its own numbers stand still."""

from __future__ import annotations

import re
import shutil
import subprocess

#: Relative change between two halvings below which ngspice counts as converged. Its tolerance proper is 1e-7.
STABLE = 1e-5
OPTIONS = ".options reltol=1e-7 chgtol=1e-17 itl4=100"
MEASURED = re.compile(r"^(\w+)\s*=\s*([-+0-9.eE]+)", re.MULTILINE)


def available() -> bool:
    """Whether ngspice can be run here."""
    return shutil.which("ngspice") is not None


def version() -> str:
    """The program's own version line, as "ngspice-39"."""
    out = subprocess.run(["ngspice", "--version"], capture_output=True, text=True, check=True, timeout=60).stdout
    found = re.search(r"ngspice-[\w.]+", out)
    return found.group(0) if found else "ngspice"


def deck(body: str, duration_s: float, step_s: float, measures: dict[str, str], absolute: str) -> str:
    """A whole netlist with its control part; `measures` are meas lines after "meas tran <name>".

    `absolute` are the absolute tolerances, which must suit the size of the currents.
    """
    lines = [f"meas tran {name} {words}" for name, words in measures.items()]
    return "\n".join(
        [
            "* a circuit of the comparison", body.strip(), f"{OPTIONS} {absolute}", ".control", "set numdgt=12",
            f"tran {step_s:.6g} {duration_s:.9g} 0 {step_s:.6g} uic", *lines, "quit", ".endc", ".end", "",
        ]
    )  # fmt: skip


def run(netlist: str) -> dict[str, float]:
    """Measures of one run, by lower-case name."""
    done = subprocess.run(
        ["ngspice", "-b", "/dev/stdin"], input=netlist, capture_output=True, text=True, timeout=60, check=False
    )
    return {name.lower(): float(value) for name, value in MEASURED.findall(done.stdout)}


def converged(body: str, duration_s: float, step_s: float, measures: dict[str, str], absolute: str) -> dict[str, float]:
    """Measures with the step halved until none moves by more than STABLE; AssertionError when they do not settle."""
    before = run(deck(body, duration_s, step_s, measures, absolute))
    for _ in range(6):
        step_s /= 2
        now = run(deck(body, duration_s, step_s, measures, absolute))
        missing = set(measures) - set(now)
        assert not missing, f"ngspice gave no value for {sorted(missing)}"
        if set(before) >= set(measures) and all(
            abs(now[k] - before[k]) <= STABLE * max(abs(now[k]), 1e-12) for k in measures
        ):
            return {k: now[k] for k in measures}
        before = now
    raise AssertionError(f"ngspice does not settle: {before}")
