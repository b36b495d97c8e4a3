"""The parts of pages that are made from the program itself, in Markdown; pages ask for one by `<!-- made: NAME -->`."""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterable
from functools import partial
from typing import Final

from pydantic import BaseModel

from docs.making.keys import NEEDED, Key, about, keys_of, models_of, told_of
from docs.making.modules import map_of_modules
from planner.advice.answers import Tried, Why
from planner.inputs.gauges import BWG_INCHES
from planner.inputs.machine import Machine
from planner.inputs.materials import MATERIALS
from planner.inputs.part_file import PartFile
from planner.inputs.quantities import MM_PER_INCH, UNITS
from planner.outputs.shape_page import shape_document
from planner.page import questions
from planner.plans.document import Plan
from planner.proof import document as proof

MARK: Final = re.compile(r"<!-- made: ([a-z ]+) -->")

DOCUMENTS: Final[dict[str, type[BaseModel]]] = {
    "plan": Plan,
    "why": Why,
    "tried": Tried,
    "check": questions.CheckAnswer,
    "machines": questions.MachinesAnswer,
    "machine": questions.MachineAnswer,
    "examples": questions.ExamplesAnswer,
    "example": questions.ExampleAnswer,
    "error": questions.ErrorAnswer,
}
"""Documents that are models, by the middle of their schema's name."""


def made(text: str) -> str:
    """Return a page with all that is made put into it; KeyError where it asks for what nothing makes."""
    return MARK.sub(lambda mark: MADE[mark[1]](), text)


def table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """Return a table in Markdown."""
    lines = [tuple(head)]
    lines += [("---",) * len(lines[0]), *map(tuple, rows)]
    return "\n".join("| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |" for line in lines) + "\n"


def file_tables(root: type[BaseModel], what: str) -> str:
    """Return every key of a file, a table for each table of it, in the order in which it names them."""
    places: dict[type, list[str]] = {root: [what]}
    for model in models_of(root):
        for key in keys_of(model):
            for inner in key.models:
                places.setdefault(inner, []).append(_place(root, model, key, places[model][0]))
    told = []
    for model, named in places.items():
        rows = [_in_file(key) for key in map(_with_unit_named, keys_of(model))]
        heading = ", ".join(named) if model is not root else what
        told.append(
            f"### {heading}\n\n{about(model)}\n\n{table(('key', 'value', 'unit', 'without it', 'what it means'), rows)}"
        )
    return "\n".join(told)


def _place(root: type, model: type, key: Key, outer: str) -> str:
    """Return how a table stands in its file: `[head]`, `[[tooling]]`, or in braces within another."""
    if model is root:
        return f"`[[{key.name}]]`" if key.kind.startswith("list") else f"`[{key.name}]`"
    return f"`{key.name} = {{ … }}` in {outer}"


def _with_unit_named(key: Key) -> Key:
    """Return the key as files have it: what is in mm once it is loaded may be in inches there."""
    if key.name != "units":
        return key
    return key._replace(kind=" or ".join(f'`"{unit}"`' for unit in UNITS), without=NEEDED)


def _in_file(key: Key) -> tuple[str, ...]:
    kind = re.sub(r"\b[A-Z]\w+", "table", key.kind)
    without = "**needed**" if key.without == NEEDED else "" if key.without == "none" else key.without
    return f"`{key.name}`", kind, key.unit, without, key.meaning


def _section(model: type, heading: str = "") -> str:
    """Return what a model says of the whole, and its keys."""
    rows = [_in_document(key) for key in keys_of(model)]
    return f"{heading}{as_json(about(model))}\n\n{table(('key', 'value', 'unit', 'what it means'), rows)}"


def _in_document(key: Key) -> tuple[str, ...]:
    kind = key.kind
    for model in key.models:
        kind = re.sub(rf"\b{model.__name__}\b", f"[{model.__name__}](#{model.__name__.lower()})", kind)
    return f"`{key.name}`", f"{kind} or `null`" if key.null else kind, key.unit, as_json(key.meaning)


