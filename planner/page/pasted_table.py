"""A table that is pasted, from a spreadsheet (tabs), as CSV (comma or semicolon) or aligned by spaces → form rows.

With a header its columns may stand in any order, and it tells which table it is; without one the first three columns
are those of the table that is chosen at the moment, a fourth one is the radius. A last row of one cell alone is the end
straight. Cells are taken as they are: whether they are numbers the form says, at the cell. What cannot be told apart is
refused with its line and column.

Commas part columns unless that leaves spaces inside a cell: "100,5 0 90" has decimal commas and is parted by spaces.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from planner.errors import InputError, nearest_name
from planner.inputs.part import MOST_BENDS
from planner.inputs.quantities import described
from planner.inputs.rows import Kind
from planner.page.part_form import COLUMNS, RADIUS

LARGEST_TEXT: Final = 100_000
"""More characters than this are no table of a part."""

HEADERS: Final = "straight, rotation, angle or x, y, z, either with radius, in any order"


class NotATable(InputError):
    """What was pasted is no table of a part; `line` and `column` say where, from 1."""


@dataclass(frozen=True)
class Pasted:
    """Rows of four cells of text, and the kind of table that they are."""

    kind: Kind
    rows: list[list[str]]


@dataclass(frozen=True)
class _PastedLine:
    """The cells of a line, and its number from 1; the line's end without cells is left off."""

    number: int
    cells: tuple[str, ...]

    @property
    def filled(self) -> list[int]:
        """Which cells are not empty."""
        return [i for i, cell in enumerate(self.cells) if cell]

    def refused(self, problem: str, allowed: str, column: int | None = None, **more: str | None) -> NotATable:
        """Return the refusal of a cell (from 0), or of the line."""
        place = {"line": self.number, "column": None if column is None else column + 1}
        return NotATable(problem, allowed=allowed, **place, **more)  # type: ignore[arg-type]


def pasted(text: str, chosen: Kind) -> Pasted:
    """Return the table of a pasted text; chosen: the kind that it is without a header. Raises NotATable."""
    if len(text) > LARGEST_TEXT:
        raise NotATable("this is too long for a table", line=1, allowed=f"at most {LARGEST_TEXT} characters")
    clean = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    by_spaces = _parted_by(clean) == " "
    lines = _lines(clean, _parted_by(clean))
    if not lines:
        raise NotATable("there is nothing in it", line=1, allowed="a row a bend, or vertices, with or without a header")
    kind, columns = chosen, list(COLUMNS[chosen])
    if any(not re.search(r"[0-9]", cell) for cell in lines[0].cells if cell):
        kind, columns = _header(lines[0])
        lines = lines[1:]
        if not lines:
            raise NotATable("no row follows the header", line=1, allowed="a row a bend, or vertices")
    if len(lines) > MOST_BENDS + 2:
        raise lines[MOST_BENDS + 2].refused(f"there are {len(lines)} rows", f"at most {MOST_BENDS} bends")
    return Pasted(kind, [_row(line, kind, columns, by_spaces, line is lines[-1]) for line in lines])


def _parted_by(text: str) -> str:
    """Return what parts the columns: a tab, a semicolon, a comma or a space."""
    for mark in ("\t", ";"):
        if mark in text:
            return mark
    cells = [cell.strip(' "') for line in text.split("\n") for cell in _csv_cells([line], ",", 0)[0][1]]
    return "," if "," in text and not any(" " in cell for cell in cells) else " "


def _csv_cells(lines: Sequence[str], mark: str, first: int) -> list[tuple[int, list[str]]]:
    """Return the cells of lines, each with the number of the line that they begin on."""
    reader = csv.reader((f"{line}\n" for line in lines), delimiter=mark, skipinitialspace=mark != "\t")
    found, begins = [], first
    try:
        for cells in reader:
            found.append((begins, cells))
            begins = first + reader.line_num
    except csv.Error as error:
        raise NotATable(f"this is no table: {error}", line=begins, allowed="CSV") from None
    return found or [(first, [])]


