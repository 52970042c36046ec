"""A drive maker's printed example: 600 V, 150 kohm, 300 uF, to 50 V."""

from __future__ import annotations

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics import discharge


@covers("physics.discharge.time_to_voltage_s")
def test_time_to_50_v() -> None:
    assert discharge.time_to_voltage_s(600.0, 50.0, 150e3, 300e-6) == printed("111.821")


@covers("physics.discharge.voltage_v")
def test_voltage_after_300_s() -> None:
    left_v = discharge.voltage_v(300.0, 600.0, 150e3, 300e-6)
    assert left_v == printed("0.7636")
    # The example itself prints "1 V".
    assert left_v == printed("1")