def as_json(text: str) -> str:
    """Return a sentence with the names that JSON has for what Python calls otherwise."""
    return re.sub(r"\bNone\b", "null", re.sub(r"\bFalse\b", "false", re.sub(r"\bTrue\b", "true", text)))


def all_objects() -> str:
    """Return every object that stands in any document, each once; the documents themselves come first in the page."""
    return "\n".join(
        _section(model, f"#### {model.__name__} {{: #{model.__name__.lower()} }}\n\n") for model in inner_objects()
    )


def inner_objects() -> list[type]:
    """Return the objects that stand in documents, each once."""
    roots = DOCUMENTS.values()
    inner = dict.fromkeys(model for root in roots for model in models_of(root))
    return [model for model in inner if model not in roots]


def shape_keys() -> str:
    """Return the keys of the shape document, as the function that makes it tells them."""
    told = told_of(shape_text(), shape_key_names())
    return table(("key", "what it means"), [(f"`{name}`", meaning) for name, meaning in told.meanings.items()])


def shape_text() -> str:
    """Return what the function that makes the shape document says of it."""
    return (inspect.getdoc(shape_document) or "").partition("\n\nOf the arguments")[0]


def shape_key_names() -> list[str]:
    """Return the names that it speaks of."""
    found = re.findall(r"(?:^|[.;]\s)(\w+(?:, \w+)*):\s", shape_text(), re.MULTILINE)
    return [name for names in found for name in names.split(", ")]


def proof_fields() -> str:
    """Return what the module that writes proofs tells of every field of one: an entry for each that begins a line."""
    first, *told = (inspect.getdoc(proof) or "").split("\n\n")
    entries = [
        entry for text in (first.partition("\n")[2] or "", *told) for entry in re.split(r"\n(?=\w)", text.strip())
    ]
    return "\n\n".join(_entry(entry) for entry in entries if entry)


def _entry(text: str) -> str:
    """Return one entry: its names, what they mean, and a list of the fields in it."""
    names, _, meaning = text.partition(":")
    own, *inner = _fields(" ".join(meaning.split()))
    listed = "".join(f"\n- **{one.partition(':')[0]}**:{one.partition(':')[2].rstrip(';.')}" for one in inner)
    return f"**{names}**: {own}\n{listed}"


def _fields(text: str) -> list[str]:
    """Return an entry cut before each field that it tells of, but not within braces."""
    found = [""]
    for piece in re.split(r"(?<=[;.]) (?=(?:\w+(?:, \w+)*)(?: \[[^\]]*\])?: )", text):
        if found[-1].count("{") == found[-1].count("}") and found[-1]:
            found.append(piece)
        else:
            found[-1] = f"{found[-1]} {piece}".strip()
    return found


def materials() -> str:
    """Return the table of materials."""
    rows = [
        (one.name, ", ".join(one.also), f"{one.yield_strength:g}", f"{one.modulus:g}", f"{one.density:g}", one.source)
        for one in MATERIALS
    ]
    return table(
        ("material", "also", "yield strength, MPa", "modulus, MPa", "density, kg/m³", "source of the yield"), rows
    )


def gauges() -> str:
    """Return the table of gauges."""
    rows = [(f"{number} BWG", f"{inches:.3f}", f"{inches * MM_PER_INCH:.3f}") for number, inches in BWG_INCHES.items()]
    return table(("gauge", "wall, in", "wall, mm"), rows)


MADE: Final[dict[str, Callable[[], str]]] = {
    "part file": lambda: file_tables(PartFile, "The part file itself"),
    "machine profile": lambda: file_tables(Machine, "The profile itself"),
    "modules": map_of_modules,
    "materials": materials,
    "gauges": gauges,
    "shape": shape_keys,
    "proof": proof_fields,
    "objects": all_objects,
    **{name: partial(_section, model) for name, model in DOCUMENTS.items()},
}
"""What can be asked for, by name."""
