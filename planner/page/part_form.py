"""The part as it is typed: cells of text → a part file's document → a Part, every slip at the cell it belongs to.

The form keeps what was typed. Nothing is guessed: a cell is a number or a slip (`lengths.number_of`), and what is
changed for the user (the kind of table, the units, the hand) is changed only once every cell is a number.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final, Literal

import numpy as np

from planner.errors import InputError
from planner.inputs.documents import Document
from planner.inputs.files import part_from_data
from planner.inputs.gauges import wall_of_gauge
from planner.inputs.materials import find_material
from planner.inputs.part import Part, RotationSign
from planner.inputs.part_file import PartFile
from planner.inputs.quantities import MM_PER_INCH
from planner.inputs.rows import Kind, read_table
from planner.page.lengths import Misread, has_decimal_comma, number_of, text_of, typed_in
from planner.page.slips import Slip
from planner.tolerances import (
    CONVERTED_ANGLE,
    CONVERTED_ROTATION,
    CONVERTED_STRAIGHT,
    KEPT_DECIMALS,
    NEAT_ANGLE,
    NEAT_LENGTH,
    PLACE_DECIMALS,
)
from planner.wording.figures import LengthUnit
from planner.wording.say import say

COLUMNS: Final[dict[Kind, tuple[str, ...]]] = {
    "lra": ("straight", "rotation", "angle", "radius"),
    "xyz": ("x", "y", "z", "radius"),
}
"""Columns of the table by kind; the last row of lra holds the end straight alone."""

RADIUS: Final = 3
"""The column of the radius in both."""

LENGTHS: Final = ("outside_diameter", "wall", "bend_radius", "trim_a", "trim_b")
"""Fields that hold a length in the form's units."""


@dataclass(frozen=True)
class Read:
    """What a form says: the part, the document of a part file in the form's units, and all slips that can be told.

    part is None where there is a slip, document where a cell is no number or missing.
    """

    part: Part | None
    document: dict[str, Any] | None
    slips: tuple[Slip, ...] = ()


