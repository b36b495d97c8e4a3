"""`bendorder machines`: the profiles there are, or one in full."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from planner.commands.app import MAKEABLE, Json, Profiles, app, write
from planner.wording.say import say


@app.command(
    name="machines",
    help="List the machine profiles, or show one in full.",
    help_epilogue="Example:\n  bendorder machines canal-workshop",
)
def machines_command(
    name: Annotated[
        str | None,
        Parameter(help="A profile's name or a profile file; all are listed without it.", show_default=False),
    ] = None,
    /,
    *,
    profiles: Profiles = None,
    as_json: Json = False,
) -> int:
    """List the profiles, or print one."""
    if name is None:
        return _list_machines(profiles, as_json)
    return _show_machine(name, profiles, as_json)


def _list_machines(profiles: Path | None, as_json: bool) -> int:
    """Print every profile in a line."""
    from planner.inputs.files import load_machine
    from planner.inputs.profiles import list_profiles
    from planner.outputs.machine_page import in_one_line

    entries = []
    for found in list_profiles(profiles):
        machine = load_machine(str(found.path))
        entries.append((found.name, str(found.path), in_one_line(machine.normalised())))
    if as_json:
        from planner.outputs.documents import as_json as json_text
        from planner.outputs.documents import machines_document

        write(json_text(machines_document(entries)))
    else:
        from planner.outputs.machine_page import print_machines
        from planner.outputs.terminal import Page

        print_machines(entries, Page())
    return MAKEABLE


def _show_machine(name: str, profiles: Path | None, as_json: bool) -> int:
    """Print one profile in full."""
    from planner.inputs.files import load_machine
    from planner.lookover.look import look_over
    from planner.lookover.remarks import as_data, worded

    machine = load_machine(name, profiles)
    profile, file, remarks = machine.normalised(), str(machine.source), look_over(machine)
    notes = [say(note) for note in machine.notes]
    if as_json:
        from planner.outputs.documents import as_json as json_text
        from planner.outputs.documents import machine_document

        write(json_text(machine_document(profile, file, [as_data(one) for one in remarks], notes)))
    else:
        from planner.outputs.machine_page import print_machine
        from planner.outputs.terminal import Page

        print_machine(profile, file, Page(), [worded(one) for one in remarks], notes)
    return MAKEABLE
