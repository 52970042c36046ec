"""Use cases: open a folder, check it, explain it. Plain data in and out; screens and pages stand above."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tristrand.app.check import Workspace
    from tristrand.app.explain import UnknownName, explain_rule, explain_study, rule_list
    from tristrand.app.starter import new_design, write_schemas

__all__ = ["UnknownName", "Workspace", "explain_rule", "explain_study", "new_design", "rule_list", "write_schemas"]

# A check needs none of the others: each is loaded when it is first asked for.
_HOMES = {
    "Workspace": "check",
    "UnknownName": "explain",
    "explain_rule": "explain",
    "explain_study": "explain",
    "rule_list": "explain",
    "new_design": "starter",
    "write_schemas": "starter",
}


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    value: object = getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
    globals()[name] = value
    return value
