"""What a file or a document may hold, key by key, taken from the models themselves.

A model tells its keys in its docstring: an entry is a key, or a few with commas between, a colon, and what it means,
with its unit in brackets; entries begin a line or follow a full stop or a semicolon. What stands before the first entry
is about the whole. Kinds, limits and what counts without a key are those of the model's fields.
"""

from __future__ import annotations

import inspect
import json
import re
import types
from collections.abc import Iterator, Mapping
from dataclasses import MISSING, fields, is_dataclass
from typing import Annotated, Any, Final, Literal, NamedTuple, Union, get_args, get_origin, get_type_hints

from pydantic import BaseModel
from pydantic_core import PydanticUndefined

from planner.inputs import quantities

NEEDED: Final = "needed"
"""What stands for a default where there is none."""


class Quantity(NamedTuple):
    """A kind of number in a file: in words, the unit that a file counts it in, and whether it is an angle."""

    words: str
    unit: str
    angle: bool = False


QUANTITIES: Final[dict[tuple[Any, ...], Quantity]] = {
    get_args(quantities.Coordinate)[1:]: Quantity("number", "mm or in"),
    get_args(quantities.Length)[1:]: Quantity("number above 0", "mm or in"),
    get_args(quantities.LengthOrZero)[1:]: Quantity("number, 0 or more", "mm or in"),
    get_args(quantities.SignedAngle)[1:]: Quantity("number", "degrees", True),
    get_args(quantities.Angle)[1:]: Quantity("number above 0", "degrees", True),
    get_args(quantities.AngleOrZero)[1:]: Quantity("number, 0 or more", "degrees", True),
    get_args(quantities.Amount)[1:]: Quantity("number above 0", ""),
    get_args(quantities.Cell)[1:]: Quantity("number", ""),
}
"""By what a quantity's type carries: how it is read and written."""

IN_FILES: Final = {"mm": "mm or in", "rad": "degrees", "rad/s": "degrees a second", "mm/s": "mm or in a second"}
"""Units of the program, and those that stand in files in their place; all others are the same in both."""

WORDS: Final = {str: "text", bool: "true or false", int: "whole number", float: "number", type(None): "none"}


class Key(NamedTuple):
    """One key: its name in the file, its kind in words, its unit in a file, what counts without it, what it means.

    models: the tables or objects that stand in it; null: whether there may be none.
    """

    name: str
    kind: str
    unit: str
    without: str
    meaning: str
    models: tuple[type, ...]
    null: bool


class Told(NamedTuple):
    """A model's docstring taken apart: what it says of the whole, and of each key."""

    about: str
    meanings: dict[str, str]


def told_of(text: str, names: list[str]) -> Told:
    """Return a docstring taken apart into its entries for keys of these names."""
    one = "(?:" + "|".join(sorted(map(re.escape, names), key=len, reverse=True)) + ")"
    entry = re.compile(rf"(?:^|(?<=[.;]\s)|(?<=\n))({one}(?:(?:, | and ){one})*)(?: \([^)]*\))?:\s", re.MULTILINE)
    flat = inspect.cleandoc(text)
    found = [*entry.finditer(flat)]
    about = flat[: found[0].start()] if found else flat
    meanings: dict[str, str] = {}
    ends = [*(match.start() for match in found[1:]), len(flat)]
    for match, end in zip(found, ends, strict=False):
        meaning = flat[match.end() : end]
        for name in re.split(r", | and ", match[1]):
            meanings[name] = " ".join(meaning.split()).rstrip(".; ")
    return Told(about.strip(), meanings)


def keys_of(model: type) -> list[Key]:
    """Return the keys of a pydantic model or a dataclass, in its order."""
    columns = [*_columns(model)]
    told = told_of(inspect.getdoc(model) or "", [column[0] for column in columns])
    made = []
    for name, annotation, metadata, default, described in columns:
        meaning = told.meanings.get(name, described or "")
        quantity = _quantity(annotation, metadata)
        unit = "" if quantity is None else quantity.unit
        if bracket := re.search(r" ?\[([^\]\d]+)\]", meaning):
            unit = IN_FILES.get(bracket[1], bracket[1]) if quantity is not None else bracket[1]
            meaning = meaning.replace(bracket[0], "", 1).strip()
        kind, models = _kind(annotation, metadata)
        made.append(Key(name, kind, unit, _without(default, quantity), meaning, models, _nullable(annotation)))
    return made


