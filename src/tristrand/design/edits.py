"""Changes to the text of design files: only the changed span is replaced, so comments and order stay."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from tristrand.design.yamltext import Tree, YamlText, parse_yaml, plain_value, replaced
from tristrand.findings import Edit

_PLAIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _./()²³µμΩ°%·±+-]*\Z")
_ESCAPES = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t"}
_BOM = "\ufeff"


class EditError(ValueError):
    """An edit names a value that the file does not hold, or would make the file say something else."""


def apply_edits(files: Mapping[str, bytes], edits: Iterable[Edit]) -> dict[str, bytes]:
    """The files with every edit made.

    An edit replaces a value, adds a key to a mapping that stands there, or with an empty pointer gives a whole file.
    Raises EditError where the pointer leads nowhere.
    """
    changed = dict(files)
    for edit in edits:
        if not edit.pointer:
            changed[edit.file] = edit.new.encode()
            continue
        if edit.file not in changed:
            raise EditError(f"there is no file {edit.file}")
        try:
            text = changed[edit.file].decode()
        except UnicodeDecodeError:
            raise EditError(f"{edit.file} is not UTF-8 text") from None
        mark = _BOM if text.startswith(_BOM) else ""
        changed[edit.file] = (mark + splice(edit.file, text.removeprefix(_BOM), edit.pointer, edit.new)).encode()
    return changed


def splice(file: str, text: str, pointer: str, new: str) -> str:
    """``text`` with the value at ``pointer`` (inside this file) replaced by the YAML ``new``; a missing key is added.

    Everything outside the replaced span stays as it is. Raises EditError where the pointer leads nowhere, or where the
    text could not be read afterwards as the same file with just this value changed.
    """
    parsed = parse_yaml(file, text)
    if parsed.problems or not parsed.complete:
        raise EditError(f"{file} cannot be read as it stands")
    steps = pointer.split("/")
    if pointer not in parsed.spans and steps[:-1] and not _holds(parsed.tree, steps[:-1]):
        raise EditError(f"{file} holds no {pointer}")
    if _simple(parsed, pointer, new):
        tree = _changed(parsed.tree, steps, plain_value(new), f"{file} holds no {pointer}")
        span = parsed.spans[pointer]
        return replaced(parsed, pointer, tree, new) or text[: span.start] + new + text[span.end :]
    value = _value(file, new)
    wanted = _changed(parsed.tree, steps, value, f"{file} holds no {pointer}")
    written = [new, scalar(value, quoted=True)] if isinstance(value, str) else [new]
    for candidate in (c for word in written for c in _candidates(parsed, pointer, word)):
        after = parse_yaml(file, candidate)
        if not after.problems and _same(after.tree, wanted):
            return candidate
    raise EditError(f"{file}: {pointer} cannot be changed to {new!r} without touching other values")


def scalar(value: str, *, inside_flow: bool = False, quoted: bool = False) -> str:
    """``value`` as a YAML scalar, quoted only where it must be or where that is asked for."""
    risky = quoted or (inside_flow and any(mark in value for mark in ",[]{}"))
    if _PLAIN.match(value) and not risky and value.strip() == value and isinstance(parse_yaml("", value).tree, str):
        return value
    return '"' + "".join(_ESCAPES.get(c, c if c.isprintable() else f"\\U{ord(c):08x}") for c in value) + '"'


def _simple(parsed: YamlText, pointer: str, new: str) -> bool:
    """A plain word or number in place of another one: no other value can be touched, so nothing is read again."""
    span = parsed.spans.get(pointer)
    if span is None or not pointer or span.start == span.end or not _PLAIN.match(new) or new != new.rstrip():
        return False
    return (
        parsed.text[span.start] not in "{[|>"
        and not isinstance(_at(parsed.tree, pointer.split("/")), dict | list)
        and parsed.text[span.start - 1] in " \n"
    )


def _value(file: str, new: str) -> Tree:
    given = parse_yaml(file, new)
    if given.problems or not given.complete:
        raise EditError(f"{new!r} is no YAML value")
    return given.tree


def _step(tree: Tree, step: str) -> Tree:
    """The value one step down; KeyError where there is none."""
    if isinstance(tree, dict):
        return tree[step]
    if isinstance(tree, list) and step.isdecimal() and int(step) < len(tree):
        return tree[int(step)]
    raise KeyError(step)


def _at(tree: Tree, steps: list[str]) -> Tree:
    """The value some steps down; KeyError where there is none."""
    for step in steps:
        tree = _step(tree, step)
    return tree


def _holds(tree: Tree, steps: list[str]) -> bool:
    try:
        _at(tree, steps)
    except KeyError:
        return False
    return True


def _changed(tree: Tree, steps: list[str], value: Tree, nowhere: str) -> Tree:
    """A copy of ``tree`` with ``value`` at ``steps``; only the last step may be new, else EditError."""
    if not steps:
        return value
    step, rest = steps[0], steps[1:]
    if isinstance(tree, dict) and step and (step in tree or not rest):
        return {**tree, step: _changed(tree.get(step), rest, value, nowhere)}
    if isinstance(tree, list) and step.isdecimal() and int(step) < len(tree):
        return [_changed(item, rest, value, nowhere) if i == int(step) else item for i, item in enumerate(tree)]
    raise EditError(nowhere)


def _same(a: Tree, b: Tree) -> bool:
    """Equal in value and in type: 1, 1.0 and true differ in a file."""
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(_same(item, b[key]) for key, item in a.items())
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(_same(x, y) for x, y in zip(a, b, strict=True))
    return type(a) is type(b) and a == b


def _candidates(parsed: YamlText, pointer: str, new: str) -> Iterator[str]:
    """Ways to write the change, the handsomest first; which of them holds, reading it again must show."""
    text, spans = parsed.text, parsed.spans
    if span := spans.get(pointer):
        old = text[span.start : span.end]
        # A block text's last line ends belong to the file, not to the value.
        tail = old[len(old.rstrip()) :]
        for before in ("", " ", ": "):
            yield text[: span.start] + before + new + tail + text[span.end :]
        return
    parent, _, key = pointer.rpartition("/")
    above, entry = spans[parent], f"{scalar(key)}: {new}"
    last = max((s.end for p, s in spans.items() if p and p.rpartition("/")[0] == parent), default=above.start + 1)
    if text[above.start] == "{":
        if last > above.start + 1:
            yield text[:last] + f", {entry}" + text[last:]
            yield text[: above.start + 1] + entry + ", " + text[above.start + 1 :]
        else:
            yield text[: above.start + 1] + entry + text[above.start + 1 :]
        return
    newline = "\r\n" if "\r\n" in text else "\n"
    indent = " " * (above.start - (text.rfind("\n", 0, above.start) + 1))
    last = len(text[:last].rstrip())
    end = text.find("\n", last)
    end = len(text) if end < 0 else end - (text[end - 1] == "\r")
    yield text[:end] + newline + indent + entry + text[end:]
    yield text[: above.start] + entry + newline + indent + text[above.start :]


def write_atomic(path: Path, data: bytes) -> None:
    """Write a file so that a reader sees either the old or the new text, never a part. A link stays a link."""
    path = Path(os.path.realpath(path))
    import tempfile  # a check writes nothing

    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".tristrand.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(path.stat().st_mode & 0o7777 if path.exists() else 0o644)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
