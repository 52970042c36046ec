"""Validation errors in the words of the trade, each with file, line and a way to mend it."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from typing import Any, get_args

from pydantic import BaseModel

from tristrand.design.yamltext import Problem, Span, Tree, YamlText


def nearest(word: str, names: Sequence[str]) -> str:
    """The known name closest to ``word``, or ""."""
    found = difflib.get_close_matches(str(word), list(names), n=1, cutoff=0.5)
    return found[0] if found else ""


def hint(word: str, names: Sequence[str], what: str = "known names") -> str:
    """A mend line: the nearest name, else the list of names."""
    close = nearest(word, names)
    if close:
        return f"did you mean '{close}'?"
    shown = ", ".join(sorted(names)[:12])
    return f"{what}: {shown}" if shown else ""


def problem_from(error: Mapping[str, Any], yaml: YamlText, model: Any) -> Problem:
    """One validation error as a Problem; the place is the nearest value that stands in the file."""
    pointer, rest, fields = _walk(error["loc"], yaml.tree, model)
    span = _span(pointer, rest, error["type"], yaml.spans)
    message, mend = _words(error, pointer, rest, fields)
    line, column = (span.line, span.column) if span else (1, 1)
    return Problem(yaml.file, line, column, message, mend)


def _walk(loc: tuple[Any, ...], tree: Tree, model: Any) -> tuple[str, list[str], list[str]]:
    """Follow ``loc`` through the tree; names that are not in it (tags of a choice of kinds) are left out."""
    pointer: list[str] = []
    rest: list[str] = []
    here: Tree = tree
    fields = _fields(model, here)
    for position, step in enumerate(loc):
        last = position == len(loc) - 1
        if isinstance(here, dict) and step in here:
            model = _inner(model, here, str(step))
            here = here[str(step)]
            fields = _fields(model, here) or ([] if not last else fields)
            pointer.append(str(step))
        elif isinstance(here, list) and isinstance(step, int) and step < len(here):
            model, here = _element(model), here[step]
            fields = _fields(model, here)
            pointer.append(str(step))
        elif last and step not in ("[key]",):
            rest.append(str(step))
    return "/".join(pointer), rest, fields


def _models(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [m for part in get_args(annotation) for m in _models(part)]


def _pick(annotation: Any, here: Tree) -> type[BaseModel] | None:
    """The model of a choice of kinds that fits the value's own kind."""
    models = _models(annotation)
    if isinstance(here, dict) and "kind" in here:
        for candidate in models:
            field = candidate.model_fields.get("kind")
            if field is not None and here["kind"] in get_args(field.annotation):
                return candidate
    return models[0] if len(models) == 1 else None


def _names(model: type[BaseModel]) -> dict[str, Any]:
    return {info.alias or name: info.annotation for name, info in model.model_fields.items()}


def _fields(annotation: Any, here: Tree) -> list[str]:
    model = _pick(annotation, here)
    return list(_names(model)) if model else []


def _inner(annotation: Any, here: Tree, step: str) -> Any:
    if getattr(annotation, "__origin__", None) is dict:
        return get_args(annotation)[1]
    model = _pick(annotation, here)
    return _names(model).get(step) if model else _value_type(annotation)


def _value_type(annotation: Any) -> Any:
    return next((get_args(p)[1] for p in get_args(annotation) if getattr(p, "__origin__", None) is dict), None)


def _element(annotation: Any) -> Any:
    arguments = get_args(annotation)
    return arguments[0] if arguments else None


def _span(pointer: str, rest: list[str], kind: str, spans: Mapping[str, Span]) -> Span | None:
    while pointer not in spans and "/" in pointer:
        pointer = pointer.rpartition("/")[0]
    return spans.get(pointer)


def _words(error: Mapping[str, Any], pointer: str, rest: list[str], fields: list[str]) -> tuple[str, str]:
    kind, context, given = error["type"], error.get("ctx") or {}, error.get("input")
    where = pointer or "the file"
    key = pointer.rpartition("/")[2]
    if kind == "datum":
        return f"{where}: {error['msg']}", str(context.get("mend", ""))
    if kind == "extra_forbidden":
        parent = pointer.rpartition("/")[0]
        known = [name for name in fields if name != key]
        return f"unknown key '{key}'" + (f" in {parent}" if parent else ""), hint(key, known, "known keys")
    if kind == "missing":
        return f"{where}: '{rest[-1] if rest else '?'}' is missing", f"add the key '{rest[-1] if rest else '?'}'"
    if kind in ("literal_error", "enum"):
        expected = str(context.get("expected", "")).replace("'", "").replace(" or ", ", ").split(", ")
        return f"{where}: '{given}' is not known here", hint(str(given), expected, "known")
    if kind == "union_tag_invalid":
        tags = str(context.get("expected_tags", "")).replace("'", "").split(", ")
        return f"{where}: the kind '{context.get('tag')}' is not known", hint(str(context.get("tag")), tags, "known kinds")
    if kind == "union_tag_not_found":
        return f"{where}: 'kind' is missing", "say what it is, for example kind: fuse"
    if kind == "string_pattern_mismatch":
        return f"{where}: '{given}' cannot be used here", _pattern_mend(str(context.get("pattern", "")))
    if kind == "value_error":
        return f"{where}: {context.get('error')}", ""
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return f"{where}: keys and values are needed here, not {_short(given)}", f"known keys: {', '.join(fields)}" if fields else ""
    return f"{where}: {error['msg'][:1].lower()}{error['msg'][1:]} (given: {_short(given)})", ""


def _pattern_mend(pattern: str) -> str:
    if "\\." in pattern:
        return "name a terminal as part.terminal, for example main_fuse.a"
    if pattern.startswith("^[A-Z]{2"):
        return "give one code, such as HV121; a waiver for a group of rules is not possible"
    return "an id starts with a letter and has at most 40 letters, digits, - and _"


def _short(given: Any) -> str:
    text = "nothing" if given is None else repr(given) if isinstance(given, str) else str(given)
    return text if len(text) <= 60 else text[:57] + "..."
