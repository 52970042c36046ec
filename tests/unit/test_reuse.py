"""What is kept from check to check is told as a check from nothing tells it."""

import datetime
import random
from collections.abc import Callable
from pathlib import Path

import pytest

from benchmarks.test_check_speed import NUMBER, larger
from tristrand.app import Workspace
from tristrand.app.pipeline import Pipeline
from tristrand.app.reuse import VERSIONS, Memory
from tristrand.design import Design, Key, apply_edits, load_files, read_folder
from tristrand.design.yamltext import parse_yaml
from tristrand.findings import Edit, Report

DEMOS = Path(__file__).parents[2] / "demos"
BRIDGE = Edit("high_voltage.yaml", "connections/extra", "{from: bus_plus.bar, to: bus_minus.bar, resistance: 1 MΩ}")
DAY = datetime.date(2026, 1, 1)
HV = "high_voltage.yaml"
CABLE = "{schema_version: 1, kind: cable, conductor: copper, cross_section: 95 mm²}"
Files = dict[str, bytes]


def demo(name: str) -> Files:
    files, problems = read_folder(DEMOS / name)
    assert not problems
    return files


def from_nothing(files: Files) -> Report:
    loaded = load_files(files, "demo")
    assert loaded.design is not None, [p.text() for p in loaded.problems]
    return Workspace().check_design(loaded.design, today=DAY).report


def again(workspace: Workspace, files: Files) -> Report:
    loaded = load_files(files, "demo", workspace.files)
    assert loaded.design is not None, [p.text() for p in loaded.problems]
    return workspace.check_design(loaded.design, today=DAY).report


def numbers(files: Files) -> list[Edit]:
    """Every plain number of a design made larger."""
    edits = []
    for file, data in files.items():
        text = data.decode()
        for pointer, span in parse_yaml(file, text).spans.items():
            value = text[span.start : span.end]
            if pointer and NUMBER.match(value) and "\n" not in value and not pointer.endswith("schema_version"):
                edits.append(Edit(file, pointer, NUMBER.sub(lambda m: larger(m.group()), value, count=1)))
    return edits


@pytest.mark.parametrize("name", ["van", "hill-climb"])
def test_edits_in_a_row_are_judged_as_from_nothing(name: str) -> None:
    files, workspace = demo(name), Workspace()
    edits = numbers(files)
    random.Random(7).shuffle(edits)
    tried = 0
    for count, edit in enumerate(edits[:30]):
        changed = apply_edits(files, [edit])
        if count % 4 == 0:
            changed = {file: b"# one line more\n" + data for file, data in changed.items()}
        if load_files(changed, "demo").design is None:
            continue
        assert again(workspace, changed) == from_nothing(changed), edit
        tried += 1
        if count % 3:
            files = changed
    assert tried > 20


@pytest.mark.parametrize(
    "edit",
    [
        Edit("vehicle.yaml", "rule_sets", "[workshop]"),
        Edit("vehicle.yaml", "modes/charging", "{high_voltage: [idle]}"),
        Edit("vehicle.yaml", "ambient/maximum", "61 °C"),
        BRIDGE,
        Edit(HV, "parts/spare", "{kind: junction}"),
        Edit(HV, "loops", "{}"),
        Edit("parts/unused.yaml", "", CABLE),
    ],
    ids=lambda edit: edit.pointer or edit.file,
)
def test_a_change_of_what_is_there_is_judged_as_from_nothing_and_so_is_its_taking_back(edit: Edit) -> None:
    files, workspace = demo("van"), Workspace()
    before = again(workspace, files)
    changed = apply_edits(files, [edit])
    assert again(workspace, changed) == from_nothing(changed)
    assert again(workspace, files) == before == from_nothing(files)


def test_places_follow_a_file_that_grew_a_line() -> None:
    files, workspace = demo("van"), Workspace()
    before = again(workspace, files)
    grown = {**files, HV: b"# one line more\n" + files[HV]}
    after = again(workspace, grown)
    for old, new in zip(before.findings, after.findings, strict=True):
        in_it = old.place.file == HV and old.place.line > 0
        assert new.place.line == old.place.line + in_it, new.code


def design(*edits: Edit) -> Design:
    loaded = load_files(apply_edits(demo("van"), edits), "van")
    assert loaded.design is not None
    return loaded.design


def test_what_read_the_changed_field_is_made_again_and_nothing_else() -> None:
    pipeline, runs = Pipeline(), []

    def rated(of: Design) -> str:
        runs.append("rated")
        return str(of.sheet_of("main_fuse").rated_current)

    def voltage(of: Design) -> str:
        runs.append("voltage")
        return str(of.sheet_of("main_fuse").rated_voltage)

    for one in (design(), design()):
        results = pipeline.later(one)
        results.design.once(rated), results.design.once(voltage)
    assert runs == ["rated", "voltage"]
    sheet = design().high_voltage.parts["main_fuse"].sheet  # type: ignore[union-attr]
    changed = pipeline.later(design(Edit(f"parts/{sheet}.yaml", "rated_current", "321 A")))
    assert "321" in changed.design.once(rated)
    changed.design.once(voltage)
    assert runs == ["rated", "voltage", "rated"]


def test_what_reads_a_thing_made_once_is_made_again_only_where_that_says_another_thing() -> None:
    pipeline, runs = Pipeline(), []

    def kinds(of: Design) -> tuple[str, ...]:
        return tuple(sorted({part.kind for part in of.high_voltage.parts.values()}))

    def count(of: Design) -> int:
        runs.append("count")
        return len(of.once(kinds))

    several = (design(), design(Edit(HV, "parts/spare", "{kind: junction}")))
    assert pipeline.later(several[0]).design.once(count) == pipeline.later(several[1]).design.once(count)
    assert runs == ["count"]
    bare = design(Edit(HV, "parts/new_inlet", "{kind: inlet, sheet: inlet}"), Edit("parts/inlet.yaml", "", INLET))
    assert pipeline.later(bare).design.once(count) == len(kinds(several[0])) + 1


