"""`bendorder why`: why this order, why not another one, or why none at all."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from planner.commands.app import (
    EXIT_CODES,
    Force,
    Json,
    MachineName,
    PartFile,
    Preferred,
    Profiles,
    TimeLimit,
    app,
    every_machine,
    log,
    machine_for,
    may_be_written,
    write,
)

if TYPE_CHECKING:
    from planner.advice.answers import Why


@app.command(
    name="why",
    help="Say why a part is made in this order, or why it cannot be made and what would help; judge another order.",
    help_epilogue='Example:\n  bendorder why rail.toml -m canal-workshop --order "3A 4A 2B 1B"',
)
def why_command(
    part: PartFile,
    /,
    *,
    machine: MachineName = None,
    profiles: Profiles = None,
    order: Annotated[
        str | None,
        Parameter(help='An order to judge: bend number and leading end, as "3A 4A 2B 1B".', show_default=False),
    ] = None,
    prefer: Preferred = "fewer re-clamps",
    changes: Annotated[
        bool,
        Parameter(help="Of a part that is not makeable, seek what would make it so.", show_default=True),
    ] = True,
    time_limit: TimeLimit = None,
    svg: Annotated[
        Path | None,
        Parameter(
            help="Also write what comes before what as a picture to this file; of a part that can be made.",
            show_default=False,
        ),
    ] = None,
    force: Force = False,
    as_json: Json = False,
) -> int:
    """Say why, and return the exit code of the part's verdict."""
    from planner.inputs.files import load_machine, load_part

    began = time.perf_counter()
    wanted = load_part(part)
    bender = load_machine(machine_for(wanted, part, machine, profiles), profiles)
    if svg is not None:
        may_be_written(svg, (part, bender.source), force)
    from planner.advice.why import why  # after the files, so that an error in one is reported at once

    others = every_machine(profiles) if changes else None
    found = why(wanted, bender, order=order, prefer=prefer, machines=others, time_limit=time_limit, report=log)
    log(f"answered in {time.perf_counter() - began:.2f} s")
    if svg is not None:
        _draw(found, svg)
    if as_json:
        write(found.to_json())
    else:
        from planner.outputs.terminal import Page
        from planner.outputs.why_page import print_why

        print_why(found, Page())
    return EXIT_CODES[found.verdict]


def _draw(found: Why, file: Path) -> None:
    """Write the picture of what comes before what, if there is an order to draw."""
    if found.precedence is None:
        log(f"no picture: of a part that is {found.verdict} there is no order to draw")
        return
    from planner.advice.diagram import svg_diagram
    from planner.outputs.whole_files import write_whole

    write_whole(file, svg_diagram(found.precedence, f"{found.part}: what comes before what"))
    log(f"picture written to {file}")
