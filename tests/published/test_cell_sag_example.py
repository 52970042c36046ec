"""A published single-cell example: 3.7 V open, 25 mohm, 10 A gives 3.45 V; down to 2.5 V gives 48 A."""

from __future__ import annotations

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics import pack


@covers("physics.pack.terminal_voltage_v", "physics.pack.short_circuit_current_a")
def test_sag_and_current_to_2_5_v() -> None:
    assert pack.terminal_voltage_v(3.7, 10.0, 25e-3) == printed("3.45")
    assert pack.short_circuit_current_a(3.7 - 2.5, 25e-3) == printed("48")