@dataclass
class PartForm:
    """A part as it is typed, all as text; rows have up to four cells, `bend_radius` counts for those without one."""

    name: str = ""
    units: LengthUnit = "mm"
    machine: str = ""
    outside_diameter: str = ""
    wall: str = ""
    gauge: str = ""
    material: str = ""
    yield_strength: str = ""
    kind: Kind = "lra"
    rotation_sign: RotationSign = "right-handed"
    bend_radius: str = ""
    rows: list[list[str]] = field(default_factory=list)
    trim_a: str = ""
    trim_b: str = ""

    @classmethod
    def of(cls, part: Part | Mapping[str, Any], file: str | None = None) -> PartForm:
        """Return the form of a part, or of a part file's document with its own units; raises InputError.

        file: where the document comes from; a CSV file that it names is looked for beside it.
        """
        return _of_part(part) if isinstance(part, Part) else _of_document(Document(part, file))

    def read(self) -> Read:
        """Return the part, or every slip: first cells that are no numbers, then what the planner refuses."""
        slips = [*self._number_slips(), *self._missing()]
        if slips:
            return Read(None, None, tuple(sorted(slips, key=_in_order)))
        document = self._document()
        part, refused = self._planned(document)
        return Read(part, document, refused)

    def switched(self, kind: Kind) -> tuple[PartForm, tuple[Slip, ...]]:
        """Return the form with the other kind of table and no slips, or this one and why it cannot be switched."""
        if kind == self.kind:
            return self, ()
        read = self.read()
        if read.part is None:
            return self, read.slips
        try:
            form = self._as_vertices(read.part) if kind == "xyz" else self._as_lra(read.part)
        except InputError as error:
            row = None if error.row is None else error.row - 1
            return self, (Slip(error.problem, error.cell or "rows", row, 2, allowed=error.allowed),)
        again = form.read()
        if again.part is None or not _same_shape(again.part, read.part):
            why = again.slips[0].problem if again.slips else "a bend of it is too small"
            return self, (Slip(f"the table cannot be written as {kind.upper()}: {why}", "rows"),)
        return form, ()

    def in_units(self, units: LengthUnit) -> tuple[PartForm, tuple[Slip, ...]]:
        """Return the form with every length in other units and no slips, or this one and the cells that hinder it."""
        slips = tuple(self._number_slips())
        if slips or units == self.units:
            return self, slips
        lengths: dict[str, Any] = {name: typed_in(getattr(self, name), self.units, units) for name in LENGTHS}
        rows = [
            [typed_in(cell, self.units, units) if self._unit(j) == self.units else cell for j, cell in enumerate(row)]
            for row in self._padded()
        ]
        return replace(self, units=units, rows=rows, **lengths), ()

    def mirrored(self) -> tuple[PartForm, tuple[Slip, ...]]:
        """Return the mirror image and no slips, or this form and the cells that hinder it.

        Rotations change their signs; of vertices, z does.
        """
        slips = tuple(self._number_slips())
        if slips:
            return self, slips
        column = 1 if self.kind == "lra" else 2
        rows = [list(row) for row in self._padded()]
        for row in rows:
            value = number_of(row[column], self._unit(column))
            if not isinstance(value, Misread):
                row[column] = text_of(-value)
        return replace(self, rows=rows), ()

    # Cells ----------------------------------------------------------------------------------------------------------

    def _padded(self) -> list[list[str]]:
        """Return the rows without empty ones at the end, each of four cells or more."""
        rows = [[str(cell or "") for cell in row] + [""] * (4 - len(row)) for row in self.rows]
        while rows and not any(cell.strip() for cell in rows[-1]):
            rows.pop()
        return rows

    def _unit(self, column: int) -> str:
        """Return the unit of a column's cells."""
        return "deg" if self.kind == "lra" and column in (1, 2) else self.units

    def _units(self) -> dict[str, str]:
        """Return the unit of every field that holds a number."""
        return {**dict.fromkeys(LENGTHS, self.units), "yield_strength": "MPa"}

    def _number_slips(self) -> Iterator[Slip]:
        """Yield a slip for every cell that is neither empty nor a number."""
        rows, columns = self._padded(), COLUMNS[self.kind]
        cells: list[tuple[str, str, str, int | None, int | None]] = [
            (getattr(self, name), unit, name, None, None) for name, unit in self._units().items()
        ]
        cells += [(row[j], self._unit(j), columns[j], i, j) for i, row in enumerate(rows) for j in range(4)]
        commas = has_decimal_comma(text for text, *_ in cells)
        for text, unit, key, at, column in cells:
            value = number_of(text, unit, commas)
            if text.strip() and isinstance(value, Misread):
                yield Slip(value.problem, key, at, column, text, value.allowed, value.suggestion)
        for i, row in enumerate(rows):
            if any(cell.strip() for cell in row[4:]):
                yield Slip("there are more cells than columns", "rows", i, 4, row[4], "four cells")

    def _missing(self) -> Iterator[Slip]:
        """Yield a slip for everything that must be typed and is not, and for what stands where nothing may."""
        needed = {"name": "a name", "outside_diameter": "a length", "material": "a material"}
        for name, allowed in needed.items():
            if not getattr(self, name).strip():
                yield Slip("this is missing", name, allowed=allowed)
        if not self.wall.strip() and not self.gauge.strip():
            yield Slip("the wall is missing", "wall", allowed='a length, or a gauge such as "16 BWG"')
        rows, columns = self._padded(), COLUMNS[self.kind]
        if not rows:
            yield Slip("the table is empty", "rows", allowed="a row a bend, then the end straight, or vertices")
        for i, row in enumerate(rows):
            last = self.kind == "lra" and i == len(rows) - 1
            if not any(cell.strip() for cell in row):
                yield Slip("the row is empty", "rows", i, None, allowed="no empty row between others")
                continue
            for j in (0,) if last else (0, 1, 2):
                if not row[j].strip():
                    allowed = "0 before the first bend" if (self.kind, i, j) == ("lra", 0, 1) else "a number"
                    yield Slip("the cell is empty", columns[j], i, j, allowed=allowed)
            extra = next((j for j in (1, 2, RADIUS) if last and row[j].strip()), None)
            if extra is not None:
                yield Slip(
                    "the last row holds the end straight alone", columns[extra], i, extra, row[extra],
                    "nothing here, or one more row with the straight after the last bend",
                )  # fmt: skip
        yield from self._missing_radii(rows)

    def _missing_radii(self, rows: list[list[str]]) -> Iterator[Slip]:
        """Yield a slip for every bend that has no radius."""
        bends = range(len(rows) - 1) if self.kind == "lra" else range(1, len(rows) - 1)
        without = [i for i in bends if not rows[i][RADIUS].strip() and any(cell.strip() for cell in rows[i])]
        if self.bend_radius.strip() or not without:
            return
        if len(without) == len(bends):
            yield Slip("this is missing", "bend_radius", allowed="one radius for all bends, or one in every row")
            return
        for i in without:
            yield Slip("the bend has no radius", "radius", i, RADIUS, allowed="a radius here, or one for all bends")

    # The document ---------------------------------------------------------------------------------------------------

    def _number(self, text: str, unit: str) -> float:
        """Return the number in a cell that is known to hold one."""
        value = number_of(text, unit)
        assert not isinstance(value, Misread)  # slips are told before
        return value

    def _document(self) -> dict[str, Any]:
        """Return the document of a part file, in the form's units; every cell holds a number."""

        def given(*names: str) -> dict[str, Any]:
            typed = {name: getattr(self, name) for name in names if getattr(self, name).strip()}
            units = self._units()
            return {name: self._number(text, units[name]) if name in units else text for name, text in typed.items()}

        rows = [
            [self._number(cell, self._unit(j)) for j, cell in enumerate(row) if cell.strip()] for row in self._padded()
        ]
        shape: dict[str, Any] = {"rotation_sign": self.rotation_sign} if self.rotation_sign != "right-handed" else {}
        return {
            **given("name"),
            "units": self.units,
            **given("machine"),
            "tube": given("outside_diameter", "wall", "gauge", "material", "yield_strength"),
            "shape": {**given("bend_radius"), **shape, self.kind: rows},
            **({"ends": given("trim_a", "trim_b")} if self.trim_a.strip() or self.trim_b.strip() else {}),
        }

    def _planned(self, document: dict[str, Any]) -> tuple[Part | None, tuple[Slip, ...]]:
        """Return the part, or all that the planner refuses.

        It tells one error at a time; so what it refuses in a cell is set right in a copy, and it is asked again.
        """
        slips: list[Slip] = []
        tried = {**document, "tube": dict(document["tube"]), "shape": dict(document["shape"])}
        tried["shape"][self.kind] = [list(row) for row in document["shape"][self.kind]]
        while True:
            try:
                part = part_from_data(tried)
            except InputError as error:
                slip = self._placed(error)
            else:
                return (None if slips else part), tuple(sorted(slips, key=_in_order))
            told = {(other.key, other.row) for other in slips}
            doubtful = bool(slips) and (slip.key == "rows" or (slip.key, slip.row) in told)  # of what was set right?
            slips += [] if doubtful else [slip]
            if doubtful or not self._set_right(tried, slip):
                return None, tuple(sorted(slips, key=_in_order))

    def _set_right(self, document: dict[str, Any], slip: Slip) -> bool:
        """Put a harmless number where the planner refuses one; returns whether that can be done."""
        tube, shape = document["tube"], document["shape"]
        wide = max(abs(tube["outside_diameter"]), 1.0)
        row = shape["lra"][slip.row] if self.kind == "lra" and slip.row is not None else []
        if slip.column is not None and slip.column < len(row):
            row[slip.column] = {0: 1.0, 1: 0.0, 2: 1.0, RADIUS: wide}[slip.column]
        elif slip.key == "bend_radius" and "bend_radius" in shape:
            shape["bend_radius"] = wide
        elif slip.key in ("wall", "gauge"):
            tube.pop("gauge", None)
            tube["wall"] = abs(tube["outside_diameter"]) / 100.0
        else:
            return False
        return True

    def _placed(self, error: InputError) -> Slip:
        """Return the planner's error as a slip at the row, the column or the field that it speaks of."""
        problem, allowed = (say(error.fact[name], self.units) for name in ("problem", "allowed"))
        if error.row is not None:
            columns, at = COLUMNS[self.kind], error.row - 1
            if error.cell not in columns:
                return Slip(problem, "rows", at, allowed=allowed)
            column = columns.index(error.cell)
            return Slip(problem, error.cell, at, column, self._padded()[at][column], allowed)
        name = (error.key or "").rpartition(".")[2]
        if name not in self.__dataclass_fields__:
            return Slip(problem, "rows", allowed=allowed)
        return Slip(problem, name, found=str(getattr(self, name)), allowed=allowed, suggestion=error.suggestion)

    # The other kind of table ----------------------------------------------------------------------------------------

    def _as_vertices(self, part: Part) -> PartForm:
        """Return the form with vertices; raises InputError for bends that vertices cannot describe."""
        radii = ["", *(row[RADIUS] for row in self._padded()[:-1]), ""]
        rows = [[*map(self._length, vertex), radius] for vertex, radius in zip(part.vertices(), radii, strict=True)]
        return replace(self, kind="xyz", rotation_sign="right-handed", rows=rows)

    def _as_lra(self, part: Part) -> PartForm:
        """Return the form with straights, right-handed rotations and angles."""
        radii = [row[RADIUS] for row in self._padded()[1:-1]]
        degrees = (np.rad2deg(part.rotations), np.rad2deg(part.angles))
        rows = [
            [self._length(straight), _neat(float(rotation), NEAT_ANGLE), _neat(float(angle), NEAT_ANGLE), radius]
            for straight, rotation, angle, radius in zip(part.straights[:-1], *degrees, radii, strict=True)
        ]
        rows.append([self._length(part.straights[-1]), "", "", ""])
        return replace(self, kind="lra", rotation_sign="right-handed", rows=rows)

    def _length(self, mm: float) -> str:
        """Return a length [mm] as text in the form's units."""
        return _neat(float(mm) / (1.0 if self.units == "mm" else MM_PER_INCH), NEAT_LENGTH)


