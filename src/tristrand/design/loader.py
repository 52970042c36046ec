"""A folder to a Design: every error of every file at once, each with its line and a way to mend it."""

import hashlib
import re
import stat
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tristrand.design.compiled import Compiled, Known
from tristrand.design.crosscheck import cross_check
from tristrand.design.migrations import VersionError, migrate
from tristrand.design.names import nearest
from tristrand.design.terminals import TERMINALS
from tristrand.design.tree import Design, Spans
from tristrand.design.yamltext import (
    MAX_BYTES,
    MOST_PROBLEMS,
    Problem,
    Tree,
    YamlText,
    decode,
    know,
    parse_yaml,
    visible,
)
from tristrand.records import NamedTuple

MAX_FILES = 500
_REQUIRED = ("vehicle.yaml", "high_voltage.yaml")
_TOP = (*_REQUIRED, "waivers.yaml")
_SHEET_FILE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,59}\.yaml\Z")


class Loaded(NamedTuple):
    """Either a design, or the problems that keep the folder from being one."""

    design: Design | None
    problems: tuple[Problem, ...]


@dataclass(slots=True, eq=False, repr=False)
class ParsedFile:
    """One file read and validated."""

    digest: str
    yaml: YamlText | None
    value: Any
    problems: tuple[Problem, ...]
    tree: Mapping[str, Tree] = field(default_factory=dict)


@dataclass(slots=True, eq=False, repr=False)
class FileCache:
    """Files already read in this process, by name and bytes (Python keeps the hash of bytes with them)."""

    files: dict[tuple[str, bytes], ParsedFile] = field(default_factory=dict)
    sound: set[tuple[bytes, tuple[tuple[str, str], ...]]] = field(default_factory=set)
    """Circuits, with the kinds of all sheets, in which no reference was found broken."""
    compiled: Compiled | None = None
    """Files that other processes have read; without it nothing is written anywhere."""
    before_models: Callable[[], None] | None = None
    """What is to be done before the models are first needed."""
    latest: dict[str, Any] = field(default_factory=dict)
    """What each file said when it was last read and sound: most of it stands in the next text too."""

    def get(self, file: str, data: bytes) -> ParsedFile:
        """The parsed form of ``data``; parsed once for the same bytes."""
        found = self.files.get((file, data))
        if found is None:
            if len(self.files) > 400:
                self.files.clear()
            found = self.files[file, data] = self._read(file, hashlib.sha256(data).hexdigest(), data)
        return found

    def _read(self, file: str, digest: str, data: bytes) -> ParsedFile:
        known = self.compiled.get(file, digest) if self.compiled else None
        if known is not None:
            yaml = YamlText(file, decode(file, data)[0], known.written, known.spans, ())
            know(yaml)
            self.latest[file] = known.value
            return ParsedFile(digest, yaml, known.value, (), known.tree)
        if self.before_models is not None:
            self.before_models()
            self.before_models = None
        parsed = _parse_file(file, digest, data, self.latest.get(file))
        if parsed.value is not None:
            self.latest[file] = parsed.value
        if self.compiled and parsed.yaml is not None and parsed.value is not None:
            known = Known(parsed.value, parsed.yaml.tree, parsed.tree, parsed.yaml.spans)
            self.compiled.add(file, digest, known)
        return parsed


