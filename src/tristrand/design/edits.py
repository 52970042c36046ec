"""Changes to the text of design files: only the changed span is replaced, so comments and order stay."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from tristrand.design.yamltext import parse_yaml
from tristrand.findings import Edit

_PLAIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _.,/()²³µμΩ°%·±+-]*\Z")


class EditError(ValueError):
    """An edit names a value that the file does not hold."""


def apply_edits(files: Mapping[str, bytes], edits: Iterable[Edit]) -> dict[str, bytes]:
    """The files with every edit made.

    An edit replaces a value, adds a key to a mapping that stands there, or with an empty pointer gives a file's whole text.
    Raises EditError where the pointer leads nowhere.
    """
    changed = dict(files)
    for edit in edits:
        if not edit.pointer:
            changed[edit.file] = edit.new.encode()
            continue
        if edit.file not in changed:
            raise EditError(f"there is no file {edit.file}")
        text = changed[edit.file].decode("utf-8-sig")
        changed[edit.file] = splice(edit.file, text, edit.pointer, edit.new).encode()
    return changed


def splice(file: str, text: str, pointer: str, new: str) -> str:
    """``text`` with the value at ``pointer`` (inside this file) replaced by the YAML ``new``; a missing last key is added."""
    parsed = parse_yaml(file, text)
    span = parsed.spans.get(pointer)
    if span is not None and pointer:
        old = text[span.start : span.end]
        return text[: span.start] + new + _kept_tail(old) + text[span.end :]
    parent, _, key = pointer.rpartition("/")
    above = parsed.spans.get(parent)
    if above is None:
        raise EditError(f"{file} holds no {pointer}")
    body = text[above.start : above.end]
    if body.startswith("{"):
        inside = body[1:-1].rstrip()
        joint = ", " if inside.strip() else ""
        return text[: above.start] + "{" + inside + joint + f"{key}: {new}" + "}" + text[above.end :]
    indent = " " * (above.start - (text.rfind("\n", 0, above.start) + 1))
    return text[: above.start] + f"{key}: {new}\n{indent}" + text[above.start :]


def scalar(value: str, *, inside_flow: bool = False) -> str:
    """``value`` as a YAML scalar, quoted only where it must be."""
    risky = inside_flow and any(mark in value for mark in ",[]{}")
    if _PLAIN.match(value) and not risky and ": " not in value and value.strip() == value:
        return value
    return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _kept_tail(old: str) -> str:
    """A block value's trailing line ends belong to the file, not to the value."""
    return old[len(old.rstrip()) :]


def write_atomic(path: Path, data: bytes) -> None:
    """Write a file so that a reader sees either the old or the new text, never a part."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if path.exists():
            os.chmod(name, path.stat().st_mode)
        else:
            os.chmod(name, 0o644)
        os.replace(name, path)
    except BaseException:
        os.unlink(name)
        raise
