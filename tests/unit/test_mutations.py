"""Broken and absurd designs: whatever a file holds, the answer is a report or a list of problems, never a traceback."""
# ruff: noqa: E501  (one circuit is one line of the table)

import json
import re
from collections.abc import Callable, Iterator
from copy import deepcopy
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
import yaml
from click.testing import CliRunner
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from tests.pruned import pruned
from tristrand.app.check import Checked, Workspace
from tristrand.app.starter import starter_files
from tristrand.cli import main
from tristrand.design import load_files
from tristrand.findings import render

BASE = starter_files()
TREES: dict[str, Any] = {file: yaml.safe_load(data) for file, data in BASE.items()}
WORKSPACE = Workspace()
SLOW = [HealthCheck.too_slow, HealthCheck.data_too_large]


def judged(files: dict[str, bytes]) -> Checked | None:
    """The design checked and rendered; None where it is refused, which must be with words."""
    loaded = load_files(files, "x", WORKSPACE.files)
    if loaded.design is None:
        assert loaded.problems
        assert all(problem.message and problem.mend for problem in loaded.problems)
        return None
    checked = WORKSPACE.check_design(loaded.design)
    for form in ("text", "json", "sarif"):
        assert render(checked.report, form, 100)
    # A number that is not one may not pass as a number.
    json.loads(render(checked.report, "json", 100), parse_constant=_no_constant)
    assert checked.report.exit_code in (0, 1)
    return checked


def _no_constant(word: str) -> None:
    raise AssertionError(f"{word} in JSON")


