"""Run ngspice on every circuit of the comparison and store its results: python -m tests.oracle.refresh_ngspice"""

from __future__ import annotations

import datetime
import json
from pathlib import Path

from tests.oracle import ngspice
from tests.oracle.cases import CASES


def main() -> None:
    """Write ngspice_results.json beside this file."""
    cases = {}
    for case in CASES:
        measures = ngspice.converged(case.body, case.duration_s, case.step_s, case.measures, case.absolute)
        netlist = ngspice.deck(case.body, case.duration_s, case.step_s, case.measures, case.absolute)
        cases[case.name] = {"netlist": netlist, "measures": measures}
    origin = {
        "program": ngspice.version(),
        "date": datetime.datetime.now(tz=datetime.UTC).date().isoformat(),
        "method": f"reltol 1e-7; step halved from the netlist's until no measure moves by {ngspice.STABLE:g}",
    }
    text = json.dumps({"origin": origin, "cases": cases}, indent=1)
    Path(__file__).with_name("ngspice_results.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