def _neat(value: float, within: float) -> str:
    """Return a figure as text, without the noise of its computation."""
    near = round(value, PLACE_DECIMALS)
    return text_of(near if abs(near - value) < within else round(value, KEPT_DECIMALS))


def _in_order(slip: Slip) -> tuple[bool, int, int]:
    """Sort slips: fields, then the table from its first row."""
    return slip.row is not None, -1 if slip.row is None else slip.row, -1 if slip.column is None else slip.column


def _same_shape(one: Part, other: Part) -> bool:
    """Return whether two parts are one shape, within what a conversion of the table may lose."""
    turns = np.angle(np.exp(1j * (one.rotations - other.rotations)))
    return (
        bool(np.allclose(one.straights, other.straights, rtol=0.0, atol=CONVERTED_STRAIGHT))
        and bool(np.allclose(one.angles, other.angles, rtol=0.0, atol=CONVERTED_ANGLE))
        and bool(np.allclose(turns, 0.0, rtol=0.0, atol=CONVERTED_ROTATION))
        and bool(np.array_equal(one.radii, other.radii))
    )


def _of_part(part: Part) -> PartForm:
    """Return the form of a part: mm, LRA, right-handed; one radius for all where there is one."""
    document = part.normalised()
    tube = document["tube"]
    known = find_material(part.material)
    if part.yield_strength is not None and known is not None and known.yield_strength == part.yield_strength:
        del tube["yield_strength"]  # the table's own, and it stays so if another material is chosen
    if part.gauge is not None and wall_of_gauge(part.gauge) == part.wall:
        del tube["wall"]
    rows = document["shape"]["lra"]
    if len({row[RADIUS] for row in rows[:-1]}) == 1:
        document["shape"]["bend_radius"] = rows[0][RADIUS]
        document["shape"]["lra"] = [*(row[:RADIUS] for row in rows[:-1]), rows[-1]]
    return _of_document(Document(document))


