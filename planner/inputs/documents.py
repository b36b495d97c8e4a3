"""A file as a document: its tables, and where in it everything stands, so that every error can name the
place.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from functools import cached_property
from pathlib import Path as File
from typing import Any, Final, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from planner.errors import InputError, UnreadableFile, nearest_name
from planner.facts import Fact
from planner.inputs.lines import Path, lines_of_json, lines_of_toml
from planner.inputs.quantities import UNITS, FileUnits, described
from planner.inputs.reading import first_surrogate, read_text, screen

RESERVED: Final = frozenset(
    {"between_bends", "opens_sideways", "die_cut", "contoured", "contoured_clamp", "contoured_clamps"}
)
"""Keys that later versions will read; until then they are refused rather than ignored."""

TABLES: Final = (("shape", "lra"), ("shape", "xyz"))
"""Where a table of rows stands."""

_ALLOWED: Final = {
    "bool_type": "true or false",
    "string_type": "text in quotes",
    "tuple_type": "a list in brackets",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "dict_type": "a table",
}

Model = TypeVar("Model", bound=BaseModel)


class Document:
    """The tables of a file (`data`); `file` is its name in errors, None for data that come from no file."""

    def __init__(self, data: Mapping[str, Any], file: str | None = None, text: str = "", kind: str = "") -> None:
        self.data = dict(data)
        self.file = file
        self.text = text
        self.kind = kind

    @cached_property
    def _lines(self) -> dict[Path, int]:
        """The lines of everything in the file, found when the first error asks."""
        if self.kind == "":
            return {}
        return lines_of_json(self.text) if self.kind == ".json" else lines_of_toml(self.text)

    def line_of(self, path: Path) -> int | None:
        """Return the line, from 1, of a key or entry, or of the nearest table or list around it."""
        for length in range(len(path), 0, -1):
            if path[:length] in self._lines:
                return self._lines[path[:length]]
        return None

    def error(
        self, problem: str | Fact, path: Path, allowed: str | Fact, found: object = None, **more: Any
    ) -> InputError:
        """Return the error for a place in this document."""
        place = {"file": self.file, "line": self.line_of(path), "key": dotted(path)}
        if path[:2] in TABLES and len(path) > 2 and isinstance(path[2], int):
            place["row"] = path[2] + 1
        return InputError(problem, found=found, allowed=allowed, **{**place, **more})

    def unit(self) -> FileUnits:
        """Return the unit that the file names; raises InputError if it names none."""
        if "units" not in self.data:
            raise self.error("the unit of length is missing", ("units",), '"mm" or "in"')
        unit = self.data["units"]
        if not isinstance(unit, str) or unit not in UNITS:
            meant = nearest_name(unit, UNITS) if isinstance(unit, str) else None
            raise self.error(
                f"{described(unit)} is no unit of length", ("units",), '"mm" or "in"', unit, suggestion=meant
            )
        return FileUnits(UNITS[unit])

    def model(self, kind: type[Model]) -> Model:
        """Return the document as a model, lengths in mm and angles in radians; raises InputError."""
        unit = self.unit()
        try:
            return kind.model_validate({**self.data, "units": "mm"}, context=unit)
        except ValidationError as error:
            raise self._first_of(error.errors(include_url=False), kind) from None

    def _first_of(self, errors: list[ErrorDetails], kind: type[BaseModel]) -> InputError:
        """Return the error to show: an unknown key before others (it explains a missing one), then the first
        line.
        """

        def rank(error: ErrorDetails) -> tuple[bool, bool, bool, int]:
            path, sort = self._path(error["loc"]), error["type"]
            other_kind = sort == "literal_error" and not isinstance(error["input"], str)
            return sort != "extra_forbidden", other_kind, sort == "missing", self.line_of(path) or 0

        return self._translated(min(errors, key=rank), kind)

    def _path(self, loc: tuple[int | str, ...]) -> Path:
        """Return where an error lies in the file, without the marks that the models put in.

        A mark is a model's name where a key may hold one of several kinds; keys begin with small letters.
        """
        path: Path = ()
        here: Any = self.data
        for step in loc:
            if isinstance(here, Mapping) and isinstance(step, str) and (step in here or not step[:1].isupper()):
                path, here = (*path, step), here.get(step)
            elif isinstance(here, list | tuple) and isinstance(step, int):
                path, here = (*path, step), here[step] if step < len(here) else None
        return path

    def _translated(self, error: ErrorDetails, kind: type[BaseModel]) -> InputError:
        """Return a model's complaint as the error that the user sees."""
        path, sort, found = self._path(error["loc"]), error["type"], error["input"]
        context = error.get("ctx", {})
        if sort == "extra_forbidden":
            return self._unknown_key(path, kind)
        if sort == "missing":
            if path and isinstance(path[-1], int):
                return self.error("a number is missing in the list", path, "as many numbers as the key asks for")
            return self.error("the key is missing", path, "a value: this key has no default")
        if sort == "refused":
            path = (*path, *context["key"])
            for step in context["key"]:
                found = found[step] if isinstance(found, list | tuple) else found.get(step)
            return self.error(context["problem"], path, context["allowed"], found)
        if sort == "literal_error":
            names = re.findall(r"'([^']*)'", str(context["expected"]))
            meant = nearest_name(found, names) if isinstance(found, str) else None
            allowed = " or ".join(f'"{name}"' for name in names)
            return self.error(f"{described(found)} is not known here", path, allowed, found, suggestion=meant)
        allowed = _ALLOWED.get(sort, error["msg"][:1].lower() + error["msg"][1:])
        return self.error(f"{described(found)} cannot stand here", path, allowed, found)

    def _unknown_key(self, path: Path, kind: type[BaseModel]) -> InputError:
        """Return the error for a key that no table knows, or that only a later version will."""
        key = str(path[-1])
        names = keys_at(kind, path[:-1])
        allowed = ", ".join(names)
        if key in RESERVED:
            return self.error("this key is reserved, not read yet", path, allowed, key)
        meant = nearest_name(key, names)
        return self.error("the key is not known", path, allowed, key, suggestion=meant)


