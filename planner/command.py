"""The command line: `bendorder plan`, `bendorder machines`, `bendorder shape`.

Standard output carries the page, or with `--json` exactly one document; all else goes to standard error.
Heavy modules are imported inside the commands that use them, so that `--help` answers at once.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from cyclopts import App, CycloptsError, Parameter, validators

if TYPE_CHECKING:
    from planner.inputs.part import Part
    from planner.plans.document import Verdict

MAKEABLE, NOT_MAKEABLE, BAD_INPUT, UNDECIDED = 0, 1, 2, 3
FAULT = 70  # of the program itself, as in BSD's sysexits.h: never 1, which would say "not makeable"
INTERRUPTED = 130
READER_LEFT = 141  # as a program ended by SIGPIPE: the verdict was not read, so none is claimed

EXIT_CODES: dict[Verdict, int] = {"makeable": MAKEABLE, "not makeable": NOT_MAKEABLE, "undecided": UNDECIDED}

ABOUT = """Find the order and the direction in which the bends of a tube can be made on a rotary-draw bender.

A part file and a machine profile go in; a checked plan with a step list comes out."""

EXAMPLES = """Examples:
  bendorder plan rail.toml -m canal-workshop
  bendorder machines
  bendorder shape rail.toml

Exit codes: 0 makeable, 1 not makeable, 2 bad input, 3 undecided, 130 interrupted."""


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
Json = Annotated[
    bool,
    Parameter(name="--json", negative=(), help="Print one JSON document and nothing else.", show_default=False),
]


@app.command(
    name="plan",
    help="Plan a part: the verdict, the order of the bends, the step list.",
    help_epilogue="Example:\n  bendorder plan rail.toml --machine canal-workshop",
)
def plan_command(
    part: PartFile,
    /,
    *,
    machine: Annotated[
        str | None,
        Parameter(
            name=("--machine", "-m"),
            help="A profile's name or a profile file. Without it the part's own `machine` key counts.",
            show_default=False,
        ),
    ] = None,
    profiles: Profiles = None,
    prefer: Annotated[
        Literal["fewer re-clamps", "less trim"],
        Parameter(help="What counts first.", show_default=True),
    ] = "fewer re-clamps",
    alternatives: Annotated[
        bool,
        Parameter(negative=(), help="Also list the plans that are better in something else.", show_default=False),
    ] = False,
    confirm: Annotated[
        bool,
        Parameter(negative=(), help="Let the other engine prove the result again.", show_default=False),
    ] = False,
    engine: Annotated[
        Literal["exact", "cp-sat"],
        Parameter(help="Which engine searches; both find the same plan.", show_default=True),
    ] = "exact",
    time_limit: Annotated[
        float | None,
        Parameter(
            validator=validators.Number(gt=0),
            help="Seconds after which what is known by then is printed.",
            show_default=False,
        ),
    ] = None,
    clearances: Annotated[
        bool,
        Parameter(negative=(), help="Also print how near every motion comes, where and to what.", show_default=False),
    ] = False,
    as_json: Json = False,
) -> int:
    """Plan a part, print the plan and return the exit code of its verdict."""
    from planner.inputs.files import load_machine, load_part

    began = time.perf_counter()
    wanted = load_part(part)
    bender = load_machine(_machine_for(wanted, part, machine, profiles), profiles)
    from planner.planning import plan  # after the files, so that an error in one is reported at once

    made = plan(
        wanted,
        bender,
        prefer=prefer,
        engine=engine,
        confirm=confirm,
        alternatives=alternatives,
        time_limit=time_limit,
        report=_log,
    )
    _log(f"planned in {time.perf_counter() - began:.2f} s")
    if as_json:
        _write(made.to_json())
    else:
        from planner.outputs.plan_page import print_plan
        from planner.outputs.terminal import Page

        print_plan(made, Page(), wanted.rotation_sign)
        if clearances and made.steps:
            from planner.outputs.clearance_page import print_clearances

            print_clearances(made, Page())
    return EXIT_CODES[made.verdict]


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


@app.command(
    name="shape",
    help="Show the shape of a part: its rows, vertices and lengths, and which way the bends point.",
    help_epilogue="Example:\n  bendorder shape rail.toml",
)
def shape_command(part: PartFile, /, *, as_json: Json = False) -> int:
    """Print the shape of a part."""
    from planner.inputs.files import load_part
    from planner.outputs.shape_page import print_shape, shape_document

    shown = load_part(part)
    if as_json:
        from planner.outputs.documents import as_json as json_text

        _write(json_text(shape_document(shown, _gap(shown))))
    else:
        from planner.outputs.terminal import Page

        print_shape(shown, _gap(shown), Page())
    return MAKEABLE


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

        _write(json_text(machines_document(entries)))
    else:
        from planner.outputs.machine_page import print_machines
        from planner.outputs.terminal import Page

        print_machines(entries, Page())
    return MAKEABLE


def _show_machine(name: str, profiles: Path | None, as_json: bool) -> int:
    """Print one profile in full."""
    from planner.inputs.files import load_machine

    machine = load_machine(name, profiles)
    profile, file = machine.normalised(), str(machine.source)
    if as_json:
        from planner.outputs.documents import as_json as json_text
        from planner.outputs.documents import machine_document

        _write(json_text(machine_document(profile, file)))
    else:
        from planner.outputs.machine_page import print_machine
        from planner.outputs.terminal import Page

        print_machine(profile, file, Page())
    return MAKEABLE


def _gap(part: Part) -> float | None:
    """Return the smallest gap of the finished tube to itself [mm], None where no part meets another."""
    from planner.inputs.self_crossing import smallest_gap

    return smallest_gap(part)


def _machine_for(part: Part, file: Path, named: str | None, profiles: Path | None) -> str:
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


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line (the process's arguments if None) and leave with its exit code."""
    sys.exit(run(sys.argv[1:] if arguments is None else arguments))