def len_of_name(of: Design) -> int:
    return len(of.name)


@pytest.mark.parametrize(
    ("look", "keys"),
    [
        (lambda d: d.vehicle.ambient, {("vehicle", "ambient")}),
        (lambda d: d.high_voltage.connections, {("high_voltage", "connections")}),
        (lambda d: d.high_voltage.parts["pack"], {("part", "pack")}),
        (lambda d: d.high_voltage.parts.get("none"), {("part", "none")}),
        (lambda d: "none" in d.high_voltage.parts, {("part", "none")}),
        (lambda d: list(d.high_voltage.parts), {("high_voltage", "parts")}),
        (lambda d: len(d.high_voltage.parts), {("high_voltage", "parts")}),
        (lambda d: d.high_voltage.parts.items() and next(iter(d.high_voltage.parts.values())).kind,
         {("high_voltage", "parts"), ("part", "pack")}),
        (lambda d: d.parts_of("contactor", role="main"), {("kind", "contactor")}),
        (lambda d: d.sheet_of("pack").kind, {("part", "pack"), ("sheet", "pack-96s", "kind")}),
        (lambda d: d.sheets["pack-96s"].kind, {("sheet", "pack-96s", "kind")}),
        (lambda d: getattr(d.sheets["pack-96s"], "no_such_field", None), {("sheet", "pack-96s", "no_such_field")}),
        (lambda d: d.sheets.get("none"), {("sheet", "none", "kind")}),
        (lambda d: "none" in d.sheets, {("sheet", "none", "kind")}),
        (lambda d: list(d.sheets), {("sheets", "")}),
        (lambda d: len(d.sheets), {("sheets", "")}),
        (lambda d: list(d.sheets_of_kind("cable")), {("sheets", "cable")}),
        (lambda d: d.once(len_of_name), {("once", len_of_name)}),
    ],
)  # fmt: skip
def test_every_way_of_reading_is_noted(look: Callable[[Design], object], keys: set[Key]) -> None:
    reader = Pipeline().later(design())
    reader.log.clear()
    look(reader.design)
    assert reader.log >= keys
    assert {key[:2] for key in reader.log} - {("part", p) for p in reader.plain.high_voltage.parts} <= {
        key[:2] for key in keys
    }


@pytest.mark.parametrize(
    ("key", "edit"),
    [
        (("vehicle", "altitude"), Edit("vehicle.yaml", "altitude", "1600 m")),
        (
            ("high_voltage", "connections"),
            BRIDGE,
        ),
        (("part", "spare"), Edit(HV, "parts/spare", "{kind: junction}")),
        (("kind", "junction"), Edit(HV, "parts/spare", "{kind: junction}")),
        (("high_voltage", "parts"), Edit(HV, "parts/spare", "{kind: junction}")),
        (("sheet", "pack-96s", "cells_in_series"), Edit("parts/pack-96s.yaml", "cells_in_series", "95")),
        (("sheets", "cable"), Edit("parts/unused.yaml", "", CABLE)),
        (("sheets", ""), Edit("parts/unused.yaml", "", CABLE)),
        (("sheet", "unused", "kind"), Edit("parts/unused.yaml", "", CABLE)),
    ],
)
def test_a_changed_piece_has_another_token(key: Key, edit: Edit) -> None:
    pipeline = Pipeline()
    number = pipeline.memory.number(key)
    plain, same = pipeline.run(design()), pipeline.later(design())
    assert plain.token(number) == same.token(number) != pipeline.later(design(edit)).token(number)


INLET = "{schema_version: 1, kind: inlet, rated_voltage: 500 V, rated_current: 100 A}"


def test_a_watched_design_cannot_be_the_key_of_what_would_not_be_noted() -> None:
    seen = Pipeline().later(design()).design
    for thing in (seen, seen.vehicle, seen.sheet_of("main_fuse")):
        with pytest.raises(TypeError):
            hash(thing)


def test_equal_values_have_one_token_until_they_are_forgotten() -> None:
    memory = Memory()
    first = memory.token(("sheet", "a", "b"), (1.0, "x"))
    assert memory.token(("sheet", "a", "b"), (1.0, "x")) == first
    assert memory.token(("sheet", "a", "c"), (1.0, "x")) != first
    others = {memory.token(("sheet", "a", "b"), (float(k), "y")) for k in range(VERSIONS)}
    assert len(others) == VERSIONS
    assert first not in others
    assert memory.token(("sheet", "a", "b"), (1.0, "x")) not in {first, *others}


def test_an_order_that_changed_is_a_change() -> None:
    """Of two equal powers a rule names the first: what it said of another order is stale."""
    files, workspace = demo("van"), Workspace()
    orders = ("{continuous: 2 kW, peak: 2 kW}", "{peak: 2 kW, continuous: 2 kW}")
    for order in (*orders, orders[0]):
        changed = apply_edits(files, [Edit(HV, "parts/dcdc/power", order)])
        assert again(workspace, changed) == from_nothing(changed), order
    memory = Memory()
    tokens = {memory.token(("part", "a"), value) for value in ({"a": 1, "b": [{"c": 2, "d": 3}]},
                                                               {"b": [{"c": 2, "d": 3}], "a": 1},
                                                               {"a": 1, "b": [{"d": 3, "c": 2}]})}  # fmt: skip
    assert len(tokens) == 3
