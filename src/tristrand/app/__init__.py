"""Use cases: open a folder, check it, explain it. Plain data in and out; screens and pages stand above."""

from tristrand.app.check import Workspace
from tristrand.app.explain import UnknownName, explain_rule, explain_study, rule_list
from tristrand.app.starter import new_design, write_schemas

__all__ = [
    "UnknownName",
    "Workspace",
    "explain_rule",
    "explain_study",
    "new_design",
    "rule_list",
    "write_schemas",
]
