"""The starter and the demos as texts, and the schemas editors read beside them."""

import datetime
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema  # type: ignore[import-untyped]
import pytest
import yaml

from tristrand.app.check import Workspace
from tristrand.app.starter import new_design, schemas, starter_files, write_schemas
from tristrand.design import load_files, load_folder
from tristrand.design.yamltext import parse_yaml
from tristrand.units import DIMENSIONS, UnitError, parse

ROOT = Path(__file__).parents[2]
DEMOS = sorted(path.parent for path in (ROOT / "demos").glob("*/vehicle.yaml"))
SCHEMAS = schemas()


def files_of(folder: Path) -> dict[str, bytes]:
    names = [*folder.glob("*.yaml"), *folder.glob("parts/*.yaml")]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(names)}


EVERY = {"starter": starter_files()} | {folder.name: files_of(folder) for folder in DEMOS}
EVERY_FILE = [(name, file) for name, files in EVERY.items() for file in files]


def as_editors_do(data: bytes) -> Any:
    """YAML as an editor's schema check sees it: a date is a text."""

    def plain(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: plain(item) for key, item in value.items()}
        if isinstance(value, list):
            return [plain(item) for item in value]
        return value.isoformat() if isinstance(value, datetime.date) else value

    return plain(yaml.safe_load(data))


def validator(file: str) -> jsonschema.Draft202012Validator:
    name = "part" if file.startswith("parts/") else file.removesuffix(".yaml")
    return jsonschema.Draft202012Validator(SCHEMAS[f"{name}.schema.json"])


def test_there_is_a_demo() -> None:
    assert "van" in EVERY


@pytest.mark.parametrize(("design", "file"), EVERY_FILE)
def test_the_schema_takes_every_file_that_the_loader_takes(design: str, file: str) -> None:
    errors = list(validator(file).iter_errors(as_editors_do(EVERY[design][file])))
    assert errors == []


@pytest.mark.parametrize("name", sorted(SCHEMAS))
def test_a_schema_is_a_schema(name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMAS[name])
    assert SCHEMAS[name]["$schema"] == "https://json-schema.org/draft/2020-12/schema"


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("high_voltage.yaml", "connections:", "conections:"),
        ("high_voltage.yaml", "length: 1.5 m", "lenght: 1.5 m"),
        ("high_voltage.yaml", "kind: fuse, sheet", "kind: fuze, sheet"),
        ("high_voltage.yaml", "role: main", "role: mian"),
        ("high_voltage.yaml", "from: pack.plus", "from: pack"),
        ("high_voltage.yaml", "length: 1.5 m", "length: 15"),
        ("high_voltage.yaml", "length: 1.5 m", "length: {value: 1.5 m, basis: guess}"),
        ("high_voltage.yaml", "bundled: 2", "bundled: '2'"),
        ("high_voltage.yaml", "peak: 36 kW", "peek: 36 kW"),
        ("high_voltage.yaml", "  W2:", "  2 W:"),
        ("vehicle.yaml", "use: road", "use: sea"),
        ("vehicle.yaml", "name: New conversion", "name: 5"),
        ("vehicle.yaml", "schema_version: 1", "schema_version: 2"),
        ("parts/fuse-160.yaml", "kind: fuse", "kind: fuze"),
        ("parts/fuse-160.yaml", "rated_current: 160 A", "cross_section: 50 mm²"),
        ("parts/pack-84s.yaml", "cells_in_series: 84", "cells_in_series: 84.5"),
    ],
)
def test_the_schema_refuses_what_the_loader_refuses(file: str, old: str, new: str) -> None:
    data = starter_files()[file]
    assert old.encode() in data
    changed = data.replace(old.encode(), new.encode(), 1)
    assert not validator(file).is_valid(as_editors_do(changed))
    assert load_files({**starter_files(), file: changed}, "x").design is None


def test_the_schema_names_an_example_for_each_number() -> None:
    schema = SCHEMAS["high_voltage.schema.json"]
    length = schema["$defs"]["Connection"]["properties"]["length"]  # type: ignore[index]
    assert "350 mm" in json.dumps(length, ensure_ascii=False)


def test_schema_files_are_the_same_in_every_run(tmp_path: Path) -> None:
    names = write_schemas(tmp_path / "a")
    program = (
        "import sys, pathlib; from tristrand.app.starter import write_schemas; write_schemas(pathlib.Path(sys.argv[1]))"
    )
    for seed in ("1", "2"):
        environment = {**os.environ, "PYTHONHASHSEED": seed}
        subprocess.run([sys.executable, "-c", program, str(tmp_path / seed)], env=environment, check=True)
        for name in names:
            assert (tmp_path / seed / name).read_bytes() == (tmp_path / "a" / name).read_bytes()
    assert sorted(p.name for p in (tmp_path / "1").iterdir()) == sorted(names)


@pytest.mark.parametrize(("design", "file"), EVERY_FILE)
def test_every_quantity_can_be_read(design: str, file: str) -> None:
    """Each text that starts with a digit and holds a unit is a quantity of some dimension."""
    parsed = parse_yaml(file, EVERY[design][file].decode())
    assert not parsed.problems
    seen = 0
    for pointer, span in parsed.spans.items():
        text = parsed.text[span.start : span.end]
        if text[:1].isdigit() and " " in text and not pointer.endswith(("title", "source", "note", "name")):
            seen += 1
            assert any(_reads(text, dimension) for dimension in DIMENSIONS), f"{file}: {pointer}: {text}"
    assert seen or file == "vehicle.yaml" or b"kind: " in EVERY[design][file]


def _reads(text: str, dimension: str) -> bool:
    try:
        parse(text, dimension)
    except UnitError:
        return False
    return True


def test_the_starter_says_what_it_is_and_what_its_settings_do() -> None:
    files = {name: data.decode() for name, data in starter_files().items()}
    assert "invented" in files["vehicle.yaml"].split("\n")[0]
    for name, text in files.items():
        if name.startswith("parts/"):
            assert "invented" in text, name
            assert "# measured, datasheet, standard, estimated or assumed" in text, name
    settings = parse_yaml("f", files["high_voltage.yaml"]).tree
    assert isinstance(settings, dict)
    lines = files["high_voltage.yaml"].split("\n")
    for key in ("target", "timeout", "earliest", "pause"):
        (line,) = (line for line in lines if line.startswith(f"  {key}:"))
        assert len(line.partition("#")[2].split()) >= 4, f"no words about {key}"
    for mark in ("# Terminals:", "# power:", "with_bus:", "# How long"):
        assert mark in files["high_voltage.yaml"]


def test_new_makes_a_design_without_an_error(tmp_path: Path) -> None:
    names = new_design(tmp_path / "van")
    assert load_folder(tmp_path / "van").design is not None
    assert {p.relative_to(tmp_path / "van").as_posix() for p in (tmp_path / "van").rglob("*.yaml")} == set(names)
    checked = Workspace().check(tmp_path / "van")
    assert [f.message for f in checked.report.findings if f.kind == "fail" and f.severity == "error"] == []
    assert checked.report.exit_code == 0


def test_new_takes_an_empty_folder_and_nothing_else(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    assert new_design(tmp_path / "empty")
    kept = (tmp_path / "empty" / "vehicle.yaml").read_bytes()
    with pytest.raises(FileExistsError, match="not empty"):
        new_design(tmp_path / "empty")
    assert (tmp_path / "empty" / "vehicle.yaml").read_bytes() == kept
    (tmp_path / "file").write_text("mine")
    with pytest.raises(FileExistsError):
        new_design(tmp_path / "file")
    assert (tmp_path / "file").read_text() == "mine"
