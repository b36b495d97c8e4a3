"""The shape of a part: its rows from either end, vertices, lengths, smallest gap to itself, and its hand.

Rows are given right-handed whatever the file counts; seen from the other end rotations keep their signs.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from planner.errors import InputError
from planner.outputs import hand
from planner.outputs.documents import SHAPE
from planner.outputs.plan_page import part_lines, rotation_lines
from planner.outputs.terminal import Page
from planner.words import degrees, millimetres, number

if TYPE_CHECKING:
    from planner.inputs.part import Part

Rows = list[list[float]]
ANGLE_DECIMALS = 2  # a drawing gives hundredths of a degree at best (common practice, no source)


def rows_from_a(part: Part) -> Rows:
    """Return a row per bend, straight [mm], rotation [deg], angle [deg], and last the end straight alone."""
    straights = [float(length) for length in part.straights]
    rotations = [_degrees(angle) for angle in part.rotations]
    angles = [_degrees(angle) for angle in part.angles]
    return [*([s, r, a] for s, r, a in zip(straights[:-1], rotations, angles, strict=True)), [straights[-1]]]


def rows_from_b(part: Part) -> Rows:
    """Return the rows as seen from end B: all in reverse, the rotations with their signs kept."""
    rows = rows_from_a(part)
    straights = [row[0] for row in rows][::-1]
    angles = [row[2] for row in rows[:-1]][::-1]
    rotations = [0.0, *[row[1] for row in rows[1:-1]][::-1]]
    return [*([s, r, a] for s, r, a in zip(straights[:-1], rotations, angles, strict=True)), [straights[-1]]]


def _degrees(angle: float) -> float:
    """Return the angle [rad] in degrees, without the noise of the conversion."""
    return round(math.degrees(float(angle)), 9) + 0.0


def vertices(part: Part) -> tuple[list[list[float]] | None, str | None]:
    """Return the vertices (n + 2, 3) [mm], or None and why there are none (a bend of 175° or more)."""
    try:
        found = part.vertices()
    except InputError as error:
        return None, error.problem
    return [[_rounded(x) for x in vertex] for vertex in found], None


def shape_document(part: Part, gap: float | None) -> dict[str, Any]:
    """Return the shape as data, document `bendorder-shape/1`, rotations right-handed whatever the file counts.

    schema: name and number of this kind of document. name: of the part. tube: outside_diameter, wall [mm], material.
    rotation_sign: "right-handed". file_rotation_sign: how the part's file counts. hand: which way the bends point, a
    sentence each. lra_from_a: rows from end A [mm, deg]. lra_from_b: rows from end B [mm, deg]. bend_radii: from end A
    [mm]. xyz: the vertices [mm], null where there are none. no_xyz_because: why not. straights: from end A [mm]. arcs:
    lengths of the bends [mm]. developed_length: of the unbent tube without trim [mm]. bend_starts, bend_ends: stock
    coordinates of the bends' tangent points nearer end A and nearer end B [mm]. gap_to_itself: smallest gap of the
    finished tube to itself [mm], null where no part of it comes back to another.

    Of the arguments, gap is what gap_to_itself says, None for null.
    """
    found, why_not = vertices(part)
    rows = rows_from_a(part)
    return {
        "schema": SHAPE,
        "name": part.name,
        "tube": {"outside_diameter": part.outside_diameter, "wall": part.wall, "material": part.material},
        "rotation_sign": "right-handed",
        "file_rotation_sign": part.rotation_sign,
        "hand": hand.sentences([row[1] for row in rows[:-1]]),
        "lra_from_a": rows,
        "lra_from_b": rows_from_b(part),
        "bend_radii": [float(radius) for radius in part.radii],
        "xyz": found,
        "no_xyz_because": why_not,
        "straights": [row[0] for row in rows],
        "arcs": [_rounded(length) for length in part.arc_lengths],
        "developed_length": _rounded(part.developed_length),
        "bend_starts": [_rounded(u) for u in part.bend_starts],
        "bend_ends": [_rounded(u) for u in part.bend_ends],
        "gap_to_itself": None if gap is None else _rounded(gap),
    }


def _rounded(length: float) -> float:
    """Return the length [mm] to a millionth: far below anything measurable, and stable from run to run."""
    return round(float(length), 6) + 0.0


def print_shape(part: Part, gap: float | None, page: Page) -> None:
    """Write the whole page; gap as in `shape_document`."""
    page.text(plain_name(part), style="bold")
    document = shape_document(part, gap)
    described = part.normalised()
    page.field("Tube", part_lines(described)[1])
    page.field("Rotation", *rotation_lines(described, ANGLE_DECIMALS, part.rotation_sign))
    _print_picture(document["lra_from_a"], page)
    page.field("Length", f"developed {millimetres(part.developed_length)}")
    page.field("Gap", _gap_line(gap))
    radii = document["bend_radii"]
    for end in ("A", "B"):
        page.heading(f"Rows from end {end} (rotation right-handed)")
        _print_rows(document[f"lra_from_{end.lower()}"], radii if end == "A" else radii[::-1], end, page)
    page.heading("Along the unbent tube, from end A [mm]")
    _print_stock(document, page)
    page.heading("Vertices [mm]")
    _print_vertices(document, page)


def plain_name(part: Part) -> str:
    """Return the name of the part, or that it has none."""
    return part.name if part.name else "part without a name"


def _gap_line(gap: float | None) -> str:
    """Say how near the finished tube comes to itself."""
    if gap is None:
        return "no part of the tube comes back to another"
    return f"smallest gap of the finished tube to itself {millimetres(gap)}"


def _print_picture(rows: Rows, page: Page) -> None:
    """Draw the first bend that leaves the plane of the one before it."""
    rotations = [row[1] for row in rows[:-1]]
    if len(rotations) > 1:
        shown = hand.first_turning(rotations)
        page.drawing(hand.picture(shown + 1, rotations[shown]))


def _print_rows(rows: Rows, radii: list[float], end: str, page: Page) -> None:
    """Write rows from one end; bends keep their numbers from end A."""
    count = len(rows) - 1
    bends = range(1, count + 1) if end == "A" else range(count, 0, -1)
    lines = [
        [str(bend), number(s), degrees(r, ANGLE_DECIMALS), degrees(a, ANGLE_DECIMALS), number(radius)]
        for bend, (s, r, a), radius in zip(bends, rows[:-1], radii, strict=True)
    ]
    head = ["bend", "straight before, mm", "rotation before", "angle", "radius, mm"]
    page.table(head, [*lines, ["end", number(rows[-1][0]), "", "", ""]])


def _print_stock(document: dict[str, Any], page: Page) -> None:
    """Write where each bend begins and ends on the unbent tube."""
    columns = zip(document["bend_starts"], document["bend_ends"], document["arcs"], strict=True)
    lines = [[str(i), *(number(x) for x in row)] for i, row in enumerate(columns, start=1)]
    page.table(["bend", "tangent point nearer A", "tangent point nearer B", "arc"], lines)


def _print_vertices(document: dict[str, Any], page: Page) -> None:
    """Write the vertices, or why there are none."""
    if document["xyz"] is None:
        page.text(f"none: {document['no_xyz_because']}.", indent=2)
        return
    last = len(document["xyz"]) - 1
    names = ["end A", *(f"bend {i}" for i in range(1, last)), "end B"]
    rows = zip(names, document["xyz"], strict=True)
    page.table(["", "x", "y", "z"], [[name, *(number(x, 2) for x in vertex)] for name, vertex in rows], left=1)
