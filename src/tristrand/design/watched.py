"""A design that tells a log which of its pieces are read: what was made from pieces that did not change still holds."""

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Protocol, TypeAlias, TypeVar

from tristrand.design.tree import Design

Key: TypeAlias = tuple[Any, ...]
"""A piece by name: ("vehicle", field), ("high_voltage", field), ("part", id), ("kind", kind of parts),
("sheet", name, field), ("sheets", kind, or "" for all)."""

Made = TypeVar("Made")
_ABSENT = object()


class Reader(Protocol):
    """Who wants to know what is read."""

    log: set[Key]

    def once(self, make: Callable[[Design], Made]) -> Made:
        """What ``make`` makes of the watched design; it notes that as one thing read."""


def piece(design: Design, key: Key) -> Any:
    """The piece of a design that a key names."""
    where, what = key[0], key[1]
    if where == "vehicle":
        return getattr(design.vehicle, what)
    if where == "high_voltage":
        return getattr(design.high_voltage, what)
    if where == "part":
        return design.high_voltage.parts.get(what)
    if where == "kind":
        return design.parts_of(what)
    if where == "sheets":
        return tuple(design.sheets_of_kind(what) if what else design.sheets)
    return getattr(design.sheets.get(what), key[2], _ABSENT)


class _Fields:
    """A model whose fields are noted one by one."""

    __slots__ = ("_model", "_name", "_reader")
    # Whatever keeps results by this as a key would miss what is read of it.
    __hash__ = None  # type: ignore[assignment]

    def __init__(self, reader: Reader, model: Any, *name: str) -> None:
        self._reader, self._model, self._name = reader, model, name

    def __getattr__(self, field: str) -> Any:
        self._reader.log.add((*self._name, field))
        return getattr(self._model, field)


class _HighVoltage(_Fields):
    """high_voltage.yaml; its parts are noted one by one too."""

    __slots__ = ("parts",)

    def __init__(self, reader: Reader, model: Any) -> None:
        super().__init__(reader, model, "high_voltage")
        self.parts = _Parts(reader, model.parts)


class _Parts(Mapping[str, Any]):
    """Parts by id."""

    __slots__ = ("_parts", "_reader")

    def __init__(self, reader: Reader, parts: Mapping[str, Any]) -> None:
        self._reader, self._parts = reader, parts

    def __getitem__(self, part_id: str) -> Any:
        self._reader.log.add(("part", part_id))
        return self._parts[part_id]

    def __iter__(self) -> Iterator[str]:
        self._reader.log.add(("high_voltage", "parts"))
        return iter(self._parts)

    def __len__(self) -> int:
        self._reader.log.add(("high_voltage", "parts"))
        return len(self._parts)


class _Sheets(Mapping[str, Any]):
    """Data sheets by name, their fields noted one by one."""

    __slots__ = ("_reader", "_seen", "_sheets")

    def __init__(self, reader: Reader, sheets: Mapping[str, Any]) -> None:
        self._reader, self._sheets = reader, sheets
        self._seen: dict[str, _Fields] = {}

    def __getitem__(self, name: str) -> Any:
        seen = self._seen.get(name)
        if seen is None:
            if name not in self._sheets:
                self._reader.log.add(("sheet", name, "kind"))
            seen = self._seen[name] = _Fields(self._reader, self._sheets[name], "sheet", name)
        return seen

    def __contains__(self, name: object) -> bool:
        self._reader.log.add(("sheet", name, "kind"))
        return name in self._sheets

    def __iter__(self) -> Iterator[str]:
        self._reader.log.add(("sheets", ""))
        return iter(self._sheets)

    def __len__(self) -> int:
        self._reader.log.add(("sheets", ""))
        return len(self._sheets)


class _Watched(Design):
    """The design itself, every reading noted. Places are not: a file may grow a line without a number changing."""

    __hash__ = None  # type: ignore[assignment]

    def __init__(self, design: Design, reader: Reader) -> None:
        own = {
            **vars(design),
            "vehicle": _Fields(reader, design.vehicle, "vehicle"),
            "high_voltage": _HighVoltage(reader, design.high_voltage),
            "sheets": _Sheets(reader, design.sheets),
            "_plain": design,
            "_reader": reader,
        }
        self.__dict__.update(own)

    def sheet_of(self, part_id: str) -> Any:
        """The data sheet of a part; None for a junction."""
        part = self.high_voltage.parts[part_id]
        return None if part.kind == "junction" else self.sheets[part.sheet]

    def parts_of(self, kind: str, **wanted: str) -> dict[str, Any]:
        """Parts of a kind by id, in the order of the file; keyword arguments ask for field values."""
        self.__dict__["_reader"].log.add(("kind", kind))
        plain: Design = self.__dict__["_plain"]
        return plain.parts_of(kind, **wanted)

    def sheets_of_kind(self, kind: str) -> dict[str, Any]:
        """Data sheets of a kind by name."""
        self.__dict__["_reader"].log.add(("sheets", kind))
        plain: Design = self.__dict__["_plain"]
        return {name: self.sheets[name] for name in plain.sheets_of_kind(kind)}

    def once(self, make: Callable[[Design], Made]) -> Made:
        """What ``make`` makes of this design, made once for it."""
        reader: Reader = self.__dict__["_reader"]
        return reader.once(make)


def watched(design: Design, reader: Reader) -> Design:
    """The same design; ``reader.log`` gets the key of every piece that is read of it."""
    return _Watched(design, reader)
