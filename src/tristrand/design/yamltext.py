"""YAML text to plain values with the place of every key and value.

Design files are edited by hand, so every later message must point at a line. The C parser's event stream is read
iteratively: deep nesting, anchors and huge files are refused before anything is built from them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeAlias

import yaml

MAX_BYTES = 1_000_000
MAX_DEPTH = 12
MAX_NODES = 60_000

_INT = re.compile(r"[-+]?[0-9]{1,18}\Z")
_FLOAT = re.compile(r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?\Z")
_WORDS = {"true": True, "false": False, "null": None, "~": None, "": None}

_Loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

Tree: TypeAlias = "dict[str, Tree] | list[Tree] | str | int | float | bool | None"


@dataclass(frozen=True, slots=True)
class Span:
    """Where a value stands: line and column count from 1; start and end are character offsets into the text."""

    file: str
    line: int
    column: int
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that keeps a folder from being read as a design: where, what, and a way to mend it."""

    file: str
    line: int
    column: int
    message: str
    mend: str

    def text(self) -> str:
        """The problem as one or two lines."""
        place = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        return f"{place}: {self.message}" + (f"\n    mend: {self.mend}" if self.mend else "")


@dataclass(frozen=True, slots=True)
class YamlText:
    """A parsed file: its text, the values, and the span of every pointer ("parts/k_plus/sheet")."""

    file: str
    text: str
    tree: Tree
    spans: dict[str, Span]
    problems: tuple[Problem, ...]


def decode(file: str, data: bytes) -> tuple[str, Problem | None]:
    """Bytes to text; size and encoding are checked here. Returns ("", problem) where the file cannot be used."""
    if len(data) > MAX_BYTES:
        size = f"{len(data) / 1e6:.1f} MB"
        return "", Problem(file, 0, 0, f"the file is {size}; a design file holds at most 1 MB", "keep logs and pictures elsewhere")
    try:
        return data.decode("utf-8-sig"), None
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        column = error.start - (data.rfind(b"\n", 0, error.start) + 1) + 1
        return "", Problem(file, line, column, "the file is not UTF-8 text", "save it with the encoding UTF-8")


def parse_yaml(file: str, text: str) -> YamlText:
    """Parse one document. Never raises: what is wrong stands in ``problems`` (then ``tree`` may be partial or None)."""
    builder = _Builder(file, text)
    try:
        builder.run()
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (0, 0)
        builder.problem(line, column, f"this is not valid YAML: {error.problem or error.context or 'syntax'}", _yaml_mend(error))
    except yaml.YAMLError as error:
        builder.problem(0, 0, f"this is not valid YAML: {' '.join(str(error).split())[:160]}", "remove the control character")
    except _Refused:
        pass
    return YamlText(file, text, builder.root, builder.spans, tuple(builder.problems))


def _yaml_mend(error: yaml.MarkedYAMLError) -> str:
    words = f"{error.problem} {error.context}"
    if "tab" in words or "\\t" in words:
        return "indent with spaces, not with tabs"
    if "mapping values" in words:
        return "put quotes round a text that holds ': '"
    return "check indentation, brackets and quotes on this line and the one before"


class _Refused(Exception):
    pass


@dataclass(slots=True)
class _Open:
    """A collection being filled: the value, its pointer, and the key that waits for its value."""

    value: dict[str, Tree] | list[Tree]
    pointer: str
    event: yaml.Event
    key: str | None = None
    key_event: yaml.Event | None = None
    duplicate: bool = False