def about(model: type) -> str:
    """Return what a model's docstring says of the whole."""
    return told_of(inspect.getdoc(model) or "", [column[0] for column in _columns(model)]).about


def models_of(root: type) -> list[type]:
    """Return a model and all that stand in it, each once, outer before inner."""
    found = [root]
    for model in found:
        found += [inner for key in keys_of(model) for inner in key.models if inner not in found]
    return list(dict.fromkeys(found))


def _columns(model: type) -> Iterator[tuple[str, Any, tuple[Any, ...], Any, str | None]]:
    """Yield name, type, what the type carries, default and description of each key."""
    if issubclass(model, BaseModel):
        for name, field in model.model_fields.items():
            if not field.exclude:
                default = field.get_default(call_default_factory=True)
                yield field.alias or name, field.annotation, tuple(field.metadata), default, field.description
    elif is_dataclass(model):
        hints = get_type_hints(model)
        for field_ in fields(model):
            default = PydanticUndefined if field_.default is MISSING else field_.default
            yield field_.name, hints[field_.name], (), default, None
    else:
        raise TypeError(f"{model} is no model")


def _quantity(annotation: Any, metadata: tuple[Any, ...] = ()) -> Quantity | None:
    """Return the quantity that a type is of, or that stands in it."""
    if get_origin(annotation) is Annotated:
        annotation, *more = get_args(annotation)
        metadata = (*metadata, *more)
    for carried, quantity in QUANTITIES.items():
        if set(carried) <= set(metadata):
            return quantity
    return next((found for inner in get_args(annotation) if (found := _quantity(inner)) is not None), None)


def _kind(annotation: Any, metadata: tuple[Any, ...] = ()) -> tuple[str, tuple[type, ...]]:
    """Return in words what a value may be, and the models that it may hold."""
    if get_origin(annotation) is Annotated:
        annotation, *more = get_args(annotation)
        metadata = (*metadata, *more)
    for carried, quantity in QUANTITIES.items():
        if set(carried) <= set(metadata):
            return quantity.words, ()
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is Literal:
        return " or ".join(f"`{json.dumps(value)}`" for value in inner), ()
    if origin in (Union, types.UnionType):
        return _one_of([_kind(one) for one in inner if one is not type(None)])
    if origin is tuple or origin is list:
        words = [_kind(one) for one in inner if one is not Ellipsis]
        if origin is list or Ellipsis in inner:
            return f"list of {words[0][0]}", words[0][1]
        return f"list of {len(words)}: {_joined(words)}", tuple(model for one in words for model in one[1])
    if origin is dict or origin is Mapping or annotation is dict:
        return "object", ()
    if isinstance(annotation, type) and (issubclass(annotation, BaseModel) or is_dataclass(annotation)):
        return annotation.__name__, (annotation,)
    return WORDS.get(annotation, "any value"), ()


def _nullable(annotation: Any) -> bool:
    """Say whether a value may be none."""
    if get_origin(annotation) is Annotated:
        annotation = get_args(annotation)[0]
    return type(None) in get_args(annotation)


def _one_of(kinds: list[tuple[str, tuple[type, ...]]]) -> tuple[str, tuple[type, ...]]:
    return " or ".join(dict.fromkeys(one[0] for one in kinds)), tuple(model for one in kinds for model in one[1])


def _joined(kinds: list[tuple[str, tuple[type, ...]]]) -> str:
    words = list(dict.fromkeys(one[0] for one in kinds))
    return f"each a {words[0]}" if len(words) == 1 else ", ".join(one[0] for one in kinds)


def _without(default: Any, quantity: Quantity | None) -> str:
    """Return what counts where a key is left out."""
    if default is PydanticUndefined:
        return NEEDED
    if default is None:
        return "none"
    if isinstance(default, BaseModel):
        return "its defaults"
    if isinstance(default, float):
        return f"`{quantities.written(default, 'angle' if quantity is not None and quantity.angle else 'number'):g}`"
    return "none" if default in ((), {}) else f"`{json.dumps(default, ensure_ascii=False)}`"
