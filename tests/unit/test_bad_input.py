"""Every kind of bad input: an exact place, what is wrong, how to mend it, exit 2, and nothing written."""
# ruff: noqa: E501  (one case is one line of the table)

import os
from pathlib import Path

import pytest
from click.testing import CliRunner

from tristrand.app.starter import starter_files
from tristrand.cli import main
from tristrand.design import Problem, apply_edits, load_files
from tristrand.findings import Edit

BASE = starter_files()
H, V, PACK, FUSE = "high_voltage.yaml", "vehicle.yaml", "parts/pack-84s.yaml", "parts/fuse-160.yaml"
# Words of the libraries underneath: a person in a workshop must never meet them.
JARGON = (
    "Input should",
    "pydantic",
    "validation",
    "Traceback",
    "type=",
    "input_value",
    "literal",
    "NoneType",
    "dict",
    "str ",
)


def place_of(text: str, mark: str) -> tuple[int, int]:
    """Line and column of ``mark``, counted in the text itself."""
    at = text.index(mark)
    return text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)


def problems_of(files: dict[str, bytes]) -> tuple[Problem, ...]:
    loaded = load_files(files, "design")
    assert loaded.design is None
    for problem in loaded.problems:
        assert problem.message
        assert problem.mend, problem.text()
        assert not any(word in problem.text() for word in JARGON), problem.text()
    return loaded.problems


