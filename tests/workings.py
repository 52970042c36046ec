"""Evaluates the formula of a working with the inputs it shows, by its own small reading of arithmetic."""

from __future__ import annotations

import ast
import math
import operator
from collections.abc import Callable

from tristrand.studies.results import Working

OPERATORS: dict[type[ast.operator], Callable[[float, float], float]] = {
    ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul,
    ast.Div: operator.truediv, ast.Pow: operator.pow,
}  # fmt: skip
FUNCTIONS: dict[str, Callable[..., float]] = {
    "ln": math.log, "exp": math.exp, "sqrt": math.sqrt, "min": min, "max": max, "log10": math.log10,
}  # fmt: skip


def evaluate(working: Working) -> float:
    """The formula's value; ValueError for anything but arithmetic on the inputs, or for an input not used."""
    inputs = {given.symbol: given.value for given in working.inputs}
    tree = ast.parse(working.formula, mode="eval").body
    used = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}
    idle = set(inputs) - used
    if idle:
        raise ValueError(f"{working.formula}: shown but not used: {', '.join(sorted(idle))}")
    return _value(tree, inputs, working.formula)


def _value(node: ast.expr, inputs: dict[str, float], formula: str) -> float:
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float) and not isinstance(node.value, bool):
        return float(node.value)
    if isinstance(node, ast.Name) and node.id in inputs:
        return inputs[node.id]
    if isinstance(node, ast.BinOp) and type(node.op) in OPERATORS:
        return OPERATORS[type(node.op)](_value(node.left, inputs, formula), _value(node.right, inputs, formula))
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        return -_value(node.operand, inputs, formula)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and not node.keywords:
        function = FUNCTIONS.get(node.func.id)
        if function is not None:
            return float(function(*(_value(arg, inputs, formula) for arg in node.args)))
    raise ValueError(f"{formula}: '{ast.unparse(node)}' is no arithmetic on the inputs")
