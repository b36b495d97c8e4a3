"""Every error the program reports, in one tree. Each carries its evidence as fields, and says it in one
sentence.

An error never shows a traceback to the user: the command prints `str(error)`, or `error.as_dict()` with
`--json`.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable, Sequence
from itertools import islice
from typing import Any, Final

from planner.facts import Fact, fact, length, size
from planner.wording.figures import LengthUnit
from planner.wording.say import say

LONGEST: Final = 500
"""Letters of a message; of a longer one the middle is left out."""

MOST_FOUND: Final = 50
"""Entries, or ten times as many letters, of what was found that an error carries on."""


class BendorderError(Exception):
    """Base of every error that is the user's to act on."""

    def as_dict(self) -> dict[str, Any]:
        """Return the error as JSON data."""
        return {"kind": type(self).__name__, "message": str(self)}


class InputError(BendorderError):
    """Something in a file or on the command line cannot be used.

    problem: what is wrong, without the place, in words or as a fact; file: path or "command line"; line, column: from
    1; key: dotted key as it stands in the file ("tube.wall", "shape.lra[2]"); row, cell: of the shape's table, the row
    from 1 and the name of the column ("angle"); found: the value that was found; allowed: what may stand there, in
    words or as a fact; suggestion: the nearest name that would do.
    """

    def __init__(
        self,
        problem: str | Fact,
        *,
        file: str | None = None,
        line: int | None = None,
        column: int | None = None,
        key: str | None = None,
        row: int | None = None,
        cell: str | None = None,
        found: object = None,
        allowed: str | Fact = "",
        suggestion: str | None = None,
    ) -> None:
        self.fact = {"problem": _fact(problem), "allowed": _fact(allowed)}
        self.file = file
        self.line = line
        self.column = column
        self.key = key
        self.row = row
        self.cell = cell
        self.found = found
        self.suggestion = suggestion
        super().__init__(self.problem)

    @property
    def problem(self) -> str:
        """What is wrong [mm]."""
        return say(self.fact["problem"])

    @property
    def allowed(self) -> str:
        """What may stand there [mm]; nothing where that is not said."""
        return say(self.fact["allowed"])

    @property
    def message(self) -> str:
        """The whole sentence: place, key, problem, what is allowed, what may have been meant [mm]."""
        return self.message_in("mm")

    def message_in(self, unit: LengthUnit) -> str:
        """Return the whole sentence with its lengths in a unit."""
        problem, allowed = (say(self.fact[name], unit) for name in ("problem", "allowed"))
        place = ", ".join(
            part
            for part in (
                self.file,
                None if self.line is None else f"line {self.line}",
                None if self.column is None else f"column {self.column}",
            )
            if part is not None
        )
        text = f"{place}: " if place else ""
        if self.key is not None:
            text += f"{self.key}: "
        text += problem
        if allowed:
            text += f"; allowed: {allowed}"
        if self.suggestion is not None:
            text += f'; did you mean "{self.suggestion}"?'
        text = text if text.endswith("?") else text + "."
        return text if len(text) <= LONGEST else f"{text[: LONGEST // 2]} … {text[3 - LONGEST // 2 :]}"

    def __str__(self) -> str:
        return self.message

    def as_dict(self) -> dict[str, Any]:
        """Return the error as JSON data, every field of it."""
        return {
            "kind": type(self).__name__,
            "message": self.message,
            "problem": self.problem,
            "file": self.file,
            "line": self.line,
            "column": self.column,
            "key": self.key,
            "row": self.row,
            "cell": self.cell,
            "found": _json(self.found),
            "allowed": self.allowed,
            "suggestion": self.suggestion,
            "fact": {name: one.as_dict() for name, one in self.fact.items()},
        }


class UnreadableFile(InputError):
    """The file is missing, cannot be read, or is not the TOML, JSON or CSV that its name promises."""


class UnknownMachine(InputError):
    """No profile of this name was found; `known` lists the names there are."""

    def __init__(self, name: str, known: Sequence[str], **place: Any) -> None:
        self.known = tuple(known)
        super().__init__(
            f'there is no machine profile "{name}"',
            found=name,
            allowed=", ".join(known) if known else "no profile was found at all",
            suggestion=nearest_name(name, known),
            **place,
        )


class NoTooling(InputError):
    """The machine has no tooling for this tube; `tooling` lists (tube diameter, bend radius) [mm]."""

    def __init__(
        self,
        machine: str,
        diameter: float,
        radius: float,
        tooling: Sequence[tuple[float, float]],
        **place: Any,
    ) -> None:
        self.machine = machine
        self.diameter = diameter
        self.radius = radius
        self.tooling = tuple(tooling)
        there_is = tuple(fact("on-radius", diameter=size(d), radius=size(r)) for d, r in tooling)
        super().__init__(
            fact("no-tooling-for", machine=machine, diameter=size(diameter), radius=size(radius)),
            found={"tube_diameter": diameter, "bend_radius": radius},
            allowed=fact("the-tooling-there-is", tooling=there_is) if tooling else "no tooling is listed",
            **place,
        )


class SelfCrossing(InputError):
    """The finished tube runs through itself; `depth` [mm] and `where` (x, y, z) [mm] are the evidence."""

    def __init__(self, first: str, second: str, depth: float, where: tuple[float, float, float], **place: Any) -> None:
        self.first = first
        self.second = second
        self.depth = depth
        self.where = where
        x, y, z = (length(value) for value in where)
        super().__init__(
            fact("crosses-itself", first=first, second=second, depth=length(depth), x=x, y=y, z=z),
            found=round(-depth, 6),
            allowed=fact("a-gap", limit=size(0.0)),
            **place,
        )


def nearest_name(name: str, names: Iterable[str]) -> str | None:
    """Return the name that was most likely meant, None if none is near."""
    known = {known.lower(): known for known in names}
    close = difflib.get_close_matches(name.lower(), known, n=1, cutoff=0.6)
    return known[close[0]] if close else None


def _fact(said: str | Fact) -> Fact:
    return fact("as-said", text=said) if isinstance(said, str) else said


def _json(value: object) -> Any:
    """Return the value if JSON can hold it, else its text (JSON knows no NaN and no infinity)."""
    if isinstance(value, str):
        return value if len(value) <= 10 * MOST_FOUND else value[: 10 * MOST_FOUND] + "…"
    if value is None or isinstance(value, bool | int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else str(value)
    if isinstance(value, dict):
        return {str(key): _json(item) for key, item in islice(value.items(), MOST_FOUND)}
    if isinstance(value, list | tuple):
        return [_json(item) for item in value[:MOST_FOUND]]
    return str(value)
