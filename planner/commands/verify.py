"""`bendorder verify`: a proof in, what is confirmed of it out."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from planner.commands.app import MAKEABLE, NOT_MAKEABLE, Json, Profiles, app, log, write


@app.command(
    name="verify",
    help="Audit a proof: confirm what a verdict rests on with geometry and rules reckoned anew.",
    help_epilogue="Example:\n  bendorder plan rail.toml --proof rail-proof.json\n  bendorder verify rail-proof.json",
)
def verify_command(
    file: Annotated[Path, Parameter(help="The proof that `plan --proof` wrote.")],
    part: Annotated[
        Path | None, Parameter(help="The part file that it must speak of (TOML or JSON).", show_default=False)
    ] = None,
    /,
    *,
    machine: Annotated[
        str | None,
        Parameter(name=("--machine", "-m"), help="The machine profile that it must speak of.", show_default=False),
    ] = None,
    profiles: Profiles = None,
    as_json: Json = False,
) -> int:
    """Audit a proof, say in a line what is confirmed, or what does not hold."""
    from planner.audit.proof import audit_proof, read_proof
    from planner.inputs.files import load_machine, load_part

    began = time.perf_counter()
    document = read_proof(file)
    wanted = None if part is None else load_part(part)
    named = machine if machine is not None or wanted is None else wanted.machine
    bender = None if named is None else load_machine(named, profiles)
    found = audit_proof(document, wanted, bender)
    log(f"audited in {time.perf_counter() - began:.2f} s")
    if as_json:
        from planner.outputs.documents import as_json as json_text

        write(json_text(found.as_dict()))
    else:
        from planner.audit.unchecked import said
        from planner.outputs.terminal import Page

        write(f"{found.sentence}\n")
        for words in (found.of, said()) if found.confirmed else ():
            Page().text(words)
    return MAKEABLE if found.confirmed else NOT_MAKEABLE
