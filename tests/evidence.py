"""The mark by which a test says which public physics functions it is evidence for. Metadata only."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

Test = TypeVar("Test", bound=Callable[..., Any])


def covers(*names: str) -> Callable[[Test], Test]:
    """Name functions as "physics.module.function"; the trace check reads the names from the source text."""
    if not names or not all(isinstance(n, str) and n.startswith("physics.") for n in names):
        raise ValueError(f"covers() takes names such as 'physics.module.function', got {names!r}")

    def mark(test: Test) -> Test:
        test.__covers__ = names  # type: ignore[attr-defined]
        return test

    return mark