# file, text there, what is put in its place, the key or value the place must name, words of the message, words of the mend
CASES = [
    # numbers with units
    (H, "length: 1.5 m,", "length: 350 V,", "length: 350 V", "'350 V' is a voltage; a length is needed", "350 mm"),
    (PACK, "nominal: 3.65 V", "nominal: 350 mm", "nominal: 350 mm", "is a length; a voltage is needed", "350 V"),
    (H, "length: 1.5 m,", "length: -1.5 m,", "length: -1.5 m", "length must be greater than zero", "sign"),
    (H, "length: 1.5 m,", "length: 0 m,", "length: 0 m", "must be greater than zero", "leave the key out"),
    (H, "length: 1.5 m,", "length: nan m,", "length: nan m", "not a finite number", "leave the key out"),
    (H, "length: 1.5 m,", "length: .nan,", "length: .nan", "not a finite number", "leave the key out"),
    (H, "length: 1.5 m,", "length: inf,", "length: inf", "not a finite number", "leave the key out"),
    (H, "length: 1.5 m,", "length: 1e999 m,", "length: 1e999", "too large", "350 mm"),
    (H, "length: 1.5 m,", "length: 1e300 m,", "length: 1e300", "no vehicle has such a length", "exponent"),
    (FUSE, "resistance: 0.4 mΩ", "resistance: 1e-300 Ω", "resistance", "no vehicle has such a resistance", "unit"),
    (H, "length: 1.5 m,", "length: 1.5,", "length: 1.5,", "has no unit; a length is needed", "give the unit"),
    (H, "length: 1.5 m,", "length: '1,5 m',", "length: '1,5", "comma", "decimal point"),
    (H, "length: 1.5 m,", "length: long,", "length: long", "does not begin with a number", "350 mm"),
    (H, "length: 1.5 m,", "length: 1.5 metre,", "length: 1.5", "unit 'metre' is not known", ""),
    (H, "length: 1.5 m,", "length: true,", "length: true", "a length is needed here, not true", "350 mm"),
    (H, "length: 1.5 m,", "length: [1 m],", "length: [", "a length is needed here, not a list", "350 mm"),
    (H, "length: 1.5 m,", "length: {value: {a: 1}},", "length: {", "not keys and values", "350 mm"),
    (H, "length: 1.5 m,", "length: {valeu: 1 m},", "length: {", "unknown key 'valeu'", "value: 350 mm"),
    (H, "length: 1.5 m,", "length: {basis: measured},", "length: {", "'value' is missing", "value: 350 mm"),
    (H, "length: 1.5 m,", "length: {value: 1 m, basis: guess},", "length: {", "'guess' is no basis", "measured"),
    (H, "length: 1.5 m,", "length: {value: 1 m, basis: [a]},", "length: {", "is no basis", "measured"),
    (H, "length: 1.5 m,", "length: {value: 1 m, source: 5},", "length: {", "'source' must be a text", "quotes"),
    (H, "length: 1.5 m,", "length: 1.5 m ± 2 m,", "length: 1.5 m ±", "tolerance included", "tolerance smaller"),
    (H, "target: 96 %", "target: 195 %", "target: 195", "must be at most 1", "number"),
    (H, "maximum: 100 %", "maximum: 100", "maximum: 100", "as a fraction would be 10000 %", "95 %"),
    # whole numbers
    (H, "bundled: 2", "bundled: '2'", "bundled: '2'", "a whole number is needed here, not '2'", "without quotes: 2"),
    (H, "bundled: 2", "bundled: true", "bundled: true", "a whole number is needed here, not true", "whole number"),
    (H, "bundled: 2", "bundled: 2.5", "bundled: 2.5", "a whole number is needed here, not 2.5", "whole number"),
    (H, "bundled: 2", "bundled: 0", "bundled: 0", "must be at least 1", "number"),
    (PACK, "cells_in_series: 84", "cells_in_series: 84 cells", "cells_in_series", "a whole number", "whole number"),
    (PACK, "cells_in_series: 84", "cells_in_series: 99999999999999", "cells_in_series", "must be at most 2000", "number"),
    # keys
    (H, "length: 1.5 m,", "lenght: 1.5 m,", "lenght", "unknown key 'lenght' in connections/W10", "did you mean 'length'?"),
    (H, "connections:", "conections:", "conections", "unknown key 'conections'", "did you mean 'connections'?"),
    (V, "revision: A", "colour: red", "colour", "unknown key 'colour'", "known keys: "),
    (PACK, "cell_capacity: 72 Ah", "cell_capasity: 72 Ah", "cell_capasity", "unknown key", "'cell_capacity'"),
    (H, "from: main_fuse.b, to: k_plus.a", "to: k_plus.a", "W2: {", "'from' is missing", "add the key 'from'"),
    (H, "sheet: contactor-200, role: main, marked_plus: a}", "sheet: contactor-200, marked_plus: a}", "k_plus:",
     "'role' is missing", "main, precharge, discharge"),
    (H, "schema_version: 1\n", "", "case_duration", "'schema_version' is missing", "schema_version: 1"),
    (H, "schema_version: 1", "schema_version: 2", "schema_version", "newer than this program", "install a newer"),
    (H, "schema_version: 1", "schema_version: 1.0", "schema_version", "must be a whole number", "schema_version: 1"),
    (H, "schema_version: 1", "schema_version: true", "schema_version", "must be a whole number", "schema_version: 1"),
    (H, "schema_version: 1", "schema_version: 0", "schema_version", "must be a whole number", "schema_version: 1"),
    # references
    (H, "cable: hv-35, length: 1.5 m", "cable: hv-36, length: 1.5 m", "cable: hv-36", "there is no data sheet parts/hv-36.yaml",
     "did you mean 'hv-35'?"),
    (H, "cable: hv-35, length: 1.5 m", "cable: hv-35.yaml, length: 1.5 m", "cable: hv-35.yaml", "no data sheet", "only hv-35"),
    (H, "cable: hv-35, length: 1.5 m", "cable: fuse-15, length: 1.5 m", "cable: fuse-15", "the sheet of a fuse; a cable is needed",
     "hv-4"),
    (H, "cable: hv-35, length: 1.5 m", "cable: hv 35, length: 1.5 m", "cable: hv 35", "cannot be the name of a data sheet", "letters"),
    (H, "cable: hv-35, length: 1.5 m", "cable: 35, length: 1.5 m", "cable: 35", "a text is needed here, not the number 35", '"35"'),
    (H, "to: main_fuse.a", "to: main_fuze.a", "to: main_fuze", "there is no part 'main_fuze'", "did you mean 'main_fuse'?"),
    (H, "from: pack.plus", "from: pack.a", "from: pack.a", "a pack has no terminal 'a'", "pack.plus, pack.minus"),
    (H, "from: pack.plus", "from: pack", "from: pack,", "'pack' names no terminal", "part.terminal"),
    (H, "to: main_fuse.a", "to: pack.plus", "to: pack.plus", "W1 starts and ends at pack.plus", "another terminal"),
    (H, "sheet: fuse-160", "sheet: pack-84s", "sheet: pack-84s,", "the sheet of a pack; a fuse is needed", "fuse-1"),
    (H, "sheet: pack-84s", "sheet: pack-84s\n    power: {peak: 1 kW}", "power: {peak: 1 kW}", "a pack takes no power", "remove"),
    (H, "cable: hv-35, length: 1.5 m", "length: 1.5 m", "W10:", "neither a cable nor a resistance", "resistance for a busbar"),
    (H, "cable: hv-35, length: 1.5 m", "cable: hv-35, resistance: 1 mΩ", "W10:", "both a cable and a resistance", "keep"),
    # ids
    (H, "  W2:", "  W1:", "W1: {from: main_fuse.b", "the key 'W1' stands twice (first in line", "another name"),
    (H, "  k_minus: {", "  k_plus: {kind: junction}\n  k_minus: {", "k_plus: {kind: junction", "the key 'k_plus' stands twice",
     "another name"),
    (H, "  W2:", "  pack:", "pack: {from", "the id 'pack' is used for a part and for a connection", "another id"),
    (H, "  W2:", "  2 W:", "2 W:", "'2 W' cannot be an id", "starts with a letter"),
    # words out of a list
    (H, "role: main, marked_plus: a}", "role: mian, marked_plus: a}", "role: mian", "'mian' is not known here", "did you mean 'main'?"),
    (H, "kind: fuse, sheet: fuse-160", "kind: fuze, sheet: fuse-160", "kind: fuze", "'fuze' is not known here", "'fuse'"),
    (H, "{kind: fuse, sheet: fuse-160,", "{sheet: fuse-160,", "main_fuse: {", "'kind' is missing", "kind: fuse"),
    (H, "{kind: fuse, sheet: fuse-160,", "{kind: [fuse], sheet: fuse-160,", "kind: [fuse]", "not known here", "fuse"),
    (H, "{kind: fuse, sheet: fuse-15, overload_by: [dcdc]}", "fuse", "fuse_dcdc: fuse", "keys and values are needed here, not 'fuse'", "key: value"),
    (H, "{continuous: 18 kW", "{Continuous: 18 kW", "Continuous", "'Continuous' is not known here", "'continuous'"),
    (V, "high_voltage: [idle]", "high_voltage: [idel]", "idel", "'idel' is not known here", "did you mean 'idle'?"),
    (V, "high_voltage: [idle]", "high_voltage: idle", "high_voltage: idle", "a list is needed here, not 'idle'", "[idle]"),
    (V, "high_voltage: [idle]", "high_voltage: []", "high_voltage: []", "at least one entry", "idle, precharge"),
    (V, "[workshop, un-r100]", "[workshop, un-r101]", "un-r101", "'un-r101' is not known here", "did you mean 'un-r100'?"),
    (V, "use: road", "use: sea", "use: sea", "'sea' is not known here", "road, track"),
    (FUSE, "kind: fuse", "kind: fuze", "kind: fuze", "'fuze' is not known here", "did you mean 'fuse'?"),
    (FUSE, "basis: assumed", "basis: guessed", "basis: guessed", "'guessed' is not known here", "measured"),
    # texts and dates
    (V, "name: New conversion", "name: 12", "name: 12", "a text is needed here, not the number 12", '"12"'),
    (V, "name: New conversion", "name: true", "name: true", "a text is needed here, not true", '"true"'),
    (V, "name: New conversion", "name: [a]", "name: [a]", "a text is needed here, not a list", "text"),
    (V, "name: New conversion", "name: ''", "name: ''", "this one is empty", "write it out"),
    (V, "name: New conversion", 'name: "\\e[31mred"', '"\\e[', "control character", "remove"),
    (V, "revision: A", "date: 2026", "date: 2026", "a date is needed here, not '2026'", "2026-11-20"),
    (V, "revision: A", "date: 2026-02-30", "date: 2026-02-30", "no day 2026-02-30", "year-month-day"),
    (V, "revision: A", "date: 20.11.2026", "date: 20.11.2026", "a date is needed here", "year-month-day"),
    # values that do not fit each other
    (PACK, "nominal: 3.65 V", "nominal: 4.65 V", "cell_voltage", "must rise in this order", "three voltages"),
    (PACK, "[10 %, 100 %]", "[100 %, 10 %]", "cell_resistance", "'state_of_charge' must rise", "rising order"),
    (PACK, "    - [0.70 mΩ, 0.60 mΩ]\n", "", "cell_resistance", "3 temperatures but 2 rows", "add what is missing"),
    (PACK, "[3.10 V, 3.40 V,", "[3.10 V,", "open_circuit_voltage", "4 states of charge but 3 voltages", "add what is missing"),
    (H, "minimum: 0 °C", "minimum: 70 °C", "temperature", "minimum 70 °C is above maximum 45 °C", "below maximum"),
    (H, "{minimum: 10 %, maximum: 100 %}", "{minimum: 90 %, maximum: 80 %}", "state_of_charge", "not below maximum 80 %", "below"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("file", "old", "new", "mark", "message", "mend"), CASES, ids=[f"{c[0]}: {c[2][:40]}" for c in CASES]
)
def test_one_slip_is_one_problem_at_its_place(
    file: str, old: str, new: str, mark: str, message: str, mend: str
) -> None:
    text = BASE[file].decode()
    assert old in text, "the starter has changed: name another text"
    text = text.replace(old, new, 1)
    (problem,) = problems_of({**BASE, file: text.encode()})
    assert problem.file == file
    assert (problem.line, problem.column) == place_of(text, mark), problem.text()
    assert message in problem.message, problem.text()
    assert mend in problem.mend, problem.text()


def test_the_order_of_a_converters_voltages() -> None:
    text = BASE["parts/dcdc-1k2.yaml"].decode().replace("turn_off_voltage: 180 V", "turn_off_voltage: 210 V")
    (problem,) = problems_of({**BASE, "parts/dcdc-1k2.yaml": text.encode()})
    assert "turn_off_voltage 210 V is above turn_on_voltage 200 V" in problem.message


def waiver(**changes: str) -> bytes:
    entry = {
        "code": "HV121", "object": "high_voltage/connections/W10/cable", "reason": "short runs on a closed yard", "by": "the builder",
        "date": "2026-01-02", "evidence": "{quantity: current, value: 120}",
    } | changes  # fmt: skip
    lines = [f"{key}: {value}" for key, value in entry.items() if value != "-"]
    return ("schema_version: 1\nwaivers:\n  - " + "\n    ".join(lines) + "\n").encode()


@pytest.mark.parametrize(
    ("key", "value", "message", "mend"),
    [
        ("code", "HV", "'HV' is no code of a rule", "a group of rules cannot be waived"),
        ("code", "'*'", "'*' is no code of a rule", "a group of rules cannot be waived"),
        ("code", "'HV1**'", "is no code of a rule", "a group of rules cannot be waived"),
        ("code", "'HV121,HV122'", "is no code of a rule", "one code"),
        ("object", "'*'", "'*' names no single object", "patterns are not taken"),
        ("object", "connections/W?", "names no single object", "patterns are not taken"),
        ("reason", "ok", "'ok' is too short for a reason", "in a sentence"),
        ("reason", "'            '", "too short for a reason", "in a sentence"),
        ("by", "''", "empty", "write it out"),
        ("date", "yesterday", "a date is needed here, not 'yesterday'", "2026-11-20"),
        ("date", "1700000000", "a date is needed here", "2026-11-20"),
        ("expires", "2027-13-01", "no day 2027-13-01", "year-month-day"),
        ("evidence", "{quantity: current, value: nan}", "a plain number is needed here, not 'nan'", "without unit"),
        ("evidence", "{quantity: current, value: 1e999}", "a plain number is needed here", "without unit"),
        ("evidence", "{quantity: current, value: 120 A}", "a plain number is needed here, not '120 A'", "without unit"),
        ("evidence", "{quantity: '', value: 120}", "empty", "write it out"),
        ("evidence", "-", "'evidence' is missing", "evidence"),
    ],
)
def test_a_waiver_that_says_too_much_or_too_little(key: str, value: str, message: str, mend: str) -> None:
    data = waiver(**{key: value})
    (problem,) = problems_of({**BASE, "waivers.yaml": data})
    assert problem.file == "waivers.yaml"
    line, column = place_of(data.decode(), "code:" if value == "-" else f"{key}:")
    if key == "evidence" and value != "-":
        column = place_of(data.decode(), "quantity" if message == "empty" else "value")[1]
    assert (problem.line, problem.column) == (line, column), problem.text()
    assert message in problem.message
    assert mend in problem.mend


def test_a_good_waiver_is_read() -> None:
    design = load_files({**BASE, "waivers.yaml": waiver()}, "design").design
    assert design is not None
    assert design.waivers[0].date.isoformat() == "2026-01-02"


@pytest.mark.parametrize(
    ("data", "line", "message", "mend"),
    [
        (b"", 1, "the file is empty", "schema_version: 1"),
        (b"# nothing yet\n", 1, "the file is empty", "schema_version: 1"),
        (b"- a\n- b\n", 1, "not a list", "schema_version: 1"),
        (b"just words\n", 1, "not a single value", "schema_version: 1"),
        (b"schema_version: 1\n\xff\n", 2, "not UTF-8", "UTF-8"),
        ("schema_version: 1".encode("utf-16"), 1, "UTF-16", "UTF-8"),
        (b"schema_version: 1\nname:\tx\n\tuse: road\n", 3, "tab", "spaces"),
        (b"schema_version: 1\n---\nname: x\n", 2, "more than one YAML document", "---"),
        (b"schema_version: 1\nname: &a x\nuse: *a\n", 2, "anchors and aliases", "write the value out"),
        (b"schema_version: 1\nname: \x1b[2J\n", 2, "control character", "delete"),
        (b"schema_version: 1\nname: " + b"[" * 10_000 + b"\n", 2, "nested", "flatten"),
        (b"x" * 10_000_000, 0, "the file has 10.0 MB", "logs"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("file", [V, H, FUSE, "waivers.yaml"])
def test_a_file_that_is_no_yaml_design_file(file: str, data: bytes, line: int, message: str, mend: str) -> None:
    (problem,) = problems_of({**BASE, file: data})
    assert (problem.file, problem.line) == (file, line)
    assert message in problem.message
    assert mend in problem.mend


def test_a_huge_text_is_quoted_short() -> None:
    text = BASE[V].decode().replace("use: road", f"use: {'road' * 100_000}")
    (problem,) = problems_of({**BASE, V: text.encode()})
    assert len(problem.text()) < 400
    text = BASE[V].decode().replace("use: road", f"{'road' * 100}: road\nuse: road")
    (problem,) = problems_of({**BASE, V: text.encode()})
    assert len(problem.text()) < 400


def test_windows_line_ends_and_a_byte_order_mark_are_no_error() -> None:
    files = {file: b"\xef\xbb\xbf" + data.replace(b"\n", b"\r\n") for file, data in BASE.items()}
    design = load_files(files, "design").design
    plain = load_files(BASE, "design").design
    assert design is not None
    assert plain is not None
    assert design.high_voltage == plain.high_voltage
    assert design.place("high_voltage/connections/W10").line == plain.place("high_voltage/connections/W10").line


def test_thousands_of_slips_are_told_soon_and_not_all() -> None:
    connections = "".join(f"  X{i}: {{from: no{i}.a, to: no{i}.b, cable: none{i}}}\n" for i in range(5_000))
    text = BASE[H].decode().replace("connections:\n", "connections:\n" + connections)
    problems = problems_of({**BASE, H: text.encode()})
    assert len(problems) == 201
    assert any("14800 more problems" in p.message for p in problems)
    keys = "".join(f"key{i}: 1\n" for i in range(20_000))
    problems = problems_of({**BASE, V: BASE[V] + keys.encode()})
    assert len(problems) == 201


def test_six_slips_in_three_files_are_six_problems() -> None:
    high_voltage = (
        BASE[H].decode()
        .replace("to: main_fuse.a", "to: main_fuze.a")  # a reference, beside slips of single values
        .replace("bundled: 2", "bundled: two", 1)
        .replace("  W2:", "  W1:")
    )  # fmt: skip
    vehicle = BASE[V].decode().replace("use: road", "use: raod").replace("minimum: -10 °C", "minimum: -10 °K")
    fuse = BASE[FUSE].decode().replace("rated_current: 160 A", "rated_current: 160 V")
    problems = problems_of({**BASE, H: high_voltage.encode(), V: vehicle.encode(), FUSE: fuse.encode()})
    expected = [(H, high_voltage, "to: main_fuze"), (H, high_voltage, "bundled: two"), (H, high_voltage, "W1: {from: main_fuse.b"),
                (V, vehicle, "use: raod"), (V, vehicle, "minimum: -10 °K"), (FUSE, fuse, "rated_current")]  # fmt: skip
    assert {(p.file, p.line, p.column) for p in problems} == {(f, *place_of(text, mark)) for f, text, mark in expected}
    assert len(problems) == 6


# --- folders: what only a file system can get wrong ---


def snapshot(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() if path.is_file() else b"-"
        for path in sorted(folder.rglob("*"))
        if path.is_file() or path.is_dir()
    }


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    design = tmp_path / "van"
    for name, data in BASE.items():
        (design / name).parent.mkdir(parents=True, exist_ok=True)
        (design / name).write_bytes(data)
    return design


def refused(folder: Path, *words: str) -> str:
    """Run check; it must end with 2 and a list of problems, and leave the disk as it was."""
    before = snapshot(folder.parent)
    result = CliRunner().invoke(main, ["check", str(folder)])
    assert result.exit_code == 2, result.output
    assert "cannot be read as a design" in result.stderr
    assert "mend: " in result.stderr
    assert result.stdout == ""
    assert "internal error" not in result.stderr
    assert not any(word in result.stderr for word in JARGON), result.stderr
    for word in words:
        assert word in result.stderr, result.stderr
    assert snapshot(folder.parent) == before
    return result.stderr


def test_missing_folder(tmp_path: Path) -> None:
    refused(tmp_path / "van", "the design folder does not exist", "tristrand new")


def test_folder_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "van").write_text("x")
    refused(tmp_path / "van", "not a folder", "vehicle.yaml")


def test_folder_name_is_too_long(tmp_path: Path) -> None:
    refused(tmp_path / ("x" * 5_000), "cannot be read")


def test_folder_without_rights(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def denied(_self: Path) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "iterdir", denied)
    result = CliRunner().invoke(main, ["check", str(folder)])
    assert result.exit_code == 2
    assert "permission denied" in result.stderr


@pytest.mark.parametrize("name", [V, H])
def test_missing_file(folder: Path, name: str) -> None:
    (folder / name).unlink()
    refused(folder, f"{name}: the file is missing", "a design folder needs vehicle.yaml and high_voltage.yaml")


def test_empty_folder_names_both_files(tmp_path: Path) -> None:
    (tmp_path / "van").mkdir()
    said = refused(tmp_path / "van", "vehicle.yaml: the file is missing", "high_voltage.yaml: the file is missing")
    assert "2 problems" in said


@pytest.mark.parametrize("other", ["vehicle.yml", "Vehicle.yaml", "vehicles.yaml"])
def test_a_file_of_nearly_the_right_name(folder: Path, other: str) -> None:
    (folder / V).rename(folder / other)
    refused(folder, f"is it {other}? Then rename it to vehicle.yaml")


@pytest.mark.parametrize("name", [V, FUSE, "waivers.yaml"])
def test_a_folder_of_the_files_name(folder: Path, name: str) -> None:
    (folder / name).unlink(missing_ok=True)
    (folder / name).mkdir()
    refused(folder, f"{name}: this is a folder, not a file")


@pytest.mark.parametrize("name", [V, FUSE])
def test_a_link_to_itself(folder: Path, name: str) -> None:
    (folder / name).unlink()
    (folder / name).symlink_to(folder / name)
    refused(folder, f"{name}: the file cannot be read")


def test_a_pipe_does_not_wait(folder: Path) -> None:
    (folder / V).unlink()
    os.mkfifo(folder / V)
    refused(folder, "not a plain file")


def test_an_endless_device_is_not_read(folder: Path) -> None:
    (folder / V).unlink()
    (folder / V).symlink_to("/dev/zero")
    refused(folder, "not a plain file")


def test_a_file_that_may_not_be_read(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plain = Path.read_bytes

    def denied(self: Path) -> bytes:
        if self.name == H:
            raise PermissionError(13, "Permission denied")
        return plain(self)

    monkeypatch.setattr(Path, "read_bytes", denied)
    result = CliRunner().invoke(main, ["check", str(folder)])
    assert result.exit_code == 2
    assert "high_voltage.yaml: the file cannot be read: permission denied" in result.stderr
    assert "check its name and rights" in result.stderr


def test_a_large_file_is_not_even_read(folder: Path) -> None:
    with (folder / V).open("wb") as file:
        file.truncate(3_000_000_000)
    result = CliRunner().invoke(main, ["check", str(folder)])
    assert result.exit_code == 2
    assert "the file has 3000.0 MB; a design file holds at most 1 MB" in result.stderr


def test_parts_is_a_file(folder: Path) -> None:
    for path in (folder / "parts").iterdir():
        path.unlink()
    (folder / "parts").rmdir()
    (folder / "parts").write_text("x")
    refused(folder, "parts: this folder cannot be read")


def test_a_sheet_that_no_part_could_name(folder: Path) -> None:
    (folder / "parts" / "Copy of hv-35.yaml").write_bytes(BASE["parts/hv-35.yaml"])
    (folder / "parts" / os.fsdecode(b"\xff.yaml")).write_bytes(BASE["parts/hv-35.yaml"])
    refused(folder, "Copy of hv-35.yaml: no part can name a sheet in a file of this name", "move it out of parts")


def test_what_editors_leave_behind_is_passed_over(folder: Path) -> None:
    (folder / "parts" / "._hv-35.yaml").write_bytes(b"\xff\x00")
    (folder / "parts" / ".#hv-35.yaml").symlink_to("nowhere")
    (folder / "parts" / "hv-35.yaml~").write_bytes(b"old")
    (folder / "notes.yaml").write_bytes(b"- mine")
    result = CliRunner().invoke(main, ["check", str(folder)])
    assert result.exit_code in (0, 1), result.output


def test_too_many_sheets(folder: Path) -> None:
    for number in range(501):
        (folder / "parts" / f"x{number}.yaml").write_bytes(b"")
    refused(folder, "at most 500 are read", "remove sheets")


@pytest.mark.parametrize("form", ["json", "sarif"])
def test_problems_for_a_program(folder: Path, form: str) -> None:
    import json

    (folder / V).write_bytes(b"name: [\n")
    result = CliRunner().invoke(main, ["check", str(folder), "--format", form])
    assert result.exit_code == 2
    (problem,) = json.loads(result.stdout)["problems"]
    assert problem["file"] == V
    assert problem["line"] >= 1
    assert problem["mend"]


def test_nothing_is_written_to_the_target_of_a_design_that_cannot_be_read(folder: Path, tmp_path: Path) -> None:
    (folder / V).unlink()
    result = CliRunner().invoke(main, ["check", str(folder), "--to", str(tmp_path / "out" / "report.txt")])
    assert result.exit_code == 2
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("file", "key", "value", "limit"),
    [
        ("parts/pack-84s.yaml", "cell_capacity", "72 mAh", "at least 0.5 Ah"),
        ("parts/contactor-200.yaml", "contact_resistance", "0.4 MΩ", "at most 1 Ω"),
        ("parts/fuse-160.yaml", "resistance", "0.4 kΩ", "at most 1 Ω"),
        ("parts/inverter-60.yaml", "bus_capacitance", "500 mF", "at most 0.1 F"),
    ],
)
def test_a_slip_of_the_prefix_is_named_where_it_stands(file: str, key: str, value: str, limit: str) -> None:
    loaded = load_files(apply_edits(starter_files(), [Edit(file, key, value)]), "starter")
    (problem,) = loaded.problems
    assert problem.file == file
    assert f"'{value}'" in problem.message
    assert limit in problem.message
    assert problem.mend == "check the number and its unit"


def test_a_heater_that_draws_in_precharge_says_how_it_starts() -> None:
    heater = Edit(
        "high_voltage.yaml", "parts/heater", "{kind: heater, sheet: heater, power: {precharge: 500 W, heat: 2 kW}}"
    )
    sheet = Edit("parts/heater.yaml", "", "{schema_version: 1, kind: heater}")
    messages = [p.message for p in load_files(apply_edits(starter_files(), [heater, sheet]), "starter").problems]
    assert any("not a word on whether it starts with the bus" in message for message in messages)
    said = Edit("high_voltage.yaml", "parts/heater/starts", "when_released")
    messages = [p.message for p in load_files(apply_edits(starter_files(), [heater, sheet, said]), "starter").problems]
    assert not any("starts with the bus" in message for message in messages)
