"""What was typed and cannot be used, at the cell it stands in, and said in one sentence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

LABELS: Final = {
    "kind": "Kind of table", "rotation_sign": "Rotation counts", "rows": "Shape", "trim_a": "Trim at end A",
    "trim_b": "Trim at end B",
}  # fmt: skip
"""Fields in shop words, where those are not the key's own."""


@dataclass(frozen=True)
class Slip:
    """Something typed that cannot be used.

    problem: what is wrong, without the place; key: the field, the column of the table, or "rows" for the whole table;
    row, column: of the table's cell, from 0; found; allowed; suggestion: what may have been meant; label: the field in
    shop words where it is none of this form.
    """

    problem: str
    key: str
    row: int | None = None
    column: int | None = None
    found: str = ""
    allowed: str = ""
    suggestion: str | None = None
    label: str = ""

    @property
    def place(self) -> str:
        """The place in words: "Row 3, angle", "Wall"."""
        if self.row is None:
            return self.label or LABELS.get(self.key) or self.key.replace("_", " ").capitalize()
        return f"Row {self.row + 1}" if self.key == "rows" else f"Row {self.row + 1}, {self.key}"

    @property
    def message(self) -> str:
        """The whole sentence: place, problem, what is allowed, what may have been meant."""
        text = f"{self.place}: {self.problem}"
        if self.allowed:
            text += f"; allowed: {self.allowed}"
        if self.suggestion is not None:
            return f"{text}; do you mean {self.suggestion}?"
        return text if text.endswith(".") else text + "."
