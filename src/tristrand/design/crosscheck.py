"""What single values cannot show: references to parts, sheets and terminals that do not exist, ids used twice.

It reads the plain tree, not the model: a slip in one part must not hide a broken reference of another.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from tristrand.design.charging_check import charging_references
from tristrand.design.contactors_check import check_contactors
from tristrand.design.fuse_check import overload_problems
from tristrand.design.insulation_check import insulation_problems
from tristrand.design.loops_check import check_loops
from tristrand.design.names import hint
from tristrand.design.terminals import TERMINALS
from tristrand.design.yamltext import Problem, Span, Tree, visible

# A later problem gets no hint: each costs a comparison with every name.
MOST_HINTS = 100
# Places named of those where one missing sheet is used.
MOST_USES = 3
_SHEET_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,59}\Z")
BESIDE = ("precharge", "discharge", "charge")
"""Roles of contactors beside the main ones; one that is not known is told by validation."""
PASSIVE = ("pack", "fuse", "contactor", "service_disconnect", "resistor", "inlet")


def cross_check(tree: Mapping[str, Tree], sheets: Mapping[str, str], spans: Mapping[str, Span]) -> list[Problem]:
    """All broken references of the high-voltage circuit.

    ``tree`` is high_voltage.yaml as it was read, ``sheets`` the kind of every data sheet, "" where it is not known.
    What has the wrong shape is left out: validation names it.
    """
    parts = tree.get("parts")
    if not isinstance(parts, dict):
        return []
    checker = _Checker(parts, sheets, spans)
    for part_id, part in parts.items():
        if isinstance(part, dict):
            checker.part(part_id, part)
    connections = tree.get("connections")
    if isinstance(connections, dict):
        for name, connection in connections.items():
            if isinstance(connection, dict):
                checker.connection(name, connection)
    checker.missing_sheets()
    check_contactors(tree, checker.say, checker.terminal, checker.hint)
    insulation_problems(checker, tree)
    check_loops(tree, checker.say, checker.hint, checker.terminal)
    for pointer, message, name, fitting, what in charging_references(tree, parts):
        checker.say(pointer, message, checker.hint(name, fitting, what))
    return checker.problems


class _Checker:
    def __init__(self, parts: Mapping[str, Any], sheets: Mapping[str, str], spans: Mapping[str, Span]) -> None:
        self.parts, self.sheets, self.spans = parts, sheets, spans
        self.problems: list[Problem] = []
        self.missing: dict[str, list[str]] = {}

    def say(self, pointer: str, message: str, mend: str) -> None:
        span = self.spans.get(f"high_voltage/{pointer}")
        line, column = (span.line, span.column) if span else (1, 1)
        self.problems.append(Problem("high_voltage.yaml", line, column, message, mend))

    def hint(self, word: str, names: list[str], what: str) -> str:
        return hint(word, names, what) if len(self.problems) < MOST_HINTS else f"look for it among the {what}"

    def part(self, part_id: str, part: Mapping[str, Any]) -> None:
        kind = part.get("kind")
        if not isinstance(kind, str) or kind not in TERMINALS:
            return
        if kind != "junction":
            self.sheet(f"parts/{part_id}/sheet", part.get("sheet"), kind)
        if kind == "fuse":
            self.problems += overload_problems(part_id, part.get("overload_by"), self.parts, self.spans)
        if kind == "contactor" and part.get("closes") and part.get("role") in BESIDE:
            said = f"{visible(part_id, 60)} is no main contactor: when it closes follows from its role {part['role']}"
            self.say(f"parts/{part_id}/closes", said, "remove the key 'closes'")
        if kind == "inverter":
            self.sheet(f"parts/{part_id}/machine", part.get("machine"), "machine")
        if kind in PASSIVE and part.get("power"):
            self.say(f"parts/{part_id}/power", f"{_article(kind)} takes no power of its own", "remove the key 'power'")

    def sheet(self, pointer: str, name: Any, kind: str) -> None:
        if not isinstance(name, str) or not _SHEET_NAME.match(name):
            return
        shown = visible(name, 60)
        if name not in self.sheets:
            self.missing.setdefault(name, []).append(pointer)
        elif self.sheets[name] not in ("", kind):
            same = [key for key, value in self.sheets.items() if value == kind]
            message = (
                f"parts/{shown}.yaml is the sheet of a {_words(self.sheets[name])}; a {_words(kind)} is needed here"
            )
            self.say(pointer, message, self.hint(name, same, f"sheets of kind {kind}"))

    def missing_sheets(self) -> None:
        """Each sheet that is not there once, at its first use."""
        for name, uses in self.missing.items():
            if name.removesuffix(".yaml") in self.sheets:
                mend = f"write only {name.removesuffix('.yaml')}"
            else:
                mend = self.hint(name, list(self.sheets), "sheets in parts/")
            message = f"there is no data sheet parts/{visible(name, 60)}.yaml"
            if len(uses) > 1:
                some = ", ".join(visible(use, 80) for use in uses[:MOST_USES])
                message += f"; it is named {len(uses)} times: {some}" + (", ..." if len(uses) > MOST_USES else "")
            self.say(uses[0], message, mend)

    def connection(self, name: str, connection: Mapping[str, Any]) -> None:
        base = f"connections/{name}"
        if name in self.parts:
            shown = visible(name, 60)
            self.say(base, f"the id '{shown}' is used for a part and for a connection", "give one of them another id")
        ends = [connection.get(key) for key in ("from", "to")]
        for key, terminal in zip(("from", "to"), ends, strict=True):
            if isinstance(terminal, str) and "." in terminal:
                self.terminal(f"{base}/{key}", terminal)
        if isinstance(ends[0], str) and ends[0] == ends[1]:
            shown = f"{visible(name, 60)} starts and ends at {visible(ends[0], 60)}"
            self.say(f"{base}/to", shown, "connect it to another terminal")
        self.sheet(f"{base}/cable", connection.get("cable"), "cable")

    def terminal(self, pointer: str, terminal: str) -> None:
        part_id, _, pole = terminal.partition(".")
        part = self.parts.get(part_id)
        if part_id not in self.parts:
            mend = self.hint(part_id, list(self.parts), "parts")
            self.say(pointer, f"there is no part '{visible(part_id, 60)}'", mend)
            return
        kind = part.get("kind") if isinstance(part, dict) else None
        if isinstance(kind, str) and kind in TERMINALS and pole not in TERMINALS[kind]:
            known = ", ".join(f"{part_id}.{name}" for name in TERMINALS[kind])
            message = f"{_article(kind)} has no terminal '{visible(pole, 60)}'"
            self.say(pointer, message, f"its terminals: {known}")


def _article(kind: str) -> str:
    words = _words(kind)
    return f"{'an' if words[:1] in 'aeiou' else 'a'} {words}"


def _words(kind: str) -> str:
    return kind.replace("_", " ")
