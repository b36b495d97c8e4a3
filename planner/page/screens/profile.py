"""Edit the numbers of a machine profile in a sheet over the page."""

from __future__ import annotations

from itertools import groupby

from nicegui import ui
from nicegui.element import Element

from planner.inputs.files import machine_from_data
from planner.lookover.look import look_over
from planner.page.machine_form import FormField, fields_of, with_values
from planner.page.screens.shell import Shell
from planner.page.widgets import box, button, choice, entry, heading, mark, words
from planner.words import counted


class ProfileDialog:
    """The sheet of one profile."""

    def __init__(self, shell: Shell) -> None:
        self.shell = shell
        self.document = shell.session.machine
        self.typed: dict[str, str] = {}
        self.entries: dict[str, Element] = {}

    def open(self) -> None:
        """Show the sheet."""
        with ui.dialog() as self.dialog, box("sheet"):
            heading("The machine's numbers", "h1")
            words("Measure your own machine: a plan is only as good as these numbers.", "faint")
            self._remarks()
            for group, fields in groupby(fields_of(self.document), key=lambda field: field.group):
                with box("", "details"):
                    words(group, tag="summary")
                    with box("tiles"):
                        for field in fields:
                            self._field(field)
            self.wrong = box("stack", "div", aria_live="polite")
            with box("row"):
                button("Take these numbers", self._take, "main")
                button("Leave them as they were", self.dialog.close)
        self.dialog.open()

    def _remarks(self) -> None:
        """Say what there is to remark on the profile as it stands."""
        remarks = look_over(machine_from_data(self.document))
        if remarks:
            with box("", "details"):
                words(f"Looked over: {counted(len(remarks), 'remark')}", tag="summary")
                for remark in remarks:
                    words(self.shell.said(remark.fact), tag="p")

    def _field(self, field: FormField) -> None:
        label = f"{field.label}{f' [{field.unit}]' if field.unit else ''}"

        def taken(text: str) -> None:
            self.typed[field.path] = text

        if field.kind == "fixed":
            words(f"{label}: {field.text}", "faint")
        elif field.choices and not field.word:
            options = {one: one for one in field.choices}
            choice(label, options if field.required else {"": "as usual"} | options, field.text, taken)
        else:
            self.entries[field.path] = entry(label, field.text, taken, number=field.kind in ("number", "whole number"))

    def _take(self) -> None:
        """Take the numbers if they make a machine; else say which do not."""
        read = with_values(self.document, self.typed)
        self.wrong.clear()
        with self.wrong:
            for slip in read.slips:
                words(slip.message, "slip", tag="div")
        wrong = {slip.key for slip in read.slips}
        for path, around in self.entries.items():
            mark(around.default_slot.children[1], path in wrong)
        if read.machine is None:
            return
        self.shell.session.machine = read.machine.normalised()
        self.shell.session.machine_name = ""
        self.dialog.close()
        self.shell.draw()
