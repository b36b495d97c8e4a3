"""Files → models: a part file, a machine profile. Every way ends in one `InputError` or in a whole model."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from planner.errors import InputError, SelfCrossing
from planner.facts import fact, size
from planner.inputs.documents import Document, read_document
from planner.inputs.gauges import BWG_INCHES, wall_of_gauge
from planner.inputs.machine import Machine
from planner.inputs.materials import find_material
from planner.inputs.part import Part
from planner.inputs.part_file import PartFile, TubeTable
from planner.inputs.profiles import find_profile
from planner.inputs.quantities import described
from planner.inputs.self_crossing import self_gap
from planner.inputs.shape import Shape, read_shape
from planner.tolerances import SAME_WALL


def load_part(path: str | Path) -> Part:
    """Return the part of a TOML or JSON file; raises InputError (UnreadableFile, SelfCrossing among it)."""
    return _part(read_document(Path(path), "the part file"))


def files_of(path: Path) -> list[Path]:
    """Return a file that is read and, of a part, the file of its rows."""
    try:
        shape = read_document(path, "the file").data.get("shape")
    except InputError:
        return [path]
    rows = shape.get("file") if isinstance(shape, Mapping) else None
    return [path, path.parent / rows] if isinstance(rows, str) else [path]


def part_from_data(data: Mapping[str, Any], source: str | None = None) -> Part:
    """Return the part of a document with a part file's keys, such as `Part.normalised` gives; raises
    InputError.
    """
    return _part(Document(data, source))


def load_machine(name_or_path: str | Path, profiles: Path | None = None) -> Machine:
    """Return the machine of a profile's name, or of a file (a path, or a name ending in .toml or .json).

    profiles: a folder to look in first. Raises UnknownMachine with the names there are, else InputError.
    """
    text = str(name_or_path)
    is_file = isinstance(name_or_path, Path) or Path(text).suffix.lower() in (".toml", ".json")
    is_file = is_file or "/" in text or "\\" in text
    path = Path(name_or_path) if is_file else find_profile(text, profiles).path
    return _machine(read_document(path, "the machine profile"))


def machine_from_data(data: Mapping[str, Any], source: str | None = None) -> Machine:
    """Return the machine of a document with a profile's keys, such as `Machine.normalised` gives."""
    return _machine(Document(data, source))


def _machine(document: Document) -> Machine:
    """Return the machine of a document."""
    if "source" in document.data:  # a field of the model, but no key of a file
        raise document.error("the key is not known", ("source",), "the keys of a profile", "source")
    return document.model(Machine).model_copy(update={"source": document.file})


def _part(document: Document) -> Part:
    """Return the part of a document."""
    file = document.model(PartFile)
    shape = read_shape(document, file.shape, document.unit())
    material = find_material(file.tube.material)
    known_strength = None if material is None else material.yield_strength
    own_strength = file.tube.yield_strength
    try:
        part = Part(
            name=file.name,
            machine=file.machine,
            outside_diameter=file.tube.outside_diameter,
            wall=_wall(document, file.tube),
            gauge=file.tube.gauge,
            material=file.tube.material,
            yield_strength=known_strength if own_strength is None else own_strength,
            straights=shape.straights,
            rotations=shape.rotations,
            angles=shape.angles,
            radii=shape.radii,
            trim_a=file.ends.trim_a,
            trim_b=file.ends.trim_b,
            rotation_sign=file.shape.rotation_sign,
            source=document.file,
        )
    except InputError as error:
        raise shape.placed(error, document) from None
    _refuse_crossing(part, shape)
    return part


def _wall(document: Document, tube: TubeTable) -> float:
    """Return the wall [mm] that the file gives in mm, in inches, or as a gauge."""
    if tube.gauge is None:
        if tube.wall is None:
            raise document.error("the wall is missing", ("tube", "wall"), 'wall, or gauge such as "16 BWG"')
        return tube.wall
    by_gauge = wall_of_gauge(tube.gauge)
    if by_gauge is None:
        raise document.error(
            f"{described(tube.gauge)} is no gauge that is known",
            ("tube", "gauge"),
            f'whole numbers "{min(BWG_INCHES)} BWG" to "{max(BWG_INCHES)} BWG", or wall instead',
            tube.gauge,
        )
    if tube.wall is not None and abs(tube.wall - by_gauge) > SAME_WALL:
        raise document.error(
            fact("wall-and-gauge", wall=size(tube.wall), gauge=tube.gauge, by_gauge=size(by_gauge)),
            ("tube", "wall"),
            "one of the two, or both alike",
            tube.wall,
        )
    return by_gauge if tube.wall is None else tube.wall


def _refuse_crossing(part: Part, shape: Shape) -> None:
    """Refuse a tube that runs through itself."""
    nearest = self_gap(part)
    if nearest.reached < 0.0:
        whole = shape.table.whole
        raise SelfCrossing(
            nearest.first, nearest.second, -nearest.reached, nearest.where,
            file=whole.file, line=whole.line, key=whole.key,
        )  # fmt: skip