def read_folder(folder: Path) -> tuple[dict[str, bytes], list[Problem]]:
    """The bytes of every design file in a folder, by name relative to it ("parts/hv-50.yaml")."""
    try:
        here = sorted(path.name for path in folder.iterdir())
    except OSError as error:
        return {}, [_no_folder(folder, error)]
    problems: list[Problem] = []
    files: dict[str, bytes] = {}
    for name in _REQUIRED:
        if name not in here:
            problems.append(Problem(name, 0, 0, "the file is missing", _missing_mend(name, here)))
    wanted = [name for name in _TOP if name in here]
    if "parts" in here:
        try:
            # Hidden files are left by editors and file managers; no part can name them.
            found = sorted(p.name for p in (folder / "parts").iterdir() if p.suffix == ".yaml" and p.name[0] != ".")
        except OSError as error:
            found = []
            problems.append(
                Problem("parts", 0, 0, f"this folder cannot be read: {_why(error)}", "it holds the data sheets")
            )
        if len(found) > MAX_FILES:
            said = f"{len(found)} data sheets; at most {MAX_FILES} are read"
            problems.append(Problem("parts", 0, 0, said, "remove sheets that no part uses"))
        for name in found[:MAX_FILES]:
            if _SHEET_FILE.match(name):
                wanted.append(f"parts/{name}")
            else:
                mend = "rename it with letters, digits, '.', '-' and '_', or move it out of parts"
                problems.append(Problem(f"parts/{name}", 0, 0, "no part can name a sheet in a file of this name", mend))
    for name in wanted:
        got = _read_file(folder / name, name)
        if isinstance(got, Problem):
            problems.append(got)
        else:
            files[name] = got
    return files, problems


def _read_file(path: Path, name: str) -> bytes | Problem:
    """The bytes of one file. Its kind and size are looked at first: a pipe would wait, a device never end."""
    try:
        info = path.stat()
        if not stat.S_ISREG(info.st_mode):
            said = "this is a folder, not a file" if stat.S_ISDIR(info.st_mode) else "this is not a plain file"
            return Problem(name, 0, 0, said, "put a text file in its place")
        if info.st_size > MAX_BYTES:
            return _too_large(name, info.st_size)
        return path.read_bytes()
    except OSError as error:
        return Problem(name, 0, 0, f"the file cannot be read: {_why(error)}", "check its name and rights")


def _why(error: OSError) -> str:
    return (error.strerror or "unknown reason").lower()


def _no_folder(folder: Path, error: OSError) -> Problem:
    if isinstance(error, FileNotFoundError):
        return Problem(str(folder), 0, 0, "the design folder does not exist", f"tristrand new {folder} makes one")
    if isinstance(error, NotADirectoryError):
        mend = "name the folder that holds vehicle.yaml"
        return Problem(str(folder), 0, 0, "the design folder is not a folder", mend)
    return Problem(str(folder), 0, 0, f"the design folder cannot be read: {_why(error)}", "check its name and rights")


def _missing_mend(name: str, here: list[str]) -> str:
    close = nearest(
        name, [other for other in here if other not in _TOP and other.casefold().endswith((".yaml", ".yml"))]
    )
    if close:
        return f"is it {visible(close, 60)}? Then rename it to {name}"
    return f"a design folder needs {' and '.join(_REQUIRED)}; tristrand new DIR makes one"


def load_folder(folder: Path, cache: FileCache | None = None) -> Loaded:
    """Read a folder. The design is None where any file has a problem; all problems are listed."""
    files, problems = read_folder(folder)
    return load_files(files, folder.name or str(folder), cache, tuple(problems))


