"""What of a proof document is not reckoned anew, and what little is: that it is of its kind, and hangs on what it must.

Every field of a document is either audited or belongs to one of these; the answer names them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from planner.audit.refused import Refused
from planner.audit.shop import Shop
from planner.inputs.machine import Machine

SCHEMAS: Final = ("bendorder-proof/1", "bendorder-plan/2")
"""Of a proof, and of the plan in it."""

NAMES: Final = ("solid", "name", "nearest", "sentence", "note", "caution", "fingerprint")
"""Keys whose text may read as a number."""

NOT_CHECKED: Final[dict[str, tuple[str, ...]]] = {
    "handling times": ("plan.time", "plan.cycle_time", "plan.setup", "plan.steps.*.time", "plan.proved.time"),
    "cautions, warnings, notes, reasons and all other sentences": (
        "plan.cautions", "plan.warnings", "plan.reasons", "plan.steps.*.caution", "plan.steps.*.note", "plan.short",
        "plan.undecided_because", "rules.*.sentence", "no_goods.*.sentence", "plan.fact", "plan.steps.*.fact",
    ),
    "how far the tube swings, and what to keep clear of": ("plan.keep_clear", "plan.steps.*.swing"),
    "sag and stands": ("plan.steps.*.sag", "plan.steps.*.stand"),
    "where a step comes nearest": ("plan.steps.*.nearest", "plan.steps.*.nearest_at"),
    "alternatives and changes": ("plan.alternatives", "plan.changes"),
    "what another engine said": ("plan.opinions", "plan.confirmed"),
    "the sign in which the part's file counted": ("plan.rotation_sign",),
}  # fmt: skip
"""By what the answer calls it: fields, by their paths in the document."""


def said() -> str:
    """Return what is not checked, in a sentence."""
    return f"Not checked: {'; '.join(NOT_CHECKED)}; the profile against the machine."


def confirm_kind(document: Mapping[str, Any], shop: Shop, machine: Machine) -> None:
    """Refuse a document of another kind, and one that leaves out a solid that stands in the machine."""
    plan = document["plan"]
    found = (document["schema"], plan["schema"])
    if found != SCHEMAS:
        raise Refused(f"it is of the kinds {found[0]} and {found[1]}, not {SCHEMAS[0]} and {SCHEMAS[1]}.")
    for name in _standing(shop, machine):
        if name not in plan["hangs_on"]:
            raise Refused(f"it does not say that it hangs on the {name}, which stands in the machine.")
    for name in plan["hangs_on"]:
        if name not in _standing(shop, machine):
            raise Refused(f'it hangs on "{name}", and there is no such solid.')


def confirm_numbers(value: Any, key: str = "") -> None:
    """Refuse text where a number belongs: what reads as one, but for the names of solids."""
    if isinstance(value, Mapping):
        for inner, one in value.items():
            confirm_numbers(one, inner)
    elif isinstance(value, list):
        for place, one in enumerate(value):
            names = isinstance(one, str) and (key, place) in (("whole", 1), ("cells", 5))  # of solids
            confirm_numbers(one, "solid" if names else key)
    elif isinstance(value, str) and key not in NAMES and _is_number(value):
        raise Refused(f'there is text where a number belongs: "{value[:20]}" as {key}.')


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _standing(shop: Shop, machine: Machine) -> list[str]:
    """Return the names of all that stands in a machine with the part's tooling."""
    names = ["floor", *(solid.name for solid in machine.solid), "bend die", "clamp die", "pressure die"]
    tooling = shop.tooling
    for name, there in (
        ("wiper die", any(one.wiper_block is not None for one in tooling)),
        ("grip section", any(one.section(min(one.clamp_lengths)) is not None for one in tooling)),
        ("mandrel rod", machine.mandrel is not None),
        ("die hub", any(one.die_hub is not None for one in tooling)),
    ):
        if there:
            names.append(name)
    return names
