"""Small designs for the tests of precharge and discharge: one pack, one bus capacitance, nearly no wire in between.

The numbers that matter are arguments, so that a test can put in those of a printed table or a closed form.
"""

from __future__ import annotations

from pathlib import Path

from tristrand.design import Design, load_files, read_folder
from tristrand.studies import pack
from tristrand.studies.results import PackResult

VAN = Path(__file__).parents[1] / "demos" / "van"

VEHICLE = """
schema_version: 1
name: one loop
use: road
rule_sets: [workshop]
ambient: {minimum: 0 °C, maximum: 20 °C}
modes: {drive: {high_voltage: [continuous]}}
"""
PACK = """
kind: pack
cells_in_series: 100
cells_in_parallel: 1
cell_capacity: 10 Ah
cell_voltage: {{minimum: 3 V, nominal: 3.9 V, maximum: 4 V}}
open_circuit_voltage: {{state_of_charge: [0 %, 100 %], voltage: [4 V, 4 V]}}
cell_resistance: {{temperature: [20 °C], state_of_charge: [50 %], resistance: [[{cell}]]}}
link_resistance: 0 mΩ
"""
CONTACTOR = "kind: contactor\ncontact_resistance: 0.001 mΩ\nclose_time: 0 s\nopen_time: 0 s\n"
INVERTER = "kind: inverter\nbus_capacitance: {farad}\n"
RESISTOR = """
kind: resistor
resistance: {ohm}
pulse_energy: 200 J
heat_capacity: 20 J/K
thermal_resistance: 10 K/W
temperature_limit: 200 °C
"""
CONVERTER = "kind: dcdc\ninput_capacitance: 0.1 µF\nturn_on_voltage: {on}\nturn_off_voltage: {off}\n"
PARTS = """
schema_version: 1
parts:
  pack:
    kind: pack
    sheet: pack
    state_of_charge: {minimum: 10 %, maximum: 100 %}
    temperature: {minimum: 0 °C, maximum: 40 °C}
  k_plus: {kind: contactor, sheet: contactor, role: main}
  k_minus: {kind: contactor, sheet: contactor, role: main}
  k_pre: {kind: contactor, sheet: contactor, role: precharge}
  r_pre: {kind: resistor, sheet: r-pre, role: precharge}
  k_dis: {kind: contactor, sheet: contactor, role: discharge, rests: closed}
  r_dis: {kind: resistor, sheet: r-dis, role: discharge}
  drive: {kind: inverter, sheet: inverter, power: {continuous: 1 kW}}
"""
LOAD = "  dcdc: {kind: dcdc, sheet: dcdc, starts: with_bus, power: {precharge: %s}}\n"
CONNECTIONS = """
connections:
  W1: {from: pack.plus, to: k_plus.a, resistance: 0.001 mΩ, inductance: %s}
  W2: {from: pack.minus, to: k_minus.a, resistance: 0.001 mΩ}
  W3: {from: k_plus.a, to: k_pre.a, resistance: 0.001 mΩ}
  W4: {from: k_pre.b, to: r_pre.a, resistance: 0.001 mΩ}
  W5: {from: r_pre.b, to: k_plus.b, resistance: 0.001 mΩ}
  W6: {from: k_plus.b, to: drive.plus, resistance: 0.001 mΩ}
  W7: {from: k_minus.b, to: drive.minus, resistance: 0.001 mΩ}
  W8: {from: k_dis.a, to: drive.plus, resistance: 0.001 mΩ}
  W9: {from: k_dis.b, to: r_dis.a, resistance: 0.001 mΩ}
  W10: {from: r_dis.b, to: drive.minus, resistance: 0.001 mΩ}
"""
LOAD_LEADS = """
  W11: {from: drive.plus, to: dcdc.plus, resistance: 0.1 mΩ}
  W12: {from: drive.minus, to: dcdc.minus, resistance: 0.1 mΩ}
"""
SETTINGS = """
precharge: {target: %s, timeout: %s, earliest: 50 ms, pack_sensor: %s, bus_sensor: %s, attempts: 3, pause: 10 s}
discharge: {within: %s}
"""


def one_loop(
    *, cell: str = "1 mΩ", farad: str = "1000 µF", r_pre: str = "100 Ω", r_dis: str = "5 kΩ", target: str = "95 %",
    timeout: str = "1 s", pack_sensor: str = "0 %", bus_sensor: str = "0 %", within: str = "5 s",
    inductance: str = "0 µH", load: str = "", on: str = "120 V", off: str = "", swap: tuple[tuple[str, str], ...] = (),
) -> Design:  # fmt: skip
    """400 V through 100 cells; ``swap`` replaces text in high_voltage.yaml before it is read."""
    high_voltage = PARTS + (LOAD % load if load else "") + CONNECTIONS % inductance
    high_voltage += (LOAD_LEADS if load else "") + SETTINGS % (target, timeout, pack_sensor, bus_sensor, within)
    for old, new in swap:
        assert old in high_voltage, old
        high_voltage = high_voltage.replace(old, new)
    files = {
        "vehicle.yaml": VEHICLE,
        "high_voltage.yaml": high_voltage,
        "parts/pack.yaml": PACK.format(cell=cell),
        "parts/contactor.yaml": CONTACTOR,
        "parts/inverter.yaml": INVERTER.format(farad=farad),
        "parts/r-pre.yaml": RESISTOR.format(ohm=r_pre),
        "parts/r-dis.yaml": RESISTOR.format(ohm=r_dis),
        "parts/dcdc.yaml": CONVERTER.format(on=on, off=off or on),
    }
    return read({name: text.encode() for name, text in files.items()})


def van(*swap: tuple[str, str], file: str = "high_voltage.yaml") -> Design:
    """The demo van with text of one file replaced, and the settings of precharge these tests were worked out for."""
    files, _ = read_folder(VAN)
    settings = files["high_voltage.yaml"].decode()
    for now, worked_out in (("target: 96.5 %", "target: 95 %"), ("timeout: 350 ms", "timeout: 1.2 s")):
        assert now in settings
        settings = settings.replace(now, worked_out)
    files["high_voltage.yaml"] = settings.encode()
    text = files[file].decode()
    for old, new in swap:
        assert old in text, old
        text = text.replace(old, new)
    return read({**files, file: text.encode()})


def read(files: dict[str, bytes]) -> Design:
    """A design that must be valid."""
    loaded = load_files(files, "test")
    assert loaded.design is not None, loaded.problems
    return loaded.design


def packs(design: Design) -> PackResult:
    """The pack study of a design."""
    return pack.study(pack.inputs(design))