class _Builder:
    def __init__(self, file: str, text: str) -> None:
        self.file, self.text = file, text
        self.root: Tree = None
        self.spans: dict[str, Span] = {}
        self.problems: list[Problem] = []
        self.stack: list[_Open] = []
        self.count = 0

    def problem(self, line: int, column: int, message: str, mend: str) -> None:
        self.problems.append(Problem(self.file, line, column, message, mend))

    def refuse(self, event: yaml.Event, message: str, mend: str) -> None:
        self.problem(event.start_mark.line + 1, event.start_mark.column + 1, message, mend)
        raise _Refused

    def events(self) -> Iterator[yaml.Event]:
        return yaml.parse(self.text, Loader=_Loader)  # type: ignore[no-untyped-call, no-any-return]

    def run(self) -> None:
        documents = 0
        for event in self.events():
            kind = type(event).__name__
            if kind == "ScalarEvent":
                self.check_anchor(event)
                self.scalar(event)
            elif kind in ("MappingStartEvent", "SequenceStartEvent"):
                self.check_anchor(event)
                self.open(event, {} if kind[0] == "M" else [])
            elif kind in ("MappingEndEvent", "SequenceEndEvent"):
                self.close(event)
            elif kind == "AliasEvent":
                self.refuse(event, "anchors and aliases (&, *) are not used in design files", "write the value out here")
            elif kind == "DocumentStartEvent":
                documents += 1
                if documents > 1:
                    self.refuse(event, "the file holds more than one YAML document", "remove the line '---'")

    def check_anchor(self, event: yaml.Event) -> None:
        self.count += 1
        if self.count > MAX_NODES:
            self.refuse(event, f"the file holds more than {MAX_NODES} values", "split the data; a design file is small")
        if event.anchor:
            self.refuse(event, "anchors and aliases (&, *) are not used in design files", "write the value out where it is needed")
        if event.tag and event.tag.startswith("!"):
            self.refuse(event, f"the tag {event.tag} is not used in design files", "remove the tag")

    def scalar(self, event: yaml.ScalarEvent) -> None:
        top = self.stack[-1] if self.stack else None
        if top is not None and isinstance(top.value, dict) and top.key is None:
            self.take_key(top, event)
            return
        plain = event.implicit[0] and not event.style
        value = _plain(event.value) if plain else event.value
        self.store(value, event)

    def take_key(self, top: _Open, event: yaml.ScalarEvent) -> None:
        key = event.value
        top.key, top.key_event, top.duplicate = key, event, key in top.value
        if top.duplicate:
            first = self.spans.get(_join(top.pointer, key))
            where = f" (first in line {first.line})" if first else ""
            self.problem(event.start_mark.line + 1, event.start_mark.column + 1, f"the key '{key}' stands twice{where}", "give one of them another id")

    def open(self, event: yaml.Event, value: dict[str, Tree] | list[Tree]) -> None:
        if len(self.stack) >= MAX_DEPTH:
            self.refuse(event, f"values are nested deeper than {MAX_DEPTH} levels", "flatten the structure")
        top = self.stack[-1] if self.stack else None
        if top is not None and isinstance(top.value, dict) and top.key is None:
            self.refuse(event, "a key must be a plain word", "write the key as a word")
        self.stack.append(_Open(value, self.pointer_of_next(), event))

    def close(self, event: yaml.Event) -> None:
        done = self.stack.pop()
        self.store(done.value, done.event, event)

    def pointer_of_next(self) -> str:
        if not self.stack:
            return ""
        top = self.stack[-1]
        return _join(top.pointer, top.key if isinstance(top.value, dict) and top.key is not None else str(len(top.value)))

    def store(self, value: Tree, start: yaml.Event, end: yaml.Event | None = None) -> None:
        pointer = self.pointer_of_next()
        top = self.stack[-1] if self.stack else None
        shown = start
        if top is None:
            self.root = value
        elif isinstance(top.value, list):
            top.value.append(value)
        else:
            shown = top.key_event or start
            if not top.duplicate and top.key is not None:
                top.value[top.key] = value
        if top is None or not top.duplicate:
            last = (end or start).end_mark.index
            mark = shown.start_mark
            self.spans[pointer] = Span(self.file, mark.line + 1, mark.column + 1, start.start_mark.index, last)
        if top is not None:
            top.key = top.key_event = None
            top.duplicate = False


def _join(pointer: str, key: str) -> str:
    return f"{pointer}/{key}" if pointer else key


def _plain(text: str) -> Tree:
    """Only numbers, true, false and null are typed: 'on', 'no' and dates stay the words that were written."""
    if text in _WORDS:
        return _WORDS[text]
    if _INT.match(text):
        return int(text)
    if _FLOAT.match(text):
        return float(text)
    return text
