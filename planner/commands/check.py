"""`bendorder check`: parts in, for each machine a line out: can it make the part, and at what cost, or why not?"""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter, validators

from planner.commands.app import BAD_INPUT, EXIT_CODES, Json, PartFile, Profiles, app, log, machine_for, write

if TYPE_CHECKING:
    from planner.advice.machines import Checked, Pair
    from planner.errors import BendorderError
    from planner.inputs.machine import Machine
    from planner.inputs.part import Part

EPILOGUE = """Examples:
  bendorder check rail.toml --all
  bendorder check rail.toml frame.toml -m canal-workshop -m long-bed --csv

Exit codes, the first that holds:
  2  bad input: a file cannot be used; the rest is still printed
  1  it is proved that none of the machines can make it (any of several parts)
  3  none can for certain, some are undecided (any of several parts)
  0  one of the machines can make it (each of several parts)
A machine that has no tooling for the tube cannot make it."""


Machines = Annotated[
    list[str] | None,
    Parameter(
        name=("--machine", "-m"),
        negative=(),
        help="A profile's name or a profile file; may be given several times. Without it the part's own counts.",
        show_default=False,
    ),
]
Every = Annotated[
    bool, Parameter(name="--all", negative=(), help="Try every profile that `machines` lists.", show_default=False)
]
EachTimeLimit = Annotated[
    float | None,
    Parameter(
        validator=validators.Number(gt=0),
        help="Seconds for each plan, after which it is undecided.",
        show_default=False,
    ),
]
Workers = Annotated[
    int | None,
    Parameter(
        validator=validators.Number(gte=1),
        help="How many plans may be made at once; as many as there are cores without it.",
        show_default=False,
    ),
]
Csv = Annotated[
    bool, Parameter(name="--csv", negative=(), help="Print the lines as CSV and nothing else.", show_default=False)
]


@app.command(
    name="check",
    help="Say in a line for each machine whether it can make a part, at what cost, or why not.",
    help_epilogue=EPILOGUE,
)
def check_command(
    *part: Annotated[PartFile, Parameter(required=True)],
    machine: Machines = None,
    every: Every = False,
    profiles: Profiles = None,
    time_limit: EachTimeLimit = None,
    workers: Workers = None,
    as_csv: Csv = False,
    as_json: Json = False,
) -> int:
    """Check the parts, print the lines and return the exit code of what they come to."""
    from planner.advice.machines import best_of, check_pairs, worst_of

    began = time.perf_counter()
    _refuse_both({"--machine": bool(machine), "--all": every})
    _refuse_both({"--csv": as_csv, "--json": as_json})
    asked = _PairsAsked(machine, every, profiles)
    found = [asked.of(file) for file in part]
    asked.refuse_a_single_error(found)
    pairs = [entry for entries in found for entry in entries if isinstance(entry, tuple)]
    planned = iter(check_pairs(pairs, time_limit=time_limit, workers=workers or os.cpu_count() or 1))
    parts = [[next(planned) if isinstance(entry, tuple) else entry for entry in entries] for entries in found]
    log(f"checked in {time.perf_counter() - began:.2f} s")
    _print(parts, as_csv, as_json)
    settled = worst_of(map(best_of, parts))
    return BAD_INPUT if settled == "bad input" else EXIT_CODES[settled]


def _print(parts: Sequence[Sequence[Checked]], as_csv: bool, as_json: bool) -> None:
    """Write the lines in the form that is asked for."""
    from planner.outputs.check_page import check_csv, check_document, print_check

    if as_csv:
        write(check_csv(parts))
    elif as_json:
        from planner.outputs.documents import as_json as json_text

        write(json_text(check_document(parts)))
    else:
        from planner.outputs.terminal import Page

        print_check(parts, Page())


class _PairsAsked:
    """Reads parts and machines, each file once, and keeps what is wrong with one of them from losing the others."""

    def __init__(self, named: list[str] | None, every: bool, profiles: Path | None) -> None:
        self._profiles = profiles
        self._named = tuple(dict.fromkeys(named)) if named else self._all() if every else ()
        self._machines: dict[str, Machine | BendorderError] = {}
        self._errors: list[BendorderError] = []

    def of(self, file: Path) -> list[Pair | Checked]:
        """Return the pairs of a part file, or the lines about what cannot be used, in the machines' order."""
        from planner.advice.machines import Pair, refused
        from planner.errors import BendorderError
        from planner.inputs.files import load_part

        part: Part | None = None
        try:
            part = load_part(file)
            names = self._named or (machine_for(part, file, None, self._profiles),)
        except BendorderError as error:
            self._errors.append(error)
            return [refused(error, part=part, part_file=str(file))]
        entries: list[Pair | Checked] = []
        for name in names:
            machine = self._machine(name)
            if isinstance(machine, BendorderError):
                self._errors.append(machine)
                entries.append(refused(machine, part=part, machine_named=name))
            else:
                entries.append(Pair(part, machine))
        return entries

    def refuse_a_single_error(self, found: Sequence[Sequence[Pair | Checked]]) -> None:
        """Raise the one error there is if there is nothing else to print."""
        if len(self._errors) == 1 and sum(map(len, found)) == 1:
            raise self._errors[0]

    def _machine(self, name: str) -> Machine | BendorderError:
        """Return a machine, or what is wrong with its profile."""
        from planner.errors import BendorderError
        from planner.inputs.files import load_machine

        if name not in self._machines:
            try:
                self._machines[name] = load_machine(name, self._profiles)
            except BendorderError as error:
                self._machines[name] = error
        return self._machines[name]

    def _all(self) -> tuple[str, ...]:
        """Return the names of every profile there is (InputError if there is none)."""
        from planner.errors import InputError
        from planner.inputs.profiles import list_profiles, search_folders

        names = tuple(profile.name for profile in list_profiles(self._profiles))
        if not names:
            folders = ", ".join(map(str, search_folders(self._profiles)))
            raise InputError("there is no machine profile at all", key="--all", allowed=f"profiles in {folders}")
        return names


def _refuse_both(given: dict[str, bool]) -> None:
    """Raise InputError if both of two options are given that exclude each other."""
    from planner.errors import InputError

    if all(given.values()):
        both = " and ".join(given)
        raise InputError(f"{both} exclude each other", file="command line", allowed=" or ".join(given))
