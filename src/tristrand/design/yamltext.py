"""YAML text to plain values with the place of every key and value.

Design files are edited by hand, so every later message must point at a line. The C parser's event stream is read
iteratively: deep nesting, anchors and huge files are refused before anything is built from them.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, TypeAlias

from tristrand.records import NamedTuple

if TYPE_CHECKING:
    import yaml

MAX_BYTES = 1_000_000
MAX_DEPTH = 12
MAX_NODES = 60_000
MOST_PROBLEMS = 200  # of one file; a report nobody reads to the end helps nobody

_INT = re.compile(r"[-+]?[0-9]{1,18}\Z")
_FLOAT = re.compile(r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?\Z")
_WORDS = {"true": True, "false": False, "null": None, "~": None, "": None}

# What YAML forbids, and U+FEFF: an invisible mark that editors leave behind and that hides in keys.
_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\x80-\x84\x86-\x9f\ufeff\ufffe\uffff\ud800-\udfff]")
# The same written as an escape in quotes; a line break inside a value is refused by no field, so it may stay.
_UNFIT = "[\x00-\x08\x0b-\x1f\x7f-\x9f\ufeff\ud800-\udfff]"
MAX_SHOWN = 20

Tree: TypeAlias = "dict[str, Tree] | list[Tree] | str | int | float | bool | None"


class Span(NamedTuple):
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

    def __post_init__(self) -> None:
        # Texts quote what stands in the file: no control character may reach a terminal from there.
        for name in ("file", "message", "mend"):
            object.__setattr__(self, name, visible(getattr(self, name)))

    def text(self) -> str:
        """The problem as one or two lines."""
        place = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        return f"{place}: {self.message}" + (f"\n    mend: {self.mend}" if self.mend else "")


def visible(text: str, longest: int = 600) -> str:
    """``text`` with control characters written as escapes, cut where it is endless."""
    shown = text if len(text) <= longest else text[: longest - 3] + "..."
    if shown.isprintable():
        return shown
    return "".join(c if c.isprintable() or c == "\u00a0" else c.encode("unicode_escape").decode() for c in shown)


class YamlText(NamedTuple):
    """A parsed file: its text, the values, and the span of every pointer ("parts/k_plus/sheet").

    ``complete`` says that the whole file was read; problems may stand beside it (a key given twice).
    """

    file: str
    text: str
    tree: Tree
    spans: dict[str, Span]
    problems: tuple[Problem, ...]
    complete: bool = True


def decode(file: str, data: bytes) -> tuple[str, Problem | None]:
    """Bytes to text, without a byte order mark. Returns ("", problem) where they are not UTF-8."""
    try:
        return data.decode("utf-8-sig"), None
    except UnicodeDecodeError as error:
        if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
            return "", Problem(file, 1, 1, "the file is UTF-16 text, not UTF-8", "save it with the encoding UTF-8")
        line = data.count(b"\n", 0, error.start) + 1
        before = data[data.rfind(b"\n", 0, error.start) + 1 : error.start]
        # The bytes before the bad one are good, so columns count characters as everywhere else.
        column = len(before.decode("utf-8", "replace").lstrip("\ufeff")) + 1
        return "", Problem(file, line, column, "the file is not UTF-8 text", "save it with the encoding UTF-8")


def parse_yaml(file: str, text: str) -> YamlText:
    """Parse one document. Never raises: what is wrong stands in ``problems`` (then ``tree`` may be partial or None)."""
    return _KNOWN.get((file, text)) or _parsed(file, text)


_KNOWN: dict[tuple[str, str], YamlText] = {}
MOST_KNOWN = 256


def know(parsed: YamlText) -> None:
    """Let `parse_yaml` give this for its text from now on."""
    if len(_KNOWN) >= MOST_KNOWN:
        _KNOWN.clear()
    _KNOWN[parsed.file, parsed.text] = parsed


_BREAKS = "[\r\x85\u2028\u2029]"  # what YAML takes for line ends beside the line feed


def replaced(parsed: YamlText, pointer: str, tree: Tree, new: str) -> str | None:
    """The text with the plain one-line value ``new`` at ``pointer``, where one line stood; None where more stood.

    Nothing is parsed again: ``tree`` is what the text then holds, and every place after the value moves along. What
    comes out is kept, so that `parse_yaml` knows it.
    """
    text, span = parsed.text, parsed.spans[pointer]
    if "\n" in text[span.start : span.end] or re.search(_BREAKS, text):
        return None
    changed = text[: span.start] + new + text[span.end :]
    if (parsed.file, changed) not in _KNOWN:
        end, shift = span.end, len(new) - (span.end - span.start)
        line, column = text.count("\n", 0, span.start) + 1, span.start - text.rfind("\n", 0, span.start)
        spans = {}
        for key, old in parsed.spans.items():
            moved = old.column + shift if old.line == line and old.column > column else old.column
            start = old.start + shift if old.start >= end else old.start
            spans[key] = Span(old.file, old.line, moved, start, old.end + shift) if old.end >= end else old
        know(YamlText(parsed.file, changed, tree, spans, ()))
    return changed


@lru_cache(maxsize=256)
def _parsed(file: str, text: str) -> YamlText:
    import yaml  # a file read before in another process does not need it

    builder = _Builder(file, text)
    complete = False
    try:
        builder.forbidden()
        builder.run()
        complete = True
    except yaml.MarkedYAMLError as error:
        line, column, message, mend = _syntax(error, text)
        builder.problem(line, column, message, mend)
    except yaml.YAMLError as error:
        said = " ".join(str(error).split())[:160]
        builder.problem(1, 1, f"this is not valid YAML: {said}", "look for signs that do not belong there")
    except _Refused:
        pass
    return YamlText(file, text, builder.root, builder.spans, tuple(builder.problems), complete)


# What the parser says (a part of it) -> what a person reads, and the mend.
_SAYINGS = (
    ("tab character", "a tab stands where spaces are needed", "indent with spaces, not with tabs"),
    ("mapping values are not allowed", "a second ': ' stands in one line, or this line is indented too far",
     "put quotes round a text that holds ': ', or indent it as the lines of its level"),
    ("could not find expected ':'", "a key without ':' and value stands here", "write it as 'key: value'"),
    ("block sequence entries are not allowed", "a list entry '- ' cannot stand here",
     "start the list on a line of its own"),
    ("did not find expected key", "this line does not fit the lines above it",
     "give keys of one level the same indentation, and close every quote and bracket before it"),
    ("did not find expected '-' indicator", "this line does not fit the list above it",
     "give the entries of a list the same indentation"),
    ("did not find expected ','", "a bracket is not closed, or a comma is missing",
     "close it with } or ], and put commas between the entries"),
    ("did not find expected node content", "a value is missing here", "write a value, or remove the sign before it"),
    ("exceeded maximum nesting depth", "brackets are nested too deep", "flatten the structure"),
    ("expected <document start>", "the file holds more than one YAML document", "remove the line '---' or '...'"),
    ("escape", "this \\ sequence is not known in double quotes", "use single quotes, or write \\\\ for a backslash"),
    ("invalid Unicode character", "this \\ sequence is not known inside double quotes", "write the sign itself"),
    ("%", "a line that starts with % has a meaning of its own in YAML", "remove it"),
)  # fmt: skip


def _syntax(error: "yaml.MarkedYAMLError", text: str) -> tuple[int, int, str, str]:
    """Line, column, message and mend of a parser's complaint."""
    problem, context = str(error.problem or ""), str(error.context or "")
    mark = error.problem_mark or error.context_mark
    if "quoted scalar" in context and "end of stream" in problem and error.context_mark:
        mark = error.context_mark  # where the quote opens, not the end of the file
        return mark.line + 1, mark.column + 1, "a quote is opened here and never closed", "close the quote"
    line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
    sign = text[mark.index : mark.index + 1] if mark else ""
    if "cannot start any token" in problem and sign != "\t":
        return line, column, f"a value cannot start with '{sign}'", "put quotes round it"
    if sign == "\t":
        return line, column, *_SAYINGS[0][1:]
    for part, message, mend in _SAYINGS:
        if part in problem:
            return line, column, message, mend
    said = problem or context or "syntax"
    return (
        line,
        column,
        f"this is not valid YAML: {said}",
        "check indentation, brackets and quotes on this line and the one before",
    )


