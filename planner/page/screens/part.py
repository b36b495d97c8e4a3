"""Part and machine: pick an example, load a file, or type the table; the tube appears while it is typed."""

from __future__ import annotations

import math
from functools import partial
from typing import Any, Final

from nicegui.element import Element
from nicegui.elements.mixins.text_element import TextElement

from planner.errors import BendorderError
from planner.inputs.files import machine_from_data
from planner.inputs.part import Part
from planner.inputs.profiles import list_profiles
from planner.page.film import part_film
from planner.page.part_form import COLUMNS, Read
from planner.page.screens.loading import load_example, take_file, take_machine, take_table
from planner.page.screens.profile import ProfileDialog
from planner.page.screens.saving import ask_and_save
from planner.page.screens.shell import Shell
from planner.page.session import News
from planner.page.view import MachineView
from planner.page.widgets import box, button, cell, choice, entry, file_button, heading, mark, on_paste, words
from planner.wording.figures import LengthUnit, shown
from planner.words import counted

HEADS: Final = {"straight": "straight", "rotation": "rotation °", "angle": "angle °", "radius": "radius"}
SIGNS: Final = {"right-handed": "right-handed", "left-handed": "left-handed"}
PREFER: Final[dict[str, str]] = {"fewer re-clamps": "fewer re-clamps", "less trim": "less trim"}
LIMITS: Final = {"10": "10 s", "30": "30 s", "120": "2 min", "300": "5 min"}
KINDS: Final = {"lra": "straight, rotation, angle", "xyz": "x, y, z of the corners"}


