"""A folder to a Design: every error of every file at once, each with its line and a way to mend it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import BaseModel, TypeAdapter, ValidationError

from tristrand.design.crosscheck import cross_check
from tristrand.design.messages import problem_from
from tristrand.design.migrations import VersionError, migrate
from tristrand.design.model import HighVoltage, Vehicle, Waivers
from tristrand.design.sheets import Sheet
from tristrand.design.tree import Design
from tristrand.design.yamltext import Problem, YamlText, decode, parse_yaml

MAX_FILES = 500

_MODELS: dict[str, type[BaseModel]] = {"vehicle": Vehicle, "high_voltage": HighVoltage, "waivers": Waivers}
_REQUIRED = ("vehicle.yaml", "high_voltage.yaml")
_SHEET: TypeAdapter[Any] = TypeAdapter(Sheet)


@dataclass(frozen=True, slots=True)
class Loaded:
    """Either a design, or the problems that keep the folder from being one."""

    design: Design | None
    problems: tuple[Problem, ...]


@dataclass(slots=True)
class ParsedFile:
    """One file read and validated; kept by the hash of its bytes."""

    digest: str
    yaml: YamlText | None
    value: Any
    problems: tuple[Problem, ...]


@dataclass(slots=True)
class FileCache:
    """Files already read in this process, by name and digest."""

    files: dict[tuple[str, str], ParsedFile] = field(default_factory=dict)

    def get(self, file: str, data: bytes) -> ParsedFile:
        """The parsed form of ``data``; parsed once for the same bytes."""
        digest = hashlib.sha256(data).hexdigest()
        key = (file, digest)
        if key not in self.files:
            if len(self.files) > 400:
                self.files.clear()
            self.files[key] = _parse_file(file, digest, data)
        return self.files[key]


def read_folder(folder: Path) -> tuple[dict[str, bytes], list[Problem]]:
    """The bytes of every design file in a folder, by name relative to it ("parts/hv-50.yaml")."""
    problems: list[Problem] = []
    files: dict[str, bytes] = {}
    if not folder.is_dir():
        said = "is not a folder" if folder.exists() else "does not exist"
        return files, [Problem(str(folder), 0, 0, f"the design folder {said}", "tristrand new DIR makes one")]
    wanted = [folder / name for name in (*_REQUIRED, "waivers.yaml")]
    sheets = sorted((folder / "parts").glob("*.yaml")) if (folder / "parts").is_dir() else []
    if len(sheets) > MAX_FILES:
        problems.append(
            Problem(
                "parts",
                0,
                0,
                f"{len(sheets)} data sheets; at most {MAX_FILES} are read",
                "remove sheets that no part uses",
            )
        )
    for path in (*wanted, *sheets[:MAX_FILES]):
        name = path.relative_to(folder).as_posix()
        try:
            if path.stat().st_size > 64_000_000:
                problems.append(
                    Problem(
                        name,
                        0,
                        0,
                        "the file is larger than 64 MB; a design file holds at most 1 MB",
                        "keep logs elsewhere",
                    )
                )
                continue
            files[name] = path.read_bytes()
        except FileNotFoundError:
            if name in _REQUIRED:
                problems.append(
                    Problem(name, 0, 0, "the file is missing", f"a design folder needs {' and '.join(_REQUIRED)}")
                )
        except OSError as error:
            problems.append(
                Problem(name, 0, 0, f"the file cannot be read: {error.strerror}", "check its name and rights")
            )
    return files, problems


def load_folder(folder: Path, cache: FileCache | None = None) -> Loaded:
    """Read a folder. The design is None where any file has a problem; all problems are listed."""
    files, problems = read_folder(folder)
    return load_files(files, folder.name or str(folder), cache, tuple(problems))


def load_files(
    files: Mapping[str, bytes], name: str, cache: FileCache | None = None, before: tuple[Problem, ...] = ()
) -> Loaded:
    """Read a design given as the bytes of its files (used for trial changes that are never written)."""
    cache = cache or FileCache()
    problems = list(before)
    parsed = {file: cache.get(file, data) for file, data in files.items()}
    for item in parsed.values():
        problems.extend(item.problems)
    sheets = {Path(file).stem: item for file, item in parsed.items() if file.startswith("parts/")}
    good = {key: item.value for key, item in sheets.items() if item.value is not None}
    vehicle, high_voltage = (parsed.get(file) for file in _REQUIRED)
    waivers = parsed.get("waivers.yaml")
    spans = {f"{_prefix(file)}/{pointer}" if pointer else _prefix(file): span for file, item in parsed.items() if item.yaml
             for pointer, span in item.yaml.spans.items()}  # fmt: skip
    if vehicle is None or high_voltage is None or vehicle.value is None or high_voltage.value is None:
        broken = set(sheets) - set(good)
        if high_voltage is not None and high_voltage.value is not None:
            problems.extend(cross_check(None, high_voltage.value, good, broken, spans))
        return Loaded(None, tuple(_ordered(problems)))
    problems.extend(cross_check(vehicle.value, high_voltage.value, good, set(sheets) - set(good), spans))
    if problems:
        return Loaded(None, tuple(_ordered(problems)))
    digest = hashlib.sha256("".join(f"{file}:{parsed[file].digest}\n" for file in sorted(parsed)).encode()).hexdigest()
    entries = tuple(waivers.value.waivers) if waivers is not None else ()
    return Loaded(Design(name, vehicle.value, high_voltage.value, good, entries, spans, dict(files), digest), ())


def _ordered(problems: list[Problem]) -> list[Problem]:
    return sorted(dict.fromkeys(problems), key=lambda p: (p.file, p.line, p.column, p.message))


def _prefix(file: str) -> str:
    return file.removesuffix(".yaml")


def _parse_file(file: str, digest: str, data: bytes) -> ParsedFile:
    text, problem = decode(file, data)
    if problem:
        return ParsedFile(digest, None, None, (problem,))
    yaml = parse_yaml(file, text)
    if yaml.problems:
        return ParsedFile(digest, yaml, None, yaml.problems)
    kind = "sheet" if file.startswith("parts/") else _prefix(file)
    tree = yaml.tree
    if not isinstance(tree, dict):
        said = "the file is empty" if tree is None else "the file must hold keys and values"
        return ParsedFile(digest, yaml, None, (Problem(file, 1, 1, said, "start with schema_version: 1"),))
    try:
        tree = migrate(kind, tree)
    except VersionError as error:
        span = yaml.spans.get("schema_version")
        return ParsedFile(digest, yaml, None, (Problem(file, span.line if span else 1, 1, error.message, error.mend),))
    context = (
        {"basis": str(tree.get("basis") or "assumed"), "source": str(tree.get("source") or "")}
        if kind == "sheet"
        else {"basis": "assumed"}
    )
    try:
        if kind == "sheet":
            value = _SHEET.validate_python(tree, context=context)
        else:
            value = _MODELS[kind].model_validate(tree, context=context)
    except ValidationError as error:
        model = Sheet if kind == "sheet" else _MODELS[kind]
        return ParsedFile(
            digest,
            yaml,
            None,
            tuple(problem_from(item, yaml, model) for item in error.errors(include_url=False)),
        )
    return ParsedFile(digest, yaml, value, ())
