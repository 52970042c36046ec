"""schema_version: refuse what is newer, lift what is older, one step at a time."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

CURRENT = 1

type_ = dict[str, Any]
Step = Callable[[str, type_], type_]

# Version n -> function (file kind, tree) -> tree of version n + 1. Empty: the first version is the current one.
STEPS: Mapping[int, Step] = {}


class VersionError(ValueError):
    """The file's version cannot be read; ``mend`` says what to do."""

    def __init__(self, message: str, mend: str) -> None:
        super().__init__(message)
        self.message, self.mend = message, mend


def migrate(kind: str, tree: type_, steps: Mapping[int, Step] | None = None, current: int = CURRENT) -> type_:
    """Lift ``tree`` to the current version. Raises VersionError; a tree without a version counts as current."""
    steps = STEPS if steps is None else steps
    version = tree.get("schema_version", current)
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise VersionError(
            f"schema_version must be a whole number, at most {current}", f"write schema_version: {current}"
        )
    if version > current:
        raise VersionError(
            f"schema_version {version} is newer than this program, which reads up to {current}",
            "install a newer tristrand",
        )
    while version < current:
        tree = {**steps[version](kind, tree), "schema_version": version + 1}
        version += 1
    return tree
