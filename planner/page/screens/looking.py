"""The ways to look at a view: near what moves, at all of the machine, from above, from the front."""

from __future__ import annotations

from functools import partial
from typing import Final

from planner.page.view import Look, MachineView
from planner.page.widgets import button

LOOKS: Final[tuple[tuple[Look, str, str], ...]] = (
    ("part", "Near", "Look near at what moves"),
    ("machine", "All", "Look at the whole machine and all that the tube sweeps"),
    ("above", "Above", "Look from above"),
    ("front", "Front", "Look from the front, against the feed"),
)


def looks(view: MachineView) -> None:
    """Put the buttons for looking at a view."""
    for look, said, name in LOOKS:
        button(said, partial(view.look, look), name=name)
