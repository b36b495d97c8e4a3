"""The carriage's reach: where the collet may hold the tube for each bend, and where it must re-grip.

u is the stock coordinate of the collet's face, counted from the part's leading end [mm]. A bend that starts at a and
whose swing ends with e at the tangent point needs e + closest ≤ u ≤ a + farthest, and the tube must fill the collet:
u + grip length ≤ tail end. One grip serves bends whose windows share a point. At a re-grip after a bend that ended at
e, u lies within [e + closest, e + farthest] of that bend too.
"""

from __future__ import annotations

from dataclasses import dataclass

from planner.inputs.machine import Carriage, Machine
from planner.rules.broken import Broken
from planner.rules.grip import Loaded, end_of_swing
from planner.tolerances import RULE_SLACK


@dataclass(frozen=True)
class Grip:
    """One hold of the collet: face at stock coordinate u [mm], for so many bends in a row.

    released: the last of them is made with the collet open, after it has placed the tube.
    """

    u: float
    bends: tuple[int, ...]
    released: bool = False


Window = tuple[float, float]


def grip_window(loaded: Loaded, bend: int, setting: float, carriage: Carriage, released: bool = False) -> Window:
    """Return the least and greatest u for one bend [mm]; empty if the first is larger.

    A released bend is only placed by the collet: then a stands for e.
    """
    closest, farthest = carriage.reach
    start = float(loaded.view.bend_starts[bend - 1])
    low = (start if released else end_of_swing(loaded.view, bend, setting)) + closest
    most = loaded.stock_behind_zero - carriage.grip_length
    high = min(start + farthest, most)
    return (low, high) if carriage.passes_through else (max(low, most), high)


def grips_for(
    loaded: Loaded, bends: tuple[int, ...], settings: tuple[float, ...], machine: Machine, last_of_job: bool
) -> tuple[Grip, ...] | Broken:
    """Return the fewest grips that serve the bends of one load, in order; on a hand-fed bender none.

    Each holds as far back as its bends and the stock allow. Among grips of equal number the earlier ones serve the
    more bends. A last bend that no grip can hold is made released where the profile allows it.
    """
    carriage = machine.carriage
    if carriage is None:
        return ()
    plain = _fewest(loaded, bends, settings, carriage, False)
    if isinstance(plain, tuple) or not (carriage.finish_released and last_of_job):
        return plain
    released = _fewest(loaded, bends, settings, carriage, True)
    return released if isinstance(released, tuple) else plain


def _fewest(
    loaded: Loaded, bends: tuple[int, ...], settings: tuple[float, ...], carriage: Carriage, released: bool
) -> tuple[Grip, ...] | Broken:
    windows = [
        grip_window(loaded, b, s, carriage, released and i == len(bends) - 1)
        for i, (b, s) in enumerate(zip(bends, settings, strict=True))
    ]
    for bend, window in zip(bends, windows, strict=True):
        if window[0] > window[1] + RULE_SLACK:
            return _out_of_reach(loaded, bend, window, carriage)
    best: list[tuple[Grip, ...] | None] = [()] + [None] * len(bends)
    for start in range(len(bends)):
        before = best[start]
        if before is None or (start and not carriage.passes_through):
            continue
        low, high = _after_regrip(loaded, bends, settings, carriage, start)
        for end in range(start, len(bends)):
            low, high = max(low, windows[end][0]), min(high, windows[end][1])
            if low > high + RULE_SLACK:
                break
            known = best[end + 1]
            if known is None or len(before) + 1 < len(known) or _longer_first(before, bends[start : end + 1], known):
                best[end + 1] = (*before, Grip(high, bends[start : end + 1], released and end == len(bends) - 1))
    found = best[-1]
    return found if found is not None else _no_regrip(loaded, bends, carriage)


def _longer_first(before: tuple[Grip, ...], last: tuple[int, ...], known: tuple[Grip, ...]) -> bool:
    if len(before) + 1 != len(known):
        return False
    return [len(g.bends) for g in before] + [len(last)] > [len(g.bends) for g in known]


def _after_regrip(
    loaded: Loaded, bends: tuple[int, ...], settings: tuple[float, ...], carriage: Carriage, start: int
) -> Window:
    """Return where the face may go at the re-grip before bends[start]; anywhere at the load."""
    if start == 0:
        return (-float("inf"), float("inf"))
    end = end_of_swing(loaded.view, bends[start - 1], settings[start - 1])
    sprung_back = float(loaded.view.bend_ends[bends[start - 1] - 1])
    return (end + carriage.reach[0], sprung_back + carriage.reach[1])


def _out_of_reach(loaded: Loaded, bend: int, window: Window, carriage: Carriage) -> Broken:
    number = loaded.number(bend)
    short = window[0] - window[1]
    start = float(loaded.view.bend_starts[bend - 1])
    if window[1] < start + carriage.reach[1] - RULE_SLACK:
        sentence = (
            f"Bend {number} with end {loaded.leads} leading: the tail is {short:.1f} mm too short; the collet holds"
            f" {carriage.grip_length:.1f} mm and comes no closer to the tangent point than {carriage.reach[0]:.1f} mm."
        )
    else:
        sentence = (
            f"Bend {number} with end {loaded.leads} leading: the carriage would have to run {short:.1f} mm farther than"
            f" its travel from {carriage.reach[1]:.1f} to {carriage.reach[0]:.1f} mm."
        )
    return Broken("carriage reach", number, loaded.leads, sentence)


def _no_regrip(loaded: Loaded, bends: tuple[int, ...], carriage: Carriage) -> Broken:
    first, last = loaded.number(bends[0]), loaded.number(bends[-1])
    why = "the carriage cannot let the tube pass" if not carriage.passes_through else "no re-grip between reaches both"
    sentence = (
        f"Bends {first} to {last} with end {loaded.leads} leading: no one grip within {carriage.reach[0]:.1f} to"
        f" {carriage.reach[1]:.1f} mm of the tangent point serves all of them, and {why}."
    )
    return Broken("carriage reach", last, loaded.leads, sentence)
