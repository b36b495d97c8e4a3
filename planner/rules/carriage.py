"""The carriage's reach: where the collet may hold the tube for each bend, and where it must re-grip.

u is the stock coordinate of the collet's face, counted from the part's leading end [mm]. A bend that starts at a and
whose swing ends with e at the tangent point needs e + closest ≤ u ≤ a + farthest, and the tube must fill the collet:
u + grip length ≤ tail end. One grip serves bends whose windows share a point. At a re-grip u lies within
[e + closest, b + farthest] of the bend just made too: the tube springs back to b with the carriage on it.
"""

from __future__ import annotations

from dataclasses import dataclass

from planner.facts import fact, length, needed
from planner.inputs.machine import Carriage
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
    start = float(loaded.view.bend_starts[bend - 1])
    low, farthest = closest_face(loaded, bend, setting, carriage, released), carriage.reach[1]
    most = loaded.stock_behind_zero - carriage.grip_length
    high = min(start + farthest, most)
    return (low, high) if carriage.passes_through else (max(low, most), high)


def closest_face(loaded: Loaded, bend: int, setting: float, carriage: Carriage, released: bool = False) -> float:
    """Return the least u that keeps the collet behind the closest place until the bend's swing ends [mm].

    A released bend is only placed by the collet: then where the bend starts counts.
    """
    start = float(loaded.view.bend_starts[bend - 1])
    return (start if released else end_of_swing(loaded.view, bend, setting)) + carriage.reach[0]


def hold_face(loaded: Loaded, since: int, regripped_at: float | None, carriage: Carriage) -> float:
    """Return u for a hold that begins at a bend [mm]: as far back as that bend and the stock allow.

    regripped_at: stock coordinate at the tangent point once the tube has sprung back from the bend before, where a
    re-grip begins the hold; None at a load. Bends after the first may stand farther back, so they do not lower it.
    """
    farthest = float(loaded.view.bend_starts[since - 1]) + carriage.reach[1]
    if regripped_at is not None:
        farthest = min(farthest, regripped_at + carriage.reach[1])
    return min(farthest, loaded.stock_behind_zero - carriage.grip_length)


def window_open(loaded: Loaded, bend: int, setting: float, carriage: Carriage, released: bool = False) -> Broken | None:
    """There must be a place on the tube where the collet can hold it for one bend, taken by itself [rad]."""
    window = grip_window(loaded, bend, setting, carriage, released)
    if window[0] <= window[1] + RULE_SLACK:
        return None
    return _out_of_reach(loaded, bend, window, carriage)


def hold_serves(
    loaded: Loaded, face: float, since: int, bend: int, setting: float, carriage: Carriage, released: bool = False
) -> Broken | None:
    """A hold with its face at u = `face` [mm] must still be behind the closest place when a later bend's swing ends."""
    low = closest_face(loaded, bend, setting, carriage, released)
    if low <= face + RULE_SLACK:
        return None
    first, last = loaded.number(since), loaded.number(bend)
    said = fact(
        "no-grip-serves-all",
        first=first,
        bend=last,
        leads=loaded.leads,
        closest=length(carriage.reach[0]),
        farthest=length(carriage.reach[1]),
        missing=needed(low - face),
    )
    return Broken("carriage reach", last, loaded.leads, said, {"least": low, "face": face})


def regrip_fits(loaded: Loaded, bend: int, setting: float, carriage: Carriage) -> Broken | None:
    """At the end of a bend the collet must find a new hold that keeps the carriage's reach [rad].

    Its face lies in [e + closest, b + farthest] of that bend: there before the tube springs back, and still after it.
    """
    sprung_back = float(loaded.view.bend_ends[bend - 1])
    low = end_of_swing(loaded.view, bend, setting) + carriage.reach[0]
    high = min(sprung_back + carriage.reach[1], loaded.stock_behind_zero - carriage.grip_length)
    if low <= high + RULE_SLACK:
        return None
    number = loaded.number(bend)
    said = fact("no-new-hold", bend=number, leads=loaded.leads, missing=needed(low - high))
    return Broken("carriage reach", number, loaded.leads, said, {"least": low, "greatest": high})


def _out_of_reach(loaded: Loaded, bend: int, window: Window, carriage: Carriage) -> Broken:
    bend_starts, number = loaded.view.bend_starts, loaded.number(bend)
    closest, missing = length(carriage.reach[0]), needed(window[0] - window[1])
    said = fact(
        "carriage-out-of-travel",
        bend=number,
        leads=loaded.leads,
        missing=missing,
        farthest=length(carriage.reach[1]),
        closest=closest,
    )
    if window[1] < float(bend_starts[bend - 1]) + carriage.reach[1] - RULE_SLACK:
        held = length(carriage.grip_length)
        said = fact("collet-out-of-tube", bend=number, leads=loaded.leads, missing=missing, held=held, closest=closest)
    return Broken("carriage reach", number, loaded.leads, said, {"least": window[0], "greatest": window[1]})
