"""The rows of a shape, from the part file or from a CSV file beside it, each with its place for errors."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, replace
from pathlib import Path as File
from typing import Final, Literal

from planner.errors import InputError, UnreadableFile, nearest_name
from planner.inputs.documents import Document, dotted
from planner.inputs.part_file import Rows, ShapeTable
from planner.inputs.reading import read_text, screen

Kind = Literal["lra", "xyz"]

COLUMNS: Final[dict[Kind, tuple[str, ...]]] = {
    "lra": ("straight", "rotation", "angle"),
    "xyz": ("x", "y", "z"),
}
"""Columns of a CSV file by kind; a fourth one, `radius`, may follow."""

_HEADERS: Final = "straight,rotation,angle or x,y,z, either with ,radius"


@dataclass(frozen=True)
class RowPlace:
    """Where a row of the shape's table stands, or what else the shape says (`row` is None there); rows count from 1."""

    file: str | None
    line: int | None
    key: str
    row: int | None = None

    def error(self, problem: str, allowed: str, found: object = None, cell: str | None = None) -> InputError:
        """Return the error for this row; cell: the name of the column where it is one cell's."""
        place = {"file": self.file, "line": self.line, "key": self.key, "row": self.row}
        return InputError(problem, cell=cell, found=found, allowed=allowed, **place)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Table:
    """The rows of a shape as written: numbers in the file's units, 3 or 4 (1 in the last of lra)."""

    kind: Kind
    rows: Rows
    places: tuple[RowPlace, ...]
    whole: RowPlace


def read_table(document: Document, shape: ShapeTable) -> Table:
    """Return the rows that the part file gives or names; raises InputError unless it is one table."""
    given = [name for name in ("lra", "xyz", "file") if getattr(shape, name) is not None]
    if len(given) != 1:
        found = "none of lra, xyz and file" if not given else "both " + " and ".join(given)
        path = ("shape", given[1]) if given else ("shape",)
        raise document.error(f"{found} is given", path, "one of lra, xyz and file", given)
    if shape.file is not None:
        beside = _beside(document, shape.file)
        try:
            text = read_text(beside, f"the table {beside}")
        except UnreadableFile as error:
            if error.line is not None:
                raise
            more = {"suggestion": error.suggestion}
            raise document.error(error.problem, ("shape", "file"), error.allowed, shape.file, **more) from None
        return _csv_table(beside, text)
    kind: Kind = "lra" if shape.lra is not None else "xyz"
    rows = shape.lra if shape.lra is not None else shape.xyz or ()
    paths = [("shape", kind, i) for i in range(len(rows))]
    places = tuple(RowPlace(document.file, document.line_of(path), dotted(path), path[2] + 1) for path in paths)
    whole = RowPlace(document.file, document.line_of(("shape", kind)), f"shape.{kind}")
    return Table(kind, rows, places, whole)


def _beside(document: Document, name: str) -> File:
    """Return the CSV file's path, counted from the part file's folder."""
    folder = File() if document.file is None else File(document.file).parent
    return folder / name


def _csv_table(path: File, text: str) -> Table:
    """Read the text of a CSV file of lra or xyz."""
    screen(text, str(path))
    reader = csv.DictReader(io.StringIO(text), strict=True)
    try:
        header = [name.strip().lower() for name in reader.fieldnames or ()]
        reader.fieldnames = header
        kind = _kind_of(header, path)
        rows: list[tuple[float, ...]] = []
        places: list[RowPlace] = []
        for record in reader:
            place = RowPlace(str(path), reader.line_num, f"row {len(rows) + 1}", len(rows) + 1)
            if all(not str(cell or "").strip() for cell in record.values()):
                continue
            if None in record:
                raise place.error("there are more cells than columns", f"{len(header)} cells", record[None])
            names = (*COLUMNS[kind], "radius")
            rows.append(_numbers(place, [(record.get(name) or "").strip() for name in names], names))
            places.append(place)
    except csv.Error as error:
        raise UnreadableFile(
            f"this is no CSV: {error}", file=str(path), line=reader.reader.line_num, allowed="CSV"
        ) from None
    return Table(kind, tuple(rows), tuple(places), RowPlace(str(path), 1, "rows"))


def _kind_of(header: list[str], path: File) -> Kind:
    """Return which table the header promises."""
    kinds: tuple[Kind, ...] = ("lra", "xyz")
    for kind in kinds:
        columns = set(COLUMNS[kind])
        if columns <= set(header) <= columns | {"radius"} and len(set(header)) == len(header):
            return kind
    known = (*COLUMNS["lra"], *COLUMNS["xyz"], "radius")
    odd = next((name for name in header if name not in known), None)
    raise InputError(
        f'the header is "{",".join(header)}"',
        file=str(path), line=1, key="header", found=header, allowed=_HEADERS,
        suggestion=None if odd is None else nearest_name(odd, known),
    )  # fmt: skip


def _numbers(place: RowPlace, cells: list[str], names: tuple[str, ...]) -> tuple[float, ...]:
    """Return a row's numbers; empty cells may only stand at its end."""
    while cells and not cells[-1]:
        cells.pop()
    numbers = []
    for name, cell in zip(names, cells, strict=False):
        try:
            numbers.append(float(cell))
        except ValueError:
            found = f'"{cell}" is no number' if cell else "the cell is empty"
            raise replace(place, key=f"{place.key}, {name}").error(
                f"{found} (column {name})", "a number with a decimal point", cell, name
            ) from None
    return tuple(numbers)