class _Refused(Exception):
    pass


@dataclass(slots=True, eq=False, repr=False)
class _Open:
    """A collection being filled: the value, its pointer, and the key that waits for its value."""

    value: dict[str, Tree] | list[Tree]
    pointer: str
    event: Any
    key: str | None = None
    key_event: Any | None = None
    duplicate: bool = False
    hidden: bool = False  # stands below a key that was given before: its places are not kept
    last: int = 0  # end of the last value in it


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

    def refuse(self, event: Any, message: str, mend: str) -> None:
        self.problem(event.start_mark.line + 1, event.start_mark.column + 1, message, mend)
        raise _Refused

    def forbidden(self) -> None:
        """Refuse a text with signs that YAML does not take; the parser would name no line."""
        if self.text.isprintable():
            return
        found = [match.start() for match in _FORBIDDEN.finditer(self.text)][:MAX_SHOWN]
        for at in found:
            line = self.text.count("\n", 0, at) + 1
            column = at - self.text.rfind("\n", 0, at)
            code = f"U+{ord(self.text[at]):04X}"
            self.problem(line, column, f"an invisible control character ({code}) stands here", "delete it")
        if found:
            raise _Refused

    def events(self) -> Iterator[Any]:
        import yaml

        return yaml.parse(self.text, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))

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
                self.refuse(
                    event,
                    "anchors and aliases (&, *) are not used in design files",
                    "write the value out here",
                )
            elif kind == "DocumentStartEvent":
                documents += 1
                if documents > 1:
                    self.refuse(event, "the file holds more than one YAML document", "remove the line '---'")

    def check_anchor(self, event: Any) -> None:
        self.count += 1
        if self.count > MAX_NODES:
            self.refuse(
                event,
                f"the file holds more than {MAX_NODES} values",
                "split the data; a design file is small",
            )
        if event.anchor:
            self.refuse(
                event,
                "anchors and aliases (&, *) are not used in design files",
                "write the value out where it is needed",
            )
        if event.tag and event.tag != "!":
            shown = event.tag.replace("tag:yaml.org,2002:", "!!")[:60]
            self.refuse(event, f"the tag {shown} is not used in design files", "remove the tag")

    def scalar(self, event: Any) -> None:
        top = self.stack[-1] if self.stack else None
        if top is not None and isinstance(top.value, dict) and top.key is None:
            self.take_key(top, event)
            return
        self.check_signs(event)
        plain = event.implicit[0] and not event.style
        value = plain_value(event.value) if plain else event.value
        self.store(value, event)

    def check_signs(self, event: Any) -> None:
        if not event.value.isprintable() and re.search(_UNFIT, event.value):
            mark = event.start_mark
            message = "this text holds a control character, written as an escape"
            self.problem(mark.line + 1, mark.column + 1, message, "remove the escape")

    def take_key(self, top: _Open, event: Any) -> None:
        self.check_signs(event)
        key = event.value
        top.key, top.key_event, top.duplicate = key, event, key in top.value
        if top.duplicate and not top.hidden:
            first = self.spans.get(_join(top.pointer, key))
            where = f" (first in line {first.line})" if first else ""
            mark, said = event.start_mark, visible(key, 60)
            mend = "remove one of the two, or give one of them another name"
            self.problem(mark.line + 1, mark.column + 1, f"the key '{said}' stands twice{where}", mend)

    def open(self, event: Any, value: dict[str, Tree] | list[Tree]) -> None:
        if len(self.stack) >= MAX_DEPTH:
            self.refuse(event, f"values are nested deeper than {MAX_DEPTH} levels", "flatten the structure")
        top = self.stack[-1] if self.stack else None
        if top is not None and isinstance(top.value, dict) and top.key is None:
            self.refuse(event, "a key must be a plain word", "write the key as a word")
        hidden = top is not None and (top.hidden or top.duplicate)
        self.stack.append(_Open(value, self.pointer_of_next(), event, hidden=hidden))

    def close(self, event: Any) -> None:
        done = self.stack.pop()
        # A block collection ends with its last value; the parser would count the comments after it too.
        flow = getattr(done.event, "flow_style", False)
        self.store(done.value, done.event, event.end_mark.index if flow or not done.value else done.last)

    def pointer_of_next(self) -> str:
        if not self.stack:
            return ""
        top = self.stack[-1]
        return _join(
            top.pointer,
            top.key if isinstance(top.value, dict) and top.key is not None else str(len(top.value)),
        )

    def store(self, value: Tree, start: Any, end: int | None = None) -> None:
        pointer = self.pointer_of_next()
        top = self.stack[-1] if self.stack else None
        shown = start
        last = start.end_mark.index if end is None else end
        if top is None:
            self.root = value
        elif isinstance(top.value, list):
            top.value.append(value)
        else:
            shown = top.key_event or start
            if not top.duplicate and top.key is not None:
                top.value[top.key] = value
        if top is None or not (top.duplicate or top.hidden):
            mark = shown.start_mark
            self.spans[pointer] = Span(self.file, mark.line + 1, mark.column + 1, start.start_mark.index, last)
        if top is not None:
            top.last = last
            top.key = top.key_event = None
            top.duplicate = False


def _join(pointer: str, key: str) -> str:
    return f"{pointer}/{key}" if pointer else key


def plain_value(text: str) -> Tree:
    """Only numbers, true, false and null are typed: 'on', 'no' and dates stay the words that were written."""
    if text in _WORDS:
        return _WORDS[text]
    if _INT.match(text):
        return int(text)
    if _FLOAT.match(text):
        return float(text)
    return text
