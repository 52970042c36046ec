"""Validation errors in the words of the trade, each with file, line and a way to mend it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel

from tristrand.design.names import WORD, hint, nearest
from tristrand.design.quantity import Q
from tristrand.design.yamltext import Problem, Tree, YamlText, visible
from tristrand.units import DIMENSIONS

# What a decimal comma leaves of a number inside {}: "1,8 m" gives the key "8 m".
_COMMA = r"[0-9]+(\s*[A-Za-zµΩ°%/²]+)*\Z"


def problem_from(error: Mapping[str, Any], yaml: YamlText, model: Any) -> Problem:
    """One validation error as a Problem; the place is the nearest value that stands in the file."""
    at = _walk(error["loc"], yaml.tree, model)
    pointer = at.pointer
    if error["type"] == "union_tag_invalid":
        pointer = f"{pointer}/kind".removeprefix("/")
    while pointer not in yaml.spans and "/" in pointer:
        pointer = pointer.rpartition("/")[0]
    span = yaml.spans.get(pointer)
    message, mend = _words(error, at)
    return Problem(yaml.file, span.line if span else 1, span.column if span else 1, message, mend)


class _At:
    """Where an error stands: the pointer, the last step that is not in the file, the keys and types known there."""

    def __init__(self, pointer: str, rest: str, known: dict[str, Any], annotation: Any) -> None:
        self.pointer, self.rest, self.known, self.annotation = pointer, rest, known, annotation
        self.key = pointer.rpartition("/")[2]

    def where(self) -> str:
        """The pointer as the start of a sentence."""
        return f"{visible(self.pointer, 120)}: " if self.pointer else ""


def _walk(loc: tuple[Any, ...], tree: Tree, annotation: Any) -> _At:
    """Follow ``loc`` through the tree; names that are not in it (tags of a choice of kinds) are left out."""
    pointer: list[str] = []
    rest = ""
    here: Tree = tree
    known = _keys(annotation, here)
    for position, step in enumerate(loc):
        last = position == len(loc) - 1
        if isinstance(here, dict) and step in here:
            annotation = _inner(annotation, here, str(step))
            here = here[str(step)]
            known = _keys(annotation, here) or (known if last else {})
            pointer.append(str(step))
        elif isinstance(here, list) and isinstance(step, int) and step < len(here):
            annotation, here = _element(annotation), here[step]
            known = _keys(annotation, here)
            pointer.append(str(step))
        elif last and step != "[key]":
            rest = str(step)
    return _At("/".join(pointer), rest, known, annotation)


def _models(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [m for part in get_args(annotation) for m in _models(part)]


def _pick(annotation: Any, here: Tree) -> type[BaseModel] | None:
    """The model of a choice of kinds that fits the value's own kind."""
    models = _models(annotation)
    if isinstance(here, dict) and "kind" in here and len(models) > 1:
        for candidate in models:
            field = candidate.model_fields.get("kind")
            if field is not None and here["kind"] in get_args(field.annotation):
                return candidate
    return models[0] if len(models) == 1 else None


def _types(model: type[BaseModel]) -> dict[str, Any]:
    """Key as written in the file -> its type, with the metadata that pydantic keeps beside it."""
    return {
        info.alias or name: next((m for m in info.metadata if isinstance(m, Q)), info.annotation)
        for name, info in model.model_fields.items()
    }


def _keys(annotation: Any, here: Tree) -> dict[str, Any]:
    if get_origin(annotation) is dict:
        return {}
    model = _pick(annotation, here)
    return _types(model) if model else {}


def _inner(annotation: Any, here: Tree, step: str) -> Any:
    if get_origin(annotation) is dict:
        return get_args(annotation)[1]
    model = _pick(annotation, here)
    return _types(model).get(step) if model else None


def _element(annotation: Any) -> Any:
    for part in (annotation, *get_args(annotation)):
        if get_origin(part) is list:
            return get_args(part)[0]
    return None


def _choices(annotation: Any) -> list[str]:
    """The words a Literal takes, also inside a list, a union or an annotation."""
    if get_origin(annotation) is Literal:
        return [str(word) for word in get_args(annotation)]
    return [word for part in get_args(annotation) for word in _choices(part)]


def _example(key: str, annotation: Any) -> str:
    """How a key that is missing may be written."""
    if key == "schema_version":
        return "schema_version: 1"
    quantity = next((p for p in (annotation, *get_args(annotation)) if isinstance(p, Q)), None)
    if quantity is not None:
        what = quantity.dimension.replace("_", " ")
        return f"{key}: ... with a {what} such as {DIMENSIONS[quantity.dimension].example}"
    words = [] if _models(annotation) else _choices(annotation)
    if words:
        written = f"[{words[-1]}]" if get_origin(annotation) is list else words[0]
        return f"{key}: {written}" + (f" (known: {', '.join(words)})" if len(words) > 1 else "")
    return f"the key '{key}'"


