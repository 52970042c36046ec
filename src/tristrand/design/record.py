"""What a design file says about one thing, once it was read and found sound."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NoReturn


class Record:
    """The values of a part, a data sheet or a section by field; they never change after reading.

    Its fields are those of the model of the same name, which read it. The models and the library behind them are
    needed to read a file; to look at what was read, they are not.
    """

    __slots__ = ("__dict__", "_model")

    _model: str

    def __init__(self, model: str, fields: Mapping[str, Any]) -> None:
        object.__setattr__(self, "_model", model)
        self.__dict__.update(fields)

    def __setattr__(self, name: str, value: Any) -> NoReturn:
        raise AttributeError(f"{self._model} never changes: '{name}' cannot be set")

    def __delattr__(self, name: str) -> NoReturn:
        raise AttributeError(f"{self._model} never changes: '{name}' cannot be deleted")

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Record):
            return NotImplemented
        return self is other or (self._model == other._model and self.__dict__ == other.__dict__)

    def __hash__(self) -> int:
        return hash((self._model, *self.__dict__.values()))

    def __repr__(self) -> str:
        return f"{self._model}({', '.join(f'{name}={value!r}' for name, value in self.__dict__.items())})"

    def __reduce__(self) -> tuple[Any, ...]:
        return Record, (self._model, self.__dict__)
