"""Save a part or a profile to the chosen folder, and ask before another file is overwritten."""

from __future__ import annotations

from typing import Any, Literal

from nicegui import ui

from planner.errors import BendorderError
from planner.outputs.whole_files import WouldOverwrite
from planner.page.saved_files import machine_toml, part_toml, save
from planner.page.screens.shell import Shell
from planner.page.widgets import box, button, heading, words


def ask_and_save(shell: Shell, what: Literal["part", "machine"], document: dict[str, Any] | None) -> None:
    """Save a document under its own name; a file that is there is only overwritten if that is wanted."""
    if document is None:
        shell.tell("First put right what is marked as wrong.")
        return
    text = part_toml(document) if what == "part" else machine_toml(document)
    try:
        path = save(shell.shop.folder, str(document["name"]), text)
    except WouldOverwrite as there:
        _ask(shell, str(document["name"]), text, str(there))
    except BendorderError as error:
        shell.tell(str(error))
    else:
        shell.tell(f"Saved as {path}.")


def _ask(shell: Shell, name: str, text: str, problem: str) -> None:
    with ui.dialog() as dialog, box("sheet"):
        heading("There is such a file already")
        words(problem)
        with box("row"):

            def overwrite() -> None:
                dialog.close()
                try:
                    shell.tell(f"Saved as {save(shell.shop.folder, name, text, overwrite=True)}.")
                except BendorderError as error:
                    shell.tell(str(error))

            button("Keep the old file", dialog.close, "main")
            button("Overwrite it", overwrite)
    dialog.open()
