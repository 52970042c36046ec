"""NamedTuple as the standard library has it, but quick to define: a check defines hundreds before it begins.

The standard one compiles a text and checks every annotation for each class, which for all of ours takes longer than
most studies. What the classes do is the same, and so it is to a type checker.
"""

import functools
import sys
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING or sys.version_info >= (3, 14):
    # From 3.14 on annotations are no longer at hand while a class is made.
    from typing import NamedTuple
else:
    from _collections import _tuplegetter
    from types import CodeType, FunctionType

    @functools.cache
    def _template(count: int) -> CodeType:
        """The code of a ``__new__`` with so many arguments; each class puts in the names of its own."""
        names = "".join(f", a{k}" for k in range(count))
        code: CodeType = eval(f"lambda _cls{names}: _new(_cls, ({names[2:]}{',' * bool(count)}))").__code__
        return code

    class _Record(tuple):
        """What all named tuples do."""

        __slots__ = ()
        _fields: tuple[str, ...] = ()

        @classmethod
        def _make(cls, values: Any) -> Any:
            made = tuple.__new__(cls, values)
            if len(made) != len(cls._fields):
                raise TypeError(f"Expected {len(cls._fields)} arguments, got {len(made)}")
            return made

        def _replace(self, /, **changes: Any) -> Any:
            made = self._make(map(changes.pop, self._fields, self))
            if changes:
                raise ValueError(f"Got unexpected field names: {list(changes)!r}")
            return made

        def _asdict(self) -> dict[str, Any]:
            return dict(zip(self._fields, self, strict=True))

        def __repr__(self) -> str:
            said = ", ".join(f"{name}={value!r}" for name, value in zip(self._fields, self, strict=True))
            return f"{type(self).__name__}({said})"

        def __getnewargs__(self) -> tuple[Any, ...]:
            return tuple(self)

    class _Maker(type):
        def __new__(cls, name: str, bases: tuple[type, ...], body: dict[str, Any]) -> Any:
            fields = tuple(body.get("__annotations__", ()))
            defaults = {field: body.pop(field) for field in fields if field in body}
            late = fields[len(fields) - len(defaults) :]
            if tuple(defaults) != late:
                raise TypeError(f"{name}: a field without a default follows one with a default")
            names = {"co_varnames": ("_cls", *fields), "co_name": "__new__", "co_qualname": f"{name}.__new__"}
            code = _template(len(fields)).replace(**names)
            new = FunctionType(code, {"_new": tuple.__new__}, "__new__", tuple(defaults.values()))
            made = {
                **body,
                "__slots__": (),
                "__new__": new,
                "__match_args__": fields,
                "_fields": fields,
                "_field_defaults": defaults,
            }
            for place, field in enumerate(fields):
                made[sys.intern(field)] = _tuplegetter(place, "")
            return type(name, (_Record,), made)

    # As a base only: the classes themselves are made by `_Maker` and derive from `_Record`.
    NamedTuple = type.__new__(_Maker, "NamedTuple", (), {})

__all__ = ["NamedTuple"]
