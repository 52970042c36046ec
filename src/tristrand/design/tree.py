"""The design as one object. Data access only: every computation stands in the studies."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tristrand.design.model import HighVoltage, Junction, Vehicle, WaiverEntry
from tristrand.design.yamltext import Span
from tristrand.findings import Place


@dataclass(frozen=True, eq=False, repr=False)
class Design:
    """A vehicle's design folder, read and valid. ``spans`` maps pointers ("high_voltage/parts/k_plus/sheet") to places.

    Two designs are the same only when they are the same object; ``digest`` tells whether their files are equal.
    """

    name: str
    vehicle: Vehicle
    high_voltage: HighVoltage
    sheets: Mapping[str, Any]
    waivers: tuple[WaiverEntry, ...]
    spans: Mapping[str, Span]
    files: Mapping[str, bytes]
    digest: str

    def place(self, pointer: str) -> Place:
        """File and line of a pointer, or of the nearest value above it that was written down."""
        at = pointer
        while at not in self.spans and "/" in at:
            at = at.rpartition("/")[0]
        span = self.spans.get(at)
        return Place(
            span.file if span else "high_voltage.yaml",
            span.line if span else 0,
            span.column if span else 0,
            pointer,
        )

    def sheet_of(self, part_id: str) -> Any:
        """The data sheet of a part; None for a junction."""
        part = self.high_voltage.parts[part_id]
        return None if isinstance(part, Junction) else self.sheets[part.sheet]

    def parts_of(self, kind: str, **wanted: str) -> dict[str, Any]:
        """Parts of a kind by id, in the order of the file; keyword arguments ask for field values (role="main")."""
        return {
            key: part
            for key, part in self.high_voltage.parts.items()
            if part.kind == kind and all(getattr(part, name) == value for name, value in wanted.items())
        }
