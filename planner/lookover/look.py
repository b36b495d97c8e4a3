"""A machine profile is looked over: what a careful setter would ask about it before anything is planned."""

from __future__ import annotations

from functools import lru_cache

from planner.inputs.machine import Machine
from planner.lookover.openings import too_narrow
from planner.lookover.profile_checks import before_its_face, height, missing, too_short
from planner.lookover.remarks import Remark
from planner.lookover.running import running_through


def look_over(machine: Machine) -> tuple[Remark, ...]:
    """Return all that there is to remark on a profile; none if it is clean. Nothing in it is a verdict.

    What is missing, what stands in a wrong place, solids that run through each other on their own ways, and tooling
    that cannot do what the head is said to do.
    """
    return _looked_over(machine.model_copy(update={"source": None}))


@lru_cache(maxsize=32)
def _looked_over(machine: Machine) -> tuple[Remark, ...]:
    """Look over a machine, once as long as it is among the last ones."""
    by_tooling = [check(machine, tooling) for check in (too_short, too_narrow) for tooling in machine.tooling]
    return (
        *height(machine),
        *missing(machine),
        *before_its_face(machine),
        *running_through(machine),
        *(remark for remark in by_tooling if remark is not None),
    )
