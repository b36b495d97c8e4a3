"""What a job is about: a part and machines, as models, as documents, or as the text of a file that was sent.

Whatever comes over the wire reads no file of this computer: a part that names a CSV file is refused unless that file's
text came with it, and a machine is a document or the name of a profile, never a path.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final, Literal

from planner.errors import BendorderError, InputError
from planner.inputs.documents import read_document
from planner.inputs.files import load_machine, load_part, machine_from_data, part_from_data
from planner.inputs.machine import Machine
from planner.inputs.part import Part
from planner.inputs.profiles import find_profile, list_profiles


@dataclass(frozen=True)
class PartText:
    """The text of a part file, and of the CSV file that it names if it does."""

    text: str
    kind: Literal["toml", "json"] = "toml"
    csv: str | None = None


@dataclass(frozen=True)
class MachineNamed:
    """The profile of a name (None: the part's own), looked for in a folder first."""

    name: str | None
    profiles: Path | None = None


@dataclass(frozen=True)
class AllMachines:
    """Every profile there is, those of a folder first."""

    profiles: Path | None = None


PartAsked = Part | Mapping[str, Any] | PartText
MachineAsked = Machine | Mapping[str, Any] | MachineNamed
MachinesAsked = Sequence[MachineAsked] | AllMachines

CSV_NAME: Final = re.compile(r"[\w .()-]*\w\.csv", re.IGNORECASE)
"""A name of a file in the part file's own folder."""


def part_asked(asked: PartAsked) -> Part:
    """Return the part that is asked for; raises InputError."""
    if isinstance(asked, Part):
        return asked
    if isinstance(asked, PartText):
        return _part_of_text(asked)
    if _csv_named(asked) is not None:
        raise _no_other_file(None, _csv_named(asked))
    return part_from_data(asked)


def machine_asked(asked: MachineAsked, part: Part | None = None) -> Machine:
    """Return the machine that is asked for, or the part's own; raises InputError, UnknownMachine among it."""
    if isinstance(asked, Machine):
        return asked
    if isinstance(asked, Mapping):
        return machine_from_data(asked)
    name = part.machine if asked.name is None and part is not None else asked.name
    if name is None:
        known = ", ".join(profile.name for profile in list_profiles(asked.profiles))
        raise InputError("no machine: name one, or give the part a `machine` key", key="machine", allowed=known)
    return load_machine(find_profile(name, asked.profiles).path)


def machines_asked(
    asked: MachinesAsked, part: Part, report: Callable[[str], None] | None = None
) -> tuple[Machine, ...]:
    """Return the machines that are asked for; of all profiles those that can be read, of the others it is told."""
    if not isinstance(asked, AllMachines):
        return tuple(machine_asked(one, part) for one in asked)
    found = []
    for profile in list_profiles(asked.profiles):
        try:
            found.append(load_machine(profile.path))
        except BendorderError as error:
            if report is not None:
                report(f"not tried: {error}")
    return tuple(found)


def _part_of_text(asked: PartText) -> Part:
    """Return the part of a text: read as a file in a folder of its own, so that errors tell the line."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"part.{asked.kind}"
        path.write_text(asked.text, encoding="utf-8")
        try:
            named = _csv_named(read_document(path, "the part file").data)
            if named is not None and (asked.csv is None or not isinstance(named, str) or not CSV_NAME.fullmatch(named)):
                raise _no_other_file(path.name, named)
            if named is None and asked.csv is not None:
                raise InputError("a CSV table came with it that it does not name", file=path.name, key="shape.file")
            if asked.csv is not None:
                (Path(folder) / str(named)).write_text(asked.csv, encoding="utf-8")
            part = load_part(path)
        except InputError as error:
            error.file = None if error.file is None else Path(error.file).name
            raise
    return replace(part, source=path.name)


def _csv_named(part: Mapping[str, Any]) -> object:
    """Return the CSV file that a part document names, None if it names none."""
    shape = part.get("shape")
    return shape.get("file") if isinstance(shape, Mapping) else None


def _no_other_file(file: str | None, named: object) -> InputError:
    return InputError(
        "no other file of this computer is read here",
        file=file,
        key="shape.file",
        found=named,
        allowed="the rows in the part itself (lra or xyz), or the CSV file's own text sent along with it",
    )
