"""From the rows of a shape to its straights, rotations, angles and radii, in mm and radians."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from pydantic_core import PydanticCustomError

from planner.errors import InputError
from planner.inputs.centreline import Array, lra_from_vertices
from planner.inputs.documents import Document
from planner.inputs.part import MOST_BENDS, RADIUS
from planner.inputs.part_file import ShapeTable
from planner.inputs.quantities import FileUnits, Kind, Least, read
from planner.inputs.rows import RowPlace, Table, read_table

_LRA: tuple[tuple[str, Kind, Least], ...] = (
    ("straight", "length", "zero"),
    ("rotation", "angle", "any"),
    ("angle", "angle", "above zero"),
)


@dataclass(frozen=True)
class Shape:
    """Straights (n+1,), radii (n,) [mm], rotations, angles (n,) [rad], right-handed, and where the rows
    stand.
    """

    straights: Array
    rotations: Array
    angles: Array
    radii: Array
    table: Table
    radius_places: tuple[RowPlace, ...]

    def placed(self, error: InputError, document: Document) -> InputError:
        """Return an error of the part with its place in the files."""
        if error.row is not None:
            places = self.radius_places if error.cell == RADIUS else self.table.places
            place = places[min(error.row, len(places)) - 1]
        elif (error.key or "shape") == "shape":
            place = self.table.whole
        else:
            path = tuple(str(error.key).split("."))
            place = RowPlace(document.file, document.line_of(path), str(error.key))
        error.file, error.line, error.key, error.row = place.file, place.line, place.key, place.row
        return error


def read_shape(document: Document, shape: ShapeTable, unit: FileUnits) -> Shape:
    """Return the shape that a part file gives; raises InputError with the row's place."""
    table = read_table(document, shape)
    n = len(table.rows) - (1 if table.kind == "lra" else 2)
    if not 1 <= n <= MOST_BENDS:
        found = f"{n} bends" if n > 0 else "no bends"
        raise table.whole.error(f"the part has {found}", f"1 to {MOST_BENDS} bends", max(n, 0))
    radii, places = _radii(document, shape, table, n, unit)
    if table.kind == "lra":
        straights, rotations, angles = _from_lra(table, unit)
        if shape.rotation_sign == "left-handed":
            rotations = -rotations
        return Shape(straights, rotations, angles, radii, table, places)
    if shape.rotation_sign == "left-handed":
        raise document.error(
            "vertices have no sign of rotation",
            ("shape", "rotation_sign"),
            '"left-handed" only with lra',
            "left-handed",
        )
    vertices = _vertices(table, unit)
    try:
        straights, rotations, angles = lra_from_vertices(vertices, radii)
    except InputError as error:
        read_so_far = Shape(np.zeros(0), np.zeros(0), np.zeros(0), radii, table, places)
        raise read_so_far.placed(error, document) from None
    return Shape(straights, rotations, angles, radii, table, places)


def _cell(place: RowPlace, name: str, value: float, kind: Kind, least: Least, unit: FileUnits) -> float:
    """Return a number of a row in the program's unit."""
    try:
        return read(value, kind, least, unit)
    except PydanticCustomError as error:
        context = error.context or {}
        raise place.error(f"{context['problem']} ({name})", str(context["allowed"]), value, name) from None


def _from_lra(table: Table, unit: FileUnits) -> tuple[Array, Array, Array]:
    """Return straights, rotations and angles of the rows."""
    rows: list[list[float]] = []
    for row, place in zip(table.rows[:-1], table.places, strict=False):
        if len(row) not in (3, 4):
            raise place.error(
                f"{len(row)} numbers stand in the row",
                "straight, rotation, angle and, if need be, radius",
                list(row),
            )
        values = zip(row, _LRA, strict=False)
        rows.append([_cell(place, name, value, kind, least, unit) for value, (name, kind, least) in values])
        if abs(row[1]) > 360.0:
            raise place.error(
                f"{row[1]:.10g} is more than a turn (rotation)", "-360 to 360 degrees", row[1], "rotation"
            )
    last, place = table.rows[-1], table.places[-1]
    if len(last) != 1:
        raise place.error(f"{len(last)} numbers stand in the last row", "the end straight alone", list(last))
    end = _cell(place, "straight", last[0], "length", "zero", unit)
    columns = np.array(rows)
    return np.append(columns[:, 0], end), columns[:, 1], columns[:, 2]


def _vertices(table: Table, unit: FileUnits) -> Array:
    """Return the vertices (n+2, 3) [mm]."""
    for row, place in zip(table.rows, table.places, strict=True):
        if len(row) not in (3, 4):
            raise place.error(f"{len(row)} numbers stand in the row", "x, y, z and, if need be, radius", list(row))
    return np.array(
        [
            [_cell(place, name, value, "length", "any", unit) for name, value in zip("xyz", row, strict=False)]
            for row, place in zip(table.rows, table.places, strict=True)
        ]
    )


def _radii(
    document: Document, shape: ShapeTable, table: Table, n: int, unit: FileUnits
) -> tuple[Array, tuple[RowPlace, ...]]:
    """Return each bend's radius [mm] and where it stands: in its row, in bend_radii, or in bend_radius."""
    first = 0 if table.kind == "lra" else 1
    rows, places = table.rows[first : first + n], table.places[first : first + n]
    in_rows = [len(row) == 4 for row in rows]
    if table.kind == "xyz":
        for row, place in ((table.rows[0], table.places[0]), (table.rows[-1], table.places[-1])):
            if len(row) == 4 and row[3] != 0.0:
                raise place.error(
                    "an end of the tube has no bend radius", "x, y, z alone, or a 0 fourth", row[3], RADIUS
                )
    if shape.bend_radii is not None:
        if any(in_rows) or shape.bend_radius is not None:
            other = "bend_radius" if shape.bend_radius is not None else "a radius in the rows"
            raise document.error(f"bend_radii and {other} are both given", ("shape", "bend_radii"), "one of the two")
        if len(shape.bend_radii) != n:
            raise document.error(
                f"{len(shape.bend_radii)} radii for {n} bends", ("shape", "bend_radii"), "a radius a bend",
                len(shape.bend_radii),
            )  # fmt: skip
        paths = [("shape", "bend_radii", i) for i in range(n)]
        listed = tuple(RowPlace(document.file, document.line_of(p), f"shape.bend_radii[{p[2] + 1}]") for p in paths)
        return np.array(shape.bend_radii), listed
    if shape.bend_radius is None and not all(in_rows):
        missing = in_rows.index(False)
        raise document.error(
            f"bend {missing + 1} has no radius",
            ("shape", "bend_radius"),
            "bend_radius, bend_radii, or a radius in every row",
        )
    common = RowPlace(document.file, document.line_of(("shape", "bend_radius")), "shape.bend_radius")
    radii = [
        _cell(place, RADIUS, row[3], "length", "above zero", unit) if own else float(shape.bend_radius or 0.0)
        for row, place, own in zip(rows, places, in_rows, strict=True)
    ]
    return np.array(radii), tuple(place if own else common for place, own in zip(places, in_rows, strict=True))
