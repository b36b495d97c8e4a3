"""What the commands share: the application they are of, their exit codes and options, where they write to."""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from cyclopts import App, Parameter, validators

if TYPE_CHECKING:
    from planner.inputs.machine import Machine
    from planner.inputs.part import Part
    from planner.plans.document import Verdict

MAKEABLE, NOT_MAKEABLE, BAD_INPUT, UNDECIDED = 0, 1, 2, 3
FAULT = 70  # of the program itself, as in BSD's sysexits.h: never 1, which would say "not makeable"
NOT_WRITTEN = 74  # as in sysexits.h: the answer could not be written, so none is claimed
INTERRUPTED = 130
READER_LEFT = 141  # as a program ended by SIGPIPE: the verdict was not read, so none is claimed

EXIT_CODES: dict[Verdict, int] = {"makeable": MAKEABLE, "not makeable": NOT_MAKEABLE, "undecided": UNDECIDED}

ABOUT = """Find the order and the direction in which the bends of a tube can be made on a rotary-draw bender.

A part file and a machine profile go in; a checked plan with a step list comes out."""

EXAMPLES = """Examples:
  bendorder plan rail.toml -m canal-workshop
  bendorder check rail.toml --all
  bendorder why rail.toml -m canal-workshop
  bendorder verify rail-proof.json
  bendorder machines
  bendorder shape rail.toml
  bendorder serve

Exit codes: 0 makeable (verify: confirmed), 1 not makeable (verify: it does not hold), 2 bad input, 3 undecided,
74 the answer could not be written, 130 interrupted."""


def _version() -> str:
    """Return the version of the installed program."""
    from importlib.metadata import version

    return version("bendorder")


app = App(
    name="bendorder",
    help=ABOUT,
    help_format="plaintext",
    help_epilogue=EXAMPLES,
    version=_version,
    result_action="return_value",
    exit_on_error=False,
    print_error=False,
    suppress_keyboard_interrupt=False,
)

PartFile = Annotated[Path, Parameter(help="The part file (TOML or JSON).")]
Profiles = Annotated[Path | None, Parameter(help="A folder of machine profiles to look in first.", show_default=False)]
MachineName = Annotated[
    str | None,
    Parameter(
        name=("--machine", "-m"),
        help="A profile's name or a profile file. Without it the part's own `machine` key counts.",
        show_default=False,
    ),
]
Preferred = Annotated[
    Literal["fewer re-clamps", "less trim"],
    Parameter(help="What counts first.", show_default=True),
]
TimeLimit = Annotated[
    float | None,
    Parameter(
        validator=validators.Number(gt=0),
        help="Seconds after which what is known by then is printed.",
        show_default=False,
    ),
]
Json = Annotated[
    bool,
    Parameter(name="--json", negative=(), help="Print one JSON document and nothing else.", show_default=False),
]


def machine_for(part: Part, file: Path, named: str | None, profiles: Path | None) -> str:
    """Return the machine to plan with: the one named here, else the part's own (InputError if none)."""
    machine = part.machine if named is None else named
    if machine is not None:
        return machine
    from planner.errors import InputError
    from planner.inputs.profiles import list_profiles

    raise InputError(
        "no machine: name one with --machine, or give the part a `machine` key",
        file=str(file),
        key="machine",
        allowed=", ".join(profile.name for profile in list_profiles(profiles)),
    )


def every_machine(profiles: Path | None) -> tuple[Machine, ...]:
    """Return the machines of all profiles that can be read; of one that cannot be it is told."""
    from planner.errors import BendorderError
    from planner.inputs.files import load_machine
    from planner.inputs.profiles import list_profiles

    found = []
    for profile in list_profiles(profiles):
        try:
            found.append(load_machine(profile.name, profiles))
        except BendorderError as error:
            log(f"not tried: {error}")
    return tuple(found)


class CannotWrite(Exception):
    """Standard output takes no more; the reason is its cause."""


def write(text: str) -> None:
    """Write to standard output; raises CannotWrite, or BrokenPipeError where its reader has gone."""
    if sys.stdout is None:
        raise CannotWrite("standard output is closed")
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        raise CannotWrite(error.strerror or str(error)) from error


def log(message: str) -> None:
    """Write a line to standard error; where that takes nothing, nothing is said, and nothing else changes."""
    if sys.stderr is None:
        return
    try:
        print(message, file=sys.stderr, flush=True)
    except (OSError, ValueError):
        silence(2)


def silence(descriptor: int) -> None:
    """Let what is still to be written to a stream go nowhere, so that the program can end as it means to."""
    with contextlib.suppress(OSError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), descriptor)


Force = Annotated[
    bool,
    Parameter(name="--force", negative=(), help="Overwrite a file that is there already.", show_default=False),
]


def may_be_written(file: Path, read: tuple[str | Path | None, ...], force: bool) -> None:
    """Refuse a file that cannot be written, is read here, or is there already and not to be overwritten."""
    from planner.inputs.files import files_of
    from planner.outputs import whole_files

    parts = [file for part in read if part is not None for file in files_of(Path(part))]
    whole_files.may_be_written(file, parts, force)
