"""Every comparison with ngspice."""

from tests.oracle.ngspice_circuits import CASES as CIRCUITS
from tests.oracle.ngspice_faults import FAULTS

CASES = (*CIRCUITS, *FAULTS)
