"""`bendorder plan`: a part in, a plan out."""

from __future__ import annotations

import time
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

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
    from planner.plans.document import Plan

Alternatives = Annotated[
    bool, Parameter(negative=(), help="Also list the plans that are better in something else.", show_default=False)
]
Changes = Annotated[
    bool,
    Parameter(negative=(), help="Of a part that is not makeable, also seek what would make it so.", show_default=False),
]
Confirm = Annotated[
    bool, Parameter(negative=(), help="Let the other engine prove the result again.", show_default=False)
]
Engine = Annotated[
    Literal["exact", "cp-sat"], Parameter(help="Which engine searches; both find the same plan.", show_default=True)
]
Clearances = Annotated[
    bool, Parameter(negative=(), help="Also print how near every motion comes, where and to what.", show_default=False)
]
ProofFile = Annotated[
    Path | None,
    Parameter(help="Also write what the verdict rests on to this file, for `verify`.", show_default=False),
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
    machine: MachineName = None,
    profiles: Profiles = None,
    prefer: Preferred = "fewer re-clamps",
    alternatives: Alternatives = False,
    changes: Changes = False,
    confirm: Confirm = False,
    engine: Engine = "exact",
    time_limit: TimeLimit = None,
    clearances: Clearances = False,
    proof: ProofFile = None,
    force: Force = False,
    as_json: Json = False,
) -> int:
    """Plan a part, print the plan and return the exit code of its verdict."""
    from planner.inputs.files import load_machine, load_part

    began = time.perf_counter()
    wanted = load_part(part)
    bender = load_machine(machine_for(wanted, part, machine, profiles), profiles)
    if proof is not None:
        may_be_written(proof, (part, bender.source), force)
    from planner.planning import planned  # after the files, so that an error in one is reported at once

    ask = partial(planned, wanted, bender, prefer=prefer, engine=engine, confirm=confirm, alternatives=alternatives)
    found = ask(time_limit=time_limit, report=log)
    made = found.plan
    if changes:
        from planner.advice.changes import with_changes

        left = None if time_limit is None else began + time_limit - time.perf_counter()
        made = with_changes(made, wanted, bender, every_machine(profiles), left, log)
    log(f"planned in {time.perf_counter() - began:.2f} s")
    if proof is not None:
        from planner.outputs.whole_files import write_whole
        from planner.proof.document import proof_document, proof_text

        write_whole(proof, proof_text(proof_document(made, found.evidence)))
        log(f"proof written to {proof}")
    if as_json:
        write(made.to_json())
    else:
        _print(made, wanted.rotation_sign, clearances)
    return EXIT_CODES[made.verdict]


def _print(made: Plan, rotation_sign: str, clearances: bool) -> None:
    """Print the plan as a page; clearances: and how near every motion comes."""
    from planner.outputs.plan_page import print_plan
    from planner.outputs.terminal import Page

    print_plan(made, Page(), rotation_sign)
    if clearances and made.steps:
        from planner.outputs.clearance_page import print_clearances

        print_clearances(made, Page())
