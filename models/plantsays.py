"""What is said of a plant file that is wrong: the key's path, what is wrong with it, what it may be."""

from __future__ import annotations

import difflib
import re
from typing import Any

from pydantic import BaseModel


def listed(names: Any) -> str:
    """Names that may stand somewhere, in order."""
    return ", ".join(sorted(map(str, names))) or "nothing (the section is empty)"


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split())


def toml_says(error: Exception, text: str) -> str:
    """What the reader of TOML met, and what to do about a table or key written twice, or one that wants quotation marks."""
    said = _one_line(error)
    at = re.search(r"at line (\d+)", said)
    if at and not text.splitlines()[int(at[1]) - 1].partition("#")[0].isascii():
        return f'{said}; a name with other letters than a to z, digits, - and _ stands in quotation marks: "Frühschicht" = "06:00"'
    twice = any(word in said for word in ("twice", "overwrite", "mutate"))
    return f"{said}; a table or key may stand once: put both together or rename one" if twice else said


def explain(error: Any, top: type[BaseModel]) -> str:
    """One fault that the declaration found: the key's path, what is wrong, what it may be. top: what declares the whole file."""
    path = ".".join(str(part) for part in error["loc"]) or "(top)"
    message = error["msg"].removeprefix("Value error, ")
    if error["type"] == "value_error" and message.startswith("@"):
        _, path, message = message.split("@", 2)
        return f"{path}: {message}"
    if error["type"] == "extra_forbidden":
        return _unknown_key(error["loc"], top)
    if error["type"] == "missing":
        return f"{path}: is missing; {_may_be(error['loc'], top)}"
    if error["type"] in _KINDS:
        message = f"it may be {_kind_of(error, top)}"
    if error["type"] in _BOUNDS:
        message = f"it may be {_BOUNDS[error['type']].format(**error['ctx'])}"
    shown = repr(error["input"])
    shown = shown if len(shown) <= 60 else f"{shown[:60]}..."
    return f"{path}: {shown} is wrong; {message[0].lower()}{message[1:]}"


_KINDS = {
    "dict_type": "a table, with a heading in [brackets] of its own",
    "model_type": "a table, with a heading in [brackets] of its own",
    "tuple_type": 'a list, like ["one", "two"]',
    "frozen_set_type": 'a list, like ["one", "two"]',
    "string_type": 'text in quotes, like "one"',
    "float_type": "a number",
    "float_parsing": "a number with a decimal point, without unit or quotes",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
}


_BOUNDS = {
    "greater_than": "more than {gt:g}",
    "greater_than_equal": "{ge:g} or more",
    "less_than": "less than {lt:g}",
    "less_than_equal": "{le:g} at most",
}


def _kind_of(error: Any, top: type[BaseModel]) -> str:
    section = _section_of(error["loc"], top)
    own = getattr(section, "written", "") if error["type"] == "model_type" else ""
    return own or _KINDS[error["type"]]


def _section_of(loc: tuple[Any, ...], top: type[BaseModel]) -> type[BaseModel] | None:
    """The section a key path leads to: names of kettles, lines and the like are stepped over."""
    section: Any = top
    for part in loc:
        if not (isinstance(section, type) and issubclass(section, BaseModel)):
            return None
        inner = section.model_fields.get(str(part))
        if inner is None:
            continue
        kinds = [k for k in _annotations(inner.annotation) if isinstance(k, type) and issubclass(k, BaseModel)]
        section = kinds[0] if kinds else None
    return section


def _annotations(kind: Any) -> list[Any]:
    inner = getattr(kind, "__args__", ())
    return [kind] if not inner else [k for part in inner for k in _annotations(part)]


def _unknown_key(loc: tuple[Any, ...], top: type[BaseModel]) -> str:
    section = _section_of(loc[:-1], top)
    allowed = list(section.model_fields) if section else []
    near = difflib.get_close_matches(str(loc[-1]), allowed, n=1)
    hint = f"did you mean {near[0]}? " if near else ""
    return f"{'.'.join(map(str, loc))}: unknown key; {hint}it may be {listed(allowed)}"


def _may_be(loc: tuple[Any, ...], top: type[BaseModel]) -> str:
    section = _section_of(loc[:-1], top)
    described = (
        section.model_fields[str(loc[-1])].description if section and str(loc[-1]) in section.model_fields else None
    )
    return described or "it has no default"
