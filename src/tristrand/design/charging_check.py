"""Broken references of the charging sections: parts that do not exist, or are of another kind or role."""

from collections.abc import Iterator, Mapping
from typing import Any

from tristrand.design.yamltext import visible
from tristrand.records import NamedTuple


class Reference(NamedTuple):
    """A broken reference: where it stands, what is wrong, the name as written, and what could stand there instead."""

    pointer: str
    message: str
    name: str
    fitting: list[str]
    what: str


def charging_references(tree: Mapping[str, Any], parts: Mapping[str, Any]) -> Iterator[Reference]:
    """All broken references of ``charging`` and ``fast_charging``. What has the wrong shape validation names."""
    charging, fast = tree.get("charging"), tree.get("fast_charging")
    if isinstance(charging, dict):
        yield from _one(parts, "charging/charger", charging.get("charger"), "charger", "")
    if isinstance(fast, dict):
        yield from _one(parts, "fast_charging/inlet", fast.get("inlet"), "inlet", "")
        yield from _one(parts, "fast_charging/fuse", fast.get("fuse"), "fuse", "")
        contactors = fast.get("contactors")
        if isinstance(contactors, list):
            for number, name in enumerate(contactors):
                yield from _one(parts, f"fast_charging/contactors/{number}", name, "contactor", "charge")


def _one(parts: Mapping[str, Any], pointer: str, name: Any, kind: str, role: str) -> Iterator[Reference]:
    if not isinstance(name, str):
        return
    fitting = [
        key
        for key, part in parts.items()
        if isinstance(part, dict) and part.get("kind") == kind and (not role or part.get("role") == role)
    ]
    wanted = f"{kind} of role {role}" if role else kind
    part = parts.get(name)
    if name not in parts:
        said = f"there is no part '{visible(name, 60)}'"
    elif isinstance(part, dict) and name not in fitting:
        found = str(part.get("kind")).replace("_", " ")
        if part.get("kind") == kind and isinstance(part.get("role"), str):
            found += f" of role {part['role']}"
        said = f"'{visible(name, 60)}' is {_article(visible(found, 60))}; {_article(wanted)} is needed here"
    else:
        return
    yield Reference(pointer, said, name, fitting, f"parts of kind {kind}" + (f" and role {role}" if role else ""))


def _article(words: str) -> str:
    return f"{'an' if words[:1] in 'aeiou' else 'a'} {words}"