def load_files(
    files: Mapping[str, bytes], name: str, cache: FileCache | None = None, before: tuple[Problem, ...] = ()
) -> Loaded:
    """Read a design given as the bytes of its files (used for trial changes that are never written)."""
    cache = FileCache() if cache is None else cache
    problems = list(before)
    parsed = {file: cache.get(file, data) for file, data in files.items() if file in _TOP or file.startswith("parts/")}
    for item in parsed.values():
        problems.extend(item.problems)
    sheets = {_stem(file): item for file, item in parsed.items() if file.startswith("parts/")}
    good = {key: item.value for key, item in sheets.items() if item.value is not None}
    vehicle, high_voltage, waivers = (parsed.get(file) for file in _TOP)
    spans = Spans({_prefix(file): item.yaml.spans for file, item in parsed.items() if item.yaml})
    if high_voltage is not None:
        # A sheet that exists but cannot be read is no missing sheet: its own problem is told already.
        kinds = {_stem(p.file): "" for p in problems if p.file.startswith("parts/")}
        kinds |= {key: _kind(item) for key, item in sheets.items()}
        key = (files["high_voltage.yaml"], tuple(kinds.items()))
        if key not in cache.sound:
            broken = cross_check(high_voltage.tree, kinds, spans)
            problems.extend(_limited(broken, "high_voltage.yaml"))
            if not broken and len(cache.sound) < 400:
                cache.sound.add(key)
    if problems or vehicle is None or high_voltage is None:
        missing = [
            Problem(name, 0, 0, "the file is missing", _missing_mend(name, []))
            for name in _REQUIRED
            if name not in parsed
        ]
        if cache.compiled is not None:
            cache.compiled.forget()
        return Loaded(None, tuple(_ordered(problems or missing)))
    if cache.compiled is not None:
        cache.compiled.write()
    digest = hashlib.sha256("".join(f"{file}:{parsed[file].digest}\n" for file in sorted(parsed)).encode()).hexdigest()
    entries = tuple(waivers.value.waivers) if waivers is not None else ()
    return Loaded(Design(name, vehicle.value, high_voltage.value, good, entries, spans, dict(files), digest), ())


def _stem(file: str) -> str:
    return file.removeprefix("parts/").removesuffix(".yaml")


def _kind(sheet: ParsedFile) -> str:
    """The kind a sheet claims, also where the rest of it is broken; "" where that is not a known one."""
    kind = sheet.tree.get("kind")
    known = isinstance(kind, str) and (sheet.value is not None or kind in TERMINALS or kind in ("cable", "machine"))
    return kind if isinstance(kind, str) and known else ""


def _limited(problems: Sequence[Problem], file: str) -> tuple[Problem, ...]:
    more = len(problems) - MOST_PROBLEMS
    if more <= 0:
        return tuple(problems)
    rest = Problem(file, 0, 0, f"{more} more problems in this file are not listed", "mend the listed ones first")
    return (*problems[:MOST_PROBLEMS], rest)


def _ordered(problems: list[Problem]) -> list[Problem]:
    return sorted(dict.fromkeys(problems), key=lambda p: (p.file, p.line, p.column, p.message))


def _prefix(file: str) -> str:
    return file.removesuffix(".yaml")


def _parse_file(file: str, digest: str, data: bytes, before: Any = None) -> ParsedFile:
    if len(data) > MAX_BYTES:
        return ParsedFile(digest, None, None, (_too_large(file, len(data)),))
    text, problem = decode(file, data)
    if problem:
        return ParsedFile(digest, None, None, (problem,))
    yaml = parse_yaml(file, text)
    if not yaml.complete:
        return ParsedFile(digest, yaml, None, _limited(yaml.problems, file))
    kind = "sheet" if file.startswith("parts/") else _prefix(file)
    tree = yaml.tree
    if not isinstance(tree, dict):
        said = "the file is empty" if tree is None else "the file must hold keys and values" + (
            ", not a list" if isinstance(tree, list) else ", not a single value")  # fmt: skip
        return ParsedFile(
            digest, yaml, None, (*yaml.problems, Problem(file, 1, 1, said, "start with schema_version: 1"))
        )
    try:
        tree = migrate(kind, tree)
    except VersionError as error:
        span = yaml.spans.get("schema_version")
        at = (span.line, span.column) if span else (1, 1)
        return ParsedFile(digest, yaml, None, (*yaml.problems, Problem(file, *at, error.message, error.mend)), tree)
    from tristrand.design.reading import validated  # with the models, which a file read before does not need

    value, problems = validated(kind, tree, yaml, before)
    problems = [*yaml.problems, *problems]
    return ParsedFile(digest, yaml, None if problems else value, _limited(problems, file), tree)


def _too_large(file: str, size: int) -> Problem:
    said = f"the file has {size / 1e6:.1f} MB; a design file holds at most {MAX_BYTES / 1e6:g} MB"
    return Problem(file, 0, 0, said, "keep logs and pictures elsewhere")