def run(arguments: Sequence[str]) -> int:
    """Run the command line and return its exit code; every error has been reported."""
    as_json = "--json" in arguments
    _choose_encoding(as_json)
    try:
        code = app(list(arguments))
        sys.stdout.flush()
        return code if isinstance(code, int) else MAKEABLE
    except KeyboardInterrupt:
        return _fail(INTERRUPTED, _evidence("Interrupted", "interrupted, there is no plan"), as_json)
    except BrokenPipeError:
        return _reader_left()
    except CycloptsError as error:
        return _fail(BAD_INPUT, _evidence("UsageError", _usage_message(error)), as_json)
    except Exception as error:
        return _failed(error, as_json)


def _failed(error: Exception, as_json: bool) -> int:
    """Report an error of the input, or else a fault of the program, and return the exit code."""
    from planner.errors import BendorderError

    if isinstance(error, BendorderError):
        return _fail(BAD_INPUT, error.as_dict(), as_json)
    import traceback

    traceback.print_exception(error)
    message = f"a fault of bendorder itself: {type(error).__name__}: {error}"
    return _fail(FAULT, _evidence("Fault", message), as_json)


def _fail(code: int, error: dict[str, Any], as_json: bool) -> int:
    """Say once what went wrong, on standard error or as the one document, and return the exit code."""
    if as_json:
        from planner.outputs.documents import as_json as json_text
        from planner.outputs.documents import error_document

        _write(json_text(error_document(error)))
    else:
        _log(f"bendorder: {error['message']}")
    return code


def _evidence(kind: str, message: str) -> dict[str, Any]:
    """Return an error that is not the input's in the same form as one that is."""
    return {"kind": kind, "message": message}


def _usage_message(error: CycloptsError) -> str:
    """Return what is wrong with the command line, and where to read more."""
    command = " ".join(["bendorder", *(error.command_chain or ())])
    return f"{str(error).strip()} See: {command} --help"


def _reader_left() -> int:
    """Leave quietly when the reader of standard output has gone, as `| head` does."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return READER_LEFT


def _choose_encoding(as_json: bool) -> None:
    """Write JSON in UTF-8 always, pages in the terminal's encoding with a ? for what it cannot show."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(encoding="utf-8" if as_json and stream is sys.stdout else None, errors="replace")


def _write(text: str) -> None:
    """Write to standard output."""
    sys.stdout.write(text)


def _log(message: str) -> None:
    """Write a line to standard error."""
    print(message, file=sys.stderr)
