"""The values of a design file against the model of its kind: a record, or every fault with its place and mend."""

import operator
from itertools import zip_longest
from typing import Any

from pydantic import BaseModel, TypeAdapter, ValidationError

from tristrand.design.messages import problem_from
from tristrand.design.model import HighVoltage, Vehicle, Waivers
from tristrand.design.record import Record
from tristrand.design.sheets import Sheet
from tristrand.design.yamltext import MOST_PROBLEMS, Problem, Tree, YamlText

_MODELS: dict[str, type[BaseModel]] = {"vehicle": Vehicle, "high_voltage": HighVoltage, "waivers": Waivers}
_SHEET: TypeAdapter[Any] = TypeAdapter(Sheet)


def validated(
    kind: str, tree: dict[str, Tree], yaml: YamlText, before: Record | None = None
) -> tuple[Any, list[Problem]]:
    """What a file of a kind ("vehicle", "high_voltage", "waivers", "sheet") says, or what is wrong with it.

    What says the same as ``before``, an earlier reading of the file, is the very same object.
    """
    context = {"basis": "assumed", "source": ""}
    if kind == "sheet":
        # A head of the wrong shape is an error of its own; the values then simply have no basis from it.
        basis, source = tree.get("basis"), tree.get("source")
        context["basis"] = basis if isinstance(basis, str) else "assumed"
        context["source"] = source if isinstance(source, str) else ""
    try:
        if kind == "sheet":
            return _record(_SHEET.validate_python(tree, context=context), before), []
        return _record(_MODELS[kind].model_validate(tree, context=context), before), []
    except ValidationError as error:
        model = Sheet if kind == "sheet" else _MODELS[kind]
        errors = error.errors(include_url=False)
        problems = [problem_from(item, yaml, model) for item in errors[:MOST_PROBLEMS]]
        more = len(errors) - MOST_PROBLEMS
        if more > 0:
            said = f"{more} more problems in this file are not listed"
            problems.append(Problem(yaml.file, 0, 0, said, "mend the listed ones first"))
        return None, problems


def _record(value: Any, before: Any) -> Any:
    """The same without the models, which have done their work; ``before`` itself where it says the same."""
    if isinstance(value, BaseModel):
        fields = _fields(value.__dict__, before.__dict__ if isinstance(before, Record) else {})
        made = Record(type(value).__name__, fields)
        return before if fields is getattr(before, "__dict__", None) and made == before else made
    if type(value) is list:
        old = before if type(before) is list else []
        items = [_record(item, was) for item, was in zip_longest(value, old[: len(value)])]
        return old if len(items) == len(old) and all(map(operator.is_, items, old)) else items
    if type(value) is dict:
        return _fields(value, before if type(before) is dict else {})
    # Of floats 0.0 equals -0.0.
    return before if type(before) is type(value) and type(value) is not float and before == value else value


def _fields(values: dict[Any, Any], before: dict[Any, Any]) -> dict[Any, Any]:
    """Values by name or key, in order; ``before`` itself where each is the one that stood there, in the same order."""
    made = {key: _record(value, before.get(key)) for key, value in values.items()}
    same = len(made) == len(before) and all(map(operator.is_, made.values(), before.values()))
    return before if same and list(made) == list(before) else made
