"""The numbers of a machine profile as fields of a form, and back; derived from the models, so that no key is forgotten.

A table that may be missing (a mandrel, a die hub) shows its fields empty, and is written once one of them is filled;
emptied, it is left out. Profiles keep their own units, which are not changed here: every number would mean another.
"""

from __future__ import annotations

import copy
import re
import types
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Final, Literal, Union, get_args, get_origin

from pydantic import BaseModel, BeforeValidator
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from planner.errors import InputError
from planner.inputs import machine as shop
from planner.inputs import quantities
from planner.inputs.documents import dotted
from planner.inputs.files import machine_from_data
from planner.inputs.lines import Path
from planner.inputs.machine import Machine
from planner.inputs.quantities import described
from planner.page.lengths import Misread, number_of, text_of
from planner.page.machine_words import GROUPS, LABELS
from planner.page.slips import Slip
from planner.wording.figures import LengthUnit
from planner.wording.say import say

FieldKind = Literal["number", "whole number", "numbers", "pairs", "choice", "yes or no", "text", "fixed"]

YES, NO = "yes", "no"

_QUANTITIES: Final = {
    next(one for one in get_args(quantity) if isinstance(one, BeforeValidator)).func: unit
    for quantity, unit in (
        (quantities.Coordinate, "length"),
        (quantities.Length, "length"),
        (quantities.LengthOrZero, "length"),
        (quantities.SignedAngle, "deg"),
        (quantities.Angle, "deg"),
        (quantities.AngleOrZero, "deg"),
        (quantities.Amount, "amount"),
    )
}
"""What a number of a profile is, by the function that reads it."""

_UNITS: Final[dict[tuple[type[BaseModel], str], str]] = {
    (shop.Speeds, "length"): "length/s",
    (shop.Speeds, "deg"): "deg/s",
    (shop.Times, "amount"): "s",
    (shop.Rated, "amount"): "MPa",
}
"""Units of the tables whose numbers are no plain lengths and angles."""


@dataclass(frozen=True)
class FormField:
    """One thing of a profile that may be edited.

    keys: path in the document, path: the same as text ("tooling[2].clamp_lengths", from 1); group, label: shop words;
    unit: "mm", "in", "mm/s", "in/s", "deg", "deg/s", "s", "MPa" or ""; kind: "numbers" are a list ("115, 76"), "pairs"
    a list of pairs ("20 21.6; 120 123.9"), "fixed" is shown only; count: how many numbers, None for as many as there
    are; word: what may stand instead of numbers; choices; text: as it stands, "" where the document has none;
    required: may not be empty where its table is there; default: what counts where it is empty, None if nothing does.
    """

    keys: Path
    group: str
    label: str
    kind: FieldKind
    unit: str = ""
    count: int | None = None
    word: str | None = None
    choices: tuple[str, ...] = ()
    text: str = ""
    required: bool = False
    default: str | None = None

    @property
    def path(self) -> str:
        """The path as text, entries of lists counted from 1."""
        return dotted(self.keys)

    @property
    def place(self) -> str:
        """Group and label: "Head, largest setting"."""
        return f"{self.group}, {self.label}"


@dataclass(frozen=True)
class MachineRead:
    """What the form says: the machine, its document, and the slips; machine is None where there is a slip."""

    machine: Machine | None
    document: dict[str, Any] | None
    slips: tuple[Slip, ...] = ()


def fields_of(document: Mapping[str, Any]) -> list[FormField]:
    """Return all fields of a document that a machine can be loaded from, those among them that it does not give."""
    return list(_fields(Machine, document, (), "in" if document.get("units") == "in" else "mm"))


def with_values(document: Mapping[str, Any], values: Mapping[str, str]) -> MachineRead:
    """Return the machine of a document with other texts in its fields, by their paths, or the slips at those paths.

    All texts that are no numbers are told at once; then what the planner refuses first.
    """
    fields = {field.path: field for field in fields_of(document)}
    changed: dict[str, Any] = copy.deepcopy(dict(document))
    slips: list[Slip] = []
    for path, text in values.items():
        field = fields.get(path)
        if field is None:
            slips.append(Slip("there is no such field", path, found=text, allowed="a field of this profile"))
            continue
        if text == field.text:
            continue  # what is not touched stays as it is in the document
        value = _value(field, text)
        if isinstance(value, Misread):
            slips.append(Slip(value.problem, path, None, None, text, value.allowed, value.suggestion, field.place))
        else:
            _put(changed, field.keys, value)
    if slips:
        return MachineRead(None, None, tuple(slips))
    changed = _without_emptied(Machine, changed, document)
    try:
        return MachineRead(machine_from_data(changed), changed)
    except InputError as error:
        return MachineRead(None, changed, (_placed(error, fields, values),))


# From the models ----------------------------------------------------------------------------------------------------