def _of_document(document: Document) -> PartForm:
    """Return the form of a part file's document; raises InputError for one that is none."""
    model = document.model(PartFile)
    table = read_table(document, model.shape)
    data = document.data
    tube, shape, ends = data["tube"], data["shape"], data.get("ends", {})
    rows = [[*map(text_of, row[:4])] for row in table.rows]
    rows = [row + [""] * (4 - len(row)) for row in rows]
    first = 0 if table.kind == "lra" else 1
    for i, radius in enumerate(shape.get("bend_radii") or ()):
        if first + i < len(rows):
            rows[first + i][RADIUS] = text_of(radius)
    if table.kind == "xyz":
        for end in (rows[:1], rows[-1:]):
            for row in end:
                row[RADIUS] = "" if row[RADIUS] == "0" else row[RADIUS]

    def typed(table: Mapping[str, Any], name: str) -> str:
        value = table.get(name)
        return "" if value is None else value if isinstance(value, str) else text_of(value)

    units: Literal["mm", "in"] = "in" if data["units"] == "in" else "mm"
    return PartForm(
        name=model.name,
        units=units,
        machine=model.machine or "",
        kind=table.kind,
        rotation_sign=model.shape.rotation_sign,
        bend_radius=typed(shape, "bend_radius"),
        rows=rows,
        **{name: typed(tube, name) for name in ("outside_diameter", "wall", "gauge", "material", "yield_strength")},
        **{name: typed(ends, name) for name in ("trim_a", "trim_b")},
    )
