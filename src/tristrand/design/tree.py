"""The design as one object. Data access only: every computation stands in the studies."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeVar

from tristrand.design.yamltext import Span
from tristrand.findings import Place

if TYPE_CHECKING:
    # Records with the fields of these models: what reads a file is not needed to look at it.
    from tristrand.design.model import HighVoltage, Vehicle, WaiverEntry

Made = TypeVar("Made")


class Spans(Mapping[str, Span]):
    """Places of values by pointers of the whole design; each file's own stay as they are."""

    __slots__ = ("_files",)

    def __init__(self, files: Mapping[str, Mapping[str, Span]]) -> None:
        self._files = files

    def __getitem__(self, pointer: str) -> Span:
        head, _, rest = pointer.partition("/")
        if head == "parts":
            name, _, rest = rest.partition("/")
            head = f"parts/{name}"
        return self._files[head][rest]

    def __iter__(self) -> Iterator[str]:
        return (f"{head}/{rest}" if rest else head for head, spans in self._files.items() for rest in spans)

    def __len__(self) -> int:
        return sum(map(len, self._files.values()))


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
    made: dict[Any, Any] = field(default_factory=dict, init=False)
    """What was made of this design once for all who ask, by who made it."""

    def place(self, pointer: str) -> Place:
        """File and line of a pointer, or of the nearest value above it that was written down."""
        at = pointer
        while (span := self.spans.get(at)) is None and "/" in at:
            at = at.rpartition("/")[0]
        return Place(
            span.file if span else "high_voltage.yaml",
            span.line if span else 0,
            span.column if span else 0,
            pointer,
        )

    def sheet_of(self, part_id: str) -> Any:
        """The data sheet of a part; None for a junction."""
        part = self.high_voltage.parts[part_id]
        return None if part.kind == "junction" else self.sheets[part.sheet]

    def parts_of(self, kind: str, **wanted: str) -> dict[str, Any]:
        """Parts of a kind by id, in the order of the file; keyword arguments ask for field values (role="main")."""
        return {
            key: part
            for key, part in self.high_voltage.parts.items()
            if part.kind == kind and all(getattr(part, name) == value for name, value in wanted.items())
        }

    def sheets_of_kind(self, kind: str) -> dict[str, Any]:
        """Data sheets of a kind by name."""
        return {name: sheet for name, sheet in self.sheets.items() if sheet.kind == kind}

    def once(self, make: Callable[[Design], Made]) -> Made:
        """What ``make`` makes of this design, made once for it."""
        if make not in self.made:
            self.made[make] = make(self)
        made: Made = self.made[make]
        return made