def _fields(
    model: type[BaseModel], table: Mapping[str, Any] | None, keys: Path, units: LengthUnit
) -> Iterator[FormField]:
    """Yield the fields of a table, `table` None where the document has none."""
    for name, info in model.model_fields.items():
        if info.exclude:
            continue
        key = info.alias or name
        here = (*keys, key)
        value = None if table is None else table.get(key)
        inner, many = _table_in(info)
        if inner is None:
            yield _field(model, info, here, value, units)
        elif many:
            for i, one in enumerate(value or ()):
                yield from _fields(inner, one, (*here, i), units)
        else:
            yield from _fields(inner, value if isinstance(value, Mapping) else None, here, units)


def _table_in(info: FieldInfo) -> tuple[type[BaseModel] | None, bool]:
    """Return the model of a key that holds a table, or a list of tables, and whether it is a list."""
    for one in _ways(info.annotation):
        if isinstance(one, type) and issubclass(one, BaseModel):
            return one, False
        inner = get_args(one)[0] if get_origin(one) is tuple else None
        if isinstance(inner, type) and issubclass(inner, BaseModel):
            return inner, True
    return None, False


def _ways(annotation: Any) -> tuple[Any, ...]:
    """Return what an annotation allows, one by one, without None."""
    union = get_origin(annotation) in (Union, types.UnionType)
    return tuple(one for one in (get_args(annotation) if union else (annotation,)) if one is not type(None))


def _field(model: type[BaseModel], info: FieldInfo, keys: Path, value: Any, units: LengthUnit) -> FormField:
    """Return the field of a key that holds no table."""
    kind: FieldKind = "text"
    choices: tuple[str, ...] = ()
    quantity: Any = None
    count: int | None = None
    for way in _ways(info.annotation):
        if get_origin(way) is Literal:
            choices = (*choices, *get_args(way))
        elif way is bool:
            kind, choices = "yes or no", (YES, NO)
        elif get_origin(way) is tuple:
            entries = [one for one in get_args(way) if one is not Ellipsis]
            pairs = get_origin(entries[0]) is tuple
            kind, count = "pairs" if pairs else "numbers", None if Ellipsis in get_args(way) else len(entries)
            quantity = get_args(get_args(entries[0])[0] if pairs else entries[0])[1]
        elif way is int:
            kind = "whole number"
        elif way is float:
            kind, quantity = "number", next(one for one in info.metadata if isinstance(one, BeforeValidator))
        elif get_origin(way) is Annotated and get_args(way)[0] is float:  # a number that may be left out
            kind, quantity = "number", get_args(way)[1]
    word = choices[0] if choices and kind == "numbers" else None
    if choices and kind == "text":
        kind = "choice"
    if (model, keys[-1]) == (Machine, "units"):
        kind, choices = "fixed", ("mm", "in")
    standing = info.default not in (PydanticUndefined, None) and not isinstance(info.default, tuple)
    return FormField(
        keys=keys,
        group=_group(keys),
        label=_label(keys),
        kind=kind,
        unit="" if quantity is None else _unit(model, _QUANTITIES[quantity.func], units),
        count=count,
        word=word,
        choices=() if word is not None else choices,
        text=_text(value),
        required=info.is_required(),
        default=_default(model, keys[-1], info.default, units) if standing else None,
    )


def _unit(model: type[BaseModel], quantity: str, units: LengthUnit) -> str:
    """Return the unit of a number of a table."""
    return _UNITS.get((model, quantity), quantity).replace("length", units)


def _default(model: type[BaseModel], key: str | int, default: Any, units: LengthUnit) -> str:
    """Return what counts where nothing is given, as it would stand in the document."""
    if not isinstance(default, float):
        return _text(default)
    quantity = next(one for one in model.model_fields[str(key)].metadata if isinstance(one, BeforeValidator))
    written = quantities.written(default, "angle" if _QUANTITIES[quantity.func] == "deg" else "number")
    return text_of(round(written / quantities.UNITS[units if _QUANTITIES[quantity.func] == "length" else "mm"], 6))


def _group(keys: Path) -> str:
    """Return the group in shop words: "Head", "Tooling 2"."""
    group = GROUPS.get(str(keys[0]), "Machine")
    return f"{group} {int(keys[1]) + 1}" if len(keys) > 1 and isinstance(keys[1], int) else group


def _label(keys: Path) -> str:
    """Return the label in shop words: "largest setting", "die hub: radius"."""
    model: type[BaseModel] = Machine
    words = []
    for key in keys:
        if isinstance(key, int):
            continue
        words.append(LABELS.get(model, {}).get(key, ""))
        info = next(info for name, info in model.model_fields.items() if (info.alias or name) == key)
        model = _table_in(info)[0] or model
    return ": ".join(word for word in words if word)


# Texts --------------------------------------------------------------------------------------------------------------


