"""A plan carried out to the end, held against the drawing and against the plan's own count of it."""

from __future__ import annotations

import math
from typing import Any

from planner.audit.refused import Refused
from planner.audit.standing import Load
from planner.inputs.part import Part
from planner.tolerances import WRITTEN


def finished(
    plan: dict[str, Any], part: Part, loads: list[Load], trims: tuple[float, float], trimmed: list[tuple[str, float]]
) -> None:
    """Refuse a plan whose loads do not make the part: its bends, its stock, its trims [mm], its re-clamps."""
    made = [(bent.number, load.leads) for load in loads for bent in load.bends]
    if made != [(one["bend"], one["leads"]) for one in plan["order"]] or len(made) != part.n_bends:
        said = ", ".join(f"{bend} ({leads} leading)" for bend, leads in made)
        raise Refused(f"The steps make the bends {said or 'none'}: not the plan's order, each of the part's once.")
    _stock(plan["stock"], part, trims, trimmed)
    found = {
        "turns": sum(load.event == "turn" for load in loads),
        "reloads": sum(load.event == "reload" for load in loads),
        "regrips": sum(bent.regripped for load in loads for bent in load.bends),
        "released": sum(bent.released for load in loads for bent in load.bends),
    }
    found["reclamps"] = sum(found.values())
    for name, count in found.items():
        if plan[name] != count:
            raise Refused(f"The plan counts {plan[name]} {name}, its steps {count}.")


def _stock(stock: dict[str, Any], part: Part, trims: tuple[float, float], trimmed: list[tuple[str, float]]) -> None:
    most = (part.trim_a, part.trim_b)  # what nobody has stated is held against the rules with the claim
    if any(
        not 0.0 <= trim <= (math.inf if limit is None else limit) + WRITTEN
        for trim, limit in zip(trims, most, strict=True)
    ):
        raise Refused(f"The stock's trims, {list(trims)} mm, are not within the part's, {list(most)} mm.")
    if sorted(trimmed) != [(end, trim) for end, trim in zip("AB", trims, strict=True) if trim > 0.0]:
        raise Refused(f"The steps cut off {trimmed} mm, the stock carries {list(trims)} mm of trim.")
    length = part.developed_length
    if abs(stock["developed_length"] - length) > WRITTEN or abs(stock["cut_length"] - length - sum(trims)) > WRITTEN:
        raise Refused(f"The stock is {stock['cut_length']} mm long; {length + sum(trims):.3f} mm make the part.")