def _words(error: Mapping[str, Any], at: _At) -> tuple[str, str]:
    """Message and mend of one error."""
    kind, context, given = error["type"], error.get("ctx") or {}, error.get("input")
    if kind == "design":
        return f"{at.where()}{context['said']}", str(context["mend"])
    if kind == "extra_forbidden":
        parent = visible(at.pointer.rpartition("/")[0], 120)
        known = [name for name in at.known if name != at.key]
        message = f"unknown key '{visible(at.key, WORD)}'" + (f" in {parent}" if parent else "")
        if re.match(_COMMA, at.key):
            return message, f"a comma starts a new key: write numbers with a decimal point, not '…,{at.key[:12]}'"
        return message, hint(at.key, known, "known keys")
    if kind == "missing":
        example = _example(at.rest, at.known.get(at.rest))
        return f"{at.where()}the key '{at.rest}' is missing", f"add {example}"
    said, mend = _told(kind, context, given, at)
    return f"{at.where()}{said}", mend


def _told(kind: str, context: Mapping[str, Any], given: Any, at: _At) -> tuple[str, str]:
    """What is wrong with one value, by pydantic's name of the fault."""
    if kind == "literal_error":
        return _not_among(given, str(context["expected"]).replace("'", "").replace(" or ", ", ").split(", "))
    if kind == "union_tag_invalid":
        return _not_among(given.get("kind"), str(context["expected_tags"]).replace("'", "").split(", "), "kinds")
    if kind == "union_tag_not_found":
        return "the key 'kind' is missing", "say what it is, for example kind: fuse"
    if kind in ("string_pattern_mismatch", "string_too_short"):
        return _bad_text(str(context.get("pattern", "")), str(given), at)
    if kind == "string_type":
        return _no_text(given)
    if kind.startswith("int_"):
        digits = given if isinstance(given, str) and given.strip().isdecimal() else None
        mend = f"write it without quotes: {digits.strip()}" if digits else "write a plain whole number, for example 2"
        return f"a whole number is needed here, not {_short(given)}", mend
    if kind in ("float_type", "float_parsing", "finite_number"):
        return (
            f"a plain number is needed here, not {_short(given)}",
            "write the number as the report prints it, without unit",
        )
    if kind in ("greater_than_equal", "less_than_equal"):
        limit = f"at least {context['ge']}" if "ge" in context else f"at most {context['le']}"
        return f"{_short(given)} is out of range: it must be {limit}", "check the number"
    if kind == "too_short":
        least = context.get("min_length", 1)
        some = "one entry" if least == 1 else f"{least} entries"
        words = _choices(at.annotation)
        mend = f"known: {', '.join(words)}" if words else "add what is missing"
        return f"too little stands here: at least {some} is needed", mend
    if kind == "list_type":
        words = _choices(at.annotation)
        example = given if isinstance(given, str) and given in words else words[0] if words else "a, b"
        return f"a list is needed here, not {_short(given)}", f"write it in brackets, for example [{example}]"
    return _no_mapping(given, at)


def _not_among(given: Any, words: Sequence[str], what: str = "words") -> tuple[str, str]:
    close = nearest(str(given), words)
    known = f"known {what}: {', '.join(words)}"
    return f"{_short(given)} is not known here", f"did you mean '{close}'? ({known})" if close else known


def _bad_text(pattern: str, given: str, at: _At) -> tuple[str, str]:
    if "\\." in pattern:
        return f"{_short(given)} names no terminal", "write part.terminal, for example main_fuse.a"
    if pattern.startswith("^[A-Z]{2"):
        return (
            f"{_short(given)} is no code of a rule",
            "give one code, such as HV121; a group of rules cannot be waived",
        )
    if "*" in pattern and "?" in pattern:
        return f"{_short(given)} names no single object", "name one object as the finding does; patterns are not taken"
    if "_.-" in pattern:
        mend = "name a file in parts/ without .yaml; letters, digits, '.', '-' and '_', at most 60"
        return f"{_short(given)} cannot be the name of a data sheet", mend
    if "{0,39}" in pattern:
        mend = "an id starts with a letter and has at most 40 letters, digits, '-' and '_', without spaces"
        return f"{_short(given)} cannot be an id", mend
    if at.key == "reason":
        return f"{_short(given)} is too short for a reason", "say in a sentence why this is accepted"
    return "a text is needed here, and this one is empty", "write it out"


def _no_text(given: Any) -> tuple[str, str]:
    if isinstance(given, bool):
        word = "true" if given else "false"
        return f"a text is needed here, not {word}", f'put it in quotes: "{word}"'
    if isinstance(given, (int, float)):
        return f"a text is needed here, not the number {given}", f'put it in quotes: "{given}"'
    return f"a text is needed here, not {_short(given)}", "write a text, or leave the key out if it may be left out"


def _no_mapping(given: Any, at: _At) -> tuple[str, str]:
    known = f"known keys: {', '.join(at.known)}" if at.known else ""
    if given is None:
        return "keys and values are needed here, and nothing stands here", known or "fill it, or remove the key"
    return f"keys and values are needed here, not {_short(given)}", known or "write key: value"


def _short(given: Any) -> str:
    """A value as it may be quoted in a sentence."""
    if given is None:
        return "nothing"
    if isinstance(given, bool):
        return "true" if given else "false"
    if isinstance(given, str):
        return f"'{visible(given, WORD)}'"
    return "a list" if isinstance(given, list) else "keys and values" if isinstance(given, dict) else str(given)