def _text(value: Any) -> str:
    """Return a value of a document as it stands in its field."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return YES if value else NO
    if isinstance(value, int | float):
        return text_of(value)
    if isinstance(value, list | tuple):
        pairs = any(isinstance(one, list | tuple) for one in value)
        return "; ".join(" ".join(map(_text, one)) for one in value) if pairs else ", ".join(map(_text, value))
    return str(value)


def _value(field: FormField, text: str) -> Any:
    """Return what a text means in a field, None where it is empty, or a Misread."""
    typed = text.strip()
    if field.kind == "fixed":
        return Misread("the units of a profile are not changed here", field.text)
    if not typed:
        return None
    if field.kind == "text":
        return text
    if field.kind in ("choice", "yes or no"):
        if typed.lower() not in [choice.lower() for choice in field.choices]:
            return Misread(f"{described(text)} is not known here", " or ".join(field.choices))
        chosen = next(choice for choice in field.choices if choice.lower() == typed.lower())
        return chosen if field.kind == "choice" else chosen == YES
    if field.word is not None and typed.lower() == field.word:
        return field.word
    if field.kind == "pairs":
        return _pairs(typed, field.unit)
    if field.kind == "whole number":
        return _whole(text)
    return number_of(text, field.unit) if field.kind == "number" else _numbers(typed, field.unit, field.count)


def _whole(text: str) -> int | Misread:
    """Return the whole number that a text is."""
    value = number_of(text)
    if isinstance(value, float) and not value.is_integer():
        return Misread(f"{described(text)} is no whole number", "a whole number")
    return value if isinstance(value, Misread) else int(value)


def _numbers(text: str, unit: str, count: int | None) -> list[float] | Misread:
    """Return the numbers of a list parted by ", ", ";" or spaces, or the first that is none."""
    found: list[float] = []
    for cell in re.split(r"\s*(?:;|,\s)\s*|\s+", text.strip(" ,;")):
        if "," in cell:
            problem = f"{described(cell)} may be one number with a decimal comma, or several"
            parted = [one for one in re.split(r"[,;\s]+", text) if one]
            meant = ", ".join(parted) if count in (None, len(parted)) else None
            return Misread(problem, "decimal points, and a space between numbers", meant)
        value = number_of(cell, unit)
        if isinstance(value, Misread):
            return value
        found.append(value)
    if count is not None and len(found) != count:
        return Misread(f"{len(found)} numbers stand here", f"{count} numbers with a space between them")
    return found


def _pairs(text: str, unit: str) -> list[list[float]] | Misread:
    """Return pairs of numbers parted by semicolons, or the first that is none."""
    found = []
    for pair in text.strip().strip(";").split(";"):
        numbers = _numbers(pair, unit, 2)
        if isinstance(numbers, Misread):
            return numbers
        found.append(numbers)
    return found


# The document -------------------------------------------------------------------------------------------------------


def _put(document: dict[str, Any], keys: Path, value: Any) -> None:
    """Put a value at its place, None takes it away; tables on the way are made where there are none."""
    here: Any = document
    for key in keys[:-1]:
        if isinstance(key, str) and (here.get(key) is None or here[key] is False):
            here[key] = {}  # there is none yet, or false says that there is none
        here = here[key]
    if value is None:
        here.pop(keys[-1], None)
    else:
        here[keys[-1]] = value


def _without_emptied(model: type[BaseModel], table: dict[str, Any], before: Mapping[str, Any]) -> dict[str, Any]:
    """Return a table without those in it that may be missing and have nothing left of what they had before."""
    kept = dict(table)
    for name, info in model.model_fields.items():
        key = info.alias or name
        inner, many = _table_in(info)
        if inner is None or not isinstance(table.get(key), dict | list | tuple):
            continue
        value, old = table[key], before.get(key)
        if many:
            kept[key] = [_without_emptied(inner, dict(new), was) for new, was in zip(value, old or (), strict=True)]
            continue
        kept[key] = _without_emptied(inner, dict(value), old or {})
        if not kept[key] and old != {} and not info.is_required():
            del kept[key]
    return kept


def _placed(error: InputError, fields: Mapping[str, FormField], typed: Mapping[str, str]) -> Slip:
    """Return the planner's error as a slip at the field that it speaks of; of a table, at one that was typed in."""
    key = error.key or ""
    within = [path for path in fields if key == path or key.startswith((f"{path}[", f"{path}."))]
    below = [path for path in fields if path.startswith((f"{key}.", f"{key}["))]
    touched = [path for path in below if typed.get(path, fields[path].text) != fields[path].text]
    filled = [path for path in below if fields[path].text]
    path = next(iter([*sorted(within, key=len, reverse=True), *touched, *filled, *below]), key)
    field = fields.get(path)
    found, label = ("", "") if field is None else (typed.get(path, field.text), field.place)
    units: LengthUnit = "in" if fields["units"].text == "in" else "mm"
    problem, allowed = (say(error.fact[name], units) for name in ("problem", "allowed"))
    if error.problem == "the key is missing":
        problem, allowed = "this is missing", "a value"
    return Slip(problem, path, None, None, found, allowed, error.suggestion, label)