def dotted(path: Path) -> str:
    """Return a path as it is written in errors: tooling[2].die_height, entries counted from 1."""
    text = ""
    for step in path:
        text += f"[{step + 1}]" if isinstance(step, int) else f".{step}" if text else step
    return text


def keys_at(kind: type[BaseModel], path: Iterable[str | int]) -> list[str]:
    """Return the keys that may stand in the table at `path` of a model."""
    for step in path:
        if isinstance(step, str):
            by_key = {field.alias or name: field for name, field in kind.model_fields.items()}
            inner = _model_in(by_key[step].annotation) if step in by_key else None
            kind = inner if inner is not None else kind
    return [field.alias or name for name, field in kind.model_fields.items() if not field.exclude]


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """Return the model in an annotation such as tuple[Tooling, ...] or Carriage | None."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((model for inner in get_args(annotation) if (model := _model_in(inner)) is not None), None)


def read_document(path: File, what: str) -> Document:
    """Return a TOML or JSON file as a document; raises UnreadableFile with line and column of a slip."""
    kind = path.suffix.lower()
    parsers: dict[str, Callable[[str, str], Any]] = {".toml": _toml, ".json": _json}
    text = read_text(path, what)
    if kind not in parsers:
        raise UnreadableFile(
            f'a file ending in "{path.suffix}" is not read',
            file=str(path),
            found=path.suffix,
            allowed=".toml or .json",
        )
    return _document_of(text, parsers[kind], str(path), kind)


def json_document(text: str, file: str) -> Document:
    """Return a JSON text that comes from no file as a document; raises UnreadableFile. `file` names it in errors."""
    return _document_of(text, _json, file, ".json")


def _document_of(text: str, parser: Callable[[str, str], Any], file: str, kind: str) -> Document:
    """Return a text as a document."""
    screen(text, file)
    try:
        data = parser(text, file)
    except RecursionError:
        raise UnreadableFile("lists are nested too deep", file=file, allowed="a file as described") from None
    if not isinstance(data, dict):
        raise UnreadableFile(f"{described(data)} is no table", file=file, line=1, found=data, allowed="a table of keys")
    document = Document(data, file, text, kind)
    wrong = first_surrogate(data)
    if wrong is not None:
        raise document.error("this is no text: half of a pair of surrogates", wrong, "letters, digits, signs")
    return document


def _toml(text: str, file: str) -> dict[str, Any]:
    """Parse TOML."""
    try:
        return tomllib.loads(text)
    except ValueError as error:  # TOMLDecodeError among it
        match = re.fullmatch(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", str(error), re.DOTALL)
        problem = match[1] if match else str(error)
        line = int(match[2]) if match and match[2] else text.count("\n") + 1 if match else None
        column = int(match[3]) if match and match[3] else None
        raise UnreadableFile(
            f"this is no TOML: {_sentence(problem)}", file=file, line=line, column=column, allowed="TOML"
        ) from None


def _json(text: str, file: str) -> Any:
    """Parse JSON; a key given twice is refused, as TOML does."""

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        table: dict[str, Any] = {}
        for key, value in pairs:
            if key in table:
                raise UnreadableFile("the key is given twice", file=file, key=key, found=key, allowed="a key once")
            table[key] = value
        return table

    try:
        return json.loads(text, object_pairs_hook=once)
    except json.JSONDecodeError as error:
        raise UnreadableFile(
            f"this is no JSON: {_sentence(error.msg)}",
            file=file,
            line=error.lineno,
            column=error.colno,
            allowed="JSON",
        ) from None
    except ValueError as error:
        raise UnreadableFile(f"this is no JSON: {_sentence(str(error))}", file=file, allowed="JSON") from None


def _sentence(text: str) -> str:
    """Return a parser's message as the middle of a sentence."""
    return text[:1].lower() + text[1:].rstrip(".")
