"""A source of constant current beside the packs in a short circuit: dividers by hand, and the circuit solver."""

import numpy as np
import pytest

from tests.evidence import covers
from tristrand.physics.circuit import Battery, Circuit, CurrentSource, Resistor, operating_point
from tristrand.physics.fault_sources import added_fault_current_a


@covers("physics.fault_sources.added_fault_current_a")
def test_the_source_divides_between_the_fault_and_the_pack() -> None:
    # Pack and its lead of 0.05 ohm to the bus, the fault behind 0.2 ohm: 0.05/0.25 of 22 A flow into the fault.
    loops = np.array([[[1.0, 1.0]]])
    way = np.array([-1.0, 0.0])  # from the bus back through the pack
    shared = added_fault_current_a(loops, np.array([0.05, 0.2]), way, 22.0)[0]
    assert shared == pytest.approx(22 * 0.05 / 0.25, rel=1e-12)
    # At the source's own terminals the whole of it flows into a fault of no resistance.
    assert added_fault_current_a(loops, np.array([0.05, 0.0]), way, 22.0)[0] == pytest.approx(22.0, rel=1e-12)


@covers("physics.fault_sources.added_fault_current_a")
def test_two_strings_and_a_source_agree_with_the_circuit_solver() -> None:
    # Strings of 0.08 and 0.06 ohm on one bus, 0.01 ohm to the point where the charger hangs, 0.03 ohm on to the fault.
    ohm = np.array([0.08, 0.06, 0.01, 0.03])
    loops = np.array([[[1.0, 0.0, 1.0, 1.0], [1.0, -1.0, 0.0, 0.0]]])
    way = np.array([-1.0, 0.0, -1.0, 0.0])
    added = added_fault_current_a(loops, ohm, way, 22.0)[0]

    def fault_a(charger_a: float) -> float:
        parts = (
            Battery("one", "bus", "g", 400.0, 0.08), Battery("two", "bus", "g", 398.0, 0.06),
            Resistor("lead", "bus", "node", 0.01), Resistor("fault", "node", "g", 0.03),
            CurrentSource("charger", "g", "node", charger_a),
        )  # fmt: skip
        point = operating_point(Circuit(parts))
        assert point.converged.all()
        return float(point.currents_a["fault"][0])

    assert added == pytest.approx(fault_a(22.0) - fault_a(0.0), rel=1e-9)
    parallel = 0.08 * 0.06 / 0.14
    assert added == pytest.approx(22 * (parallel + 0.01) / (parallel + 0.01 + 0.03), rel=1e-12)


@covers("physics.fault_sources.added_fault_current_a")
def test_bad_values_are_refused() -> None:
    loops, way = np.array([[[1.0, 1.0]]]), np.array([-1.0, 0.0])
    for ohm, amps in (([0.0, 0.0], 1.0), ([-1.0, 2.0], 1.0), ([1.0, float("nan")], 1.0), ([1.0, 1.0], float("inf"))):
        with pytest.raises(ValueError, match=r"."):
            added_fault_current_a(loops, np.array(ohm), way, amps)
