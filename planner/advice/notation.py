"""Orders as they are written and read: bend number and leading end, "3A 4A 2B 1B"."""

from __future__ import annotations

import re
from collections.abc import Iterable

from planner.errors import InputError
from planner.feasibility.orders import Case
from planner.plans.document import End, OrderedBend
from planner.search.decision import Plannable
from planner.words import counted

WRITTEN = 'bend number and leading end, a space between, as "3A 4A 2B 1B"'
ENTRY = re.compile(r"([1-9][0-9]{0,8})([AB])")

Order = tuple[OrderedBend, ...]


def read_order(text: str, n: int) -> Order:
    """Return an order of n bends written as bend number and leading end: "3A 4A 2B 1B". Raises InputError."""

    def refused(problem: str, found: str, suggestion: str | None = None) -> InputError:
        return InputError(
            problem, file="command line", key="--order", found=found, allowed=WRITTEN, suggestion=suggestion
        )

    order: list[OrderedBend] = []
    for word in text.split():
        entry = ENTRY.fullmatch(word)
        if entry is None:
            meant = re.sub(r"[^0-9AB]", "", word.upper())
            raise refused(f'"{word}" is no bend with a leading end', word, meant if ENTRY.fullmatch(meant) else None)
        bend, leads = int(entry[1]), _end(entry[2])
        if bend > n:
            raise refused(f"there is no bend {bend}, the part has {counted(n, 'bend')}", word)
        if any(made.bend == bend for made in order):
            raise refused(f"bend {bend} comes twice", word)
        order.append(OrderedBend(bend=bend, leads=leads))
    missing = sorted(set(range(1, n + 1)) - {made.bend for made in order})
    if missing:
        which = f"bend {missing[0]} is" if len(missing) == 1 else f"bends {', '.join(map(str, missing))} are"
        raise refused(f"{which} missing, the part has {counted(n, 'bend')}", text)
    return tuple(order)


def _end(letter: str) -> End:
    return "A" if letter == "A" else "B"


def written(order: Iterable[OrderedBend]) -> str:
    """Return an order as it is read: "3A 4A 2B 1B"."""
    return " ".join(f"{made.bend}{made.leads}" for made in order)


def straight_through(n: int) -> tuple[Order, Order]:
    """Return the two plain orders: 1 … n with end A leading, n … 1 with end B leading."""
    from_a = tuple(OrderedBend(bend=bend, leads="A") for bend in range(1, n + 1))
    return from_a, tuple(OrderedBend(bend=bend, leads="B") for bend in range(n, 0, -1))


def order_of(case: Case, found: Plannable) -> Order:
    """Return the order of a sequence."""
    return tuple(OrderedBend(bend=case.number(at.leads, at.bend), leads=at.leads) for at in found.sequence.arrivals)
