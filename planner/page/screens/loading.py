"""Parts and machines brought to the session: examples, files that are loaded, profiles by name."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from planner.errors import BendorderError
from planner.inputs.files import load_machine, load_part
from planner.inputs.profiles import find_profile, list_profiles
from planner.page.examples import example_part
from planner.page.job_inputs import PartText, part_asked
from planner.page.part_form import RADIUS, PartForm
from planner.page.pasted_table import NotATable, pasted
from planner.page.screens.shell import Shell
from planner.page.session import Session

TABLES = (".csv", ".txt", ".tsv")
"""Endings of files that hold a table alone."""


def profile_named(name: str, profiles: Path | None) -> dict[str, Any]:
    """Return the document of a machine profile in mm; raises InputError."""
    return load_machine(find_profile(name, profiles).path).normalised()


def first_desk(shop_profiles: Path | None, example: Path) -> Session:
    """Return the session of a browser that is new here, with an example on it."""
    part = load_part(example)
    names = [profile.name for profile in list_profiles(shop_profiles)]
    name = part.machine if part.machine in names else names[0]
    return Session(PartForm.of(part), profile_named(name, shop_profiles), name)


def load_example(shell: Shell, name: str) -> dict[str, Any]:
    """Put an example and its machine in the session, and return its document."""
    part = load_part(example_part(name, shell.shop.examples).path)
    session = shell.session
    session.forget_plan()
    session.form = PartForm.of(part)
    if part.machine is not None:
        take_machine(shell, part.machine)
    return part.normalised()


def take_machine(shell: Shell, name: str) -> None:
    """Put a machine in the session by its profile's name; tells of one that cannot be read."""
    try:
        shell.session.machine = profile_named(name, shell.shop.profiles)
    except BendorderError as error:
        shell.tell(str(error))
        return
    shell.session.machine_name = name


def take_file(shell: Shell, name: str, text: str | None) -> None:
    """Put the part of a file, or the table of one, in the session; tells what is wrong with it."""
    if text is None:
        shell.tell(f"{name} is too large: a part file has less than 1 MB.")
        return
    ending = Path(name).suffix.lower()
    if ending in TABLES:
        take_table(shell, text)
        return
    if ending not in (".toml", ".json"):
        shell.tell(f"{name}: files ending in .toml, .json, .csv, .tsv or .txt are read.")
        return
    try:
        part = part_asked(PartText(text, "json" if ending == ".json" else "toml"))
    except BendorderError as error:
        shell.tell(f"{name}: {error}")
        return
    shell.session.forget_plan()
    shell.session.form = PartForm.of(part)
    if part.machine is not None:
        take_machine(shell, part.machine)
    shell.draw()


def take_table(shell: Shell, text: str) -> None:
    """Put a table that was pasted or loaded into the form."""
    form = shell.session.form
    try:
        table = pasted(text, form.kind)
    except NotATable as refused:
        shell.tell(str(refused))
        return
    form.kind, form.rows = table.kind, table.rows
    if any(row[RADIUS].strip() for row in table.rows):
        form.bend_radius = ""
    shell.draw()
