"""What `bendorder check` found: as a page, as CSV, as a document.

A line for each part and machine, parts as they were given, machines as they were named (all of them: by name). Columns
of the CSV, and keys of each entry of `lines` in the document (schema `bendorder-check/1`), in this order; lengths [mm],
times [s], empty in CSV and null in JSON where there is nothing to say:

    part                  name of the part; none where its file cannot be read
    part_file             its file
    machine               name of the profile; none where the part's file cannot be read
    machine_file          its file
    verdict               "makeable", "not makeable", "undecided", or "bad input" where a file cannot be used
    undecided_because     as in a plan document
    proved                whether the verdict is; false for "undecided", and for "makeable" where it is not checked how
                          the tube is put on and taken off (no mandrel)
    reclamps              of the best plan, like all that follows up to the time: only where the part is makeable
    trim                  extra stock of both ends together
    trim_a, trim_b        of each end
    cut_length            tube to cut, trim included
    smallest_clearance    a proved lower bound over all motions of the plan
    time                  handling time at the machine
    reason                the main reason why it is not makeable, not settled, or bad input: one sentence
    reasons               how many reasons there are; of "not makeable" together they exclude every order

The document has one key more in each line, `error` (the evidence of "bad input", as in `bendorder-error/1`), and
besides `lines` a `verdict`, what all lines come to, which is that of the exit code: "bad input" if any line is, else
"not makeable" if any part is so on each of its machines, else "undecided" if any part is makeable on none, else
"makeable".
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import asdict, fields
from typing import Any, Final

from planner.advice.machines import Checked, Settled, best_of, worst_of
from planner.outputs.plan_page import AGAINST, COLOURS, PEOPLE, WHY_UNDECIDED
from planner.outputs.terminal import Page
from planner.tolerances import REPORT_CEILING
from planner.words import at_least, counted, listed, millimetres, plain

SCHEMA: Final = "bendorder-check/1"
COLUMNS: Final = tuple(field.name for field in fields(Checked) if field.name not in ("error", "fact"))

NOT_HANDLED = "Not checked for want of a mandrel: putting the tube on and taking it off"
MOST_NAME = 22  # [characters] of a part's or a machine's name before it goes on in the next line
VERDICT, COUNT, LENGTH = 12, 9, 10  # [characters]

Parts = Sequence[Sequence[Checked]]
"""The lines of each part."""


def check_document(parts: Parts) -> dict[str, Any]:
    """Return all lines as a document."""
    return {
        "schema": SCHEMA,
        "verdict": worst_of(map(best_of, parts)),
        "lines": [asdict(line) for lines in parts for line in lines],
    }


def check_csv(parts: Parts) -> str:
    """Return all lines as CSV with a head; numbers as in the document, true and false in small letters."""
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(COLUMNS)
    for lines in parts:
        table.writerows([_cell(getattr(line, column)) for column in COLUMNS] for line in lines)
    return text.getvalue()


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return repr(value) if isinstance(value, int | float) else plain(value)


def print_check(parts: Parts, page: Page) -> None:
    """Write what the lines come to, then the lines; with the part's name in each where there are several parts."""
    page.text(_summary(parts), style="bold")
    page.blank()
    every = [line for lines in parts for line in lines]
    names = [] if len(parts) == 1 else [_width("part", [_part(line) for line in every])]
    widths = [*names, _width("machine", [_machine(line) for line in every]), VERDICT]
    head = ["part", "machine", "verdict"][-len(widths) :]
    numbers = [("re-clamps", COUNT), ("trim", COUNT), ("clearance", LENGTH), ("cut length", None)]
    page.row([*zip(head, widths, strict=True), *numbers], style="bold", indent=2)
    for line in every:
        named = [_part(line), _machine(line), line.verdict][-len(widths) :]
        page.row([*zip(named, widths, strict=True), *_said(line)], style=COLOURS.get(line.verdict, "yellow"), indent=2)
    page.blank()
    _print_unchecked(every, page)


def _print_unchecked(lines: Sequence[Checked], page: Page) -> None:
    """Write what the lines do not say."""
    if any(line.verdict == "makeable" for line in lines):
        page.text("Clearance: the smallest of all motions of the plan, proved. Cut length: trim included.")
    unhandled = dict.fromkeys(_machine(line) for line in lines if line.verdict == "makeable" and not line.proved)
    if unhandled:
        page.text(f"{NOT_HANDLED} ({listed(unhandled)}).")
    page.text(AGAINST)
    page.text(PEOPLE, style="bold")


def _summary(parts: Parts) -> str:
    """Return what the lines come to in words, part by part if there is only one."""
    if len(parts) == 1:
        lines = parts[0]
        return f"{_part(lines[0])}: {_of_machines(best_of(lines), lines)}."
    settled = [best_of(lines) for lines in parts]
    makeable = settled.count("makeable")
    words = [f"Makeable: {makeable} of {len(parts)} parts"]
    words += [f"{verdict}: {count}" for verdict in ("not makeable", "undecided", "bad input")
              if (count := settled.count(verdict))]  # fmt: skip
    return f"{'; '.join(words)}."


def _of_machines(verdict: Settled, lines: Sequence[Checked]) -> str:
    """Return a part's verdict in words, and on how many of the machines it holds."""
    machines = counted(len(lines), "machine")
    can = sum(line.verdict == "makeable" for line in lines)
    if can:
        return f"makeable on {can} of {machines}"
    if verdict == "bad input":
        return "a file cannot be used"
    if verdict == "not makeable":
        return f"not makeable on any of {machines}" if len(lines) > 1 else "not makeable on this machine"
    open_ = sum(line.verdict == "undecided" for line in lines)
    return f"makeable on none of {machines} for certain, undecided on {open_}"


def _said(line: Checked) -> list[tuple[str, int | None]]:
    """Return the numbers of a plan in their columns, or in the place of them all why there are none."""
    if line.verdict != "makeable":
        return [(_why_not(line), None)]
    return [
        (str(line.reclamps), COUNT),
        (millimetres(line.trim or 0.0), COUNT),
        (_clearance(line.smallest_clearance), LENGTH),
        ("" if line.cut_length is None else millimetres(line.cut_length), None),
    ]


def _why_not(line: Checked) -> str:
    """Return why a part is not makeable, not settled, or cannot be read, and that this is not all there is to say."""
    more = f" (1 of {line.reasons} reasons)" if line.reasons > 1 else ""
    reason = "" if line.reason is None else f"{line.reason}{more}"
    if line.undecided_because is None:
        return reason
    because = WHY_UNDECIDED[line.undecided_because]
    return f"{because[:1].upper()}{because[1:]}. {reason}".strip()


def _clearance(bound: float | None) -> str:
    """Return a proved clearance, rounded down."""
    if bound is None:
        return ""
    return f">{at_least(REPORT_CEILING)}" if bound >= REPORT_CEILING else at_least(bound)


def _part(line: Checked) -> str:
    """Return a part's name, its file where it has none."""
    return plain(line.part or line.part_file or "the part")


def _machine(line: Checked) -> str:
    """Return a machine's name; a dash where it is not known which was meant."""
    return "-" if line.machine is None else plain(line.machine)


def _width(head: str, names: Sequence[str]) -> int:
    """Return the width of a column of names [characters]."""
    return min(max(map(len, (head, *names))), MOST_NAME)
