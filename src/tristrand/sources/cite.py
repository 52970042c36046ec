"""The mark a function carries to say where its formula comes from: metadata only, no file is read."""

from collections.abc import Callable
from typing import Any, TypeVar

from tristrand.records import NamedTuple

Marked = TypeVar("Marked", bound=Callable[..., Any])


class Citation(NamedTuple):
    """Where a formula comes from.

    Attributes:
        locators: "SRC-ID#place", one or more.
        deviation: how the code departs from the source, in words; empty when it does not.
        unverified: why no outside evidence stands behind the code yet, for the user to see; else empty.
    """

    locators: tuple[str, ...]
    deviation: str = ""
    unverified: str = ""


def cites(*locators: str, deviation: str = "", unverified: str = "") -> Callable[[Marked], Marked]:
    """Mark a function with its sources; returns the very same function with `__cites__` set."""
    if not locators:
        raise ValueError("cites() needs at least one locator such as 'SRC-ID#table 3'")
    citation = Citation(locators, deviation, unverified)

    def mark(function: Marked) -> Marked:
        function.__cites__ = citation  # type: ignore[attr-defined]
        return function

    return mark


def citation_of(function: Callable[..., Any]) -> Citation | None:
    """The mark set by `cites`, or None."""
    found = getattr(function, "__cites__", None)
    return found if isinstance(found, Citation) else None