def _lines(text: str, mark: str) -> list[_PastedLine]:
    """Return the lines with their cells, without empty ones before and after."""
    lines = text.split("\n")
    if mark == " ":
        parted = [(i, re.findall(r'"[^"]*"|[^ ]+', line)) for i, line in enumerate(lines, start=1)]
    else:
        parted = _csv_cells(lines, mark, 1)
    found = [_PastedLine(number, _trimmed(cells)) for number, cells in parted]
    for line in found:
        broken = next((i for i, cell in enumerate(line.cells) if "\n" in cell), None)
        if broken is not None:
            raise line.refused(
                "a line break, or a quote that is not closed, stands in a cell", "cells of one line", broken
            )
    while found and not found[-1].cells:
        found.pop()
    while found and not found[0].cells:
        found.pop(0)
    return found


def _trimmed(cells: Sequence[str]) -> tuple[str, ...]:
    """Return cells without quotes and spaces around them, and without empty ones at the end of the line."""
    bare = [_bare(cell) for cell in cells]
    while bare and not bare[-1]:
        bare.pop()
    return tuple(bare)


def _bare(cell: str) -> str:
    """Return a cell without spaces, and without a pair of quotes, around it."""
    cell = cell.strip(" \u00a0")
    return cell[1:-1].strip(" \u00a0") if len(cell) > 1 and cell[0] == cell[-1] == '"' else cell


def _header(line: _PastedLine) -> tuple[Kind, list[str]]:
    """Return the kind of table that a header promises, and its columns."""
    names = [cell.lower() for cell in line.cells]
    known = [name for columns in COLUMNS.values() for name in columns]
    for i, name in enumerate(names):
        if name not in known:
            found = f"{described(line.cells[i])} is no column of the table" if name else "a column has no name"
            raise line.refused(found, HEADERS, i, found=line.cells[i], suggestion=nearest_name(name, known))
        if name in names[:i]:
            raise line.refused(f"the column {name} stands there twice", HEADERS, i, found=line.cells[i])
    kind: Kind = "xyz" if {"x", "y", "z"} & set(names) else "lra"
    for i, name in enumerate(names):
        if name not in COLUMNS[kind]:
            raise line.refused(f"{name} is no column beside x, y, z", HEADERS, i, found=line.cells[i])
    missing = [name for name in COLUMNS[kind][:RADIUS] if name not in names]
    if missing:
        raise line.refused(f"the column {missing[0]} is missing", HEADERS, len(names))
    return kind, names


def _row(line: _PastedLine, kind: Kind, columns: list[str], by_spaces: bool, last: bool) -> list[str]:
    """Return a line as a row of the form."""
    row = [""] * len(COLUMNS[kind])
    for i, cell in enumerate(line.cells):
        if cell and not re.search(r"[0-9]", cell):
            raise line.refused(f"{described(cell)} is no number", "a number", i, found=cell)
    if len(line.filled) == 1 and last and kind == "lra":
        at = line.filled[0]
        if len(line.cells) > 1 and (at >= len(columns) or columns[at] != "straight"):
            raise line.refused("a number stands alone in the last row", "the end straight, in its column", at)
        row[0] = line.cells[at]
        return row
    if len(line.cells) > len(columns):
        raise line.refused(
            f"{len(line.cells)} cells stand in the line", f"at most {len(columns)}: {', '.join(columns)}", len(columns)
        )
    if line.cells and len(line.cells) < RADIUS and (by_spaces or kind == "xyz"):
        raise line.refused(
            f"{len(line.cells)} of the three numbers of a row stand in the line",
            ", ".join(columns[:RADIUS]),
            len(line.cells),
        )
    if line.cells and len(line.cells) < len(columns) and by_spaces and columns[-1] != "radius":
        raise line.refused(
            f"{len(line.cells)} cells stand under {len(columns)} columns, and which one is missing cannot be told",
            f"{len(columns)} cells, or columns parted by tabs, commas or semicolons",
            len(line.cells),
        )
    for name, cell in zip(columns, line.cells, strict=False):
        row[COLUMNS[kind].index(name)] = cell
    return row