class PartScreen:
    """The screen of part and machine."""

    def __init__(self, shell: Shell) -> None:
        self.shell, self.session = shell, shell.session
        self.fields: dict[str, Element] = {}
        self.cells: dict[tuple[int, int], Element] = {}
        self.row_slips: dict[int, TextElement] = {}

    def build(self) -> None:
        """Build the form beside the view."""
        with box("screen split look-first"):
            with box("stack"):
                self._pick()
                self._tube()
                self._table()
            with box("stack"):
                with box("view"):
                    self.view = MachineView(None)
                self.about = words("", "faint")
                self.wrong = box("stack", "div", aria_live="polite")
                with box("row ends"):
                    self.plan_it = button("Plan it", self._plan, "main great")
                    choice("What counts first", PREFER, self.session.prefer, self._prefer)
                    choice("Time to plan in", LIMITS, f"{self.session.time_limit:.0f}", self._limit)
                self._machine()
        self._read()
        self.view.look("part")

    def heard(self, news: News) -> None:
        """Nothing here hangs on a plan."""

    # ---------------------------------------------------------------------------------- the form

    def _pick(self) -> None:
        examples = {"": "pick one …"} | {one.name: one.name.replace("-", " ") for one in self.shell.shop.examples}
        with box("card stack"):
            heading("Part", "h1")
            with box("row ends"):
                choice("Example (invented)", examples, "", self._example)
                file_button("Load a file", ".toml,.json,.csv,.tsv,.txt", self._file)
                button("Save the part", self._save)

    def _tube(self) -> None:
        form = self.session.form
        with box("card stack"):
            with box("row ends"):
                self._entry("name", "Name")
                choice("Lengths typed in", {"mm": "mm", "in": "inch"}, form.units, self._units)
            with box("row ends"):
                self._entry("outside_diameter", "Outside diameter", number=True)
                self._entry("gauge" if form.gauge and not form.wall else "wall", "Wall", number=not form.gauge)
                self._entry("material", "Material")
            with box("row ends"):
                self._entry("bend_radius", "Bend radius, of all bends", number=True)
                self._entry("trim_a", "Trim allowed at A", number=True)
                self._entry("trim_b", "Trim allowed at B", number=True)
            words("Trim left blank: what the rules need, and only where nothing goes without. 0: none.", "faint small")

    def _entry(self, name: str, label: str, *, number: bool = False) -> None:
        around = entry(label, getattr(self.session.form, name), lambda text: self._typed(name, text), number=number)
        self.fields[name] = around.default_slot.children[1]

    def _table(self) -> None:
        form = self.session.form
        columns = COLUMNS[form.kind]
        with box("card stack") as card:
            on_paste(card, lambda text: take_table(self.shell, text))
            with box("row ends"):
                heading("Shape, from end A")
                choice("Table of", KINDS, form.kind, self._kind)
                if form.kind == "lra":
                    choice("Rotations count", SIGNS, form.rotation_sign, self._sign)
            words("Paste a table from a spreadsheet anywhere here. The last row holds the end straight.", "faint small")
            with box("rows", "table"):
                with box("", "tr"):
                    for head in ("", *columns):
                        words(HEADS.get(head, head), tag="th")
                for number, row in enumerate(form.rows):
                    self._row(number, row)
            with box("row"):
                button("Add a row", self._add)
                button("Take the last row off", self._take_off, off=len(form.rows) < 2)
                button("Mirror image", self._mirror)

    def _row(self, number: int, row: list[str]) -> None:
        columns = COLUMNS[self.session.form.kind]
        row += [""] * (len(columns) - len(row))
        with box("", "tr"):
            words(str(number + 1), "count", tag="td")
            for column, name in enumerate(columns):
                with box("", "td"):
                    self.cells[number, column] = cell(
                        f"Row {number + 1}, {name}",
                        row[column],
                        partial(self._cell_typed, number, column),
                    )
        with box("", "tr"), box("", "td", colspan=len(columns) + 1):
            self.row_slips[number] = words("", "slip", tag="div")

    def _machine(self) -> None:
        session = self.session
        names = [profile.name for profile in list_profiles(self.shell.shop.profiles)]
        options = ({} if session.machine_name in names else {session.machine_name: "as edited"}) | {n: n for n in names}
        with box("card stack"):
            heading("Machine", "h1")
            with box("row ends"):
                choice("Profile", options, session.machine_name, self._profile)
                button("Edit its numbers", lambda: ProfileDialog(self.shell).open())
                button("Save the profile", lambda: ask_and_save(self.shell, "machine", session.machine))
            words(session.machine["name"])
            tooling = ", ".join(
                f"{shown(t['tube_diameter'], session.unit)} on {shown(t['bend_radius'], session.unit)}"
                for t in session.machine["tooling"]
            )
            words(f"Tooling: {tooling}", "faint small")

    # ---------------------------------------------------------------------------------- what is typed

    def _typed(self, name: str, text: str) -> None:
        setattr(self.session.form, name, text)
        self._read()

    def _cell_typed(self, row: int, column: int, text: str) -> None:
        self.session.form.rows[row][column] = text
        self._read()

    def _read(self) -> Read:
        """Read the form, show the tube, and put every slip where it belongs."""
        read = self.session.form.read()
        wrong_cells = {(slip.row, slip.column) for slip in read.slips}
        for place, element in self.cells.items():
            mark(element, place in wrong_cells)
        for name, element in self.fields.items():
            mark(element, any(slip.row is None and slip.key == name for slip in read.slips))
        for row, label in self.row_slips.items():
            said = [slip.message for slip in read.slips if slip.row == row]
            label.text = " ".join(said)
            label.set_visibility(bool(said))
        self.wrong.clear()
        with self.wrong:
            for slip in read.slips:
                if slip.row is None or slip.row not in self.row_slips:
                    words(slip.message, "slip", tag="div")
        self.plan_it.props.set_bool("disabled", read.part is None)
        self.session.compare(None if read.part is None else read.part.normalised())
        self.shell.tell_top()
        if read.part is not None:
            self._show(read.part)
        else:
            self.about.text = "The tube is shown as it was last right." if self.cells else ""
        return read

    def _show(self, part: Part) -> None:
        unit: LengthUnit = self.session.unit
        self.view.show(part_film(part).as_dict())
        total = math.degrees(float(part.angles.sum()))
        self.about.text = (
            f"{counted(part.n_bends, 'bend')}, {total:.1f}° in all, developed length"
            f" {shown(part.developed_length, unit)}. End A is where the table begins."
        )

    # ---------------------------------------------------------------------------------- controls

    def _example(self, name: str) -> None:
        if name:
            part = load_example(self.shell, name)
            self.shell.draw()
            self.shell.start(self.shell.session_jobs.plan(part, self.session.machine))

    def _file(self, name: str, text: str | None) -> None:
        take_file(self.shell, name, text)

    def _profile(self, name: str) -> None:
        take_machine(self.shell, name)
        self.shell.draw()

    def _units(self, unit: str) -> None:
        self._changed(self.session.form.in_units("in" if unit == "in" else "mm"))

    def _kind(self, kind: str) -> None:
        self._changed(self.session.form.switched("xyz" if kind == "xyz" else "lra"))

    def _mirror(self) -> None:
        self._changed(self.session.form.mirrored())

    def _changed(self, found: Any) -> None:
        """Take a form that was converted, or tell why it cannot be."""
        form, slips = found
        for slip in slips:
            self.shell.tell(slip.message)
        self.session.form = form
        self.shell.draw()

    def _sign(self, sign: str) -> None:
        self.session.form.rotation_sign = "left-handed" if sign == "left-handed" else "right-handed"
        self._read()

    def _save(self) -> None:
        read = self._read()
        ask_and_save(self.shell, "part", None if read.part is None else read.document)

    def _prefer(self, prefer: str) -> None:
        self.session.prefer = "less trim" if prefer == "less trim" else "fewer re-clamps"

    def _limit(self, seconds: str) -> None:
        self.session.time_limit = float(seconds)

    def _add(self) -> None:
        self.session.form.rows.append(["", "", "", ""])
        self.shell.draw()

    def _take_off(self) -> None:
        self.session.form.rows.pop()
        self.shell.draw()

    def _plan(self) -> None:
        part = self._read().part
        if part is None:
            return
        try:
            machine = machine_from_data(self.session.machine)
        except BendorderError as error:
            self.shell.tell(str(error))
            return
        self.shell.start(self.shell.session_jobs.plan(part.normalised(), machine.normalised()))
        self.shell.go("verdict")
