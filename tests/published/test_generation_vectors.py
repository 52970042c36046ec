"""Uncontrolled generation: worked numbers of the founders' tables of check values."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.evidence import covers
from tests.printed import printed
from tristrand.physics import generation
from tristrand.physics.generation import BackEmfForm
from tristrand.sources import is_memory

RPM = 2.0 * math.pi / 60.0
FLUX, PAIRS = 0.1, 4


@covers(
    "physics.generation.electrical_speed_rad_per_s",
    "physics.generation.line_peak_v",
    "physics.generation.line_rms_v",
)
@pytest.mark.parametrize(
    ("rpm", "electrical", "peak", "rms"),
    [
        (6000, "2513.27", "435.31", "307.81"),
        (8000, "3351.03", "580.42", "410.42"),
        (12000, "5026.55", "870.62", "615.62"),
    ],
)
def test_open_circuit_voltages(rpm: float, electrical: str, peak: str, rms: str) -> None:
    speed = generation.electrical_speed_rad_per_s(rpm * RPM, PAIRS)
    assert speed == printed(electrical)
    assert generation.line_peak_v(FLUX, speed) == printed(peak)
    assert generation.line_rms_v(FLUX, speed) == printed(rms)


@covers("physics.generation.onset_rad_per_s")
@pytest.mark.parametrize(("bus_v", "rpm"), [(400.0, "5513.3"), (300.0, "4135.0")])
def test_onset(bus_v: float, rpm: str) -> None:
    assert generation.onset_rad_per_s(bus_v, FLUX, PAIRS) / RPM == printed(rpm)


@covers(
    "physics.generation.flux_linkage_wb",
    "physics.generation.onset_rad_per_s",
    "physics.generation.torque_constant_nm_per_a",
)
def test_60_v_rms_per_krpm() -> None:
    flux = generation.flux_linkage_wb(60.0, BackEmfForm.LINE_RMS_PER_KRPM, 4)
    assert flux == printed("0.116955")
    assert generation.onset_rad_per_s(400.0, flux, 4) / RPM == printed("4714.0")
    assert generation.torque_constant_nm_per_a(flux, 4) == printed("0.9924")


@covers("physics.generation.short_circuit_limit_a")
def test_short_circuit_limit() -> None:
    assert generation.short_circuit_limit_a(0.1, 0.3e-3) == printed("333.3")


# A second machine, from the founders' table on vehicles.
SALIENT = {"flux_wb": 0.06, "d_h": 200e-6, "q_h": 400e-6, "resistance_ohm": 8e-3, "pole_pairs": 4}


@covers("physics.generation.line_peak_v", "physics.generation.onset_rad_per_s")
def test_second_machine_open_circuit() -> None:
    speeds = generation.electrical_speed_rad_per_s(np.array([6000.0, 9000.0, 12000.0]) * RPM, 4)
    for volt, text in zip(generation.line_peak_v(0.06, speeds), ("261", "392", "522"), strict=True):
        assert volt == printed(text)
    assert generation.onset_rad_per_s(350.0, 0.06, 4) / RPM == printed("8040")


@covers("physics.generation.short_circuit", "physics.generation.short_circuit_limit_a")
@pytest.mark.parametrize(("rpm", "torque"), [(1000, "-10.2"), (3000, "-3.4"), (6000, "-1.7"), (12000, "-0.9")])
def test_second_machine_shorted(rpm: float, torque: str) -> None:
    speed = generation.electrical_speed_rad_per_s(rpm * RPM, 4)
    shorted = generation.short_circuit(speed, **SALIENT)
    assert shorted.torque_nm == printed(torque)
    assert generation.short_circuit_limit_a(0.06, 200e-6) == printed("300")
    if rpm >= 3000:
        assert shorted.d_a == printed("-300")


def test_generation_below_the_onset_is_marked_as_from_memory() -> None:
    assert is_memory(generation.BELOW_ONSET_SOURCE)
    assert "from memory" in generation.BELOW_ONSET_NOTE
