"""`bendorder shape`: the shape of a part."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.commands.app import MAKEABLE, Json, PartFile, app, write

if TYPE_CHECKING:
    from planner.inputs.part import Part


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

        write(json_text(shape_document(shown, _gap(shown))))
    else:
        from planner.outputs.terminal import Page

        print_shape(shown, _gap(shown), Page())
    return MAKEABLE


def _gap(part: Part) -> float | None:
    """Return the smallest gap of the finished tube to itself [mm], None where no part meets another."""
    from planner.inputs.self_crossing import smallest_gap

    return smallest_gap(part)
