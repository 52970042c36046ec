"""References of loops, openable connectors, bonds and measuring points that lead nowhere, or stand twice.

It reads the plain tree, as `tristrand.design.crosscheck`, which calls it; what has the wrong shape is left out here.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import Any, TypeAlias

from tristrand.design.yamltext import Tree, visible

Say: TypeAlias = Callable[[str, str, str], None]
Hint: TypeAlias = Callable[[str, list[str], str], str]


def check_loops(tree: Mapping[str, Tree], say: Say, hint: Hint, terminal: Callable[[str, str], None]) -> None:
    """Say every id under loops, openable, bonding and measuring_points that names nothing of the needed kind."""
    parts, openable = _mapping(tree.get("parts")), _mapping(tree.get("openable"))
    for name, loop in _mapping(tree.get("loops")).items():
        _loop(name, _mapping(loop), parts, [*openable], say, hint)
        _contacts(name, _mapping(loop), [*_mapping(tree.get("loops"))], say, hint)
    leads = tree.get("connections")
    # Without connections, as where the key itself has a slip, every id would be said to be unknown.
    known = [*leads, *parts] if isinstance(leads, dict) else None
    for name, item in openable.items():
        for at, one in _names(f"openable/{name}/opens", item, "opens", say):
            if known is not None and one not in known:
                say(at, f"there is no part or connection '{visible(one, 60)}'", hint(one, known, "parts, connections"))
    _bonds(_mapping(tree.get("bonding")), [*parts], say, hint)
    for name, points in _mapping(tree.get("measuring_points")).items():
        _points(name, _mapping(points), say, terminal)


def _loop(
    name: str, loop: Mapping[str, Any], parts: Mapping[str, Any], openable: list[str], say: Say, hint: Hint
) -> None:
    contactors = [key for key, part in parts.items() if _mapping(part).get("kind") == "contactor"]
    for at, one in _names(f"loops/{name}/opens", loop, "opens", say):
        if one not in contactors:
            what = "this is no contactor" if one in parts else "there is no such contactor"
            mend = f"contactors: {', '.join(contactors)}" if one in parts else hint(one, contactors, "contactors")
            say(at, f"'{visible(one, 60)}': {what}; a loop opens contactors", mend)
    for key, element in _mapping(loop.get("elements")).items():
        for at, one in _names(f"loops/{name}/elements/{key}/watches", element, "watches", say):
            if one not in openable:
                say(at, f"there is nothing '{visible(one, 60)}' under openable", hint(one, openable, "openable"))


def _contacts(name: str, loop: Mapping[str, Any], loops: list[str], say: Say, hint: Hint) -> None:
    """The loops whose relays have a contact in this one."""
    for key, element in _mapping(loop.get("elements")).items():
        of, at = _mapping(element).get("contact_of"), f"loops/{name}/elements/{key}/contact_of"
        if of == name:
            say(at, f"{visible(name, 60)} holds a contact of its own relay", "name the loop whose relay it is")
        elif isinstance(of, str) and of not in loops:
            say(at, f"there is no loop '{visible(of, 60)}'", hint(of, loops, "loops"))


def _points(name: str, points: Mapping[str, Any], say: Say, terminal: Callable[[str, str], None]) -> None:
    ends = [points.get(key) for key in ("plus", "minus")]
    for key, end in zip(("plus", "minus"), ends, strict=True):
        if isinstance(end, str) and "." in end:
            terminal(f"measuring_points/{name}/{key}", end)
    if isinstance(ends[0], str) and ends[0] == ends[1]:
        shown = f"{visible(name, 60)} measures {visible(ends[0], 60)} against itself"
        say(f"measuring_points/{name}/minus", shown, "name the terminal of the other pole")


def _bonds(bonding: Mapping[str, Any], parts: list[str], say: Say, hint: Hint) -> None:
    where: dict[str, str] = {}
    lists = [(f"bonding/bonds/{key}/parts", bond, "parts") for key, bond in _mapping(bonding.get("bonds")).items()]
    lists.append(("bonding/insulating", bonding, "insulating"))
    for pointer, holder, field in lists:
        for at, one in _names(pointer, holder, field, say):
            if one not in parts:
                say(at, f"there is no part '{visible(one, 60)}'", hint(one, parts, "parts"))
            elif field == "insulating" and one in where:
                shown = (
                    f"the housing of {visible(one, 60)} is bonded in {visible(where[one], 60)} and called insulating"
                )
                say(at, shown, "keep one of the two")
            elif field == "parts":
                where.setdefault(one, pointer.split("/")[2])


def _names(pointer: str, holder: Any, field: str, say: Say) -> Iterator[tuple[str, str]]:
    """The ids of a list with their pointers; one that stands twice is said, and given once."""
    found = _mapping(holder).get(field)
    seen: set[str] = set()
    for number, one in enumerate(found if isinstance(found, list) else ()):
        if not isinstance(one, str):
            continue
        if one in seen:
            say(f"{pointer}/{number}", f"'{visible(one, 60)}' stands twice in this list", "name it once")
            continue
        seen.add(one)
        yield f"{pointer}/{number}", one


def _mapping(thing: Any) -> Mapping[str, Any]:
    return thing if isinstance(thing, dict) else {}
