"""What single values cannot show: references to parts, sheets and terminals that do not exist, ids used twice."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tristrand.design.messages import hint
from tristrand.design.model import TERMINALS, Connection, HighVoltage, Junction, Vehicle
from tristrand.design.yamltext import Problem, Span


def cross_check(
    vehicle: Vehicle | None, high_voltage: HighVoltage, sheets: Mapping[str, Any], broken: set[str], spans: Mapping[str, Span]
) -> list[Problem]:
    """All broken references of the high-voltage circuit. ``broken`` names sheets that exist but could not be read."""
    checker = _Checker(high_voltage, sheets, broken, spans)
    for part_id, part in high_voltage.parts.items():
        if not isinstance(part, Junction):
            checker.sheet(f"high_voltage/parts/{part_id}/sheet", part.sheet, part.kind)
    for connection_id, connection in high_voltage.connections.items():
        checker.connection(connection_id, connection)
    if vehicle is not None:
        checker.power_cases()
    return checker.problems


class _Checker:
    def __init__(self, hv: HighVoltage, sheets: Mapping[str, Any], broken: set[str], spans: Mapping[str, Span]) -> None:
        self.hv, self.sheets, self.broken, self.spans = hv, sheets, broken, spans
        self.problems: list[Problem] = []

    def say(self, pointer: str, message: str, mend: str) -> None:
        span = self.spans.get(pointer)
        self.problems.append(
            Problem(span.file if span else "high_voltage.yaml", span.line if span else 0, span.column if span else 0, message, mend)
        )

    def sheet(self, pointer: str, name: str, kind: str) -> None:
        if name in self.broken:
            return
        sheet = self.sheets.get(name)
        if sheet is None:
            mend = hint(name, [*self.sheets, *self.broken], "sheets in parts/")
            self.say(pointer, f"there is no data sheet parts/{name}.yaml", mend)
        elif sheet.kind != kind:
            same = [key for key, value in self.sheets.items() if value.kind == kind]
            self.say(pointer, f"parts/{name}.yaml is a sheet for a {sheet.kind}; a {kind} is needed here", hint(name, same, f"sheets of kind {kind}"))

    def connection(self, name: str, connection: Connection) -> None:
        base = f"high_voltage/connections/{name}"
        if name in self.hv.parts:
            self.say(base, f"the id '{name}' is used for a part and for a connection", "give one of them another id")
        for key, terminal in (("from", connection.from_), ("to", connection.to)):
            self.terminal(f"{base}/{key}", terminal)
        if connection.from_ == connection.to:
            self.say(f"{base}/to", f"{name} starts and ends at {connection.to}", "connect it to another terminal")
        if connection.cable is not None:
            self.sheet(f"{base}/cable", connection.cable, "cable")

    def terminal(self, pointer: str, terminal: str) -> None:
        part_id, _, pole = terminal.partition(".")
        part = self.hv.parts.get(part_id)
        if part is None:
            self.say(pointer, f"there is no part '{part_id}'", hint(part_id, list(self.hv.parts), "parts"))
        elif pole not in TERMINALS[part.kind]:
            known = [f"{part_id}.{name}" for name in TERMINALS[part.kind]]
            self.say(pointer, f"a {part.kind} has no terminal '{pole}'", hint(terminal, known, "its terminals"))

    def power_cases(self) -> None:
        for part_id, part in self.hv.parts.items():
            power = {} if isinstance(part, Junction) else part.power
            if power and part.kind in ("pack", "fuse", "contactor", "service_disconnect", "resistor"):
                self.say(f"high_voltage/parts/{part_id}/power", f"a {part.kind} takes no power of its own", "remove the key 'power'")
