"""`new`: a small valid design with comments; `schema`: JSON Schema files for editors."""

from __future__ import annotations

import json
from importlib import resources
from pathlib import Path

from pydantic import TypeAdapter

from tristrand.design import write_atomic
from tristrand.design.model import HighVoltage, Vehicle, Waivers
from tristrand.design.sheets import Sheet


def starter_files() -> dict[str, bytes]:
    """The starter design, by file name."""
    root = resources.files("tristrand.design") / "starter"
    files = {item.name: item.read_bytes() for item in root.iterdir() if item.name.endswith(".yaml")}
    files |= {
        f"parts/{item.name}": item.read_bytes() for item in (root / "parts").iterdir() if item.name.endswith(".yaml")
    }
    return dict(sorted(files.items()))


def new_design(folder: Path) -> list[str]:
    """Write the starter design into an empty or new folder. Raises FileExistsError where the folder holds something."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FileExistsError(f"{folder} is not empty; name a new folder")
    files = starter_files()
    (folder / "parts").mkdir(parents=True)
    for name, data in files.items():
        write_atomic(folder / name, data)
    return list(files)


def schemas() -> dict[str, dict[str, object]]:
    """JSON Schema of each kind of design file."""
    made = {
        "vehicle.schema.json": Vehicle.model_json_schema(),
        "high_voltage.schema.json": HighVoltage.model_json_schema(),
        "waivers.schema.json": Waivers.model_json_schema(),
        "part.schema.json": TypeAdapter(Sheet).json_schema(),
    }
    for body in made.values():
        _close(body)
    return {name: {"$schema": "https://json-schema.org/draft/2020-12/schema", **body} for name, body in made.items()}


def _close(node: object) -> None:
    """Refuse keys that are no ids: a schema of mappings by pattern would let any other key pass."""
    if isinstance(node, dict):
        if "patternProperties" in node:
            node.setdefault("additionalProperties", False)
        for inner in node.values():
            _close(inner)
    elif isinstance(node, list):
        for inner in node:
            _close(inner)


def write_schemas(folder: Path) -> list[str]:
    """Write the schema files; returns their names."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, body in schemas().items():
        write_atomic(folder / name, (json.dumps(body, indent=2, ensure_ascii=False) + "\n").encode())
    return list(schemas())