def paths(tree: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place of a tree, the root left out."""
    inner = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, value in inner:
        yield (*path, key)
        yield from paths(value, (*path, key))


def get(tree: Any, path: tuple[Any, ...]) -> Any:
    for step in path:
        tree = tree[step]
    return tree


class _Plain(yaml.SafeDumper):
    """Writes a value that stands twice out twice: design files know no aliases."""

    def ignore_aliases(self, data: Any) -> bool:
        return True


def dumped(trees: dict[str, Any]) -> dict[str, bytes]:
    return {
        f: yaml.dump(tree, Dumper=_Plain, allow_unicode=True, sort_keys=False).encode() for f, tree in trees.items()
    }


PLACES = [(file, path) for file, tree in TREES.items() for path in paths(tree)]
NAMES = sorted({str(path[-1]) for _, path in PLACES} | set(TREES["high_voltage.yaml"]["parts"]))
HOSTILE: st.SearchStrategy[Any] = st.sampled_from(
    [None, True, False, 0, -1, 1, 10**17, 0.0, -0.5, "", " ", "0", "-1 V", "nan V", "inf A", "1e-300 Ω", "1e300 V", "0 %",
     "100 %", "0 s", "-273.15 °C", "350 mm", "5 V ± 100 %", "{}", "pack", "pack.plus", "bus_plus.bar", "fuse-15", "hv-35",
     "a.b.c", "../x", "/dev/null", "k" * 5000, [], {}, [None], {"value": "1 V"}, {"a": {"b": {"c": []}}}, "\u202e", "x\ny"]
)  # fmt: skip


@st.composite
def changed_trees(draw: st.DrawFn) -> dict[str, bytes]:
    """The starter with one to four values deleted, renamed, moved, or replaced by something hostile."""
    trees = deepcopy(TREES)
    for file, path in draw(st.lists(st.sampled_from(PLACES), min_size=1, max_size=4)):
        try:
            owner = get(trees[file], path[:-1])
            value = owner[path[-1]]
        except (KeyError, IndexError, TypeError):
            continue  # an earlier change took it away
        if not isinstance(owner, (dict, list)):
            continue
        how = draw(st.sampled_from(["delete", "replace", "swap", "rename", "copy"]))
        if how == "delete":
            del owner[path[-1]]
        elif how == "replace":
            owner[path[-1]] = draw(HOSTILE)
        elif how == "swap":
            other_file, other = draw(st.sampled_from(PLACES))
            owner[path[-1]] = deepcopy(get(TREES[other_file], other))
        elif isinstance(owner, dict):
            owner[draw(st.sampled_from(NAMES))] = owner.pop(path[-1]) if how == "rename" else deepcopy(value)
    return dumped(trees)


@settings(max_examples=250, suppress_health_check=SLOW)
@given(changed_trees())
def test_a_changed_design_is_judged_or_refused(files: dict[str, bytes]) -> None:
    judged(files)


@st.composite
def damaged_texts(draw: st.DrawFn) -> dict[str, bytes]:
    """The starter with the bytes of one file spliced, cut short, shuffled or run together with another."""
    file = draw(st.sampled_from(sorted(BASE)))
    data = BASE[file]
    lines = data.split(b"\n")
    match draw(st.sampled_from(["splice", "truncate", "line", "join", "bytes"])):
        case "splice":
            at = draw(st.integers(0, len(data)))
            data = data[:at] + draw(st.text(max_size=12)).encode("utf-8", "surrogatepass") + data[at:]
        case "truncate":
            data = data[: draw(st.integers(0, len(data)))]
        case "line":
            number = draw(st.integers(0, len(lines) - 1))
            line = lines.pop(number)
            if draw(st.booleans()):
                lines.insert(draw(st.integers(0, len(lines))), line)
            data = b"\n".join(lines)
        case "join":
            data += BASE[draw(st.sampled_from(sorted(BASE)))]
        case _:
            at = draw(st.integers(0, len(data)))
            data = data[:at] + draw(st.binary(max_size=4)) + data[at + draw(st.integers(0, 4)) :]
    return {**BASE, file: data}


@settings(max_examples=250, suppress_health_check=SLOW)
@given(damaged_texts())
def test_a_damaged_text_is_judged_or_refused(files: dict[str, bytes]) -> None:
    judged(files)


_NUMBER = re.compile(r"([-+0-9.eE]+)( ?[^±]*)(.*)\Z")
NUMBERS = [
    (file, path)
    for file, path in PLACES
    if isinstance(value := get(TREES[file], path), str) and value[:1].isdigit() and _NUMBER.match(value)
]
EXTREMES = st.sampled_from(
    ["0", "1e-300", "1e-12", "1e-9", "1e-6", "1e-3", "0.1", "1", "10", "1e3", "1e6", "1e9", "1e12", "1e300"]
)
FACTORS = st.sampled_from([0.01, 0.1, 0.5, 0.9, 1.1, 2, 10, 100])


@st.composite
def extreme_numbers(draw: st.DrawFn) -> dict[str, bytes]:
    """The starter with one to three quantities of extreme size, in their own unit."""
    trees = deepcopy(TREES)
    for file, path in draw(st.lists(st.sampled_from(NUMBERS), min_size=1, max_size=3)):
        found = _NUMBER.match(get(TREES[file], path))
        assert found is not None
        number = draw(EXTREMES) if draw(st.booleans()) else f"{float(found.group(1)) * draw(FACTORS):g}"
        get(trees[file], path[:-1])[path[-1]] = number + found.group(2)
    return dumped(trees)


def with_value(file: str, old: str, new: str) -> dict[str, bytes]:
    assert old.encode() in BASE[file]
    return {**BASE, file: BASE[file].replace(old.encode(), new.encode())}


@settings(max_examples=200, suppress_health_check=SLOW)
@given(extreme_numbers())
# A fuse that conducts nothing: the time constant of its capacitor is then longer than any run.
@example(with_value("parts/fuse-15.yaml", "resistance: 8 mΩ", "resistance: 1e12 mΩ"))
@example(with_value("parts/fuse-160.yaml", "continuous_share: 75 %", "continuous_share: 0 %"))
@example(with_value("parts/dcdc-1k2.yaml", "input_capacitance: 30 µF", "input_capacitance: 1 nF"))
def test_extreme_numbers_are_judged_or_refused(files: dict[str, bytes]) -> None:
    judged(files)


@pytest.mark.parametrize("series", [1, 2, 2000])
@pytest.mark.parametrize("parallel", [1, 20000])
def test_packs_of_any_size_are_judged(series: int, parallel: int) -> None:
    data = BASE["parts/pack-84s.yaml"].decode()
    data = data.replace("cells_in_series: 84", f"cells_in_series: {series}")
    data = data.replace("cells_in_parallel: 1", f"cells_in_parallel: {parallel}")
    data = data.replace("modules: 21", "modules: 1")
    assert judged({**BASE, "parts/pack-84s.yaml": data.encode()}) is not None


def forget_openers(circuit: Any) -> None:
    """Take parts that are gone off the fuses' lists of those that open for them."""
    for part in circuit["parts"].values():
        if "overload_by" in part:
            part["overload_by"] = [name for name in part["overload_by"] if name in circuit["parts"]]


STRUCTURES: dict[str, Callable[[dict[str, Any]], object]] = {
    "only a pack": lambda hv: hv.update(parts={"pack": hv["parts"]["pack"]}, connections={}, insulation={}, spacings={}),
    "no connection": lambda hv: hv.update(connections={}),
    "no pack": lambda hv: (hv["parts"].pop("pack"), [hv["connections"].pop(k) for k in ("W1", "W3")]),
    "pack on a bar": lambda hv: hv["connections"].update(S={"from": "pack.plus", "to": "bus_plus.bar", "resistance": "1 mΩ"}),
    "pack shorted": lambda hv: hv["connections"].update(S={"from": "pack.plus", "to": "pack.minus", "resistance": "1 µΩ"}),
    "bus shorted": lambda hv: hv["connections"].update(S={"from": "bus_plus.bar", "to": "bus_minus.bar", "resistance": "1 mΩ"}),
    "no load": lambda hv: [hv["parts"][k].pop("power") for k in ("drive", "dcdc")],
    "island": lambda hv: hv["parts"].update(lone={"kind": "inverter", "sheet": "inverter-60", "power": {"peak": "1 kW"}}),
    "two packs": lambda hv: (
        hv["parts"].update(pack2=dict(hv["parts"]["pack"])),
        hv["connections"].update(
            A={"from": "pack2.plus", "to": "pack.plus", "resistance": "1 mΩ"},
            B={"from": "pack2.minus", "to": "pack.minus", "resistance": "1 mΩ"},
        ),
    ),
    "two packs in series": lambda hv: (
        hv["parts"].update(pack2=dict(hv["parts"]["pack"])),
        hv["connections"].update(A={"from": "pack2.plus", "to": "pack.minus", "resistance": "1 mΩ"}),
        hv["connections"]["W3"].update({"from": "pack2.minus"}),
    ),
    "pack upside down": lambda hv: (
        hv["connections"]["W1"].update({"from": "pack.minus"}),
        hv["connections"]["W3"].update({"from": "pack.plus"}),
    ),
    "no contactors": lambda hv: (
        [hv["parts"].pop(k) for k in ("k_plus", "k_minus", "k_pre", "r_pre", "k_dis", "r_dis") if k in hv["parts"]],
        hv.update(connections={k: c for k, c in hv["connections"].items()
                               if not any(e.split(".")[0] not in hv["parts"] for e in (c["from"], c["to"]))}),
        forget_openers(hv),
    ),
}  # fmt: skip


def forget(circuit: dict[str, Any]) -> None:
    """Take out what names a part that is gone: sensors, and contactors of the weld check."""
    parts = circuit["parts"]
    sensors = circuit["voltage_sensors"]
    ends = {key: (s["plus"].split(".")[0], s["minus"].split(".")[0]) for key, s in sensors.items()}
    circuit["voltage_sensors"] = {key: s for key, s in sensors.items() if all(part in parts for part in ends[key])}
    first = [name for name in circuit["weld_check"].pop("first") if name in parts]
    if first:
        circuit["weld_check"]["first"] = first


@pytest.mark.parametrize("name", STRUCTURES)
def test_circuits_that_nobody_should_build_are_judged(name: str) -> None:
    trees = deepcopy(TREES)
    STRUCTURES[name](trees["high_voltage.yaml"])
    forget(trees["high_voltage.yaml"])
    pruned(trees["high_voltage.yaml"])
    checked = judged(dumped(trees))
    assert checked is not None, load_files(dumped(trees), "x").problems
    # Every rule has either concluded, or says why it did not.
    report = checked.report
    spoken = {finding.code for finding in report.findings} | set(report.coverage.not_applicable)
    assert set(report.coverage.rules_run) <= spoken


@pytest.mark.parametrize("name", TREES["high_voltage.yaml"]["connections"])
def test_a_design_without_one_of_its_connections_is_judged(name: str) -> None:
    trees = deepcopy(TREES)
    del trees["high_voltage.yaml"]["connections"][name]
    pruned(trees["high_voltage.yaml"])
    assert judged(dumped(trees)) is not None


@pytest.mark.parametrize("name", TREES["high_voltage.yaml"]["parts"])
def test_a_design_without_one_of_its_parts_is_judged(name: str) -> None:
    trees = deepcopy(TREES)
    circuit = trees["high_voltage.yaml"]
    del circuit["parts"][name]
    for key, lead in list(circuit["connections"].items()):
        if name in (lead["from"].split(".")[0], lead["to"].split(".")[0]):
            del circuit["connections"][key]
    forget_openers(circuit)
    forget(circuit)
    forget_insulation_of(circuit, name)
    pruned(circuit)
    assert judged(dumped(trees)) is not None


def forget_insulation_of(circuit: dict[str, Any], name: str) -> None:
    """Take out what the insulation data say about a part that is gone."""
    insulation = circuit["insulation"]
    insulation["fault_likelihood"].pop(name, None)
    if any(insulation["monitor"][pole].partition(".")[0] == name for pole in ("plus", "minus")):
        del insulation["monitor"]
    for spacing in circuit["spacings"].values():
        if spacing.get("part") == name:
            del spacing["part"]


def test_an_island_with_no_source_is_a_finding() -> None:
    trees = deepcopy(TREES)
    STRUCTURES["island"](trees["high_voltage.yaml"])
    checked = judged(dumped(trees))
    assert checked is not None
    told = [f for f in checked.report.findings if f.kind in ("fail", "review") and "lone" in f.message + f.place.object]
    assert told


@settings(max_examples=40, suppress_health_check=SLOW)
@given(changed_trees() | damaged_texts() | extreme_numbers(), st.sampled_from(["text", "json", "sarif"]))
def test_the_command_line_answers_every_design(files: dict[str, bytes], form: str) -> None:
    with TemporaryDirectory() as name:
        folder = Path(name) / "van"
        for file, data in files.items():
            (folder / file).parent.mkdir(parents=True, exist_ok=True)
            (folder / file).write_bytes(data)
        result = CliRunner().invoke(main, ["check", str(folder), "--format", form])
        assert result.exit_code in (0, 1, 2)
        assert "Traceback" not in result.output
        assert "internal error" not in result.output, result.output
        assert "Warning" not in result.stderr
        if result.exit_code == 2:
            problems = json.loads(result.stdout)["problems"] if form != "text" else result.stderr.splitlines()[1:]
            assert problems
        if form != "text":
            json.loads(result.stdout, parse_constant=_no_constant)
        assert {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()} == files
