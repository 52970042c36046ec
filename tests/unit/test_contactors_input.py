"""Bad input round contactors: each with its line, what is wrong and how to mend it."""
# ruff: noqa: E501  (one case is one line of the table)

import pytest

from tests.unit.test_bad_input import place_of, problems_of
from tristrand.app.starter import starter_files
from tristrand.design import load_files

BASE = starter_files()
HV, MAIN = "high_voltage.yaml", "parts/contactor-200.yaml"

# file, text there, what is put in its place, the key or value the place must name, words of the message, of the mend
CASES = [
    (HV, "plus: bus_plus.bar, minus: bus", "plus: bus_plas.bar, minus: bus", "plus: bus_plas", "no part 'bus_plas'", "bus_plus"),
    (HV, "plus: bus_plus.bar, minus: bus", "plus: bus_plus.b, minus: bus", "plus: bus_plus.b,", "no terminal 'b'", "bus_plus.bar"),
    (HV, "minus: bus_minus.bar, error", "minus: bus_plus.bar, error", "minus: bus_plus.bar, error", "both ends", "another"),
    (HV, "minus: bus_minus.bar, error", "minus: bus, error", "minus: bus, error", "bus", ""),
    (HV, "first: [k_plus, k_minus]", "first: [k_plus, k_minis]", "k_minis", "no contactor 'k_minis'", "k_minus"),
    (HV, "first: [k_plus, k_minus]", "first: [k_plus, k_pre]", "k_pre]", "no main or charge contactor", "take it out"),
    (HV, "first: [k_plus, k_minus]", "first: [k_plus, main_fuse]", "main_fuse]", "no contactor 'main_fuse'", "k_"),
    (HV, "first: [k_plus, k_minus]", "first: [k_plus, k_plus]", "k_plus]", "stands twice", "take one"),
    (HV, "first: [k_plus, k_minus]", "first: []", "first: []", "", ""),
    (HV, "ratio: 70 %", "ratio: 7 V", "ratio: 7 V", "is a voltage", "%"),
    (HV, "ratio: 70 %", "ratio: 100 %", "ratio: 100 %", "at most 0.99", ""),
    (HV, "least: 10.5 V", "least: 16 V", "coil_supply: ", "least 16 V is above most 15 V", "least below most"),
    (HV, "wiring: 0.3 Ω", "wiring: -0.3 Ω", "wiring: -0.3 Ω", "must not be negative", "sign"),
    (HV, "starts: 30000", "starts: -1", "starts: -1", "0", ""),
    (HV, "starts: 30000", "starts: 30000.5", "starts: 30000.5", "", "whole"),
    (HV, "starts: 30000", "beginnings: 30000", "beginnings: 30000", "unknown key 'beginnings'", "starts"),
    (HV, "sheet: contactor-20, role: precharge", "sheet: contactor-20, closes: before_precharge, role: precharge", "closes", "is no main contactor", "remove"),
    (MAIN, "pull_in_voltage: 8 V", "pull_in_voltage: 4 V", "coil: ", "hold_voltage 4.5 V is above pull_in_voltage 4 V", "order"),
    (MAIN, "rise: 35 K", "rise: 35 K, hottest: 90 °C", "coil: ", "both hottest and rise", "keep rise"),
    (MAIN, "rise: 35 K", "rise: 35 °C", "rise: 35 °C", "", "K"),
    (MAIN, "resistance: 30 Ω ± 5 %", "resistance: 30 V", "resistance: 30 V", "is a voltage; a resistance", "Ω"),
    (MAIN, "polarised: true", "polarised: perhaps", "polarised: perhaps", "", ""),
    (MAIN, "voltage: [100 V, 450 V], current: [20 A, 200 A, 600 A]", "voltage: [450 V, 100 V], current: [20 A, 200 A, 600 A]",
     "making_life: ", "'voltage' must rise", "rising order"),
    (MAIN, "current: [20 A, 200 A, 600 A]", "current: [20 A, 200 A]", "making_life: ", "2 currents but a row of 3", "each row"),
    (MAIN, "voltage: [100 V, 450 V], current: [20 A, 200 A, 600 A]", "voltage: [100 V], current: [20 A, 200 A, 600 A]",
     "making_life: ", "1 voltages but 2 rows", "add what is missing"),
    (MAIN, "voltage: [100 V, 450 V], current: [20 A, 200 A, 600 A]", "voltage: [], current: [20 A, 200 A, 600 A]",
     "voltage: []", "", ""),
    (MAIN, "mechanical_life: 200000", "mechanical_life: 0", "mechanical_life: 0", "", ""),
]  # fmt: skip


@pytest.mark.parametrize(("file", "old", "new", "mark", "said", "mend"), CASES, ids=[f"{c[0]}: {c[2]}" for c in CASES])
def test_it_is_named_with_its_place_and_its_mend(
    file: str, old: str, new: str, mark: str, said: str, mend: str
) -> None:
    text = BASE[file].decode()
    assert text.count(old) == 1, text.count(old)
    bad = text.replace(old, new)
    problems = problems_of({**BASE, file: bad.encode()})
    line, _ = place_of(bad, mark)
    first = problems[0]
    assert (first.file, first.line) == (file, line)
    assert said in first.message
    assert mend in first.mend


@pytest.mark.parametrize("kind", ["mirrored", "", "3"])
def test_an_auxiliary_contact_of_no_known_kind(kind: str) -> None:
    text = BASE[MAIN].decode() + f"auxiliary: {{kind: {kind}}}\n"
    (problem,) = problems_of({**BASE, MAIN: text.encode()})
    assert "mirror" in problem.text()


def test_an_economiser_that_saves_all_of_it() -> None:
    text = BASE[MAIN].decode() + "economiser: {saving: 100 %}\n"
    (problem,) = problems_of({**BASE, MAIN: text.encode()})
    assert "at most 0.99" in problem.message


@pytest.mark.parametrize("shape", ["[]", "7", "text", "{a: 1}", "{a: [x]}"])
def test_sensors_of_a_wrong_shape_do_not_hide_other_slips(shape: str) -> None:
    text = BASE[HV].decode().replace("first: [k_plus, k_minus]", "first: [k_plus, nobody]")
    at = text.index("voltage_sensors:")
    text = text[:at] + f"voltage_sensors: {shape}\n" + text[text.index("# At every shut-down") :]
    problems = problems_of({**BASE, HV: text.encode()})
    assert any("no contactor 'nobody'" in p.message for p in problems)


def test_the_starter_itself_is_good() -> None:
    assert load_files(BASE, "starter").design is not None
