"""Our quick named tuples against those of the standard library: same behaviour, same errors."""

import pickle
import typing
from typing import Any

import pytest

from tristrand import records


class Ours(records.NamedTuple):
    """A point."""

    x: float
    y: str = "y"

    @property
    def both(self) -> str:
        """Both."""
        return f"{self.x}{self.y}"

    def twice(self) -> float:
        """Twice."""
        return 2 * self.x


class Theirs(typing.NamedTuple):
    """A point."""

    x: float
    y: str = "y"

    @property
    def both(self) -> str:
        """Both."""
        return f"{self.x}{self.y}"

    def twice(self) -> float:
        """Twice."""
        return 2 * self.x


ALIKE: dict[str, typing.Callable[[Any], object]] = {
    "tuple": lambda c: tuple(c(1.0, "a")),
    "equal": lambda c: c(1.0) == (1.0, "y"),
    "hash": lambda c: hash(c(1.0, "a")),
    "order": lambda c: c(1.0, "a") < c(1.0, "b"),
    "by name": lambda c: tuple(c(y="b", x=2.0)),
    "fields": lambda c: (c._fields, c._field_defaults, c.__match_args__, c.__annotations__),
    "dict": lambda c: c(1.0)._asdict(),
    "replace": lambda c: tuple(c(1.0)._replace(y="z")),
    "make": lambda c: tuple(c._make([3.0, "q"])),
    "read": lambda c: (c(1.0).x, c(1.0).y, c(1.0).both, c(1.0).twice(), c.__doc__, c.__module__),
    "shown": lambda c: repr(c(1.0)).partition("(")[2],
    "no room": lambda c: hasattr(c(1.0), "__dict__"),
    "pickled": lambda c: pickle.loads(pickle.dumps(c(1.0, "a"))) == c(1.0, "a"),
    "a tuple": lambda c: isinstance(c(1.0), tuple),
}


@pytest.mark.parametrize("what", ALIKE.values(), ids=ALIKE)
def test_it_does_what_the_standard_one_does(what: typing.Callable[[Any], object]) -> None:
    assert what(Ours) == what(Theirs)


WRONG: dict[str, typing.Callable[[Any], object]] = {
    "too few": lambda c: c(),
    "too many": lambda c: c(1.0, "a", 2),
    "unknown": lambda c: c(1.0, z=1),
    "replaces what is not there": lambda c: c(1.0)._replace(z=1),
    "makes too few": lambda c: c._make([1.0]),
    "is set": lambda c: setattr(c(1.0), "x", 2.0),
    "gains a name": lambda c: setattr(c(1.0), "other", 2.0),
}


@pytest.mark.parametrize("what", WRONG.values(), ids=WRONG)
def test_it_refuses_what_the_standard_one_refuses(what: typing.Callable[[Any], object]) -> None:
    raised = []
    for kind in (Ours, Theirs):
        with pytest.raises((TypeError, ValueError, AttributeError)) as error:
            what(kind)
        raised.append(error.type)
    assert raised[0] is raised[1]


def test_a_default_before_a_field_without_is_refused() -> None:
    with pytest.raises(TypeError, match="without a default"):
        type(records.NamedTuple)("Bad", (), {"__annotations__": {"a": int, "b": int}, "a": 1})
