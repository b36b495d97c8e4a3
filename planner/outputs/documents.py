"""The JSON documents besides the plan's: errors, machines, one machine, a shape.

Each is one object with a `schema` key; a document is written whole or not at all.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

ERROR, MACHINES, MACHINE, SHAPE = (
    "bendorder-error/1",
    "bendorder-machines/1",
    "bendorder-machine/1",
    "bendorder-shape/1",
)


def as_json(document: Mapping[str, Any]) -> str:
    """Return the document as JSON text.

    NaN and infinity have no place in JSON and are refused (ValueError).
    """
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def error_document(error: Mapping[str, Any]) -> dict[str, Any]:
    """Return an error as a document: its kind, its message, and its evidence as far as it is known."""
    return {"schema": ERROR, "error": dict(error)}


def machines_document(profiles: Sequence[tuple[str, str, str]]) -> dict[str, Any]:
    """Return the list of profiles, each given as (name, file, the line about it)."""
    entries = [{"name": name, "file": file, "about": about} for name, file, about in profiles]
    return {"schema": MACHINES, "machines": entries}


def machine_document(
    profile: Mapping[str, Any], file: str, remarks: Sequence[Mapping[str, Any]] = (), notes: Sequence[str] = ()
) -> dict[str, Any]:
    """Return one profile in full: the file's keys, in mm and degrees; what looking it over found, what was assumed."""
    found = [dict(remark) for remark in remarks]
    return {"schema": MACHINE, "file": file, "machine": dict(profile), "remarks": found, "notes": list(notes)}
